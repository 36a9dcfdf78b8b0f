"""Chains of planters that close a break together: the moves that no single planter shows.

With Q the chances along best routes today, the best route from a patch i over exactly q sites
that are not there yet, the last of them v, is a_1(i, v) = Q(i, v) and
a_q+1(i, v) = max over u of a_q(i, u) Q(u, v). So chains are found without building anything.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.scheme.bound_kernels import one_more
from patchnet.scheme.state import GroupState, Pick, State
from patchnet.scheme.together import SchemeRules

__all__ = ["chains_from"]

Array = NDArray[np.float64]
_LONGEST = 6  # sites in a chain
_HEADS = 16  # patches that chains start from
_ENDS = 12  # chains of one length, start and group that are told apart by where they end
_MOST = 24  # chains of one group


def chains_from(state: State, rules: SchemeRules) -> list[tuple[Pick, ...]]:
    """Chains of two and more planters worth trying now, each once, by group and promise.

    Parameters
    ----------
    state
        The planters that are there now.
    rules
        What a scheme must keep to.
    """
    open_to = rules.open_to(state.picks)
    left = rules.planters - len(state.picks)
    found: dict[tuple[Pick, ...], None] = {}
    for group in state.groups:
        free = np.flatnonzero((open_to & group.fixed.stop).any(axis=1))
        if left < 2 or len(free) < 2:
            continue
        recipe = _best_recipes(state, group, open_to, free)
        for chain in _of_group(group, rules, free, min(left, _LONGEST)):
            picks = tuple((site, recipe[site]) for site in chain)
            if rules.allows((*state.picks, *picks)):
                found.setdefault(picks, None)
    return list(found)


def _best_recipes(
    state: State, group: GroupState, open_to: NDArray[np.bool_], free: NDArray[np.intp]
) -> dict[int, int]:
    """For each site the recipe that stops the group and wins most by itself."""
    picks = [
        (int(site), int(recipe))
        for site in free
        for recipe in np.flatnonzero(open_to[site] & group.fixed.stop[site])
    ]
    best: dict[int, tuple[float, int]] = {}
    for (site, recipe), value in zip(picks, state.after_at_most(picks).tolist(), strict=True):
        if site not in best or value > best[site][0]:
            best[site] = (value, recipe)
    return {site: recipe for site, (_, recipe) in best.items()}


def _of_group(
    group: GroupState, rules: SchemeRules, free: NDArray[np.intp], longest: int
) -> list[tuple[int, ...]]:
    """Chains that improve routes of one group, the most promising for each planter first."""
    fixed, now = group.fixed, group.now
    goals = np.flatnonzero(now.active & (now.homes > 0))
    heads = _heads(now.chances, now.flow, goals)
    if len(heads) == 0:
        return []
    places = fixed.plots + free
    between = now.chances[np.ix_(places, places)] * ~rules.conflicts[np.ix_(free, free)]
    last = now.chances[np.ix_(places, goals)]
    today = now.chances[np.ix_(heads, goals)]
    # What ends in a break holds stands for what hangs on to it: its flow.
    mass = now.flow[heads][:, None] * now.flow[goals]
    so_far = now.chances[np.ix_(heads, places)]
    came: list[NDArray[np.int64]] = []
    rated: list[tuple[float, tuple[int, ...]]] = []
    for count in range(2, longest + 1):
        grown, before = np.empty_like(so_far), np.empty(so_far.shape, dtype=np.int64)
        one_more(so_far, between, grown, before)
        came.append(before)
        so_far = grown
        if not so_far.any():
            break
        ways, ends = np.empty(today.shape), np.empty(today.shape, dtype=np.int64)
        one_more(so_far, last, ways, ends)
        for row, end in enumerate(ends):
            rate = mass[row] * np.maximum(ways[row] - today[row], 0.0) / count
            for goal in np.argsort(-rate, kind="stable")[:_ENDS].tolist():
                if rate[goal] > 0:
                    chain = _traced(came, row, int(end[goal]))
                    if len(set(chain)) == count:
                        rated.append((float(rate[goal]), tuple(sorted(free[chain].tolist()))))
    rated.sort(key=lambda each: (-each[0], each[1]))
    return list(dict.fromkeys(chain for _, chain in rated))[:_MOST]


def _traced(came: Sequence[NDArray[np.int64]], row: int, end: int) -> list[int]:
    chain = [end]
    for before in reversed(came):
        chain.append(int(before[row, chain[-1]]))
    return chain


def _heads(chances: Array, flow: Array, patches: NDArray[np.intp]) -> NDArray[np.intp]:
    """Patches with most around them, a few of every connected group and neighbourhood."""
    order = patches[np.argsort(-flow[patches], kind="stable")]
    closest = np.zeros(len(flow))
    heads: list[int] = []
    # First what stands well apart, then whatever is best linked.
    for apart in (0.25, 1.0):
        for place in order.tolist():
            if len(heads) >= _HEADS:
                break
            if closest[place] < apart and place not in heads:
                heads.append(place)
                closest = np.maximum(closest, chances[place])
    return np.array(heads, dtype=np.intp)
