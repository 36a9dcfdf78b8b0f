"""The search for a scheme: chains of planters, one planter at a time, exchanges, new starts.

The gain is not submodular: two planters can close a break that neither closes alone. So beside
the best single planter each step also tries whole chains along the best routes that would be
there if every site were a stop, and takes what wins most for each planter. Afterwards planters
are exchanged as long as that wins, from several starts. Every scheme met on the way may become
the best of its size.
"""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from patchnet.advice.scheme_field import GroupField
from patchnet.advice.scheme_rules import SchemeRules
from patchnet.advice.scheme_state import Pick, State

__all__ = ["Best", "every_scheme", "search_schemes"]

Array = NDArray[np.float64]
_TIE = 1e-12
_STARTS = 4  # the plain one, one led by chains, and some with a shaken order
_SHAKE = 0.15  # gains are shaken by up to this share in the later starts
_PAIRS = 12  # pairs of patches, by what linking them would win, whose chains are tried in a step
_ROUNDS = 3  # rounds of exchanges at most


@dataclass
class Best:
    """The best scheme met for each number of planters."""

    value: dict[int, float] = field(default_factory=dict)
    picks: dict[int, tuple[Pick, ...]] = field(default_factory=dict)
    judged: int = 0

    def meet(self, picks: Sequence[Pick], value: float) -> None:
        """Take note of a scheme."""
        count = len(picks)
        key = tuple(sorted(picks))
        known = self.value.get(count, -np.inf)
        if value > known + _TIE or (value > known - _TIE and key < self.picks[count]):
            self.value[count] = max(value, known)
            self.picks[count] = key


def every_scheme(start: State, rules: SchemeRules, *, most: int) -> Best | None:
    """Judge every scheme there is; None where there are more than `most` of them."""
    sites, recipes = rules.costs.shape
    free = list(itertools.product(range(sites), range(recipes)))
    left = rules.planters - len(start.picks)
    if sum(comb(len(free), size) for size in range(left + 1)) > most:
        return None
    best = Best()

    def grow(state: State, after: int) -> None:
        best.meet(state.picks, state.value)
        best.judged += 1
        open_to = rules.open_to(state.picks)
        for at in range(after, len(free)):
            if open_to[free[at]]:
                grow(state.with_all([free[at]]), at + 1)

    grow(start, 0)
    return best


def search_schemes(
    start: State, fields: Sequence[GroupField], rules: SchemeRules, *, seed: int
) -> Best:
    """Search for good schemes of every size.

    Parameters
    ----------
    start
        The scheme so far: empty, or the sites locked in.
    fields
        The groups.
    rules
        Which planters can stand together.
    seed
        For the shaken starts; the same seed gives the same schemes.
    """
    best = Best()
    best.meet(start.picks, start.value)
    chains = _Chains(fields, rules)
    shake = np.random.default_rng(seed)
    for turn in range(_STARTS):
        shaken = None if turn < 2 else shake
        state = _climb(start, rules, best, chains if turn else None, shaken)
        state = _exchange(start, state, rules, best)
        _thin_out(start, state, best)
    for count in sorted(best.picks):
        if len(start.picks) < count:
            _refill(start, rules, best, count)
    return best


def _singles(state: State, rules: SchemeRules) -> list[tuple[float, Pick]]:
    """Every planter that could be put, with the value it would give."""
    return [
        (state.after((int(site), int(recipe))), (int(site), int(recipe)))
        for site, recipe in np.argwhere(rules.open_to(state.picks))
    ]


