"""The pieces of ground that a base map is made of: parcels, derived plots, mapped areas."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.base.cut_by_ways import cut_by_ways, way_ground
from patchnet.base.derived import Derived, bridges, derive_plots, street_corridor
from patchnet.base.gathered import Gathered, areas_only
from patchnet.base.overlay import cut_away, united
from patchnet.base.sides import PublicRoads, sides
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge

__all__ = ["BASIS", "Grounds", "find_grounds"]

Shapes = NDArray[np.object_]

BASIS = {
    "parcel": "parcel minus buildings",
    "whole": "whole parcel, no building known on it",
    "joined": "parcel minus buildings, joined with the open parcel beside it (guessed)",
    "across": "the part of a parcel across a road from its house",
    "derived": "derived from buildings and streets, not a boundary",
    "area": "area mapped in OpenStreetMap",
    "verge": "guessed: strip between plots and carriageway, whose width may be a guess too; "
    "green or paved not known",
    "pit": "guessed: square round a mapped street tree",
    "planter": "mapped in OpenStreetMap",
    "planter_point": "guessed: square round a planter mapped as a point",
}
"""How a plot came to its outline, in words."""
_NOT_HOUSE = ("outbuilding", "none")


@dataclass(frozen=True, eq=False)
class Grounds:
    """Pieces of ground that do not overlap, buildings included, shape (n,).

    Attributes
    ----------
    table
        ``geometry``, ``origin`` (key of `BASIS`), ``parcel``, ``kind`` (of a mapped area, else
        empty).
    derived
        The tessellation, where there is one.
    corridor
        Ground of the streets.
    """

    table: gpd.GeoDataFrame
    derived: Derived | None
    corridor: shapely.Geometry


def find_grounds(inputs: Gathered, knowledge: Knowledge, faults: FaultList) -> Grounds:
    """Return parcels, plots derived where there are none, and mapped areas beside them.

    Parameters
    ----------
    inputs
        Everything gathered.
    knowledge
        For widths and settings.
    faults
        List that faults are added to: houses on no parcel.
    """
    corridor = street_corridor(inputs.roads, knowledge)
    rows = _parcels(inputs, corridor, knowledge)
    taken = united(inputs.parcels.geometry.to_numpy())
    buildings = inputs.buildings.geometry.to_numpy()
    lived = ~inputs.buildings["use"].isin(_NOT_HOUSE).to_numpy()
    inside = shapely.point_on_surface(buildings)
    shapely.prepare(taken)
    free = lived & ~shapely.intersects(taken, inside)
    strong = _strong_areas(inputs, inside[free], inputs.parcels.geometry.to_numpy(), knowledge)
    rows += strong
    taken = united([taken, *(row["geometry"] for row in strong)])
    shapely.prepare(taken)
    free &= ~shapely.intersects(taken, inside)
    derived = None
    if free.any():
        if len(inputs.parcels):
            faults.warn(
                ", ".join(dict.fromkeys(inputs.parcels["where"])),
                _(
                    "{houses} on no parcel: plots for them were derived from buildings and streets."
                ).format(houses=_houses(int(free.sum()))),
                _("Such plots are marked 'not a boundary'; ask on the doorstep."),
            )
        derived = derive_plots(buildings[free], united(buildings), corridor, taken, knowledge)
        own = buildings[free][derived.house]
        cut = cut_by_ways(derived.plots, own, buildings, way_ground(inputs.roads, knowledge))
        rows += [_row(shape, "derived") for shape in cut]
    rows += _weak_areas(inputs, rows, strong, knowledge)
    table = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=["geometry", "origin", "parcel", "kind", "name", "osm"]),
        geometry="geometry",
        crs=inputs.crs,
    )
    return Grounds(table, derived, corridor)


def _row(
    shape: shapely.Geometry, origin: str, *, parcel: str = "", kind: str = "", name: str = "",
    osm: str = "",
) -> dict[str, object]:  # fmt: skip
    return {
        "geometry": shape, "origin": origin, "parcel": parcel, "kind": kind, "name": name,
        "osm": osm,
    }  # fmt: skip


def _parcels(
    inputs: Gathered, corridor: shapely.Geometry, knowledge: Knowledge
) -> list[dict[str, object]]:
    """Parcels without those of the street itself; open ones joined to the house beside them."""
    shapes = inputs.parcels.geometry.to_numpy().copy()
    if not len(shapes):
        return []
    names = inputs.parcels["parcel"].tolist()
    buildings = inputs.buildings.geometry.to_numpy()
    lived = buildings[~inputs.buildings["use"].isin(_NOT_HOUSE).to_numpy()]
    area = shapely.area(shapes)
    built = _covered(shapes, buildings)
    homes = _covered(shapes, lived)
    small = knowledge.setting("base_outbuilding_max_m2")
    left = knowledge.setting("base_filled_share")
    public = _public(inputs)
    open_ground = homes < small
    street = shapely.area(shapely.intersection(shapes, corridor)) / area
    is_street = open_ground & (street > knowledge.setting("base_street_share"))
    filled = ~open_ground & (area - built < np.maximum(small, built * left))
    joined = _joins(shapes, open_ground & ~is_street, filled, homes, knowledge)
    rows: list[dict[str, object]] = []
    for at in np.flatnonzero(~is_street).tolist():
        if at in joined:
            continue
        own = [other for other, to in joined.items() if to == at]
        origin = "joined" if own else "whole" if open_ground[at] and built[at] == 0 else "parcel"
        shape = united(shapes[[at, *own]]) if own else shapes[at]
        label = " + ".join(name for name in (names[k] for k in [at, *own]) if name)
        first, *across = _on_each_side(shape, public, corridor, homes[at] > 0, lived, knowledge)
        rows.append(_row(first, origin, parcel=label))
        rows += [_row(one, "across", parcel=label) for one in across]
    return rows


def _public(inputs: Gathered) -> PublicRoads:
    roads = inputs.roads
    return PublicRoads(
        roads.geometry.to_numpy(), roads["kind"].to_numpy(dtype=object), bridges(roads)
    )


def _on_each_side(
    shape: shapely.Geometry,
    public: PublicRoads,
    corridor: shapely.Geometry,
    has_house: bool,  # noqa: FBT001 - told by the caller's own table
    lived: Shapes,
    knowledge: Knowledge,
) -> list[shapely.Geometry]:
    """A parcel that a public road runs through, in a piece for each side, that of the house first.

    A road that only clips it, as middle lines drawn by others do, cuts nothing.
    """
    if not public.between(np.array([shape], dtype=object))[0]:
        return [shape]
    rest = areas_only(shapely.difference(shape, corridor))
    if rest is None:
        return [shape]
    least = knowledge.setting("base_across_min_m2")
    pieces = [one for one in sides(rest, public) if one.area >= least]
    if len(pieces) < 2:
        return [shape]
    if has_house:
        pieces.sort(key=lambda one: -float(_covered(np.array([one], dtype=object), lived)[0]))
    return pieces


def _covered(shapes: Shapes, buildings: Shapes) -> NDArray[np.float64]:
    """Square metres of each shape that buildings cover."""
    found = np.zeros(len(shapes))
    if len(buildings):
        at, which = shapely.STRtree(buildings).query(shapes, predicate="intersects")
        np.add.at(found, at, shapely.area(shapely.intersection(shapes[at], buildings[which])))
    return found


def _joins(
    shapes: Shapes,
    open_ground: NDArray[np.bool_],
    filled: NDArray[np.bool_],
    homes: NDArray[np.float64],
    knowledge: Knowledge,
) -> dict[int, int]:
    """Open parcel -> parcel filled by a house that it shares most border with.

    Some cadastres give the house a parcel of its own, and its garden another.
    """
    house_at, open_at = np.flatnonzero(filled), np.flatnonzero(open_ground)
    if not len(house_at) or not len(open_at):
        return {}
    near = knowledge.setting("base_shared_edge_m")
    i, j = shapely.STRtree(shapes[house_at]).query(
        shapes[open_at], predicate="dwithin", distance=near
    )
    a, b = open_at[i], house_at[j]
    border = shapely.length(
        shapely.intersection(shapely.boundary(shapes[a]), shapely.buffer(shapes[b], near))
    )
    fits = (border > 2 * near) & (
        shapely.area(shapes[a]) <= knowledge.setting("base_join_times") * homes[b]
    )
    table = pd.DataFrame({"a": a[fits], "b": b[fits], "border": border[fits]})
    table = table.sort_values(["a", "border", "b"], ascending=[True, False, True])
    best = table.drop_duplicates("a")
    return dict(zip(best["a"].tolist(), best["b"].tolist(), strict=True))


def _strong_areas(
    inputs: Gathered, homes: Shapes, taken: Shapes, knowledge: Knowledge
) -> list[dict[str, object]]:
    """Mapped areas that come before derived plots: no house in them, or grounds of it."""
    grounds = _grounds_of_buildings(knowledge)
    shapes = inputs.areas.geometry.to_numpy()
    tree = shapely.STRtree(homes)
    bare = np.ones(len(shapes), dtype=bool)
    if len(homes):
        bare[np.unique(tree.query(shapes, predicate="contains")[0])] = False
    kinds = inputs.areas["kind"].to_numpy()
    private = np.isin(kinds, knowledge.plot_kinds_with("whole"))
    chosen = (bare | np.isin(kinds, sorted(grounds))) & ~private
    return _areas(inputs, np.flatnonzero(chosen), taken, knowledge)


def _grounds_of_buildings(knowledge: Knowledge) -> set[str]:
    """Kinds of plot that are the grounds of a building."""
    return {tag.becomes for tag in knowledge.osm_tags if tag.role == "building"}


def _weak_areas(
    inputs: Gathered,
    rows: list[dict[str, object]],
    strong: list[dict[str, object]],
    knowledge: Knowledge,
) -> list[dict[str, object]]:
    """What is left of the other areas beside everybody's ground."""
    used = {row["osm"] for row in strong}
    at = [k for k, osm in enumerate(inputs.areas["osm"]) if osm not in used]
    taken = np.array([row["geometry"] for row in rows], dtype=object)
    return _areas(inputs, np.array(at, dtype=np.intp), taken, knowledge)


