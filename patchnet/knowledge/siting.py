"""Where an addition goes and how it is made; uses of a plot that must stay."""

from collections.abc import Collection, Mapping
from typing import Literal, cast

from patchnet.core.faults import nearest_hint
from patchnet.knowledge.cells import PER, Cells
from patchnet.knowledge.records import Figure, KeepUse, Origin, Place, Siting, Step
from patchnet.knowledge.tables import Row

__all__ = ["LIGHTS", "PLACES", "TENANCIES", "all_keep_uses", "all_sitings"]

PLACES: tuple[Place, ...] = ("ground", "standing", "wall", "fence", "sill", "roof", "under")
"""Open soil; on any floor; on a wall, fence or window sill; on a roof; under what grows there."""
TENANCIES = ("free", "ask", "own")
"""A tenant can undo it; a tenant asks the owner first; only for who owns the plot."""
LIGHTS = ("sun", "part", "shade")
_UNITS = {
    "length": "m per {per}",
    "making_hours": "hours",
    "open_ground": "m2",
    "upkeep_hours": "hours a month",
}
_QUANTITIES = tuple(_UNITS)


def all_sitings(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    origins: dict[str, Origin],
    measures: Mapping[str, str],
) -> dict[str, Siting]:
    """Build where features go; `measures` are those of the features, by key."""
    rows = {row.cells["feature"]: row for row in tables["feature_siting.csv"]}
    numbers = _numbers(tables["feature_siting_figures.csv"], cells, figures, rows, measures)
    steps = _steps(tables["feature_steps.csv"], cells, rows)
    return {
        key: _siting(row, cells, numbers.get(key, {}), steps.get(key, ()), origins, measures)
        for key, row in rows.items()
    }


def all_keep_uses(
    rows: list[Row], cells: Cells, figures: dict[str, Figure], features: Collection[str]
) -> dict[str, KeepUse]:
    """Build the uses that must stay."""
    uses = {}
    for row in rows:
        key = row.cells["key"]
        feature = row.cells["feature"] or None
        if feature is not None:
            cells.known(row, "feature", features, "feature")
        figure = cells.figure(row, f"keep_uses/{key}", unit="m2")
        figures[figure.key] = figure
        uses[key] = KeepUse(
            key, cells.text(row, "name"), cells.listed(row, "words"), feature, figure
        )
    return uses


def _siting(
    row: Row,
    cells: Cells,
    numbers: Mapping[str, Figure],
    steps: tuple[Step, ...],
    origins: dict[str, Origin],
    features: Collection[str],
) -> Siting:
    key = cells.known(row, "feature", features, "feature")
    made_from = row.cells["made_from"] or None
    if made_from is not None:
        cells.known(row, "made_from", features, "feature")
    lights = cells.listed(row, "light")
    for light in lights:
        if light not in LIGHTS:
            what = f"'{light}' is not a kind of light.{nearest_hint(light, LIGHTS)}"
            cells.faults.append(row.fault(what, f"Write some of: {', '.join(LIGHTS)}."))
    missing = [quantity for quantity in _QUANTITIES if quantity not in numbers]
    if missing:
        what = f"It has no number for: {', '.join(missing)}."
        cells.faults.append(row.fault(what, "Add rows for it to feature_siting_figures.csv."))
        none = Figure("", 0.0, "", 0.0, 0.0, "assumption", (), "", row.place)
        numbers = {**dict.fromkeys(_QUANTITIES, none), **numbers}
    if not steps:
        what = "Nothing says how it is made."
        cells.faults.append(row.fault(what, "Add its steps to feature_steps.csv."))
    kind, keys = cells.origin(row, "siting_class", "siting_source")
    address = f"features/{key}/siting"
    origins[address] = Origin(
        address, "place, light, tenancy, street", kind, keys, row.cells["siting_note"], row.place
    )
    return Siting(
        feature=key,
        said=cells.text(row, "said"),
        place=cast("Place", cells.choice(row, "place", PLACES)),
        lights=lights,
        tenancy=cast("Literal['free', 'ask', 'own']", cells.choice(row, "tenancy", TENANCIES)),
        made_from=made_from,
        made_only=cells.flag_or_no(row, "made_only"),
        edible=cells.flag(row, "edible"),
        street=cells.flag(row, "street"),
        length=numbers["length"],
        making_hours=numbers["making_hours"],
        open_ground=numbers["open_ground"],
        upkeep_hours=numbers["upkeep_hours"],
        steps=steps,
    )


def _numbers(
    rows: list[Row],
    cells: Cells,
    figures: dict[str, Figure],
    sited: Collection[str],
    measures: Mapping[str, str],
) -> dict[str, dict[str, Figure]]:
    numbers: dict[str, dict[str, Figure]] = {}
    for row in rows:
        feature = cells.known(row, "feature", sited, "sited feature")
        quantity = cells.choice(row, "quantity", _QUANTITIES)
        per = PER[measures.get(feature, "count")]
        unit = _UNITS.get(quantity, "").format(per=per)
        figure = cells.figure(row, f"features/{feature}/{quantity}", unit=unit)
        figures[figure.key] = figure
        numbers.setdefault(feature, {})[quantity] = figure
    return numbers


def _steps(rows: list[Row], cells: Cells, sited: Collection[str]) -> dict[str, tuple[Step, ...]]:
    found: dict[str, list[tuple[float, Step]]] = {}
    for row in rows:
        feature = cells.known(row, "feature", sited, "sited feature")
        sources = cells.known_list(row, "source", cells.sources, "source")
        if not sources:
            cells.faults.append(row.fault("The step names no source.", "Name one."))
        step = Step(cells.text(row, "words"), sources)
        found.setdefault(feature, []).append((cells.number(row, "step"), step))
    return {
        feature: tuple(step for _, step in sorted(steps, key=lambda pair: pair[0]))
        for feature, steps in found.items()
    }