def _climb(
    start: State,
    rules: SchemeRules,
    best: Best,
    chains: "_Chains | None",
    shake: "np.random.Generator | None",
) -> State:
    """Put planters as long as there is room, money and gain."""
    state = start.copy()
    while True:
        moves: list[tuple[float, tuple[Pick, ...]]] = []
        for value, pick in _singles(state, rules):
            best.judged += 1
            best.meet((*state.picks, pick), value)
            moves.append((_rate(value - state.value, 1, rules.cost([pick]), rules), (pick,)))
        for chain in chains.of(state) if chains is not None else ():
            grown = state.with_all(chain)
            best.judged += 1
            best.meet(grown.picks, grown.value)
            won = grown.value - state.value
            moves.append((_rate(won, len(chain), rules.cost(chain), rules), chain))
        if shake is not None:
            moves = [(rate * (1 + _SHAKE * shake.uniform(-1, 1)), move) for rate, move in moves]
        moves = [(rate, move) for rate, move in moves if rate > _TIE]
        if not moves:
            return state
        top = max(rate for rate, _ in moves)
        chosen = min(move for rate, move in moves if rate >= top - _TIE)
        for pick in chosen:
            state.add(pick)
        best.meet(state.picks, state.value)


def _rate(won: float, count: int, cost: float, rules: SchemeRules) -> float:
    """What a move wins for each planter, or for the money where money is what runs out."""
    if np.isfinite(rules.budget) and cost > 0:
        return won / cost * float(rules.costs.mean())
    return won / count


def _exchange(start: State, state: State, rules: SchemeRules, best: Best) -> State:
    """Take one planter out and put the best other one in, as long as that wins."""
    fixed = set(start.picks)
    for _ in range(_ROUNDS):
        before = state.value
        for out in [pick for pick in state.picks if pick not in fixed]:
            rest = start.with_all(pick for pick in state.picks if pick != out and pick not in fixed)
            best.meet(rest.picks, rest.value)
            options = _singles(rest, rules)
            best.judged += len(options)
            if not options:
                continue
            value, pick = max(options, key=lambda each: (each[0], [-part for part in each[1]]))
            best.meet((*rest.picks, pick), value)
            if value > state.value + _TIE:
                rest.add(pick)
                state = rest
        if state.value <= before + _TIE:
            break
    return state


def _thin_out(start: State, state: State, best: Best) -> None:
    """Leave out, one after the other, the planter that is missed least."""
    fixed = set(start.picks)
    picks = list(state.picks)
    while len(picks) > len(fixed) + 1:
        rests = []
        for out in picks:
            if out in fixed:
                continue
            kept = [pick for pick in picks if pick != out]
            rests.append((start.with_all(p for p in kept if p not in fixed).value, kept))
        value, picks = max(rests, key=lambda rest: rest[0])
        best.judged += len(rests)
        best.meet(picks, value)


def _refill(start: State, rules: SchemeRules, best: Best, count: int) -> None:
    """Exchange within the best scheme of one size (under rules for just that size)."""
    fixed = set(start.picks)
    state = start.with_all(pick for pick in best.picks[count] if pick not in fixed)
    _exchange(start, state, _of_size(rules, count), best)


def _of_size(rules: SchemeRules, count: int) -> SchemeRules:
    twin = object.__new__(SchemeRules)
    twin.__dict__.update(rules.__dict__)
    object.__setattr__(twin, "planters", count)
    return twin


