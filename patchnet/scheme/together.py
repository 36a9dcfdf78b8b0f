"""Which planters can stand together, and which of two schemes as good as each other comes first.

One at a place, apart, within money, number and watering. *As good* is worth the same to
`EQUAL`; then comes first what leaves less to be measured, then less to be asked, then what costs
less, then fewer planters, then the first by the keys of its sites. Nothing of that depends on the
order of rows.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from patchnet.scheme.planter_scheme import Keeper
from patchnet.street import Site

__all__ = ["EQUAL", "SchemeRules"]

EQUAL = 1e-9
"""Difference of worth below which two schemes are as good as each other (1e-7 % of homes)."""
_SLACK = 1e-9
_MOST_KEPT = 100_000  # sets of places of which it is kept who waters them: 20 MB
_PENCE = 0.2  # money by which the lines of a bill are rounded, for a planter, at most
Rank = tuple[int, int, float, int, tuple[tuple[str, int], ...]]


@dataclass(frozen=True, eq=False)
class SchemeRules:
    """The rules of one scheme.

    Attributes
    ----------
    sites
        The sites that may be used.
    costs
        Shape (sites, recipes): money for a planter, its part of the whole bill.
    planters
        Most planters.
    budget
        Most money for the whole bill; inf: no limit.
    spacing_m
        Least distance between two boxes, edge to edge.
    litres
        Shape (sites,): water a visit takes.
    keepers
        Who waters; `carry_m` is how far at most.
    unkept
        Most planters without a keeper; None: no limit.
    kit
        Money for a watering kit: one a keeper who has planters, one for all that have none.
    bill
        The whole bill of planters at some sites with so many kits, where that is not just the
        sum of `costs` and kits; None: it is.
    able
        Shape (sites,): sites that may be chosen from; None: all.
    toll
        Shape (sites,): worth taken off for a planter there, as somebody must be asked or
        something measured first; None: nothing.
    """

    sites: tuple[Site, ...]
    costs: NDArray[np.float64]
    planters: int
    budget: float
    spacing_m: float
    litres: NDArray[np.float64]
    keepers: tuple[Keeper, ...] = ()
    carry_m: float = 0.0
    unkept: int | None = None
    kit: float = 0.0
    bill: Callable[[Sequence[int], int], float] | None = None
    able: NDArray[np.bool_] | None = None
    toll: NDArray[np.float64] | None = None
    _known: dict[tuple[tuple[int, ...], int], float] = field(default_factory=dict, repr=False)

    def knowing(self, other: "SchemeRules") -> "SchemeRules":
        """Take over what was worked out under other rules on the same sites and keepers."""
        for name in ("conflicts", "carries", "_kept"):
            self.__dict__[name] = getattr(other, name)
        return self

    @cached_property
    def _kept(self) -> dict[tuple[int, ...], list[int | None]]:
        """Who keeps which planters, by their places in order, as far as it was asked."""
        return {}

    @cached_property
    def conflicts(self) -> NDArray[np.bool_]:
        """Shape (sites, sites): too close together; also True of a site with itself."""
        boxes = np.array([site.polygon for site in self.sites], dtype=object)
        apart = shapely.distance(boxes[:, None], boxes[None, :])
        close = np.asarray(apart < self.spacing_m - _SLACK)
        touching = np.asarray(shapely.intersects(boxes[:, None], boxes[None, :]))
        both: NDArray[np.bool_] = close | touching | np.eye(len(boxes), dtype=bool)
        return both

    def cliques(self) -> csr_array:
        """Sets of sites of which at most one can be used, shape (sets, sites), each pair in one."""
        order = sorted(
            range(len(self.sites)),
            key=lambda at: (self.sites[at].side, self.sites[at].chainage_m, at),
        )
        found: dict[tuple[int, ...], None] = {}
        for at, first in enumerate(order):
            clique = [first]
            for other in order[at + 1 :]:
                if self.conflicts[first, other]:
                    if self.conflicts[other, clique].all():
                        clique.append(other)
                    else:
                        found.setdefault((first, other), None)
            if len(clique) > 1:
                found.setdefault(tuple(clique), None)
        sets = list(found)
        rows = np.repeat(np.arange(len(sets)), [len(each) for each in sets])
        cols = np.array([site for each in sets for site in each], dtype=int)
        return csr_array((np.ones(len(cols)), (rows, cols)), shape=(len(sets), len(self.sites)))

    @cached_property
    def carries(self) -> NDArray[np.float64]:
        """Shape (sites, keepers): carrying distance, metres; inf beyond `carry_m`."""
        if not self.keepers:
            return np.zeros((len(self.sites), 0))
        taps = np.array([keeper.place for keeper in self.keepers], dtype=object)
        centres = np.array([site.centre for site in self.sites], dtype=object)
        apart = np.asarray(shapely.distance(centres[:, None], taps[None, :]), dtype=float)
        return np.where(apart <= self.carry_m, apart, np.inf)

    def cost(self, picks: Sequence[tuple[int, int]]) -> float:
        """Money for some planters: the whole bill."""
        return self._whole(picks, self._kits([site for site, _ in picks]))

    @property
    def budget_for_boxes(self) -> float:
        """Most that `costs` of a scheme within the budget can come to: a kit is bought too.

        A bill's lines are rounded to pence, a whole bill's and those of each box by itself.
        """
        rounded = 0.0 if self.bill is None else _PENCE * (self.planters + 1)
        return self.budget - self.kit + rounded

    def _whole(self, picks: Sequence[tuple[int, int]], kits: int) -> float:
        if not picks:
            return 0.0
        if self.bill is None:
            return float(sum(self.costs[pick] for pick in picks)) + self.kit * kits
        key = tuple(sorted(self._alike[site] for site, _ in picks)), kits
        if key not in self._known:
            self._known[key] = self.bill([site for site, _ in picks], kits)
        return self._known[key]

    @cached_property
    def _alike(self) -> list[int]:
        """For each site the first with a box of the same size."""
        first: dict[object, int] = {}
        return [first.setdefault(site.size, at) for at, site in enumerate(self.sites)]

    def _kits(self, places: Sequence[int]) -> int:
        """Watering kits: one a keeper with planters, one for all planters that have none."""
        if not self.keepers or not self.kit:
            return 1
        return len(set(self.kept_by(places))) or 1

    def allows(self, picks: Sequence[tuple[int, int]]) -> bool:
        """Whether some planters can stand together."""
        places = [site for site, _ in picks]
        if len(places) > self.planters:
            return False
        if self.able is not None and not self.able[places].all():
            return False
        clash = self.conflicts[np.ix_(places, places)].sum()
        return (
            int(clash) == len(places)
            and self.watered(places)
            and self.cost(picks) <= self.budget + _SLACK
        )

    def open_to(self, picks: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
        """Shape (sites, recipes): which planter could be put beside some others."""
        places = [site for site, _ in picks]
        free = np.ones(self.costs.shape, dtype=bool)
        if len(places) >= self.planters:
            free[:] = False
            return free
        if places:
            free[self.conflicts[places].any(axis=0)] = False
        if self.able is not None:
            free[~self.able] = False
        if self.unkept is not None:
            for site in np.flatnonzero(free.any(axis=1)).tolist():
                if not self.watered([*places, site]):
                    free[site] = False
        if np.isfinite(self.budget):
            able = np.flatnonzero(free.any(axis=1))
            free[able] &= self._whole_with(picks, able) <= self.budget + _SLACK
        return free

    def _whole_with(
        self, picks: Sequence[tuple[int, int]], able: NDArray[np.intp]
    ) -> NDArray[np.float64]:
        """Shape (able, recipes): money for some planters and one more at each of some sites."""
        places = [site for site, _ in picks]
        kits = np.array([self._kits([*places, site]) for site in able.tolist()], dtype=int)
        if self.bill is None:
            spent = float(sum(self.costs[pick] for pick in picks))
            return (spent + self.costs[able]) + self.kit * kits[:, None]
        # A bill asks what boxes there are, not what grows in them.
        whole = [
            self._whole([*picks, (site, 0)], count)
            for site, count in zip(able.tolist(), kits.tolist(), strict=True)
        ]
        return np.repeat(np.array(whole, dtype=float)[:, None], self.costs.shape[1], axis=1)

    def tolls(self, picks: Sequence[tuple[int, int]]) -> float:
        """Worth taken off for what must be asked or measured first."""
        return 0.0 if self.toll is None else float(sum(self.toll[site] for site, _ in picks))

    def open_questions(self, picks: Sequence[tuple[int, int]]) -> tuple[int, int]:
        """How many planters must be measured for first, and for how many somebody is asked."""
        verdicts = [getattr(self.sites[site], "verdict", "fits") for site, _ in picks]
        return verdicts.count("measure"), verdicts.count("ask")

    def rank(self, picks: Sequence[tuple[int, int]]) -> Rank:
        """Of schemes worth the same, the one whose rank is least comes first."""
        keys = tuple(sorted((self.sites[site].key, recipe) for site, recipe in picks))
        return (*self.open_questions(picks), round(self.cost(picks), 2), len(picks), keys)

    def watered(self, places: Sequence[int]) -> bool:
        """Whether no more planters than allowed are left without a keeper."""
        if self.unkept is None or len(places) <= self.unkept:
            return True
        kept = sum(keeper is not None for keeper in self.kept_by(places))
        return len(places) - kept <= self.unkept

    def kept_by(self, places: Sequence[int]) -> list[int | None]:
        """Who keeps each planter so that as many as can be are kept; None: nobody.

        Each keeper takes as many planters as the litres of a visit allow, counted with the
        thirstiest planter within reach, so that a rota never asks more than was promised. The
        order of the places changes nothing.
        """
        if not self.keepers or not places:
            return [None] * len(places)
        order = sorted(range(len(places)), key=places.__getitem__)
        key = tuple(places[at] for at in order)
        if key not in self._kept:
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            self._kept[key] = self._kept_in_order(key)
        return [
            keeper for _, keeper in sorted(zip(order, self._kept[key], strict=True), key=_first)
        ]

    def _kept_in_order(self, places: Sequence[int]) -> list[int | None]:
        carries = self.carries[list(places)]
        slots: list[int] = []
        for at, keeper in enumerate(self.keepers):
            within = np.isfinite(carries[:, at])
            if within.any():
                thirst = float(self.litres[list(places)][within].max())
                slots += [at] * min(int(keeper.litres // thirst), int(within.sum()))
        if not slots:
            return [None] * len(places)
        able = csr_array(np.isfinite(carries)[:, slots].astype(np.int8))
        match = maximum_bipartite_matching(able, perm_type="column")
        return [slots[at] if at >= 0 else None for at in match.tolist()]


def _first(pair: tuple[int, int | None]) -> int:
    return pair[0]
