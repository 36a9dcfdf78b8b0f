"""Plants: what they are, where they can stand, lists they are on, and what the law keeps out."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_, _, source_of
from patchnet.knowledge.columns import (
    Amount,
    Choice,
    Choices,
    Flag,
    Key,
    Reading,
    Ref,
    Text,
    Words,
)
from patchnet.knowledge.parts import Basis, Figures, FromCell, Names, Quantity, SourcesOf
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "LAWS",
    "LAYERS",
    "PLANT_LISTS",
    "STRATA",
    "Plant",
    "PlantListing",
    "PlantRole",
    "PlantingPlace",
    "UnlawfulPlant",
    "read_plant_lists",
    "read_plants",
]

LAYERS = ("bulb", "herb", "shrub", "climber", "tree", "aquatic")
STRATA = (
    "bulb", "ground", "mid", "tall", "trailing", "filler", "shrub", "climber", "tree", "aquatic",
)  # fmt: skip
"""Where a plant stands among others; ``filler``: sown or set for a year or two."""
PLANT_LISTS = (
    "toxic", "sharp", "edible", "invasive", "slow_to_flower", "elsewhere", "thread", "grass",
)  # fmt: skip
"""Lists with a meaning of their own; every other is the list of one place (its `only`)."""
LAWS = ("schedule_9", "sale_ban", "ias_order")
"""Planting it in the wild is an offence; it may not be sold; it may not be kept at all."""
_SOILS = ("moist", "well-drained", "dry", "any", "acid well-drained", "wet", "submerged")


@table("plant_roles.csv", N_("Something that plants do for animals."), called=N_("role of plants"))
@dataclass(frozen=True, slots=True)
class PlantRole:
    """What a plant does for animals.

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    flowers
        Whether its flowers do it, so that its months in flower count: wind-pollinated flowers
        close no hungry month.
    waits_for_flower
        Whether a plant that is slow to flower does not do it for years.
    guide
        What a gardener wants of any planting and this job is: something scented at ``night``,
        seed or berry for ``winter``, ``leaf`` for caterpillars; empty: none of these.
    """

    key: Annotated[str, Key(N_("key of the role"), dashes=True)]
    name: Annotated[str, Text(N_("name in plain words"))]
    flowers: Annotated[
        bool, Flag(N_("whether its flowers do it, so that its months in flower count"), blank=False)
    ]
    waits_for_flower: Annotated[
        bool,
        Flag(N_("whether a plant that is slow to flower does not do it for years"), blank=False),
    ]
    guide: Annotated[
        str,
        Choice(
            N_(
                "what any planting should have and this is: scent at night, food for winter, leaf "
                "for caterpillars; empty: none"
            ),
            of=("night", "winter", "leaf"),
            blank="",
        ),
    ] = ""


@table(
    "plants.csv",
    N_("A plant that can be chosen for beds, boxes, walls and water."),
    called="plant",
    bases=(
        Basis("months", N_("months {flower_start}-{flower_end}"), at="flower_months"),
        Basis("hazard", "{hazard}", at="hazard"),
        Basis(
            "traits",
            N_("light, soil, container, roles, native, stratum, evergreen, tongue, form, raised"),
            at="traits",
            noted=False,
        ),
    ),
    figures=Figures("plant_figures.csv", ("plant",)),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Plant:
    """One plant of the planting list (months 0-0: its flower does not matter).

    `months_source` and `hazard_source` are source keys, ``;`` between them; their class and
    note stand in the `Origin` of the plant.
    """

    key: Annotated[str, Key(N_("key of the plant"))]
    name: Annotated[str, Text(N_("English name"))]
    latin: Annotated[str, Text(N_("Latin name"), shown=False)]
    layer: Annotated[str, Choice(N_("how it grows"), of=LAYERS)]
    flower_start: Annotated[
        int,
        Amount(N_("first month in flower; 0: it does not matter"), least=0, most=12, whole=True),
    ]
    flower_end: Annotated[
        int, Amount(N_("last month in flower; 0: it does not matter"), least=0, most=12, whole=True)
    ]
    light: Annotated[str, Choice(N_("light it wants"), of=("sun", "part", "shade", "any"))]
    soil: Annotated[str, Text(N_("soil it wants, in a few words"), shown=False)]
    container: Annotated[bool, Flag(N_("whether it can live in a pot, tub or planter"))]
    height: Annotated[Figure, Quantity(N_("height of the grown plant"), unit="m", over=True)]
    spread: Annotated[Figure, Quantity(N_("width of the grown plant"), unit="m", over=True)]
    roles: Annotated[
        tuple[str, ...], Words(N_("what it does for animals: keys of plant_roles.csv"))
    ]
    native: Annotated[bool, Flag(N_("whether it is native"))]
    hazard: Annotated[str, Text(N_("what harm it can do, or: none known"))]
    note: Annotated[str, Text(N_("anything else"), blank="")]
    months_source: Annotated[str, FromCell("months_source")]
    hazard_source: Annotated[str, FromCell("hazard_source")]
    stratum: Annotated[
        str, Choice(N_("where it stands among others; empty: by how it grows"), of=STRATA, blank="")
    ] = ""
    evergreen: Annotated[
        bool, Flag(N_("whether it keeps its leaves in winter"), blank=False)
    ] = False  # fmt: skip
    tongue: Annotated[
        str,
        Choice(
            N_("whose tongues its flowers suit: any, long or short; none: no nectar or pollen"),
            of=("short", "long", "any", "none"),
            blank="",
        ),
    ] = ""
    form: Annotated[
        str, Ref(N_("how it is bought"), table="plant_forms.csv", blank="")
    ] = ""  # fmt: skip
    raised: Annotated[
        tuple[str, ...],
        Choices(
            N_("how it is had for next to nothing: sown, divided, from cuttings"),
            of=("sow", "divide", "cuttings"),
        ),
    ] = ()
    kept_height: Annotated[
        Figure | None,
        Quantity(N_("height as it is kept in a box"), unit="m", over=True, needed=False),
    ] = None
    kept_spread: Annotated[
        Figure | None,
        Quantity(N_("width as it is kept in a box"), unit="m", over=True, needed=False),
    ] = None
    pot_depth: Annotated[
        Figure | None,
        Quantity(N_("depth of soil it needs in a pot or box"), unit="m", over=True, needed=False),
    ] = None
    price: Annotated[
        Figure | None, Quantity(N_("price of one, as it is bought"), unit="GBP", needed=False)
    ] = None  # fmt: skip

    @property
    def width_m(self) -> float:
        """Width as it is kept, m."""
        return float((self.kept_spread or self.spread).value)

    @property
    def tier(self) -> str:
        """Where it stands among others; where the table does not say, how it grows."""
        return self.stratum or self.layer

    @property
    def flower_months(self) -> tuple[int, ...]:
        """Months in flower, wrapping over new year."""
        if self.flower_start == 0:
            return ()
        span = (self.flower_end - self.flower_start) % 12 + 1
        return tuple((self.flower_start - 1 + step) % 12 + 1 for step in range(span))

    @property
    def told_poisonous(self) -> bool:
        """Whether the words of its hazard speak of poison."""
        words = source_of(self.hazard).casefold()
        return "toxic" in words or "poison" in words


def _names_of_lists(at: Reading) -> Collection[str]:
    places = at.keys("planting_places.csv").values()
    return (*PLANT_LISTS, *sorted({row.cells["only"] for row in places} - {""}))


@table(
    "plant_lists.csv",
    N_("A plant on a list."),
    called=N_("listed plant"),
    key=("list", "plant"),
    also={
        "list": Choice(
            N_("name of the list"),
            of=_names_of_lists,
            told=N_(
                "{lists}, or a list that the column 'only' of planting_places.csv names",
                lists=", ".join(PLANT_LISTS),
            ),
        )
    },
    bases=(Basis("list", lambda cells: cells["what"] or _("on the list")),),
)
@dataclass(frozen=True, slots=True)
class PlantListing:
    """A plant on a list; `what` says more (toxic and sharp: for whom; edible: which part).

    `strength` says how bad the harm is: ``low`` (in practice: it is told, but nothing is left out
    for it), ``mild``, ``serious`` or ``grave``.
    """

    plant: Annotated[str, Ref(N_("the plant"), table="plants.csv")]
    what: Annotated[
        tuple[str, ...], Words(N_("more (toxic and sharp: for whom; edible: which part)"))
    ]
    strength: Annotated[
        str,
        Choice(
            N_("how bad the harm is; low: told, but no reason to leave it out"),
            of=("low", "mild", "serious", "grave"),
            blank="",
        ),
    ] = ""


@table(
    "unlawful_plants.csv",
    N_("A plant that the law keeps out."),
    called=N_("unlawful plant"),
    bases=(Basis("law", lambda cells: ", ".join(cells["laws"].split(";"))),),
)
@dataclass(frozen=True, slots=True)
class UnlawfulPlant:
    """A plant that the law keeps out, with every Latin name it goes by (a genus: all of it)."""

    key: Annotated[str, Key(N_("key of the plant"))]
    name: Annotated[str, Text(N_("English name"))]
    latin: Annotated[
        tuple[str, ...],
        Names(
            Text(N_("Latin name; a genus alone is all of it"), shown=False),
            Words(N_("other Latin names it goes by"), name="other_latin"),
        ),
    ]
    laws: Annotated[
        tuple[str, ...],
        Choices(
            N_(
                "schedule_9: planting it in the wild is an offence; sale_ban: it may not be sold; "
                "ias_order: it may not be kept at all"
            ),
            of=LAWS,
            blank="needed",
        ),
    ]
    sources: Annotated[tuple[str, ...], SourcesOf("law")]


@table(
    "planting_places.csv",
    N_("What can be planted in a feature."),
    called=N_("place to plant"),
    address="planting/{feature}",
    key=("feature",),
    bases=(Basis("place", N_("layers, soils, list of plants"), at="place"),),
    figures=Figures("planting_figures.csv", ("feature",)),
)
@dataclass(frozen=True, slots=True)
class PlantingPlace:
    """What can be planted in a feature.

    Parameters
    ----------
    feature
        Key of the feature.
    counted
        Whether its room is square metres of planting or a number of plants.
    layers
        Layers of plants that stand in it.
    main_layer
        The one of them that makes it what it is (shrubs, with herbs beneath), or None.
    form
        Form in which plants are set there, where it is another than the plant's own (plugs).
    soil_m2, soil_depth
        Soil in one unit of it, m2, and its depth, m, where that is not the ground.
    soils
        Soils of plants that suit it; empty: those that suit the ground of the plot.
    pot
        Whether plants stand in pots, tubs or boxes there.
    cover
        Whether shrubs shade the lower layers.
    only
        List that its plants must be on, or None.
    room
        Square metres of planting, or plants, per unit of the feature.
    height, spread, spread_least
        Bounds on the size of full-grown plants, metres, or None.
    """

    feature: Annotated[str, Ref(N_("the feature"), table="features.csv")]
    counted: Annotated[
        Literal["m2", "plants"],
        Choice(N_("whether its room is square metres of planting or a number of plants")),
    ]
    layers: Annotated[
        tuple[str, ...], Choices(N_("layers of plants that stand in it"), of=LAYERS, blank="needed")
    ]
    soils: Annotated[
        tuple[str, ...],
        Choices(N_("soils of plants that suit it; empty: that of the plot's ground"), of=_SOILS),
    ]
    pot: Annotated[bool, Flag(N_("whether plants stand in pots, tubs or boxes there"))]
    cover: Annotated[bool, Flag(N_("whether shrubs shade the lower layers"))]
    only: Annotated[
        str | None,
        Text(
            N_("list of plant_lists.csv that its plants must be on, if any"),
            blank=None,
            shown=False,
        ),
    ]
    room: Annotated[
        Figure,
        Quantity(
            N_("how much one unit of it holds"), unit="{counted} per {feature.measure}", over=True
        ),
    ]
    height: Annotated[
        Figure | None,
        Quantity(N_("tallest plants offered, full grown"), unit="m", over=True, needed=False),
    ]
    spread: Annotated[
        Figure | None,
        Quantity(N_("widest plants offered, full grown"), unit="m", over=True, needed=False),
    ]
    spread_least: Annotated[
        Figure | None,
        Quantity(N_("narrowest plants offered, full grown"), unit="m", over=True, needed=False),
    ]
    main_layer: Annotated[
        str | None,
        Choice(N_("the layer that makes it what it is, if one does"), of=LAYERS, blank=None),
    ] = None  # fmt: skip
    form: Annotated[
        str | None,
        Ref(N_("form in which plants are set there"), table="plant_forms.csv", blank=None),
    ] = None
    soil_m2: Annotated[
        Figure | None,
        Quantity(
            N_("soil in one unit of it"), unit="m2 soil per {feature.measure}", needed=False
        ),
    ] = None  # fmt: skip
    soil_depth: Annotated[
        Figure | None, Quantity(N_("depth of its soil"), unit="m", over=True, needed=False)
    ] = None  # fmt: skip


def read_plants(reader: Reader) -> dict[str, Plant]:
    """Read the plants; a flower matters from one month to another, or not at all."""
    rows = reader.rows(Plant)
    for row, plant in rows:
        if (plant.flower_start == 0) != (plant.flower_end == 0):
            mend = _("Write 0 in both where the flower does not matter.")
            reader.say(row, _("Only one of the flowering months is 0."), mend)
    return {row.key[0]: plant for row, plant in rows}


def read_plant_lists(reader: Reader) -> Mapping[str, Mapping[str, PlantListing]]:
    """Read the lists by name and plant; a list may be empty."""
    lists: dict[str, dict[str, PlantListing]] = {name: {} for name in _names_of_lists(reader)}
    for row, listing in reader.rows(PlantListing):
        lists.setdefault(row.key[0], {})[listing.plant] = listing
    return lists
