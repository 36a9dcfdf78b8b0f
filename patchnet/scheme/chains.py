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
Chain = tuple[int, ...]
_LEAST = 1e-6  # homes: where there are none yet, what is won is not infinite
_LONGEST = 6  # sites in a chain
_HEADS = 48  # patches that chains start from
_ENDS = 12  # chains of one length, start and group that are told apart by where they end
_MOST = 48  # chains of one group
_ALIKE = 3  # chains that differ from a more promising one in a single site


def chains_from(state: State, rules: SchemeRules, most: int) -> list[tuple[Pick, ...]]:
    """Chains of two and more planters worth trying now, the most promising first.

    What a chain promises is what closing its break wins all animals for which it does, in the
    common currency and for each planter. Beside those that promise most over all animals there
    are always the first two of each animal.

    Parameters
    ----------
    state
        The planters that are there now.
    rules
        What a scheme must keep to.
    most
        How many at most.
    """
    open_to = rules.open_to(state.picks)
    left = rules.planters - len(state.picks)
    free_of_any = np.flatnonzero(open_to.any(axis=1))
    if left < 2 or len(free_of_any) < 2:
        return []
    promise: dict[Chain, float] = {}
    first: list[Chain] = []
    leader: dict[Chain, int] = {}
    for at, group in enumerate(state.groups):
        free = np.flatnonzero((open_to & group.fixed.stop).any(axis=1))
        if len(free) < 2:
            continue
        # What the worth rises by for one more of the sum over pairs of homes.
        slope = state.worth.tangent(at, max(float(np.sqrt(group.numerator)), _LEAST))[1]
        own = _of_group(group, rules, free, min(left, _LONGEST))
        first += [chain for _, chain in own[:2]]
        for rate, chain in own:
            leader.setdefault(chain, at)
            promise[chain] = promise.get(chain, 0.0) + slope * rate
    ordered = sorted(promise, key=lambda chain: (-promise[chain], chain))
    chosen = list(dict.fromkeys([*_unlike(ordered)[:most], *first]))
    if not chosen:
        return []
    recipe = _best_recipes(state, open_to, sorted({site for chain in chosen for site in chain}))
    chains = []
    for chain in chosen:
        stop = state.groups[leader[chain]].fixed.stop
        picks = tuple((site, next(r for r in recipe[site] if stop[site, r])) for site in chain)
        if rules.allows((*state.picks, *picks)):
            chains.append(picks)
    return chains


def _unlike(ordered: Sequence[Chain]) -> list[Chain]:
    """Chains without most of those that go the same way as a better one but for one site."""
    seen: dict[tuple[int, Chain], int] = {}
    kept = []
    for chain in ordered:
        parts = [(len(chain), chain[:at] + chain[at + 1 :]) for at in range(len(chain))]
        times = max(seen.get(part, 0) for part in parts)
        if times < _ALIKE:
            kept.append(chain)
        for part in parts:
            seen[part] = seen.get(part, 0) + 1
    return kept


def _best_recipes(
    state: State, open_to: NDArray[np.bool_], sites: Sequence[int]
) -> dict[int, list[int]]:
    """For each site its recipes, first the one that wins most by itself."""
    picks = [(site, int(recipe)) for site in sites for recipe in np.flatnonzero(open_to[site])]
    best: dict[int, list[tuple[float, int]]] = {}
    for (site, recipe), value in zip(picks, state.after_at_most(picks).tolist(), strict=True):
        best.setdefault(site, []).append((-value, recipe))
    return {site: [recipe for _, recipe in sorted(row)] for site, row in best.items()}


def _of_group(
    group: GroupState, rules: SchemeRules, free: NDArray[np.intp], longest: int
) -> list[tuple[float, Chain]]:
    """Chains that improve routes of one group, and what each planter of them promises to win.

    That is in homes squared, the most first.
    """
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
    mass = 2 * now.flow[heads][:, None] * now.flow[goals]
    so_far = now.chances[np.ix_(heads, places)]
    came: list[NDArray[np.int64]] = []
    rated: dict[Chain, float] = {}
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
                        key = tuple(sorted(free[chain].tolist()))
                        rated[key] = max(rated.get(key, 0.0), float(rate[goal]))
    ordered = sorted(rated, key=lambda chain: (-rated[chain], chain))
    return [(rated[chain], chain) for chain in _unlike(ordered)[:_MOST]]


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
