"""Street rules, sizes of planters, things in the footway, and how far a driver needs to see.

The rules stand in ``street_rules.csv``; another authority's rules are a file of that name in the
overlay folder of `load_knowledge`.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import (
    Amount,
    Choice,
    Flag,
    Key,
    Reading,
    Ref,
    Text,
    Words,
)
from patchnet.knowledge.parts import Basis, Figures, Made, Number, Quantity
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "SIGHT_AREAS",
    "PlanterSize",
    "SightRule",
    "StoppingSight",
    "StreetObjectKind",
    "StreetRule",
    "StreetTest",
    "read_planter_sizes",
    "read_stopping_sight",
    "read_street_rules",
    "street_numbers",
    "street_rule_names",
]

SIGHT_AREAS = ("sight_junction", "sight_driveway", "sight_crossing", "sight_forward")
"""What must be seen over: at side roads, where cars come out, where people cross, on bends."""
StreetTest = Literal[
    "around", "surface", "driveway", "crossing", "bus_stop", "way", "kerb", "looked"
]
"""How a thing is kept clear of: all round, the whole kerb it lies on, with sight areas, on the
way from it to the kerb, or by standing farther from the kerb. *looked* is no thing: it says that
along a stretch of kerb everything of this table was looked for."""
_FREE = ("kerb", "looked")  # tests of things that nothing keeps a distance from
_RULES = {
    "clear_width_fits_m": "m",
    "clear_width_ask_m": "m",
    "clear_width_bus_stop_m": "m",
    "kerb_offset_m": "m",
    "fire_route_m": "m",
    "junction_x_m": "m",
    "driveway_x_m": "m",
    "crossing_wait_m": "m",
    "corner_clear_m": "m",
    "ssd_reaction_s": "s",
    "ssd_deceleration_light_g": "g",
    "ssd_deceleration_heavy_g": "g",
    "ssd_bonnet_m": "m",
    "ssd_formula_most_mph": "mph",
    "speed_default_mph": "mph",
    "carriageway_default_m": "m",
    "licence_from_centre_m": "m",
    "height_least_m": "m",
    "footway_reach_m": "m",
    "width_disagree_m": "m",
    "street_gap_m": "m",
    "site_spacing_m": "m",
    "near_object_m": "m",
    "bus_stop_zone_m": "m",
    "look_ahead_m": "m",
    "lane_share": "share",
    "speed_most_mph": "mph",
    "speed_offset_m": "m",
    "root_stems": "ratio",
    "root_most_m": "m",
    "narrow_gap_m": "m",
    "narrow_longest_m": "m",
    "narrow_share": "share",
    "passing_width_m": "m",
    "passing_length_m": "m",
    "wind_pressure_pa": "Pa",
    "wind_shape": "ratio",
    "wind_plants_m": "m",
    "wind_solid_share": "share",
    "wind_least": "ratio",
    "fill_share": "share",
    "soil_wet_kg_m3": "kg/m3",
    "soil_dry_kg_m3": "kg/m3",
    "opening_deep_m": "m",
    "tape_apart_m": "m",
    "tape_spare": "places",
}
_POSITIVE = (
    "site_spacing_m", "carriageway_default_m", "speed_default_mph",
    "ssd_deceleration_light_g", "ssd_deceleration_heavy_g", "wind_pressure_pa", "wind_least",
    "soil_wet_kg_m3", "soil_dry_kg_m3",
)  # fmt: skip
_TOLD = N_(
    "{rules}; and for each thing of street_objects.csv size_..._m and clear_..._m "
    "(kerb_offset_..._m where its test is kerb)",
    rules=", ".join(_RULES),
)
_LITRES = 1000.0  # in a cubic metre


def street_numbers(at: Reading) -> Mapping[str, Number]:
    """Return the rules that there are: those of all streets, and two of each thing in them.

    Parameters
    ----------
    at
        The tables being read.
    """
    wanted = {key: Number("", unit=unit, over=key in _POSITIVE) for key, unit in _RULES.items()}
    for key, row in at.keys("street_objects.csv").items():
        wanted[f"size_{key}_m"] = Number("", unit="m", over=True)
        if row.cells["test"] == "kerb":
            wanted[f"kerb_offset_{key}_m"] = Number("", unit="m")
        elif row.cells["test"] not in _FREE:
            wanted[f"clear_{key}_m"] = Number("", unit="m")
    return wanted


def street_rule_names(at: Reading) -> Collection[str]:
    """Return the keys of all street rules.

    Parameters
    ----------
    at
        The tables being read.
    """
    return tuple(street_numbers(at))


@table("street_rules.csv", N_("A rule for planters in a footway."), called=N_("street rule"))
@dataclass(frozen=True, slots=True)
class StreetRule:
    """A rule for planters in a footway: a width, a distance, a speed."""

    key: Annotated[str, Choice(N_("which rule it is"), of=street_rule_names, told=_TOLD)]
    figure: Annotated[Figure, Number(N_("the limit"), by_key=street_numbers)]


@table(
    "stopping_sight.csv",
    N_("Published stopping sight distance of a band of speeds."),
    called=N_("stopping sight distance"),
    key=("speed_mph", "vehicle"),
)
@dataclass(frozen=True, slots=True)
class StoppingSight:
    """How far a driver needs to see to stop, as published for a band of speeds."""

    speed_mph: Annotated[
        float, Amount(N_("upper end of the band of speeds, mph"), least=0, over=True)
    ]
    vehicle: Annotated[
        Literal["light", "heavy"], Choice(N_("light: cars; heavy: lorries and buses"))
    ]
    distance: Annotated[Figure, Number(N_("the distance"), unit="m", over=True)]


@table(
    "planter_sizes.csv",
    N_("The numbers of each size of planter, one a row."),
    called=N_("planter size"),
    address="planter_sizes/{planter}",
    key=("planter", "quantity"),
    figures=Figures("planter_sizes.csv", ("planter",)),
)
@dataclass(frozen=True, slots=True)
class PlanterSize:
    """One size of planter; make one for a size that is not in the table.

    Parameters
    ----------
    key, name
        Key in the table and name in plain words.
    length_m, width_m, height_m
        Outside of the box: along the kerb, across the footway, footway to rim.
    soil_depth_m
        Depth of soil.
    spread_m
        How far full-grown plants stand out beyond each side of the box.
    empty_kg
        Weight of the box without soil.
    cost
        Price of the box in pounds, without soil and plants.
    """

    key: Annotated[str, Key(N_("key of the size; its name in words is made of it"), name="planter")]
    name: Annotated[str, Made(lambda key: key.replace("_", " "))]
    length_m: Annotated[
        float, Quantity(N_("along the kerb"), called="length", unit="m", over=True, bare=True)
    ]
    width_m: Annotated[
        float, Quantity(N_("across the footway"), called="width", unit="m", over=True, bare=True)
    ]
    height_m: Annotated[
        float, Quantity(N_("from footway to rim"), called="height", unit="m", over=True, bare=True)
    ]
    soil_depth_m: Annotated[
        float, Quantity(N_("depth of soil"), called="soil_depth", unit="m", over=True, bare=True)
    ]
    spread_m: Annotated[
        float,
        Quantity(
            N_("how far full-grown plants stand out beyond each side of the box"),
            called="spread",
            unit="m",
            bare=True,
        ),
    ] = 0.0
    empty_kg: Annotated[
        float,
        Quantity(N_("weight of the box without soil"), called="empty_weight", unit="kg", bare=True),
    ] = 0.0
    cost: Annotated[
        float, Quantity(N_("price of the box without soil and plants"), unit="GBP", bare=True)
    ] = 0.0  # fmt: skip

    @property
    def plan_m2(self) -> float:
        """Ground the box takes, in square metres."""
        return self.length_m * self.width_m

    @property
    def litres(self) -> float:
        """Soil it holds, in litres (walls of the box counted as soil)."""
        return self.plan_m2 * self.soil_depth_m * _LITRES


@table(
    "sight_areas.csv",
    N_("What a planter in a sight area means: refused, or the authority is asked."),
    called=N_("sight area"),
    bases=(Basis("", N_("verdict {verdict}")),),
)
@dataclass(frozen=True, slots=True)
class SightRule:
    """What a planter in a sight area means: refused, or the authority is asked.

    Parameters
    ----------
    key
        ``sight_junction``, ``sight_driveway``, ``sight_crossing`` or ``sight_forward``.
    watcher
        Who must see over it, in a sentence.
    verdict
        What a planter in it is: ``no``, or ``ask`` the authority.
    set_back
        Street rule that says how far back the eye is.
    """

    key: Annotated[str, Choice(N_("which sight area"), of=SIGHT_AREAS)]
    watcher: Annotated[str, Text(N_("who must see over it, in a sentence"))]
    verdict: Annotated[
        Literal["no", "ask"],
        Choice(N_("what a planter in it is: refused, or the authority is asked")),
    ]
    set_back: Annotated[
        str, Ref(N_("street rule that says how far back the eye is"), table="street_rules.csv")
    ]


@table(
    "street_objects.csv",
    N_("A kind of thing in a street that a planter must keep clear of."),
    called=N_("thing in the street"),
)
@dataclass(frozen=True, slots=True)
class StreetObjectKind:
    """A kind of thing in a street that a planter must keep clear of.

    Parameters
    ----------
    key, name, words
        Key in the table, name in plain words, other names for it.
    test
        How it is kept clear of.
    solid
        Whether it stands in the way of somebody who walks.
    verdict
        What a planter is that comes too near: ``no``, or ``ask`` the people concerned.
    box
        Whether it is a planter that stands there already.
    roots
        Whether it has roots: its width is that of the stem.
    opening
        Whether it is what a drawn footway shows that runs far back over a short stretch.
    """

    key: Annotated[str, Key(N_("key of the kind"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]
    test: Annotated[
        StreetTest,
        Choice(
            N_(
                "how it is kept clear of: all round; the whole surface of kerb it lies on; "
                "driveway, crossing and bus_stop with their areas; the way from it to the kerb; "
                "kerb: by standing farther from it; looked: everything was looked for here"
            )
        ),
    ]
    solid: Annotated[bool, Flag(N_("whether it stands in the way of somebody who walks"))]
    verdict: Annotated[
        Literal["no", "ask"],
        Choice(N_("what a planter is that comes too near: no, or ask the people concerned")),
    ]
    box: Annotated[
        bool, Flag(N_("whether it is a planter that stands there already"), blank=False)
    ] = False
    roots: Annotated[
        bool, Flag(N_("whether it has roots: its width is that of the stem"), blank=False)
    ] = False
    opening: Annotated[
        bool,
        Flag(
            N_("whether it is what a drawn footway shows that runs far back over a short stretch"),
            blank=False,
        ),
    ] = False


def read_street_rules(reader: Reader) -> dict[str, Figure]:
    """Read the street rules; each that there is must be there, and the two widths in order."""
    rows = {row.key[0]: (row, rule.figure) for row, rule in reader.rows(StreetRule)}
    reader.must_have("street_rules.csv", reader.words(street_rule_names), "rule")
    if {"clear_width_fits_m", "clear_width_ask_m"} <= set(rows):
        fits, (row, ask) = rows["clear_width_fits_m"][1], rows["clear_width_ask_m"]
        if ask.value > fits.value:
            what = _(
                "clear_width_ask_m ({ask:g}) is more than clear_width_fits_m ({fits:g})."
            ).format(ask=ask.value, fits=fits.value)
            reader.say(row, what, _("The width to ask about must be the smaller."))
    return {key: figure for key, (__, figure) in rows.items()}


def read_planter_sizes(reader: Reader) -> dict[str, PlanterSize]:
    """Read the sizes of planters; soil must fit into the box."""
    sizes = {}
    for row, size in reader.rows(PlanterSize):
        if size.soil_depth_m > size.height_m:
            what = _("The soil of '{size_key}' is deeper than the box is high.").format(
                size_key=size.key
            )
            reader.say(row, what, _("Make the box higher or the soil less."))
        sizes[size.key] = size
    return sizes


def read_stopping_sight(reader: Reader) -> dict[tuple[float, str], Figure]:
    """Read the stopping sight distances by upper end of the band and vehicle.

    Returns
    -------
    dict
        (Speed in mph, vehicle) -> distance in metres.
    """
    return {(one.speed_mph, one.vehicle): one.distance for one in reader.all(StoppingSight)}
