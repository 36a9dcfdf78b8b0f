"""Ground inside a bend that must stay free, so that drivers see far enough ahead to stop.

A driver in the middle of the inner lane looks along the chord to the point of that line that lies
one stopping distance ahead along it (Manual for Streets, figure 7.19). All chords together sweep a
crescent; what of it lies behind the kerb must hold nothing to hide behind.
"""

import numpy as np
import shapely
from shapely.ops import substring

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.sight_areas import Road
from patchnet.street.site import SIDES, SightArea

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
    last = max(0.0, lane.length - reach)
    swept = []
    for start in np.append(np.arange(0.0, last, _STEP_M), last).tolist():
        path = substring(lane, start, min(start + reach, lane.length))
        corners = shapely.get_coordinates(path)
        chord = shapely.LineString(corners[[0, -1]])
        # Where the lane leaves its chord by less than the kerb does, nothing lies behind the kerb.
        if len(corners) > 2 and shapely.distance(shapely.points(corners), chord).max() > kerb_m:
            swept.append(shapely.make_valid(shapely.Polygon(corners)))
    return shapely.union_all(swept)
