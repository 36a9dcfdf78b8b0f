"""Parcels of a cadastre made fit to work with: none twice, none over another, gaps told."""

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.overlay import united
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.texts import _, ngettext
from patchnet.knowledge.records import Knowledge

__all__ = ["clean_parcels"]

_TOUCH = 1e-6  # m2: shared ground smaller than this is a common border


def clean_parcels(
    parcels: gpd.GeoDataFrame, roads: gpd.GeoDataFrame, knowledge: Knowledge, faults: FaultList
) -> gpd.GeoDataFrame:
    """Return parcels without twins and overlaps; tell those, and gaps between parcels.

    Ground that two parcels share goes to the smaller one: a garage or a strip sold off lies in
    the outline of what it was sold from.

    Parameters
    ----------
    parcels
        Valid polygons with ``parcel``, ``where`` and ``row``.
    roads
        Table of lines: a gap that a road runs through is street.
    knowledge
        For ``overlap_share`` and ``base_parcel_gap_m2``.
    faults
        List that faults are added to.
    """
    if not len(parcels):
        return parcels
    where = ", ".join(dict.fromkeys(parcels["where"]))
    places: list[Place] = [
        (int(row), ident or None)
        for row, ident in zip(parcels["row"], parcels["parcel"], strict=True)
    ]
    shapes = parcels.geometry.to_numpy().copy()
    area = shapely.area(shapes)
    i, j = _overlapping(shapes)
    twin = shapely.equals(shapes[i], shapes[j])
    gone = np.zeros(len(shapes), dtype=bool)
    twins: list[tuple[Place, str]] = []
    for a, b in zip(i[twin], j[twin], strict=True):
        if not gone[a] and not gone[b]:
            gone[b] = True
            twins.append(
                (
                    places[b],
                    _("It is drawn exactly as row {place}: left out.").format(place=places[a][0]),
                )
            )
    keep = ~gone[i] & ~gone[j]
    i, j = i[keep], j[keep]
    shared = shapely.area(shapely.intersection(shapes[i], shapes[j]))
    share = shared / np.minimum(area[i], area[j])
    warned = [
        (
            places[b],
            _("It overlaps row {place} by {m2:.1f} m2: that ground went to the smaller.").format(
                place=places[a][0], m2=m2
            ),
        )
        for a, b, m2, part in zip(i, j, shared, share, strict=True)
        if part > knowledge.setting("overlap_share")
    ]
    order = np.lexsort((np.arange(len(shapes)), area))
    rank = np.argsort(order)
    cut_by: dict[int, list[int]] = {}
    for a, b in zip(i, j, strict=True):
        small, large = (a, b) if rank[a] < rank[b] else (b, a)
        cut_by.setdefault(int(large), []).append(int(small))
    for large, small in cut_by.items():
        rest = shapely.difference(shapes[large], united(shapes[sorted(small)]))
        parts = [p for p in shapely.get_parts(rest) if p.geom_type == "Polygon" and p.area > _TOUCH]
        gone[large] |= not parts
        shapes[large] = united(parts)
    faults.warn_rows(
        where, twins, together=_("{n} parcels are drawn twice: the second was left out."),
        mend=_("Several titles can lie on one piece of land; nothing is lost."),
    )  # fmt: skip
    faults.warn_rows(
        where,
        warned,
        together=_("{n} pairs of parcels overlap: shared ground went to the smaller."),
        mend=_("Look at them on the map before the survey."),
    )
    cleaned: gpd.GeoDataFrame = parcels.set_geometry(shapes, crs=parcels.crs)[~gone]
    cleaned = cleaned.reset_index(drop=True)
    _tell_gaps(cleaned, roads, where, knowledge, faults)
    return cleaned


def _overlapping(shapes: NDArray[np.object_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs (i < j) that share ground, in order."""
    tree = shapely.STRtree(shapes)
    i, j = tree.query(shapes, predicate="intersects")
    i, j = i[i < j], j[i < j]
    order = np.lexsort((j, i))
    i, j = i[order], j[order]
    shared = shapely.area(shapely.intersection(shapes[i], shapes[j])) > _TOUCH
    return i[shared], j[shared]


def _tell_gaps(
    parcels: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    """Tell ground that parcels enclose and none of them covers, unless a road runs there."""
    whole = united(parcels.geometry.to_numpy())
    holes = [shapely.Polygon(ring) for part in shapely.get_parts(whole) for ring in part.interiors]
    least = knowledge.setting("base_parcel_gap_m2")
    tree = shapely.STRtree(roads.geometry.to_numpy())
    gaps = [
        hole for hole in holes
        if hole.area >= least and not len(tree.query(hole, predicate="intersects"))
    ]  # fmt: skip
    if gaps:
        faults.warn(
            where,
            _("Between the parcels {there_are}, {total:,.0f} m2 in all, of none of them.").format(
                there_are=_there_are(len(gaps)), total=sum(gap.area for gap in gaps)
            ),
            _(
                "Land that was never registered looks so. Houses there get derived plots; other "
                "ground is not mapped."
            ),
        )


def _there_are(gaps: int) -> str:
    return ngettext("there is {n} gap", "there are {n} gaps", gaps).format(n=gaps)
