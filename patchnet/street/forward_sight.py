"""Ground inside a bend that must stay free, so that drivers see far enough ahead to stop.

A driver in the middle of the inner lane looks along the chord to the point of that line that lies
one stopping distance ahead along it (Manual for Streets, figure 7.19). All chords together sweep a
crescent; what of it lies behind the kerb must hold nothing to hide behind.
"""

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.sight_areas import Road
from patchnet.street.site import SIDES, Floats, SightArea

__all__ = ["forward_areas"]

_STEP_M = 1.0  # along the lane
_SLIVER_M2 = 0.02  # corners of a line that is drawn a little crooked


def forward_areas(own: Road, reach_m: float, *, knowledge: Knowledge) -> list[SightArea]:
    """Return the sight areas inside the bends of a road, a bend at a time.

    Parameters
    ----------
    own
        The road: its line, half its width, and where its speed comes from.
    reach_m
        Stopping sight distance along the lane, metres.
    knowledge
        For where in the carriageway the lane is.
    """
    aside = own.half_m * knowledge.street_rule("lane_share")
    # As wide as the kerbs are apart, so that what is left lies behind them.
    road = own.line.buffer(own.half_m, cap_style="flat", join_style="mitre")
    crescents = []
    for side in SIDES:
        lane = own.line.offset_curve(aside if side == "left" else -aside, join_style="mitre")
        crescents += [_swept(part, reach_m, own.half_m - aside) for part in shapely.get_parts(lane)]
    areas = []
    for piece in shapely.get_parts(shapely.union_all(crescents).difference(road)):
        if piece.area > _SLIVER_M2:
            label = _("in the bend at {at:.0f} m").format(at=own.line.project(piece.centroid))
            areas.append(
                SightArea("sight_forward", label, piece, round(reach_m, 1), own.speed_basis)
            )
    return areas


def _swept(lane: shapely.LineString, reach: float, kerb_m: float) -> shapely.Geometry:
    """Return the ground between a lane's middle and all chords of one stopping distance."""
    if lane.length < _STEP_M:
        return shapely.Polygon()
    length = lane.length
    last = max(0.0, length - reach)
    starts = np.append(np.arange(0.0, last, _STEP_M), last)
    stops = np.minimum(starts + reach, length)
    corners = shapely.get_coordinates(lane)
    corner_points = shapely.points(corners)
    chainage = _chainage(corners)
    ends = np.stack(
        [
            shapely.get_coordinates(shapely.line_interpolate_point(lane, starts)),
            shapely.get_coordinates(shapely.line_interpolate_point(lane, stops)),
        ],
        axis=1,
    )
    first = np.searchsorted(chainage, starts, side="right").tolist()
    behind = np.searchsorted(chainage, stops, side="left").tolist()
    swept = []
    for chord, begin, end in zip(ends, first, behind, strict=True):
        # Where the lane leaves its chord by less than the kerb does, nothing lies behind the kerb.
        if begin < end:
            apart = shapely.distance(corner_points[begin:end], shapely.LineString(chord))
            if apart.max() > kerb_m:
                path = np.concatenate([chord[:1], corners[begin:end], chord[1:]])
                swept.append(shapely.make_valid(shapely.Polygon(path)))
    return shapely.union_all(swept)


def _chainage(corners: Floats) -> Floats:
    """Shape (n - 1,): how far along a line its corners lie, metres; the last one left out."""
    steps = np.diff(corners, axis=0)
    # Summed up as `shapely.ops.substring` does, which would go over the whole line each time.
    lengths = [(x**2 + y**2) ** 0.5 for x, y in steps[:-1].tolist()]
    return np.cumsum([0.0, *lengths])
