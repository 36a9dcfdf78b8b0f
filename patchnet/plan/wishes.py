"""What a person asked for, judged by itself and beside the best set."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import Candidate, RuledOut, Wished
from patchnet.plan.set_search import JudgedSets

__all__ = ["set_to_eat", "wished"]

Array = NDArray[np.float64]
_Joined = Callable[[Sequence[Candidate]], tuple[tuple[Candidate, ...], Mapping[str, float]] | None]
_LinkedAfter = Callable[[Sequence[Mapping[str, float]]], Array]


def wished(
    judged: JudgedSets,
    best: int | None,
    ruled_out: Sequence[RuledOut],
    facts: PlotFacts,
    joined: _Joined,
    linked_after: _LinkedAfter,
) -> tuple[Wished, ...]:
    """Judge every wish at its own amount, or as much of it as fits.

    Parameters
    ----------
    judged, best
        The sets, and the place of the best among them.
    joined
        Makes candidates fit together.
    linked_after
        Linked homes after each change, shape (S, groups).
    """
    position = {one.feature: k for k, one in enumerate(judged.candidates)}
    place = {members: at for at, members in enumerate(judged.sets)}
    why = {out.feature: out.why for out in ruled_out}
    members = () if best is None else judged.sets[best]
    now = judged.before
    found = []
    for key, asked in facts.wishes:
        k = position.get(key)
        alone = None if k is None else place.get((k,))
        if k is None or alone is None:
            words = why.get(key, _("The hours or the money you gave are not enough for it."))
            found.append(Wished(key, asked, 0.0, 0.0, None, in_best=False, why_not=words))
            continue
        others = [judged.candidates[m] for m in members if m != k]
        found.append(
            Wished(
                feature=key,
                asked=asked,
                amount=judged.fitted[alone][0][0].amount,
                alone=float((judged.linked_with(alone) - now).sum()),
                with_best=_on_top(others, judged.candidates[k], joined, linked_after),
                in_best=k in members,
            )
        )
    return tuple(found)


def _on_top(
    others: Sequence[Candidate], one: Candidate, joined: _Joined, linked_after: _LinkedAfter
) -> float | None:
    """Linked homes that it wins on top of the others; None where it does not fit beside them."""
    both = joined([*others, one])
    without = joined(others) if others else ((), {})
    if not others or both is None or without is None:
        return None
    linked = linked_after([both[1], without[1]])
    return float((linked[0] - linked[1]).sum())


def set_to_eat(judged: JudgedSets, best: int | None, knowledge: Knowledge) -> int | None:
    """Place of the best set that holds something to eat, where the best of all holds none.

    Parameters
    ----------
    judged
        Every set, with what it wins.
    best
        Place of the best of all; None: none wins anything.
    knowledge
        For what can be eaten.
    """

    def to_eat(some: Sequence[Candidate]) -> bool:
        return any(knowledge.sitings[one.feature].edible for one in some)

    def feeds(at: int) -> bool:
        return judged.ranking.holds(judged.sets[at], to_eat)

    if best is None or feeds(best):
        return None
    judged.look_at(holds=to_eat)
    able = [at for at in range(len(judged.sets)) if judged.gain[at] > 0 and feeds(at)]
    if judged.drawn is not None:
        able = [at for at in able if at in judged.column] or able
    return max(able, key=lambda at: (float(judged.gain[at]), -at), default=None)
