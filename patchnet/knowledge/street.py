"""Street rules, planter sizes, things in the footway, and how far a driver needs to see.

The rules stand in ``street_rules.csv``; another authority's rules are a file of that name in the
overlay folder of `load_knowledge`.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal, cast

from scipy import constants

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.knowledge.cells import Cells
from patchnet.knowledge.records import Figure, Knowledge, Origin
from patchnet.knowledge.street_records import (
    PlanterSize,
    SightRule,
    StreetObjectKind,
    StreetTest,
)
from patchnet.knowledge.tables import Row

__all__ = [
    "SIGHT_AREAS",
    "PlanterSize",
    "StreetObjectKind",
    "StreetTables",
    "Vehicle",
    "all_street_tables",
    "stopping_sight_m",
]

Vehicle = Literal["light", "heavy"]

SIGHT_AREAS = ("sight_junction", "sight_driveway", "sight_crossing")
"""What must be seen over: at side roads, where cars come out, where people cross."""
_TESTS: tuple[StreetTest, ...] = (
    "around", "surface", "driveway", "crossing", "bus_stop", "way", "kerb",
)  # fmt: skip
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
}
_POSITIVE = (
    "site_spacing_m", "carriageway_default_m", "speed_default_mph",
    "ssd_deceleration_light_g", "ssd_deceleration_heavy_g",
)  # fmt: skip
_QUANTITIES = {
    "length": "m",
    "width": "m",
    "height": "m",
    "soil_depth": "m",
    "spread": "m",
    "empty_weight": "kg",
    "cost": "GBP",
}
_MAY_BE_NOUGHT = ("spread", "empty_weight", "cost")
_VEHICLES: tuple[Vehicle, ...] = ("light", "heavy")


@dataclass(frozen=True, eq=False)
class StreetTables:
    """The four street tables as records."""

    rules: Mapping[str, Figure]
    kinds: Mapping[str, StreetObjectKind]
    sizes: Mapping[str, PlanterSize]
    sight: Mapping[tuple[float, str], Figure]
    sight_rules: Mapping[str, SightRule]


def all_street_tables(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    origins: dict[str, Origin],
) -> StreetTables:
    """Build the street records; what is missing, misspelt or contradictory is a fault."""
    kinds = {row.cells["key"]: _kind(row, cells) for row in tables["street_objects.csv"]}
    rules = _rules(tables["street_rules.csv"], kinds, cells, figures)
    return StreetTables(
        rules=rules,
        kinds=kinds,
        sizes=_sizes(tables["planter_sizes.csv"], cells, figures),
        sight=_sight(tables["stopping_sight.csv"], cells, figures),
        sight_rules={
            row.cells["key"]: _sight_rule(row, cells, origins, rules)
            for row in tables["sight_areas.csv"]
        },
    )


def stopping_sight_m(
    speed_mph: float, *, knowledge: Knowledge, vehicle: Vehicle = "light"
) -> float:
    """How far a driver at that speed needs to see to stop, in metres.

    ``v t + v**2 / (2 d) + bonnet`` up to the speed that the formula is for, above it the
    published table (Manual for Streets; the figures stand in ``street_rules.csv`` and
    ``stopping_sight.csv``).

    Parameters
    ----------
    speed_mph
        85th-percentile speed, or where nobody measured it the limit.
    knowledge
        The tables.
    vehicle
        ``"heavy"`` on roads with buses or many lorries.

    Raises
    ------
    WrongUse
        If the speed is not above nought, or above the whole table.
    """
    if not speed_mph > 0:
        raise WrongUse(f"A speed of {speed_mph:g} mph cannot be: it must be above nought.")
    if speed_mph <= knowledge.street_rule("ssd_formula_most_mph"):
        speed = speed_mph * constants.mph
        braking = knowledge.street_rule(f"ssd_deceleration_{vehicle}_g") * constants.g
        reaction = knowledge.street_rule("ssd_reaction_s")
        bonnet = knowledge.street_rule("ssd_bonnet_m")
        return float(speed * reaction + speed**2 / (2 * braking) + bonnet)
    bands = sorted(
        (band, figure.value)
        for (band, kind), figure in knowledge.stopping_sight.items()
        if kind == vehicle and band >= speed_mph
    )
    if not bands:
        raise WrongUse(
            f"No stopping sight distance is known for {speed_mph:g} mph: no planter belongs beside "
            "so fast a road."
        )
    return bands[0][1]


def _sight_rule(
    row: Row, cells: Cells, origins: dict[str, Origin], rules: Collection[str]
) -> SightRule:
    key = cells.choice(row, "key", SIGHT_AREAS)
    verdict = cells.choice(row, "verdict", ("no", "ask"))
    kind, sources = cells.origin(row, "class", "source")
    address = f"sight_areas/{key}"
    origins[address] = Origin(
        address, f"verdict {verdict}", kind, sources, row.cells["note"], row.place
    )
    return SightRule(
        key=key,
        watcher=cells.text(row, "watcher"),
        verdict=cast("Literal['no', 'ask']", verdict),
        set_back=cells.known(row, "set_back", rules, "street rule"),
    )


def _kind(row: Row, cells: Cells) -> StreetObjectKind:
    return StreetObjectKind(
        key=cells.plain_key(row),
        name=cells.text(row, "name"),
        words=cells.listed(row, "words"),
        test=cast("StreetTest", cells.choice(row, "test", _TESTS)),
        solid=cells.flag(row, "solid"),
        verdict=cast("Literal['no', 'ask']", cells.choice(row, "verdict", ("no", "ask"))),
        box=cells.flag_or_no(row, "box"),
    )


def _rules(
    rows: list[Row],
    kinds: Mapping[str, StreetObjectKind],
    cells: Cells,
    figures: dict[str, Figure],
) -> dict[str, Figure]:
    wanted = dict(_RULES)
    for key, kind in kinds.items():
        wanted[f"size_{key}_m"] = "m"
        wanted[f"kerb_offset_{key}_m" if kind.test == "kerb" else f"clear_{key}_m"] = "m"
    rules = {}
    for row in rows:
        key = row.cells["key"]
        if key not in wanted:
            mend = "A rule under another name would be passed over: write one that is known."
            hint = nearest_hint(key, wanted)
            cells.faults.append(row.fault(f"'{key}' is not a known street rule.{hint}", mend))
            continue
        positive = key in _POSITIVE or key.startswith("size_")
        rules[key] = cells.figure(row, f"street_rules/{key}", unit=wanted[key], positive=positive)
        figures[f"street_rules/{key}"] = rules[key]
    if rows:
        for key in wanted:
            if key not in rules:
                what = f"There is no rule '{key}'."
                cells.faults.append(rows[-1].fault(what, "Add a row for it to street_rules.csv."))
    fits, ask = rules.get("clear_width_fits_m"), rules.get("clear_width_ask_m")
    if fits is not None and ask is not None and ask.value > fits.value:
        row = next(row for row in rows if row.cells["key"] == "clear_width_ask_m")
        what = (
            f"clear_width_ask_m ({ask.value:g}) is more than clear_width_fits_m ({fits.value:g})."
        )
        cells.faults.append(row.fault(what, "The width to ask about must be the smaller."))
    return rules


def _sizes(rows: list[Row], cells: Cells, figures: dict[str, Figure]) -> dict[str, PlanterSize]:
    found: dict[str, dict[str, Figure]] = {}
    first: dict[str, Row] = {}
    for row in rows:
        key = cells.plain_key(row, "planter")
        quantity = cells.choice(row, "quantity", tuple(_QUANTITIES))
        address = f"planter_sizes/{key}/{quantity}"
        figures[address] = cells.figure(
            row, address, unit=_QUANTITIES[quantity], positive=quantity not in _MAY_BE_NOUGHT
        )
        found.setdefault(key, {})[quantity] = figures[address]
        first.setdefault(key, row)
    sizes = {}
    for key, numbers in found.items():
        missing = [quantity for quantity in _QUANTITIES if quantity not in numbers]
        if missing:
            what = f"The planter '{key}' has no {', '.join(missing)}."
            cells.faults.append(first[key].fault(what, "Add a row for each."))
            continue
        value = {quantity: figure.value for quantity, figure in numbers.items()}
        if value["soil_depth"] > value["height"]:
            what = f"The soil of '{key}' is deeper than the box is high."
            cells.faults.append(first[key].fault(what, "Make the box higher or the soil less."))
        sizes[key] = PlanterSize(
            key=key,
            name=key.replace("_", " "),
            length_m=value["length"],
            width_m=value["width"],
            height_m=value["height"],
            soil_depth_m=value["soil_depth"],
            spread_m=value["spread"],
            empty_kg=value["empty_weight"],
            cost=value["cost"],
        )
    return sizes


def _sight(
    rows: list[Row], cells: Cells, figures: dict[str, Figure]
) -> dict[tuple[float, str], Figure]:
    sight = {}
    for row in rows:
        band = cells.number(row, "speed_mph")
        vehicle = cells.choice(row, "vehicle", _VEHICLES)
        address = f"stopping_sight/{row.ident}"
        figures[address] = cells.figure(row, address, unit="m", positive=True)
        sight[band, vehicle] = figures[address]
    return sight
