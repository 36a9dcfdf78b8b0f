"""Questions a plan asks back, each with what its answer would still allow."""

from collections.abc import Callable, Mapping
from functools import partial

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge, Siting
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import Candidate

__all__ = ["questions"]

Allowed = Callable[[Candidate], bool]


def questions(facts: PlotFacts, knowledge: Knowledge, kind: str) -> list[tuple[str, str, Allowed]]:
    """Facts that nobody said and that could change the answer: fact, words, what it allows.

    What makes no sense for a kind of plot is not asked: whether a street verge is rented, or
    whether an owner must keep a garden in pots.

    Parameters
    ----------
    facts
        What the householder said.
    knowledge
        For the facts.
    kind
        Key of the kind of plot.
    """
    sitings = knowledge.sitings
    public = knowledge.plot_is(kind, "asks_keeper")
    in_pots = public or knowledge.plot_is(kind, "pots_only")
    asked: list[tuple[str, str, Allowed]] = []
    if facts.small_children is None:
        asked.append(
            (
                "small_children",
                _("if children under six live here or visit"),
                lambda one: not knowledge.features[one.feature].open_water,
            )
        )
    if facts.tenure is None and not public:
        asked.append(
            ("tenure", _("if you rent"), lambda one: sitings[one.feature].tenancy != "own")
        )
    if facts.light is None:
        asked += [
            ("light", words, partial(_works_in, sitings, light))
            for light, words in (
                ("sun", _("if the plot lies in full sun")),
                ("part", _("if it lies in half shade")),
                ("shade", _("if it lies in shade")),
            )
        ]
    if facts.pots_only is None and facts.tenure != "own" and not in_pots:
        asked.append(
            (
                "pots_only",
                _("if everything must stand in pots"),
                partial(_needs_no_soil, knowledge),
            )
        )
    return asked


def _needs_no_soil(knowledge: Knowledge, one: Candidate) -> bool:
    """Whether it stands in a pot, or hangs."""
    feature = knowledge.features[one.feature]
    return one.place in ("standing", "wall", "fence", "sill", "habit") and not feature.rooted


def _works_in(sitings: Mapping[str, Siting], light: str, one: Candidate) -> bool:
    return light in sitings[one.feature].lights