def _areas(
    inputs: Gathered, at: NDArray[np.intp], taken: Shapes, knowledge: Knowledge
) -> list[dict[str, object]]:
    """Areas without what is taken; a smaller one lies in the larger one, not under it."""
    shapes = inputs.areas.geometry.to_numpy()
    corridor = shapely.buffer(
        inputs.roads.geometry.to_numpy()[~bridges(inputs.roads)],
        knowledge.setting("carriageway_width_m") / 2,
    )
    public = _public(inputs)
    order = sorted(at.tolist(), key=lambda k: (shapes[k].area, str(inputs.areas["osm"].iloc[k])))
    rows: list[dict[str, object]] = []
    shut = np.array([*taken, *corridor], dtype=object)
    free = cut_away(shapes[order], shut)
    for rank, k in enumerate(order):
        (shape,) = cut_away(free[[rank]], shapes[order[:rank]])
        left = areas_only(shape)
        if left is None:
            continue
        area = inputs.areas.iloc[k]
        rows += [
            _row(one, "area", kind=str(area["kind"]), name=str(area["name"]), osm=str(area["osm"]))
            for one in sides(left, public)
            if one.area >= knowledge.setting("base_verge_area_min_m2")
        ]
    return rows


def _houses(count: int) -> str:
    return counted(count, "house stands", "houses stand", said=f"{count:,}")
