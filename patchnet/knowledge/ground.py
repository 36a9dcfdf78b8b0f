"""Rows on ground covers and on the cost of moving over them, put together and checked."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from patchnet.core.faults import Fault
from patchnet.knowledge.cells import Cells
from patchnet.knowledge.records import BarrierKind, Feature, Figure, GroundCosts, GroundCover, Group
from patchnet.knowledge.tables import Row

__all__ = ["GAPS", "ROLES", "all_ground_costs", "all_ground_covers", "with_open_water"]

GAPS = ("yes", "no", "not_known")
"""Whether a barrier has a gap, as a neighbourhood says it."""
_PLOT = "plot_cover"
ROLES = ("building", "footway", "carriageway_narrow", "carriageway_wide", "unmapped")
"""Parts of the map that exactly one cover must stand for."""
_PER_METRE = "times best ground"
_CROSSING = "cost metres"


def all_ground_covers(
    rows: list[Row], cells: Cells, features: Collection[str], plot_kinds: Collection[str]
) -> dict[str, GroundCover]:
    """Build the ground covers; every kind of plot and every role must have exactly one."""
    covers = {row.cells["key"]: _cover(row, cells, features, plot_kinds) for row in rows}
    own = {row.cells["key"]: row for row in rows}
    for what, wanted in (("features", ()), ("plot_kinds", plot_kinds), ("role", ROLES)):
        taken: dict[str, str] = {}
        for key, cover in covers.items():
            names = (cover.role,) if what == "role" else getattr(cover, what)
            for name in names:
                if name in taken and name != _PLOT:
                    said = f"'{name}' is ground of the cover '{taken[name]}' already."
                    cells.faults.append(own[key].fault(said, "Let it stand at one of them."))
                taken[name] = key
        missing = [name for name in wanted if name not in taken]
        if missing:
            said = f"No cover has these in the column '{what}': {', '.join(missing)}."
            mend = "Name each of them at the cover that its ground is."
            where = rows[-1].where if rows else "ground_covers.csv"
            cells.faults.append(Fault("error", where, None, None, said, mend))
    return covers


def with_open_water(
    covers: dict[str, GroundCover], features: Mapping[str, Feature]
) -> dict[str, GroundCover]:
    """Take open water in the ground (a user's own) for the same cover as other ponds."""
    named = {key for cover in covers.values() for key in cover.features}
    water = [key for key, one in features.items() if one.open_water]
    own = tuple(key for key in water if key not in named and not features[key].container)
    home = next((key for key in water if key in named), None)
    return {
        key: replace(cover, features=cover.features + own) if home in cover.features else cover
        for key, cover in covers.items()
    }


def all_ground_costs(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    known: tuple[Mapping[str, Group], Mapping[str, GroundCover], Mapping[str, BarrierKind]],
) -> dict[str, GroundCosts]:
    """Build what moving costs each group; a group that has one cost must have them all."""
    groups, covers, kinds = known
    per_metre: dict[str, dict[str, Figure]] = {}
    crossings: dict[str, dict[tuple[str, str], Figure]] = {}
    first: dict[str, Row] = {}
    for row in tables["movement_costs.csv"]:
        group = cells.known(row, "group", groups, "group")
        cover = cells.known(row, "cover", covers, "ground cover")
        key = f"movement_costs/{group}/{cover}"
        figures[key] = cells.figure(row, key, unit=_PER_METRE, positive=True)
        per_metre.setdefault(group, {})[cover] = figures[key]
        first.setdefault(group, row)
    for row in tables["barrier_crossings.csv"]:
        group = cells.known(row, "group", groups, "group")
        kind = cells.known(row, "barrier", kinds, "barrier kind")
        gap = cells.choice(row, "gap", GAPS)
        key = f"barrier_crossings/{group}/{kind}/{gap}"
        figures[key] = cells.figure(row, key, unit=_CROSSING)
        crossings.setdefault(group, {})[kind, gap] = figures[key]
        first.setdefault(group, row)
    costs = {}
    for group, row in first.items():
        costs[group] = GroundCosts(group, per_metre.get(group, {}), crossings.get(group, {}))
        missing = [cover for cover in covers if cover not in costs[group].covers]
        missing += [
            f"{kind} with gap {gap}"
            for kind in kinds
            for gap in GAPS
            if (kind, gap) not in costs[group].crossings
        ]
        if missing:
            said = f"The group '{group}' has no cost for: {', '.join(missing)}."
            mend = "Add rows to movement_costs.csv (covers) and barrier_crossings.csv (barriers)."
            cells.faults.append(row.fault(said, mend))
    return costs


def _cover(
    row: Row, cells: Cells, features: Collection[str], plot_kinds: Collection[str]
) -> GroundCover:
    return GroundCover(
        key=cells.plain_key(row),
        name=cells.text(row, "name"),
        role=cells.choice(row, "role", (_PLOT, *ROLES)),
        features=cells.known_list(row, "features", features, "feature"),
        plot_kinds=cells.known_list(row, "plot_kinds", plot_kinds, "plot kind"),
    )
