"""Outlines of plots: repaired where that changes nothing much, refused where it would."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.fault_list import FaultList, Place
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge

__all__ = ["Outlines", "check_outlines", "check_overlaps", "mended", "polygons_of"]

_AREAS = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)
_TANGLED = 10  # times the outline of the box round it
_COLLECTION = shapely.GeometryType.GEOMETRYCOLLECTION


@dataclass(frozen=True, eq=False)
class Outlines:
    """Valid outlines in the order given; `good` is False where there is none to use."""

    shapes: NDArray[np.object_]
    good: NDArray[np.bool_]


def check_outlines(
    shapes: NDArray[np.object_],
    places: Sequence[Place],
    container: NDArray[np.bool_],
    *,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> Outlines:
    """Check and repair the outlines of plots.

    Parameters
    ----------
    shapes
        Geometries in metres, shape (n,), without Z; None where there is none.
    places
        Row and id of each.
    container
        Shape (n,): True where the plot is a planter or the like: those may be as narrow as they
        are.
    where
        Name of the layer.
    knowledge
        For ``repair_area_change``, the sliver and plot area settings.
    faults
        List that faults are added to.
    """
    out = shapes.copy()
    good = np.zeros(len(shapes), dtype=bool)
    repaired: list[tuple[Place, str]] = []
    most_change = knowledge.setting("repair_area_change")
    kinds = shapely.get_type_id(shapes)
    empty = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    for i, place in enumerate(places):
        row, ident = place
        if empty[i]:
            faults.error(
                where, _("The plot has no outline."), _("Draw it, or delete the row."),
                row=row, ident=ident,
            )  # fmt: skip
            continue
        if not np.isfinite(shapely.get_coordinates(shapes[i])).all():
            faults.error(
                where, _("The outline has a corner without a place (NaN or infinite)."),
                _("Draw the plot again."), row=row, ident=ident,
            )  # fmt: skip
            continue
        if kinds[i] not in (*_AREAS, _COLLECTION):
            faults.error(
                where,
                _("The plot is a {geom_type}, not an area.").format(geom_type=shapes[i].geom_type),
                _("Turn closed lines into areas; draw an outline round a point."),
                row=row,
                ident=ident,
            )
            continue
        valid = mended(shapes[i])
        if valid is None:
            faults.error(
                where,
                _("The outline crosses itself many times."),
                _("Draw the plot again: its corners are likely in the wrong order."),
                row=row,
                ident=ident,
            )
            continue
        outline = polygons_of(valid)
        if outline is None:
            faults.error(
                where,
                _("The outline encloses no area."),
                _("Draw the plot again, or delete the row."),
                row=row,
                ident=ident,
            )
            continue
        out[i] = outline
        if not shapes[i].is_valid:
            change = abs(outline.area - shapes[i].area)
            share = change / outline.area
            why = _plain_reason(shapely.is_valid_reason(shapes[i]))
            if share > most_change:
                faults.error(
                    where,
                    _(
                        "The outline {why}: repaired, its area would be {area:.1f} m2 instead of "
                        "{area_2:.1f} m2."
                    ).format(why=why, area=outline.area, area_2=shapes[i].area),
                    _("Draw it without crossing itself."),
                    row=row,
                    ident=ident,
                )
                continue
            repaired.append(
                (
                    place,
                    _("The outline {why}; repaired, its area changed by {change:.2f} m2.").format(
                        why=why, change=change
                    ),
                )
            )
        good[i] = True
    faults.warn_rows(
        where, repaired, together=_("{n} outlines cross or touch themselves and were repaired."),
        mend=_("Draw them again if they look wrong."),
    )  # fmt: skip
    _check_sizes(out, good, places, container, where=where, knowledge=knowledge, faults=faults)
    return Outlines(out, good)


def check_overlaps(
    shapes: NDArray[np.object_],
    places: Sequence[Place],
    above: NDArray[np.bool_],
    *,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    """Tell plots drawn twice (an error) and plots drawn over one another (a warning).

    `above` is True for plots that lie above others by nature (balconies, roofs): they may
    share ground. The other parameters are those of `check_outlines`; all shapes are valid.

    Parameters
    ----------
    shapes
        Shape (n,): valid outlines, metres.
    places
        n places in the user's file.
    above
        Shape (n,), see above.
    where
        Name of the layer, for faults.
    knowledge
        For what counts as an overlap.
    faults
        Added to.
    """
    tree = shapely.STRtree(shapes)
    i, j = tree.query(shapes, predicate="intersects")
    pair = (i < j) & ~above[i] & ~above[j]
    i, j = i[pair], j[pair]
    order = np.lexsort((j, i))
    i, j = i[order], j[order]
    shared = shapely.area(shapely.intersection(shapes[i], shapes[j]))
    area = shapely.area(shapes)
    share = shared / np.minimum(area[i], area[j])
    same = shapely.equals(shapes[i], shapes[j])
    warned: list[tuple[Place, str]] = []
    for a, b, square_metres, part, twin in zip(i, j, shared, share, same, strict=True):
        other = _named(places[a])
        row, ident = places[b]
        if twin:
            faults.error(
                where, _("The plot is drawn exactly as {other}.").format(other=other),
                _("Delete one of the two; a balcony above another plot is of the kind balcony."),
                row=row, ident=ident,
            )  # fmt: skip
        elif part > knowledge.setting("overlap_share"):
            what = _(
                "The plot overlaps {other} by {square_metres:.1f} m2 ({part:.0%} of the smaller)."
            ).format(other=other, square_metres=square_metres, part=part)
            warned.append((places[b], what))
    faults.warn_rows(
        where, warned, together=_("{n} pairs of plots overlap, and what is there counts in both."),
        mend=_("Draw a common border, or delete the part that is drawn twice."),
    )  # fmt: skip


def mended(shape: shapely.Geometry) -> shapely.Geometry | None:
    """Return a valid geometry of the same points, without Z; None where it is a hopeless tangle.

    Mending takes time with the square of the crossings, and an outline that is many times as
    long as the box round it has its corners in no order: nothing could be made of it.
    """
    flat = shapely.force_2d(shape)
    if flat.is_valid:
        return flat
    west, south, east, north = flat.bounds
    if flat.length > _TANGLED * 2 * (east - west + north - south):
        return None
    return shapely.make_valid(flat)


def polygons_of(shape: shapely.Geometry) -> shapely.Polygon | shapely.MultiPolygon | None:
    """Return the areas of any geometry as one, without Z; None where it encloses none."""
    parts = [
        part
        for part in shapely.get_parts(shapely.get_parts(shapely.force_2d(shape)))
        if part.geom_type == "Polygon" and part.area > 0
    ]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _check_sizes(
    shapes: NDArray[np.object_],
    good: NDArray[np.bool_],
    places: Sequence[Place],
    container: NDArray[np.bool_],
    *,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    least, most = knowledge.setting("plot_area_min_m2"), knowledge.setting("plot_area_max_m2")
    narrow, small = knowledge.setting("sliver_width_m"), knowledge.setting("sliver_area_m2")
    slivers: list[tuple[Place, str]] = []
    sizes: list[tuple[Place, str]] = []
    for i in np.flatnonzero(good).tolist():
        area = shapes[i].area
        width = 2 * area / shapes[i].length
        if not container[i] and (area < small or width < narrow):
            what = _("The plot is a sliver: {area:.2f} m2, about {width:.2f} m wide.").format(
                area=area, width=width
            )
            slivers.append((places[i], what))
        elif area < least:
            sizes.append(
                (places[i], _("The plot is tiny: {area:.0f} cm2.").format(area=area * 10000.0))
            )
        elif area > most:
            sizes.append(
                (places[i], _("The plot is very large: {area:.1f} ha.").format(area=area / 10000.0))
            )
    faults.warn_rows(
        where, slivers, together=_("{n} plots are slivers left over from drawing."),
        mend=_("Delete it, or join it to the plot it belongs to."),
    )  # fmt: skip
    faults.warn_rows(
        where, sizes, together=_("{n} plots are too large or too small to be a plot."),
        mend=_("Make sure that it is one plot, and that the coordinate system is right."),
    )  # fmt: skip


def _named(place: Place) -> str:
    row, ident = place
    return _("plot {ident}").format(ident=ident) if ident else _("row {row}").format(row=row)


def _plain_reason(reason: str) -> str:
    """Return why an outline is not valid, in plain words."""
    words = {
        "Self-intersection": _("crosses itself (a bow-tie)"),
        "Ring Self-intersection": _("touches itself"),
        "Hole lies outside shell": _("has a hole outside itself"),
        "Nested holes": _("has a hole in a hole"),
        "Nested shells": _("has a part inside a part"),
        "Duplicate Rings": _("has the same ring twice"),
        "Interior is disconnected": _("is cut in two by its holes"),
        "Holes are nested": _("has a hole in a hole"),
        "Too few points in geometry component": _("has too few corners"),
    }
    return words.get(reason.split("[", maxsplit=1)[0].strip(), _("is not a proper outline"))
