"""What one link more wins in a network, and the next one after it: local to the link's two ends.

A link of cost c between a and b makes a better way from i to j only over a, then b, or the other
way about. Over a first it can only do so where i is nearer to a and the link together than to b
(D_ia + c < D_ib), since otherwise the way there is today by b is as good; and where likewise
D_jb + c < D_ja. So what it wins is a sum over two small sets of patches, one round each end,
instead of over all pairs; and the two sets cannot share a patch.

Routes are found when they are asked for, in the part of the network that they start in and no
farther than the cut. A bounded number of them is kept until a link is added, never all pairs of a
large network. Of few patches all routes are held, and a link is put into them.
"""

from collections.abc import Sequence
from copy import copy
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.core.compiled import in_threads
from patchnet.network.adjacency import Links, groups, links_of
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.routes import cut_length

__all__ = ["HELD", "GrowingNetwork", "Routes", "closer", "in_mm"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
HELD = 250_000
"""Lengths of routes held at once, by each thread, in several arrays."""
_KEPT = 8_000_000  # lengths of routes kept from one link that is tried to the next: 64 MB
_PIECES = 64  # parts of the network, alone or two together, whose links are held ready
_SMALL = 150  # patches up to which all routes are held (180 kB), and a link is put into them
_ROUNDING = 1e-9  # of the numerator: less than that is no gain


class Routes(NamedTuple):
    """Best routes from s patches.

    Attributes
    ----------
    ends
        Shape (r,), rising: the patches in the same parts of the network.
    mm
        Shape (s, r), millimetres; inf where no route is likely enough.
    """

    ends: Places
    mm: Array


class _Over(NamedTuple):
    """The patches that a link brings nearer to its other end, and what is left of the way.

    `few` and `many` are patches with homes on its two sides, rising; `few_mm` is how far the other
    end of the link is from each of the few, the link included, `many_mm` how far each of the many
    is from there. `linked`: there are routes between them already.
    """

    few: Places
    few_mm: Array
    many: Places
    many_mm: Array
    linked: bool


class GrowingNetwork:
    """A network to which links are added one by one.

    Lengths are whole millimetres and routes are cut as in `patchnet.network.routes.route_sums`, so
    that what is won is what measuring anew would tell.

    Parameters
    ----------
    network
        n patches.
    linked_homes
        Of the network as it is.
    p_cut
        Routes less likely than this (0-1) are left out.

    Attributes
    ----------
    homes
        Shape (n,).
    k_per_mm
        Decay of the chance of arriving, per millimetre.
    cut_mm
        Longest route that counts, millimetres.
    part
        Shape (n,): number of the part of the network that hangs together in which a patch is.

    Examples
    --------
    Two patches of one home, 50 m apart at d50 = 50 m, not linked: sqrt(2) homes; then sqrt(3).

    >>> import pandas as pd
    >>> none, far = np.zeros(0, np.int32), np.zeros(0, np.int64)
    >>> two = PatchGraph(pd.Index(["a", "b"]), np.ones(2), none, none, far, 50.0)
    >>> network = GrowingNetwork(two, 2**0.5, p_cut=0.0001)
    >>> round(network.add(0, 1, 50.0), 6), network.add(0, 1, 50.0)
    (0.317837, 0.0)
    """

    def __init__(self, network: PatchGraph, linked_homes: float, *, p_cut: float) -> None:
        self.homes = network.homes
        self.k_per_mm = network.k_per_m / 1000
        self.cut_mm = float(cut_length(network.d50_m, p_cut))
        self.part = groups(len(network.homes), network.i, network.j)[1]
        self._numerator = linked_homes**2
        self._links = links_of(network)
        self._set_out()
        # Of few patches only this goes on being right when a link is added, and only it is asked.
        small = len(self.part) <= _SMALL
        self._all = csgraph.dijkstra(self._matrix) if small else None

    def routes(self, sources: "Sequence[int] | Places") -> Routes:
        """Best routes from some patches to all that hang together with any of them.

        Parameters
        ----------
        sources
            Shape (s,): positions of patches.
        """
        return self._found(sources, self.cut_mm)

    def length_m(self, a: int, b: int) -> float:
        """Length of the best route between two patches, however unlikely it is.

        Parameters
        ----------
        a, b
            Positions of two patches.

        Returns
        -------
        float
            Metres; inf where there is none.
        """
        found = self._found([a], np.inf)
        return float(found.mm[0, found.ends == b].min(initial=np.inf)) / 1000

    def nearer(self, a: int, b: int, cost_m: float) -> tuple[Places, Places]:
        """Patches from which a link would shorten any way: those about `a`, and those about `b`.

        Parameters
        ----------
        a, b
            Positions of two patches, a != b.
        cost_m
            Its length, metres; taken to whole millimetres.

        Returns
        -------
        tuple of arrays
            Positions of patches, rising; none is in both.
        """
        found = self.routes([a, b])
        first, second = closer(found.mm[0], found.mm[1], in_mm(cost_m), self.cut_mm)
        return found.ends[first], found.ends[second]

    def rises(self, a: Places, b: Places, cost_m: Array) -> Array:
        """What the numerator, the square of linked homes, would rise by with each of m links.

        Parameters
        ----------
        a, b
            Shape (m,): positions of two patches each, a != b.
        cost_m
            Shape (m,): lengths, metres; taken to whole millimetres.

        Returns
        -------
        array
            Shape (m,), each with one link alone; 0 where it is no more than rounding.
        """
        each = zip(a.tolist(), b.tolist(), in_mm(cost_m).tolist(), strict=True)
        links = [self._over(*link) for link in each]
        rises = np.array([0.0 if over.linked else self._by_new_ways(over) for over in links])
        part = np.where([over.linked and len(over.few) > 0 for over in links], self.part[a], -1)
        for one in np.unique(part[part >= 0]).tolist():
            here = np.flatnonzero(part == one)
            rises[here] = self._by_shorter_ways(one, [links[at] for at in here.tolist()])
        return np.where(rises > _ROUNDING * max(self._numerator, _ROUNDING), rises, 0.0)

    def gain(self, a: int, b: int, cost_m: float) -> float:
        """Linked homes that a link would win.

        Parameters
        ----------
        a, b
            Positions of two patches, a != b.
        cost_m
            Its length, metres; taken to whole millimetres.
        """
        return self._won(self._rise_of(a, b, cost_m))

    def add(self, a: int, b: int, cost_m: float) -> float:
        """Put a link there, and return the linked homes that it wins; as `gain`."""
        rise = self._rise_of(a, b, cost_m)
        won = self._won(rise)
        self._numerator += rise
        if np.isfinite(cost_m):
            self.part = np.where(self.part == self.part[b], self.part[a], self.part)
            if self._all is None:
                self._links = _with_link(self._links, min(a, b), max(a, b), int(in_mm(cost_m)))
                self._set_out()
            else:
                self._all = _with_shorter(self._all, a, b, float(in_mm(cost_m)))
                self._forget()
        return won

    @property
    def numerator(self) -> float:
        """The square of linked homes, with the links that were added."""
        return self._numerator

    def copy(self) -> "GrowingNetwork":
        """The same network, to which other links can be added."""
        other = copy(self)
        other._forget()  # noqa: SLF001 - one of its own kind
        return other

    def _set_out(self) -> None:
        """Look for routes over the links that there are now."""
        self._matrix = _as_matrix(self._links)
        self._pieces: dict[tuple[int, ...], tuple[Places, sp.csr_array]] = {}
        self._forget()

    def _forget(self) -> None:
        self._kept: dict[int, Array] = {}
        self._room = _KEPT

    def _found(self, sources: "Sequence[int] | Places", limit: float) -> Routes:
        if self._all is not None:
            ends = np.flatnonzero(np.isin(self.part, self.part[sources]))
            mm = self._all[np.asarray(sources)[:, None], ends]
            return Routes(ends, np.where(mm <= limit, mm, np.inf))
        ends, matrix = self._piece(tuple(np.unique(self.part[sources]).tolist()))
        places = np.searchsorted(ends, sources)
        return Routes(ends, csgraph.dijkstra(matrix, indices=places, limit=limit))

    def _piece(self, parts: tuple[int, ...]) -> tuple[Places, sp.csr_array]:
        """The patches of some parts, rising, and the links among them."""
        found = self._pieces.get(parts)
        if found is None:
            ends = np.flatnonzero(np.isin(self.part, parts))
            whole = len(ends) == len(self.part)
            found = ends, self._matrix if whole else self._matrix[ends][:, ends]
            if len(self._pieces) < _PIECES:
                self._pieces[parts] = found
        return found

    def _won(self, rise: float) -> float:
        return rise / float(np.sqrt(self._numerator + rise) + np.sqrt(self._numerator) or 1.0)

    def _rise_of(self, a: int, b: int, cost_m: float) -> float:
        return float(self.rises(np.array([a]), np.array([b]), np.array([cost_m]))[0])

    def _over(self, a: int, b: int, mm: float) -> _Over:
        found = self.routes([a, b])
        lived_in = self.homes[found.ends] > 0
        nearer = closer(found.mm[0], found.mm[1], mm, self.cut_mm)
        sides = [
            (found.ends[near & lived_in], to_end[near & lived_in])
            for to_end, near in zip(found.mm, nearer, strict=True)
        ]
        (few, few_mm), (many, many_mm) = sorted(sides, key=lambda side: len(side[0]))
        return _Over(few, few_mm + mm, many, many_mm, bool(self.part[a] == self.part[b]))

    def _by_new_ways(self, over: _Over) -> float:
        """What a link between two parts wins: there are no routes of today."""
        size = max(1, HELD // max(1, len(over.many)))
        return sum(
            self._rise(over, slice(first, first + size), None)
            for first in range(0, len(over.few), size)
        )

    def _by_shorter_ways(self, part: int, links: list[_Over]) -> Array:
        """What each of some links within a part wins; routes of today are found once for all."""
        here = self.part == part
        ends = np.flatnonzero(here & (self.homes > 0))
        sources = np.unique(np.concatenate([over.few for over in links]))
        size = max(1, HELD // int(here.sum()))
        rises = np.zeros(len(links))

        def of_some(first: int) -> tuple[Array, Places, Array]:
            rows = sources[first : first + size]
            today = self._today(rows, ends)
            found = np.zeros(len(links))
            for at, over in enumerate(links):
                some = slice(*np.searchsorted(over.few, [rows[0], rows[-1] + 1]).tolist())
                places = np.searchsorted(rows, over.few[some]), np.searchsorted(ends, over.many)
                found[at] = self._rise(over, some, today[np.ix_(*places)])
            return found, rows, today

        for some, rows, today in in_threads(of_some, range(0, len(sources), size)):
            rises += some
            self._keep(rows, today)
        return rises

    def _today(self, rows: Places, ends: Places) -> Array:
        """Routes from some patches of a part to all that hold homes there, (rows, ends) in mm."""
        new = np.array([row not in self._kept for row in rows.tolist()])
        found = np.empty((len(rows), len(ends)))
        if new.any():
            routes = self.routes(rows[new])
            found[new] = routes.mm[:, np.searchsorted(routes.ends, ends)]
        for at in np.flatnonzero(~new).tolist():
            found[at] = self._kept[int(rows[at])]
        return found

    def _keep(self, rows: Places, today: Array) -> None:
        """Keep routes for the links that are tried next, as many as there is room for."""
        new = [at for at, row in enumerate(rows.tolist()) if row not in self._kept]
        new = new[: self._room // today.shape[1]]
        self._room -= len(new) * today.shape[1]
        self._kept |= {int(rows[at]): today[at].copy() for at in new}

    def _rise(self, over: _Over, some: slice, today: Array | None) -> float:
        """What the numerator rises by from some of the few; `today` is (few, many) in mm."""
        length = over.few_mm[some, None] + over.many_mm
        rise = np.where(length <= self.cut_mm, np.exp(-self.k_per_mm * length), 0.0)
        if today is not None:
            rise = np.maximum(rise - np.exp(-self.k_per_mm * today), 0.0)
        return float(2 * (self.homes[over.few[some]] @ rise @ self.homes[over.many]))


def closer(
    to_a: Array, to_b: Array, mm: "Array | float", cut_mm: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which patches get to b sooner over a, and which to a over b, by a link between the two.

    Parameters
    ----------
    to_a, to_b
        Shape (..., n): best routes from patches to the two ends, millimetres; inf: none.
    mm
        Length of the link, of any shape that goes with these.
    cut_mm
        Longest route that counts, millimetres.

    Returns
    -------
    tuple of arrays
        Shape (..., n) both.
    """
    return (
        (to_a + mm < to_b) & (to_a + mm <= cut_mm),
        (to_b + mm < to_a) & (to_b + mm <= cut_mm),
    )


def in_mm(cost_m: "Array | float") -> Array:
    """Lengths of links as networks hold them: whole millimetres.

    Parameters
    ----------
    cost_m
        Metres, of any shape.

    Returns
    -------
    array
        Of the same shape, millimetres.
    """
    found: Array = np.rint(np.asarray(cost_m, dtype=np.float64) * 1000)
    return found


def _with_link(links: Links, i: int, j: int, mm: int) -> Links:
    """Put one link more among the links; not sorted."""
    same = (links.i == i) & (links.j == j)
    if same.any():
        return links._replace(length=np.where(same, np.minimum(links.length, mm), links.length))
    return Links(
        links.n,
        np.append(links.i, np.int32(i)),
        np.append(links.j, np.int32(j)),
        np.append(links.length, mm),
    )


def _with_shorter(mm: Array, a: int, b: int, length: float) -> Array:
    """All best routes with one link more: over it, either way about, or as they were."""
    to_a, to_b = mm[a], mm[b]
    over = np.minimum(to_a[:, None] + to_b, to_b[:, None] + to_a) + length
    shorter: Array = np.minimum(mm, over)
    return shorter


def _as_matrix(links: Links) -> sp.csr_array:
    # Links of length 0 stand in it as they are: routes are all that is asked of it.
    ends = (np.r_[links.i, links.j], np.r_[links.j, links.i])
    mm = np.r_[links.length, links.length].astype(np.float64)
    return sp.coo_array((mm, ends), shape=(links.n, links.n)).tocsr()
