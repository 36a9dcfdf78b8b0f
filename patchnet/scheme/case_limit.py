"""How far the figure that decides may move before the case for a scheme fails.

A scheme that closes a break of 52 m for moths rests on how far moths cross. So the hop of the
animal that wins most is moved, all else as it is, over its range in the tables, and it is told
where the scheme no longer wins a stated share of what it wins now.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from patchnet.assess.assessment import Assessment
from patchnet.knowledge.drawn import with_values
from patchnet.knowledge.records import Recipe
from patchnet.scheme.drawn_states import state_of
from patchnet.scheme.filled import FilledState
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.planted import planted_amounts
from patchnet.scheme.planter_scheme import CaseLimit
from patchnet.street.site import Site

__all__ = ["case_limit", "first_failing"]

_STEPS = 8  # values looked at on each side, by equal ratios
_CLOSE_M = 0.5  # how exactly a limit is told


def case_limit(
    before: Assessment,
    planters: Sequence[tuple[Site, Recipe]],
    ids: Sequence[str],
    gains: dict[str, float],
) -> CaseLimit | None:
    """Find how far the hop of the animal that decides may move.

    Parameters
    ----------
    before
        The street as it is.
    planters
        The scheme.
    ids
        Ids that no plot has, one a planter.
    gains
        What the scheme is worth by each animal, in shares of the joint worth (no unit), with its
        votes, with the figures in use.

    Returns
    -------
    CaseLimit or None
        None where the scheme wins nothing, or nobody knows how far the figure ranges.
    """
    knowledge = before.knowledge
    whole, share = sum(gains.values()), knowledge.setting("case_fails_share")
    if whole <= 0 or not planters:
        return None
    key = max(gains, key=lambda group: (gains[group], group))
    hop = knowledge.groups[key].hop
    if not hop.low < hop.high:
        return None
    # What the animal must still win by itself, the others winning what they win now.
    weight = gains[key]
    sites, recipes = [site for site, _ in planters], [recipe for _, recipe in planters]
    amounts = planted_amounts(sites, recipes, knowledge, before.neighbourhood.country)

    def stands(metres: float) -> bool:
        # What grows on the plots has nothing to do with the hop; all else is worked out with it.
        answer = replace(before, knowledge=with_values(knowledge, {hop.key: metres}))
        fields = group_fields(answer, sites, ids, recipes, [key], amounts)
        state = state_of(answer, fields)
        won = FilledState(state).worth([(at, at) for at in range(len(sites))])
        return whole - weight + votes * won >= share * whole

    votes = _votes(before, key)
    ends = [
        first_failing(stands, hop.value, end, steps=_STEPS, close=_CLOSE_M)
        for end in (hop.low, hop.high)
    ]
    return CaseLimit(
        group=key, figure=hop.key, value=hop.value, below=ends[0], above=ends[1],
        looked=(hop.low, hop.high), share=share,
    )  # fmt: skip


def _votes(before: Assessment, key: str) -> float:
    """The animal's share in the votes of all that were asked for."""
    votes = {each: before.knowledge.groups[each].weight.value for each in before.groups}
    return votes[key] / sum(votes.values())


def first_failing(
    stands: Callable[[float], bool], start: float, end: float, *, steps: int, close: float
) -> float | None:
    """Find the first value on the way from one to another at which something no longer stands.

    Values are looked at in equal ratios, so that what fails between two of them and stands again
    at the next is not seen.

    Parameters
    ----------
    stands
        Whether it stands at a value.
    start, end
        Positive numbers; it stands at the start.
    steps
        How many values are looked at.
    close
        How near the value is found, in its unit.

    Returns
    -------
    float or None
        The value, in the unit of start and end, on the side where it stands; None: it stands at
        all values looked at.

    Examples
    --------
    >>> first_failing(lambda metres: metres < 53, 50, 200, steps=4, close=0.5) > 52.5
    True
    """
    if start == end:
        return None
    good = start
    values = np.geomspace(start, end, steps + 1).tolist()
    at = next((at for at in range(1, steps + 1) if not stands(values[at])), None)
    if at is None:
        return None
    good, bad = values[at - 1], values[at]
    while abs(bad - good) > close:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if stands(middle) else (good, middle)
    return float(good)
