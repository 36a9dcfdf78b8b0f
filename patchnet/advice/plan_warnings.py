"""Doubt that a plan must say first."""

from collections.abc import Sequence

from patchnet.advice.plan_records import Candidate
from patchnet.advice.plot_facts import PlotFacts
from patchnet.advice.records import Assessment, PlotAnswer
from patchnet.advice.space import Space

__all__ = ["plan_warnings"]


def plan_warnings(
    assessment: Assessment,
    answer: PlotAnswer,
    facts: PlotFacts,
    space: Space,
    offered: Sequence[Candidate],
) -> tuple[str, ...]:
    """Say what the plan rests on that nobody knows, the weightiest first."""
    warnings = []
    known = assessment.known_share
    others = known[known.index != answer.plot]
    near = {plot for plot, _, share in answer.neighbours_not_known if share >= 1}
    if len(others) and (others == 0).all():
        warnings.append(
            "Nothing is known of any neighbour, so this is what would help anywhere, not what "
            "is missing here. Look first at what the nearest plots have, and run this again."
        )
    elif near:
        names = ", ".join(sorted(near)[:3])
        warnings.append(
            f"Of {len(near)} plot{'s' if len(near) > 1 else ''} round about nothing is known "
            f"(nearest by name: {names}). They are reckoned as like the plots that were seen."
        )
    if known[answer.plot] == 0:
        warnings.append(
            "Nobody has said what this plot has, so it is reckoned as like others of its kind. "
            "Tell what is there and the answer gets better."
        )
    if space.ground_m2 <= 0 and not facts.pots_only:
        warnings.append(
            "There is no free ground here. Only what stands in pots, hangs on walls or grows "
            "under what is there is offered."
        )
    if not offered:
        warnings.append("Nothing that can be added fits here.")
    if space.guessed:
        warnings.append(
            f"Nobody said {' or '.join(space.guessed)}; a usual amount was taken. Say it to get "
            "an answer for your plot."
        )
    if facts.light is None:
        warnings.append("How much sun the plot gets is not known. Say it, or check before you buy.")
    return tuple(warnings)
