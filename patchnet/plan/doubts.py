"""Doubts that a plan must mention first."""

from collections.abc import Sequence

from patchnet.assess.assessment import Assessment, PlotAnswer
from patchnet.core.texts import _, ngettext
from patchnet.plan.facts import LIGHT_WORDS, Light, PlotFacts
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.space import Space

__all__ = ["light_words", "plan_warnings"]


def light_words(said: Light | None, worked_out: Light | None) -> tuple[str, ...]:
    """Say which light was used where the map knows it: a person's word counts first.

    Parameters
    ----------
    said
        What the householder said; None: nothing.
    worked_out
        What the map tells; None: nothing.
    """
    if worked_out is None or said == worked_out:
        return ()
    map_says = LIGHT_WORDS[worked_out]
    if said is None:
        words = _(
            "Light was worked out from the heights of what stands nearby: {map_says} over the "
            "whole plot. Say so if you know better."
        ).format(map_says=map_says)
    else:
        words = _(
            "You said {light}; the heights of what stands nearby give {map_says} over the whole "
            "plot. We went by what you said."
        ).format(light=LIGHT_WORDS[said], map_says=map_says)
    return (words,)


def plan_warnings(
    assessment: Assessment,
    answer: PlotAnswer,
    facts: PlotFacts,
    space: Space,
    offered: Sequence[Candidate],
) -> tuple[str, ...]:
    """Say which unknown things the plan depends on, the most important first.

    Parameters
    ----------
    assessment
        The street as it is.
    answer
        The plot as it is.
    facts
        What the householder said.
    space
        What room there is.
    offered
        What fits by itself.
    """
    warnings = []
    known = assessment.known_share
    others = known[known.index != answer.plot]
    near = sorted((away, plot) for plot, away, share in answer.neighbours_not_known if share >= 1)
    if len(others) and (others == 0).all():
        warnings.append(
            _(
                "Nothing is known about any neighbour, so this is what would help anywhere, not "
                "what is missing here. See what the nearest plots have first, and run this again."
            )
        )
    elif near:
        names = ", ".join(plot for __, plot in near[:3])
        warnings.append(
            ngettext(
                "Nothing is known about {n} plot nearby (nearest: {names}). We assumed they are "
                "like the ones that were seen.",
                "Nothing is known about {n} plots nearby (nearest: {names}). We assumed they are "
                "like the ones that were seen.",
                len(near),
            ).format(n=len(near), names=names)
        )
    if known[answer.plot] == 0:
        warnings.append(
            _(
                "Nobody has said what this plot has, so we assumed it is like others of its kind. "
                "Say what is there and the answer gets better."
            )
        )
    pots = assessment.knowledge.plot_is(answer.kind, "pots_only")
    # Whoever has a balcony or a planter knows that there is no open ground.
    if space.ground_m2 <= 0 and not facts.pots_only and not pots:
        warnings.append(
            _(
                "There is no free ground here. Only things in pots, on walls or under what already "
                "grows are offered."
            )
        )
    if not offered:
        warnings.append(_("Nothing that can be added fits here."))
    if space.guessed:
        warnings.append(
            _(
                "Nobody said {guessed}; we took a usual amount. Say it to get an answer for your "
                "plot."
            ).format(guessed=_(" or ").join(space.guessed))
        )
    if facts.light is None:
        warnings.append(
            _("How much sun the plot gets is not known. Say it, or check before you buy.")
        )
    return tuple(warnings)
