"""The planting: what stands in each box, how closely, and when it flowers."""

from patchnet.core.language_forms import in_sentence, listed, number
from patchnet.core.texts import _, source_of
from patchnet.knowledge.records import Plant
from patchnet.pages.kit.numbers import MONTH_NAMES, MONTHS, month_spans
from patchnet.pages.kit.planting_calendar import calendar_figure
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, drawn_by, render
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.plants import PlantGroup
from patchnet.plan.facts import LIGHT_WORDS

__all__ = ["calendars_html", "schedule_html"]

_latin = drawn_by("scheme/latin.html", "latin")
_STAND_INS = 8
_SHOWN_M2 = 0.005  # of a feature: less is not told
_HARMLESS = "none"  # how a plant's hazard begins, in the tables' English, where none is known


def schedule_html(pack: SchemePack) -> Markup:
    """Boxes by letter with their areas, one table of plants, and the year in flower."""
    know = pack.knowledge
    first, last = (int(know.setting(f"planting_box_month_{end}")) for end in ("first", "last"))
    return render(
        "scheme/schedule.html",
        boxes=_boxes(pack),
        sun=_sun(pack),
        plants=_plants(pack),
        year=_year(pack),
        least=f"{know.setting('planting_box_plants_m2'):g}",
        shrub=f"{know.setting('planting_box_shrub_m2'):g}",
        gaps=[
            words
            for group in pack.groups
            for words in (*_gaps(group, first, last), *_too_small(group, pack))
        ],
        winter=_winter(pack.groups, first, last),
        also=_also(pack),
    )


def _boxes(pack: SchemePack) -> Markup:
    know = pack.knowledge
    rows = []
    for group in pack.groups:
        box = group.box
        plants = box.plants(know)
        bulbs = sum(box.numbers.values()) - plants
        parts = "; ".join(
            f"{_part(key, pack)} {number(area, '.2f')}"
            for key, area in box.amounts.items()
            if area >= _SHOWN_M2
        )
        rows.append(
            (
                group.letter,
                ", ".join(one.plot for one in group.planters),
                know.mixes[box.mix].name if box.mix else _("no tested mix"),
                _("{m2:.2f} m², {cm:.0f} cm deep").format(
                    m2=box.soil_m2, cm=group.size.soil_depth_m * 100
                ),
                _("{plants} and {bulbs} bulbs").format(plants=plants, bulbs=bulbs)
                if bulbs
                else str(plants),
                number(plants / box.soil_m2, ".0f"),
                parts,
            )
        )
    return table(
        _("Boxes and what stands in them"),
        (
            _("Box"), _("Planters"), _("Mix"), _("Soil of one"), _("Plants in one"),
            _("A square metre"), _("Counted as, m²"),
        ),
        rows,
        css="boxes",
    )  # fmt: skip


def _sun(pack: SchemePack) -> str:
    """Say how sunny each place is, on what ground, and that half shade stands in for not known."""
    known, unknown = dict[str, list[str]](), dict[str, list[str]]()
    for one in pack.scheme.planters:
        if one.sun is None or one.sun.cls is None:
            why = _("nobody looked") if one.sun is None else one.sun.why_not
            unknown.setdefault(why, []).append(one.plot)
        else:
            said = _("{light}, {hours} hours").format(
                light=LIGHT_WORDS[one.sun.cls], hours=number(one.sun.hours, ".1f")
            )
            known.setdefault(said, []).append(one.plot)
    words = []
    if known:
        told = "; ".join(f"{', '.join(plots)}: {said}" for said, plots in known.items())
        words.append(
            _(
                "Direct sun at midsummer, from the buildings and walls on the map: {told}. Trees, "
                "hills and parked cars are not counted: look before you order."
            ).format(told=told)
        )
    for why, plots in unknown.items():
        words.append(
            _(
                "Half shade is assumed for {plots}: {why}. Look before you order, at midsummer if "
                "you can: more than {full:g} hours of sun a day is full sun, less than {part:g} "
                "is shade."
            ).format(
                plots=listed(plots),
                why=why,
                full=pack.knowledge.setting("sun_full_h"),
                part=pack.knowledge.setting("sun_part_h"),
            )
        )
    return " ".join(words)


def _part(feature: str, pack: SchemePack) -> str:
    """What a part of a box is called."""
    know = pack.knowledge
    if feature == know.plot_kinds[know.plot_kind_for("box")].implies:
        return _("low plants")
    return in_sentence(know.features[feature].name.split(" (")[0])


