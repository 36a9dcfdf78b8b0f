"""The plant schedule: what is planted in each kind of planter, in Latin and English."""

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, WordList, _, source_of
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import MONTH_NAMES, month_spans
from patchnet.pages.kit.planting_calendar import calendar_figure
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, drawn_by, render
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.plants import PlantGroup

__all__ = ["schedule_html"]

_latin = drawn_by("scheme/latin.html", "latin")

_HEADS: WordList[str] = WordList(
    (
        N_("Plant"),
        N_("Latin name"),
        N_("In one"),
        N_("In all"),
        N_("Flowers"),
        N_("Height"),
        N_("Spread"),
        N_("Light"),
        N_("Native"),
        N_("Hazard"),
    )
)


def schedule_html(pack: SchemePack) -> Markup:
    """One table for every kind of planter, and its year in flower."""
    return render(
        "scheme/schedule.html", groups=[_group(group, pack.knowledge) for group in pack.groups]
    )


def _group(group: PlantGroup, knowledge: Knowledge) -> dict[str, object]:
    count = len(group.planters)
    rows = []
    for key, amount in group.numbers.items():
        plant = knowledge.plants[key]
        hazard = "" if source_of(plant.hazard).casefold().startswith("none") else plant.hazard
        rows.append(
            (
                plant.name,
                _latin(plant.latin),
                amount,
                amount * count,
                month_spans(plant.flower_months) if plant.flower_months else _("does not matter"),
                f"{number(plant.height.value, 'g')} m",
                f"{number(plant.spread.value, 'g')} m",
                _(plant.light),
                _("yes") if plant.native else _("no"),
                hazard or _("none known"),
            )
        )
    return {
        "letter": group.letter,
        "recipe": group.recipe,
        "size": group.size,
        "depth": number(group.size.soil_depth_m * 100, ".0f"),
        "names": ", ".join(one.plot for one in group.planters),
        "table": table(
            _("Planting {letter}").format(letter=group.letter), _HEADS, rows, css="plants"
        )
        if rows
        else "",
        "notes": _notes(group, knowledge),
        "calendar": calendar_figure(group.planting, knowledge),
    }


def _notes(group: PlantGroup, knowledge: Knowledge) -> list[str]:
    planting = group.planting
    notes = [
        _(
            "{feature_name}: no plant of the tables both fits a street planter and is harmless "
            "there, though the ecological case counts on it. Choose with your supplier, or choose "
            "another planting."
        ).format(feature_name=knowledge.features[feature].name)
        for feature in group.missing
    ]
    short = (*planting.uncovered, *planting.no_room)
    if short:
        months = ", ".join(MONTH_NAMES[month - 1] for month in sorted(short))
        notes.append(_("Hungry months that stay without flowers: {months}.").format(months=months))
    if planting.also_fit:
        names = ", ".join(knowledge.plants[key].name for key in planting.also_fit[:8])
        notes.append(_("Where one cannot be had, these fit too: {names}.").format(names=names))
    if not planting.exact:
        notes.append(_("The choice is good but not proved best."))
    return notes
