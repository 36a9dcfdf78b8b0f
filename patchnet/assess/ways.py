"""What a group that walks finds between two plots: the cheapest way, and what would ease it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.over_ground import OverGround
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.records import Group, Knowledge
from patchnet.movement.corridors import Corridor, corridor
from patchnet.movement.current import circuit
from patchnet.movement.fence_gaps import GapPlan, gaps_in_order

__all__ = ["WayBetween", "gaps_between", "walking_ground", "walking_group", "way_between"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class WayBetween(Shown):
    """The cheapest way between two plots, and all ways taken together.

    Attributes
    ----------
    corridor
        The cheapest way, as a line and as a band.
    resistance
        Effective resistance: many ways side by side make it small, one narrow place makes it
        large (metres of best ground per metre of width); inf: no way; None: not worked out.
    current
        Shape of the grid, amperes, where 1 A runs from one plot to the other; None: not worked
        out.
    not_worked_out
        Why not: the ground has too many cells (with the cell size that would fit); else empty.
    """

    corridor: Corridor
    resistance: float | None
    current: NDArray[np.float32] | None
    not_worked_out: str = ""


def walking_group(knowledge: Knowledge, key: str) -> Group:
    """Return a group that walks.

    Parameters
    ----------
    knowledge
        The tables.
    key
        Key of the group.

    Raises
    ------
    WrongUse
        If there is no such group, or it flies: the message names those that walk.
    """
    groups: Mapping[str, Group] = knowledge.groups
    if key not in groups:
        hint = nearest_hint(key, groups)
        raise WrongUse(
            _("There is no animal {key!r}.{hint} 'patchnet groups' lists them.").format(
                key=key, hint=hint
            )
        )
    if groups[key].mode != "ground":
        walk = ", ".join(name for name, group in groups.items() if group.mode == "ground")
        raise WrongUse(
            _(
                "The group {key!r} flies, so nothing on the ground stops it. Groups that walk: "
                "{walk}."
            ).format(key=key, walk=walk)
        )
    return groups[key]


def walking_ground(assessment: Assessment, group: str) -> OverGround:
    """Return the ground of a group of this answer.

    Parameters
    ----------
    assessment
        The answer.
    group
        Key of the group.

    Raises
    ------
    WrongUse
        If there is none: the group is not in the answer, flies, or straight lines were asked for.
    """
    walking_group(assessment.knowledge, group)
    answer = assessment.groups.get(group)
    if answer is None or answer.ground is None:
        raise WrongUse(
            _("This answer holds no ground for the group {group!r}.").format(group=group)
        )
    return answer.ground


def way_between(assessment: Assessment, group: str, plot_a: str, plot_b: str) -> WayBetween:
    """Find the cheapest way between two plots and their effective resistance.

    Other plots cost what their ground costs; inside the two plots moving is free.

    Parameters
    ----------
    assessment
        The answer.
    group
        Key of the group.
    plot_a, plot_b
        Ids of the two plots.

    Raises
    ------
    WrongUse
        If there is no such plot, both are the same, or the group has no ground here.
    """
    surface = walking_ground(assessment, group).surface
    _ensure_plots(assessment, plot_a, plot_b)
    knowledge = assessment.knowledge
    way = corridor(surface, plot_a, plot_b, knowledge)
    try:
        sheet = circuit(surface, knowledge, patches=[plot_a, plot_b])
    except WrongUse as error:  # too many cells: the way itself is an answer all the same
        return WayBetween(way, None, None, str(error))
    resistance = float(sheet.resistance([(plot_a, plot_b)])[0])
    return WayBetween(way, resistance, sheet.current([(plot_a, plot_b)]))


def gaps_between(
    assessment: Assessment, group: str, plot_a: str, plot_b: str, *, most: int = 6
) -> tuple[GapPlan, ...]:
    """Find which barriers to open between two plots, each counted with those before it.

    Parameters
    ----------
    assessment
        The answer.
    group
        Key of the group.
    plot_a, plot_b
        Ids of the two plots.
    most
        How many steps at most, 1 or more.

    Raises
    ------
    WrongUse
        As `way_between`, or if `most` is below 1.
    """
    surface = walking_ground(assessment, group).surface
    _ensure_plots(assessment, plot_a, plot_b)
    return gaps_in_order(surface, plot_a, plot_b, most=most)


def _ensure_plots(assessment: Assessment, *plots: str) -> None:
    for plot in plots:
        assessment.neighbourhood.row_of(plot)
