"""Things that fit by their size and yet have no place on the plot: no wall there is sunny."""

from dataclasses import replace

import numpy as np
import shapely

from patchnet.core.texts import N_, Words
from patchnet.knowledge.records import Knowledge
from patchnet.plan.plot_ground import PlotGround, plot_ground
from patchnet.plan.plot_plan import Candidate, RuledOut
from patchnet.plan.positions import Positions, wall_positions
from patchnet.plan.wanted import Thing, off_aspect, wall_hours
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["seen_on", "with_place"]

_PARTS = (1.0, 0.75, 0.5, 0.25)  # of a climber: as much as the longest wall has room for
_AT_WALL = ("wall", "fence", "sill")
_WHY: Words[str, str] = Words(
    {
        "sun": N_("No wall or fence that could bear it is in the sun for as long as it wants."),
        "shade": N_("Every wall or fence for it is in the sun for longer than it likes."),
        "aspect": N_("No wall or fence that could bear it faces the way it should."),
        "length": N_("No wall or fence on the map is long or high enough for it."),
        "ground": N_("No ground here is in the sun for as long as it wants."),
    }
)


def seen_on(neighbourhood: Neighbourhood, plot: str) -> dict[str, float]:
    """Return what is known to be on a plot: feature to amount, in its own unit.

    Parameters
    ----------
    neighbourhood
        With the answers.
    plot
        Id of the plot.
    """
    answers = neighbourhood.answers
    row = answers.amount[neighbourhood.row_of(plot)].tolist()
    return {key: much for key, much in zip(answers.features, row, strict=True) if much > 0}


def with_place(
    fitting: tuple[tuple[Candidate, ...], tuple[RuledOut, ...]],
    neighbourhood: Neighbourhood,
    plot: str,
    knowledge: Knowledge,
    *,
    light_said: bool = False,
    surface: SurfaceHeights | None = None,
) -> tuple[tuple[Candidate, ...], tuple[RuledOut, ...]]:
    """Rule out what suits no place of the plot, each thing tried by itself, saying why.

    What grows up a wall is cut down to the longest wall or fence that is drawn. Only what the map
    knows speaks against a thing: the sun where heights are known and nobody
    said what the light is, and walls where walls or fences are drawn.

    Parameters
    ----------
    fitting
        What fits by its size, and what is ruled out already.
    neighbourhood
        With what is drawn.
    plot
        Id of the plot.
    knowledge
        For what a thing wants.
    light_said
        Whether the householder said how light it is: then that counts, not the map.
    surface
        Measured heights, or None.

    Returns
    -------
    tuple
        The same with fewer that fit and more ruled out.
    """
    offered, ruled = fitting
    climbing = {one.feature for one in offered if _covers_a_wall(one, knowledge)}
    wanting = {one.feature for one in offered if _wants_light(one, knowledge)}
    if neighbourhood.audience == "public" or neighbourhood.generalised:
        return fitting
    if not climbing | wanting:
        return fitting
    has = seen_on(neighbourhood, plot)
    ground = plot_ground(neighbourhood, plot, knowledge, has=has, surface=surface)
    out: dict[str, str] = {}
    fits: list[Candidate] = []
    for whole in offered:
        one = whole
        if one.feature in climbing:
            shorter = _as_long_as_a_wall(one, ground, neighbourhood, knowledge)
            if shorter is None and ground.edges:
                out[one.feature] = "length"
                continue
            one = shorter or one  # where fences are not drawn there may be one
        fits.append(one)
        if one.feature not in wanting:
            continue
        if one.place in _AT_WALL:
            lack = _at_walls(one, ground, neighbourhood, knowledge, light_said=light_said)
        else:
            lack = "" if light_said else _on_ground(one, ground, knowledge)
        if lack:
            out[one.feature] = lack
    more = (
        RuledOut(key, _WHY[why], "room" if why == "length" else "light") for key, why in out.items()
    )
    return tuple(one for one in fits if one.feature not in out), (*ruled, *more)


def _covers_a_wall(one: Candidate, knowledge: Knowledge) -> bool:
    return one.place in _AT_WALL and knowledge.features[one.feature].measure == "m2"


def _as_long_as_a_wall(
    one: Candidate, ground: PlotGround, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> Candidate | None:
    """What grows up a wall, cut down to the longest that has room for it; None where none has."""
    for part in _PARTS:
        cut = replace(
            one,
            amount=part * one.amount,
            ground_m2=part * one.ground_m2,
            length_m=part * one.length_m,
        )
        if cut.amount < knowledge.features[one.feature].smallest.value:
            return None
        if len(_wall_places(cut, ground, neighbourhood, knowledge)):
            return cut
    return None


def _wall_places(
    one: Candidate, ground: PlotGround, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> Positions:
    thing = Thing(
        key=one.feature,
        amount=one.amount,
        place=one.place,
        ground_m2=one.ground_m2,
        length_m=one.length_m,
        measure=knowledge.features[one.feature].measure,
        placing=knowledge.placings.get(one.feature),
    )
    nothing = shapely.GeometryCollection()
    return wall_positions(thing, ground, neighbourhood, knowledge, taken=nothing)


def _wants_light(one: Candidate, knowledge: Knowledge) -> bool:
    wants = knowledge.placings.get(one.feature)
    return wants is not None and (wants.sun_least is not None or wants.sun_most is not None)


def _on_ground(one: Candidate, ground: PlotGround, knowledge: Knowledge) -> str:
    """Whether even the sunniest spot has too little sun."""
    least = knowledge.placings[one.feature].sun_least
    hours = ground.hours(ground.months[0])
    if least is None or hours is None or one.ground_m2 <= 0:
        return ""
    return "ground" if float(hours.max()) < least.low else ""


def _at_walls(
    one: Candidate,
    ground: PlotGround,
    neighbourhood: Neighbourhood,
    knowledge: Knowledge,
    *,
    light_said: bool,
) -> str:
    """What even the wall that suits best lacks; nothing where no wall is known."""
    if not ground.edges and one.place != "sill":
        return ""  # fences are not drawn, and there may be one
    placing = knowledge.placings[one.feature]
    found = _wall_places(one, ground, neighbourhood, knowledge)
    if not len(found) or found.walls is None:
        return ""
    hours = None if light_said else wall_hours(ground, found.walls, found.wall)
    bad = {}
    if hours is not None and placing.sun_least is not None:
        bad["sun"] = hours < placing.sun_least.low
    if hours is not None and placing.sun_most is not None:
        bad["shade"] = hours > placing.sun_most.high
    if placing.sun_least is not None:  # what wants shade may hang in it on any wall
        bad["aspect"] = off_aspect(found.walls.faces[found.wall], placing.aspects) > 0
    if not bad or not np.logical_or.reduce(list(bad.values())).all():
        return ""
    return max(bad, key=lambda lack: int(np.count_nonzero(bad[lack])))
