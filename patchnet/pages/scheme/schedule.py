"""The plant schedule: what is planted in each kind of planter, in Latin and English."""

from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.numbers import month_spans
from patchnet.pages.kit.planting_calendar import calendar_figure
from patchnet.pages.map.map_words import MONTHS
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.plants import PlantGroup
from patchnet.pages.scheme.tables import Raw, table_html

__all__ = ["schedule_html"]

_HEADS = (
    "Plant", "Latin name", "In one", "In all", "Flowers", "Height", "Spread", "Light", "Native",
    "Hazard",
)  # fmt: skip


def schedule_html(pack: SchemePack) -> str:
    """One table for every kind of planter, and its year in flower."""
    blocks = [_group(group, pack.knowledge) for group in pack.groups]
    return (
        "<p>Left out: plants poisonous to children or dogs, trees, plants that the law keeps out "
        "or that spread into the wild, and what grows larger than a street planter. How sunny each "
        "place is was not measured: look before you order. Buy peat-free plants grown in this "
        "country, free of pests.</p>" + "".join(blocks)
    )


def _group(group: PlantGroup, knowledge: Knowledge) -> str:
    count = len(group.planters)
    names = ", ".join(one.plot for one in group.planters)
    size = group.size
    rows = []
    for key, number in group.numbers.items():
        plant = knowledge.plants[key]
        hazard = "" if plant.hazard.casefold().startswith("none") else plant.hazard
        rows.append(
            (
                plant.name,
                Raw(f"<i>{text(plant.latin)}</i>"),
                number,
                number * count,
                month_spans(plant.flower_months) if plant.flower_months else "does not matter",
                f"{plant.height.value:g} m",
                f"{plant.spread.value:g} m",
                plant.light,
                "yes" if plant.native else "no",
                hazard or "none known",
            )
        )
    table = table_html(f"Planting {group.letter}", _HEADS, rows, css="plants")
    return (
        f'<section class="planting"><h3>Planting {group.letter}: {text(group.recipe.name)} '
        f"({text(size.name)}, {size.soil_depth_m * 100:.0f} cm of soil)</h3>"
        f"<p>{text(group.recipe.words)}. For {text(names)}.</p>"
        + (table if rows else "<p>No plant of the tables fits here.</p>")
        + _notes(group, knowledge)
        + calendar_figure(group.planting, knowledge)
        + "</section>"
    )


def _notes(group: PlantGroup, knowledge: Knowledge) -> str:
    planting = group.planting
    notes = [
        f"{knowledge.features[feature].name}: no plant of the tables both fits a street planter "
        "and is harmless there, though the ecological case counts on it. Choose with your "
        "supplier, or choose another planting."
        for feature in group.missing
    ]
    short = (*planting.uncovered, *planting.no_room)
    if short:
        months = ", ".join(MONTHS[month - 1] for month in sorted(short))
        notes.append(f"Hungry months that stay without flowers: {months}.")
    if planting.also_fit:
        names = ", ".join(knowledge.plants[key].name for key in planting.also_fit[:8])
        notes.append(f"Where one cannot be had, these fit too: {names}.")
    if not planting.exact:
        notes.append("The choice is good but not proved best.")
    return "".join(f"<p>{text(note)}</p>" for note in notes)