def _plants(pack: SchemePack) -> Markup:
    know, groups = pack.knowledge, pack.groups
    keys = dict.fromkeys(key for group in groups for key in group.numbers)
    order = sorted(
        keys, key=lambda key: (_LAYERS.index(know.plants[key].tier), know.plants[key].name)
    )
    rows = []
    for key in order:
        plant = know.plants[key]
        total = sum(group.numbers.get(key, 0) * len(group.planters) for group in groups)
        rows.append(
            (
                plant.name,
                _latin(plant.latin),
                *(group.numbers.get(key, "") for group in groups),
                total,
                month_spans(plant.flower_months) if plant.flower_months else "",
                _size(plant),
                _(plant.light),
                _("yes") if plant.native else "",
                _harm(plant),
            )
        )
    # The table of plants says what is native in Britain.
    home = pack.scheme.neighbourhood.country == "gb"
    native = _("Native") if home else _("Native in Britain")
    heads = (
        _("Plant"), _("Latin name"), *(group.letter for group in groups), _("In all"),
        _("Flowers"), _("Kept to, cm"), _("Light"), native, _("Known harm"),
    )  # fmt: skip
    return table(_("Plant schedule"), heads, rows, css="plants")


_LAYERS = (
    "shrub", "climber", "tree", "tall", "mid", "ground", "trailing", "filler", "aquatic", "bulb",
)  # fmt: skip


def _size(plant: Plant) -> str:
    height = (plant.kept_height or plant.height).value * 100
    return f"{height:.0f} x {plant.width_m * 100:.0f}"


def _harm(plant: Plant) -> str:
    harmless = source_of(plant.hazard).casefold().startswith(_HARMLESS)
    return _("none known") if harmless else plant.hazard


def _year(pack: SchemePack) -> Markup:
    rows = [
        (
            group.letter,
            *(len(one.plants) or "\N{EN DASH}" for one in group.box.planting.calendar),
        )
        for group in pack.groups
    ]
    return table(
        _("Kinds in flower, month by month"), (_("Box"), *MONTHS), rows, css="year flowering"
    )


def _gaps(group: PlantGroup, first: int, last: int) -> list[str]:
    """Months of the season in which a box has nothing in flower."""
    bare = [month for month in group.box.bare if first <= month <= last]
    if not bare:
        return []
    months = ", ".join(MONTH_NAMES[month - 1] for month in bare)
    return [
        _(
            "Box {letter}: nothing harmless that may stand there flowers in {months}. The boxes "
            "beside it have to."
        ).format(letter=group.letter, months=months)
    ]


def _too_small(group: PlantGroup, pack: SchemePack) -> list[str]:
    """Parts of a recipe that found no room in the box: nothing is counted of them."""
    return [
        _(
            "Box {letter}: no {part} finds room in it, so the case counts none, whatever the "
            "planting is called."
        ).format(letter=group.letter, part=_part(feature, pack))
        for feature in group.recipe.amounts
        if group.box.amounts.get(feature, 0.0) < _SHOWN_M2
    ]


def _winter(groups: tuple[PlantGroup, ...], first: int, last: int) -> str:
    """Months outside the season in which no box at all has something in flower."""
    none = set(range(1, 13))
    some: set[int] = set()
    for group in groups:
        none &= set(group.box.bare)
        some |= set(group.box.bare)
    without = [month for month in range(1, 13) if month in none and not first <= month <= last]
    if without:
        return _(
            "Nothing harmless flowers in any of these boxes in {months}: said here rather than "
            "filled up with poisonous bulbs."
        ).format(months=", ".join(MONTH_NAMES[month - 1] for month in without))
    november = sorted(month for month in some if not first <= month <= last)
    if november:
        return _("In {months} only some of the boxes have something in flower.").format(
            months=", ".join(MONTH_NAMES[month - 1] for month in november)
        )
    return ""


def _also(pack: SchemePack) -> str:
    """Plants that the mixes name as stand-ins and that fit: for what cannot be had."""
    know = pack.knowledge
    used = {key for group in pack.groups for key in group.numbers}
    found: dict[str, None] = {}
    for group in pack.groups:
        fits = set(group.box.planting.also_fit)
        for line in know.mixes[group.box.mix].lines if group.box.mix else ():
            if line.plant in group.numbers:
                found |= dict.fromkeys(key for key in line.swaps if key in fits - used)
    return ", ".join(know.plants[key].name for key in list(found)[:_STAND_INS])


def calendars_html(pack: SchemePack) -> Markup:
    """The year in flower of every box, plant by plant."""
    return render(
        "scheme/calendars.html",
        groups=[
            {
                "letter": group.letter,
                "names": ", ".join(one.plot for one in group.planters),
                "words": group.recipe.words,
                "calendar": calendar_figure(group.box.planting, pack.knowledge),
            }
            for group in pack.groups
        ],
    )