class _Chains:
    """Chains of sites along the best routes that every site together would make."""

    def __init__(self, fields: Sequence[GroupField], rules: SchemeRules) -> None:
        self._fields = fields
        self._rules = rules
        self._graphs = [self._graph(field) for field in fields]

    @staticmethod
    def _graph(field: GroupField) -> Callable[[NDArray[np.bool_]], csr_array]:
        """Moves to and from sites, each site crossed costing one planter unless it is there."""
        sites = len(field.neighbours)
        rows = np.concatenate(
            [np.full(len(near), field.plots + at) for at, near in enumerate(field.neighbours)]
            or [np.empty(0, dtype=int)]
        )
        cols = np.concatenate([*field.neighbours, np.empty(0, dtype=np.int32)])
        lengths = -np.log(np.maximum(np.concatenate([*field.links, np.empty(0)]), 1e-300))
        count = field.plots + sites
        is_site = np.arange(count) >= field.plots

        def made(active: NDArray[np.bool_]) -> csr_array:
            # Entering a site that is not there yet costs a planter; length breaks ties.
            dear = (is_site & ~active).astype(float)
            into = np.r_[cols, rows]
            outof = np.r_[rows, cols]
            weight = dear[into] + 1e-4 * np.r_[lengths, lengths] + 1e-9
            order = np.lexsort((weight, into, outof))
            first = np.r_[True, (np.diff(outof[order]) != 0) | (np.diff(into[order]) != 0)][
                : len(order)
            ]
            keep = order[first]
            return csr_array((weight[keep], (outof[keep], into[keep])), shape=(count, count))

        return made

    def of(self, state: State) -> list[tuple[Pick, ...]]:
        """Chains of two and more planters worth trying now, each once."""
        found: dict[tuple[Pick, ...], None] = {}
        for group, made in zip(state.groups, self._graphs, strict=True):
            active = group.active
            homes = np.where(active, group.homes, 0.0)
            if not (homes > 0).any():
                continue
            base = made(active)
            joined = _joined(base, group.chances, active)
            sources = _heads(group.chances, homes)
            lengths, before = dijkstra(
                joined, indices=sources, return_predecessors=True, limit=self._rules.planters + 1.0
            )
            for row, goal in self._goals(group.chances, homes, sources, lengths):
                chain = self._chain(before[row], goal, group.field, state, sources[row])
                if len(chain) >= 2 and self._rules.allows((*state.picks, *chain)):
                    found.setdefault(chain, None)
        return list(found)

    @staticmethod
    def _goals(
        chances: Array, homes: Array, sources: NDArray[np.intp], lengths: Array
    ) -> list[tuple[int, int]]:
        """Pairs (row of a source, goal) by what linking them could win for each planter."""
        lengths = np.where(np.isfinite(lengths), lengths, -1.0)
        stops = np.maximum(np.floor(lengths), 0)
        could = np.where(stops >= 1, np.exp(-np.maximum(lengths - stops, 0) * 1e4), 0.0)
        gain = homes[sources][:, None] * homes[None, :] * np.maximum(could - chances[sources], 0)
        rate = gain / np.maximum(stops, 1)
        flat = np.argsort(-rate, axis=None, kind="stable")[: 40 * _PAIRS]
        pairs: list[tuple[int, int]] = []
        seen: set[tuple[int, int]] = set()
        for place in flat.tolist():
            row, goal = divmod(place, rate.shape[1])
            if rate[row, goal] <= 0 or len(pairs) >= _PAIRS:
                break
            ends = (int(sources[row]), goal)
            if ends not in seen and ends[::-1] not in seen:
                seen.add(ends)
                pairs.append((row, goal))
        return pairs

    def _chain(
        self,
        before: NDArray[np.int32],
        goal: int,
        field: GroupField,
        state: State,
        source: int,
    ) -> tuple[Pick, ...]:
        """Sites on a route that are not there yet, each with the recipe that stops the group."""
        taken = {site for site, _ in state.picks}
        chain: list[Pick] = []
        place = goal
        while place not in (source, -9999):
            site = place - field.plots
            if site >= 0 and site not in taken:
                stops = [at for at, offer in enumerate(field.offers[site]) if offer.stop]
                if not stops:
                    return ()
                values = [(state.after((site, recipe)), -recipe) for recipe in stops]
                chain.append((site, -max(values)[1]))
            place = int(before[place])
        return tuple(sorted(chain))


def _joined(moves: csr_array, chances: Array, active: NDArray[np.bool_]) -> csr_array:
    """Moves over sites, and free ways between patches that are linked already."""
    places = np.flatnonzero(active)
    part = chances[np.ix_(places, places)]
    i, j = np.nonzero(part > 0)
    apart = i != j
    i, j = i[apart], j[apart]
    weight = -1e-4 * np.log(part[i, j]) + 1e-9
    free = csr_array((weight, (places[i], places[j])), shape=moves.shape)
    return (moves + free).tocsr()


def _heads(chances: Array, homes: Array) -> NDArray[np.intp]:
    """The patches that hold most, a few of every connected group."""
    order = np.argsort(-homes, kind="stable")
    heads: list[int] = []
    for place in order.tolist():
        if homes[place] <= 0 or len(heads) >= _PAIRS:
            break
        if all(chances[place, other] < 0.5 for other in heads):
            heads.append(place)
    return np.array(heads, dtype=np.intp)
