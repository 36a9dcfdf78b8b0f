"""Which few links win most together, and in which order to make them.

To take the best link, then the best after it, is not enough. Two links may win only together, over
a patch between them that holds no homes itself; and a link that was best by itself may be worth
little beside those that came later. So links are taken one after the other first, then pairs that
share a patch are tried, and one or two links given up for others, as long as that wins anything
(local search with exchanges; Nemhauser, Wolsey & Fisher 1978, Mathematical Programming 14:265-294).
Where there are few sets at all, every one is looked at. At last the order is found anew.
"""

from functools import cached_property, lru_cache
from itertools import combinations
from math import comb
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.network.link_bounds import LinkBounds, link_bounds
from patchnet.network.more_links import MoreLink, best_link, more_links
from patchnet.network.one_more_link import GrowingNetwork, in_mm

__all__ = ["best_links"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
Chosen = tuple[int, ...]
_ALIKE = 1e-9  # relative: a set that wins no more than this is no better
_EVERY_SET = 300  # so many sets are all looked at
_EFFORT = 12_000_000  # pairs of patches that hang together x links squared: beyond, no exchanges
_REMEMBERED = 64  # networks with some of the links


def best_links(
    network: GrowingNetwork, *, a: Places, b: Places, cost: Array, most: int
) -> tuple[MoreLink, ...]:
    """Choose the links that win most together.

    Parameters
    ----------
    network
        Of n patches; stays as it is.
    a, b
        Shape (m,): the two patches that each candidate joins, a != b.
    cost
        Shape (m,): its length, cost metres.
    most
        How many links at most; none is taken that wins nothing.

    Returns
    -------
    tuple of MoreLink
        In the order in which to make them, each counted with those before it. One that wins
        nothing yet (0) wins together with the next one.

    Examples
    --------
    Three patches in a row, homes at the ends alone: one link wins nothing, both win.

    >>> import pandas as pd
    >>> from patchnet.network.patch_graph import PatchGraph
    >>> none, far = np.zeros(0, np.int32), np.zeros(0, np.int64)
    >>> row = PatchGraph(pd.RangeIndex(3), np.array([1.0, 0.0, 1.0]), none, none, far, 10.0)
    >>> apart = GrowingNetwork(row, 2**0.5, p_cut=0.0001)
    >>> links = {"a": np.array([0, 1]), "b": np.array([1, 2]), "cost": np.array([5.0, 5.0])}
    >>> list(more_links(apart.copy(), **links, most=2))
    []
    >>> [(one.at, round(one.won, 6)) for one in best_links(apart, **links, most=2)]
    [(0, 0.0), (1, 0.317837)]
    """
    few = min(most, len(cost))
    sets = sum(comb(len(cost), size) for size in range(few + 1))
    sizes = np.bincount(network.part).astype(np.int64)
    if sets > _EVERY_SET and int(sizes @ sizes) * few**2 > _EFFORT:
        return tuple(more_links(network.copy(), a=a, b=b, cost=cost, most=most))
    search = _Search(network, a, b, cost, few)
    return search.in_order(search.of_all() if sets <= _EVERY_SET else search.by_exchange())


class _Pairs(NamedTuple):
    """Pairs of candidates that share a patch.

    `one` and `other` are their places; `by_b` says whether the one has its end b there, `to_a`
    whether the other has its end a there.
    """

    one: Places
    other: Places
    by_b: NDArray[np.bool_]
    to_a: NDArray[np.bool_]


class _Search:
    """Sets of links, what they are worth, and what is worth most after them."""

    def __init__(
        self, network: GrowingNetwork, a: Places, b: Places, cost: Array, most: int
    ) -> None:
        self.first, self.a, self.b, self.cost, self.most = network, a, b, cost, most
        self.network = lru_cache(_REMEMBERED)(self._network)
        self.bounds = lru_cache(_REMEMBERED)(self._bounds)
        self.worth = lru_cache(None)(self._worth)
        self.one_more = lru_cache(None)(self._one_more)

    def of_all(self) -> Chosen:
        """The links that win most together, in no order, of all sets."""
        every = range(len(self.cost))
        return self._best_of(
            [some for size in range(self.most + 1) for some in combinations(every, size)]
        )

    def by_exchange(self) -> Chosen:
        """The same, from one after the other on, as long as an exchange wins anything."""
        found = more_links(self.first.copy(), a=self.a, b=self.b, cost=self.cost, most=self.most)
        chosen = tuple(sorted(link.at for link in found))
        while True:
            better = self._best_of([chosen, *self._filled_up(chosen)])
            if better == chosen:  # pairs take longer to look at
                better = self._best_of([chosen, *self._with_pairs(chosen)])
            if better == chosen:
                return chosen
            chosen = better

    def in_order(self, chosen: Chosen) -> tuple[MoreLink, ...]:
        """The links, each time the one that wins most, and what each wins after the others."""
        network, links = self.first.copy(), []
        for at in self._order(chosen):
            a, b, cost = self._link(at)
            before = network.length_m(a, b)
            links.append(MoreLink(at, before, cost, network.add(a, b, cost)))
        return tuple(links)

    def _order(self, chosen: Chosen) -> list[int]:
        order: list[int] = []
        while left := [at for at in chosen if at not in order]:
            # The fewest that win anything, and of these those that win most.
            for size in range(1, len(left) + 1):
                groups = list(combinations(left, size))
                won = np.array([self.worth(_with(tuple(order), some)) for some in groups])
                now = self.worth(_with(tuple(order), ()))
                if won.max() > now * (1 + _ALIKE):
                    break
            order += groups[int(np.argmax(won >= won.max() * (1 - _ALIKE)))]
        return order

    def _best_of(self, sets: list[Chosen]) -> Chosen:
        """The set worth most; of those worth as much the one of fewest links, then the first."""
        worth = np.array([self.worth(some) for some in sets])
        alike = np.flatnonzero(worth >= worth.max() * (1 - _ALIKE)).tolist()
        return min((sets[at] for at in alike), key=len)

    def _filled_up(self, chosen: Chosen) -> list[Chosen]:
        """Sets with none, one or two links given up, and one or two others taken."""
        return [some for left in _given_up(chosen) for some in (left, *self._filled(left))]

    def _with_pairs(self, chosen: Chosen) -> list[Chosen]:
        """The same with a pair taken, each worth more than the one before it."""
        sets, best = [], self.worth(chosen)
        for left in _given_up(chosen):
            pair = self._pair(left, best) if len(left) + 2 <= self.most else None
            if pair is not None:
                sets.append(_with(left, pair))
                best = self.worth(sets[-1])
        return sets

    def _filled(self, left: Chosen) -> list[Chosen]:
        """Sets with one link more, and with one more after it."""
        sets = []
        for __ in range(min(2, self.most - len(left))):
            one = self.one_more(left)
            if one is None:
                break
            left = _with(left, (one,))
            sets.append(left)
        return sets

    def _network(self, chosen: Chosen) -> tuple[GrowingNetwork, NDArray[np.bool_]]:
        """The network with some links in it, and which patches the last of them moved."""
        moved = np.zeros(len(self.first.homes), dtype=bool)
        if not chosen:
            return self.first, moved
        network, at = self.network(chosen[:-1])[0].copy(), chosen[-1]
        moved[np.concatenate(network.nearer(*self._link(at)))] = True
        network.add(*self._link(at))
        return network, moved

    def _bounds(self, chosen: Chosen) -> LinkBounds:
        network, moved = self.network(chosen)
        if not chosen:
            return link_bounds(network, self.a, self.b, self.cost)
        again = np.flatnonzero(moved[self.a] | moved[self.b])
        bounds = LinkBounds(*(one.copy() for one in self.bounds(chosen[:-1])))
        new = link_bounds(network, self.a[again], self.b[again], self.cost[again])
        for old, found in zip(bounds, new, strict=True):
            old[again] = found
        return bounds

    def _worth(self, chosen: Chosen) -> float:
        return self.network(chosen)[0].numerator

    def _one_more(self, chosen: Chosen) -> int | None:
        """The link that wins most after some; None where none wins anything."""
        network, bound = self.network(chosen)[0], self.bounds(chosen).most.copy()
        at = best_link(network, self.a, self.b, self.cost, bound)
        return None if at < 0 else at

    @cached_property
    def _pairs(self) -> _Pairs:
        number = np.arange(len(self.cost))
        patch, at = np.r_[self.a, self.b], np.r_[number, number]
        is_a = np.repeat([True, False], len(number))
        order = np.argsort(patch, kind="stable")
        starts = np.flatnonzero(np.diff(patch[order], prepend=-1))
        found = [
            np.array(list(combinations(some.tolist(), 2)), dtype=np.intp).reshape(-1, 2)
            for some in np.split(order, starts[1:])
        ]
        one, other = np.concatenate([np.empty((0, 2), np.intp), *found]).T
        return _Pairs(at[one], at[other], ~is_a[one], is_a[other])

    def _pair(self, chosen: Chosen, least: float) -> Chosen | None:
        """The pair that shares a patch and wins most after some; None: not worth `least`."""
        network, pairs = self.network(chosen)[0], self._pairs
        order, most = self._promising(chosen, least)
        with_one: dict[int, GrowingNetwork] = {}
        best = None
        for at in order.tolist():
            if most[at] * (1 + _ALIKE) <= least:
                break
            one, other = int(pairs.one[at]), int(pairs.other[at])
            if one not in with_one:
                if len(with_one) == _REMEMBERED:
                    with_one.clear()
                with_one[one] = network.copy()
                with_one[one].add(*self._link(one))
            here = np.array([other])
            (rise,) = with_one[one].rises(self.a[here], self.b[here], self.cost[here]).tolist()
            if with_one[one].numerator + rise > least * (1 + _ALIKE):
                best, least = (one, other), with_one[one].numerator + rise
        return best

    def _promising(self, chosen: Chosen, least: float) -> tuple[Places, Array]:
        """Pairs that may be worth more than `least`, and the most that each is worth."""
        network, bounds, pairs = self.network(chosen)[0], self.bounds(chosen), self._pairs
        one, other = pairs.one, pairs.other
        # Beyond the shared patch are those that the far end of either link brings there. Over both
        # links the way from side to side is shorter than over one and the way there is today.
        about = np.where(pairs.by_b, bounds.about_a[one], bounds.about_b[one])
        beyond = np.where(pairs.to_a, bounds.about_b[other], bounds.about_a[other])
        link = np.exp(-network.k_per_mm * in_mm(self.cost))
        both = link[one] * link[other]
        single = np.maximum(link[one] * bounds.today[other], bounds.today[one] * link[other])
        most = network.numerator + 2 * about * beyond * np.maximum(both - single, 0.0)
        most += bounds.most[one] + bounds.most[other]
        able = np.flatnonzero(most * (1 + _ALIKE) > least)
        return able[np.argsort(-most[able], kind="stable")], most

    def _link(self, at: int) -> tuple[int, int, float]:
        return int(self.a[at]), int(self.b[at]), float(self.cost[at])


def _with(chosen: Chosen, more: Chosen) -> Chosen:
    return tuple(sorted({*chosen, *more}))


def _given_up(chosen: Chosen) -> list[Chosen]:
    """What is left with none, one or two links given up."""
    return [
        tuple(at for at in chosen if at not in given)
        for size in range(min(2, len(chosen)) + 1)
        for given in combinations(chosen, size)
    ]
