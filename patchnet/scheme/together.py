"""Which planters can stand together: one at a place, apart, within money, number and watering."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from patchnet.scheme.planter_scheme import Keeper
from patchnet.street import Site

__all__ = ["SchemeRules"]

_SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class SchemeRules:
    """The rules of one scheme.

    Attributes
    ----------
    sites
        The sites that may be used.
    costs
        Shape (sites, recipes): money for a planter.
    planters
        Most planters.
    budget
        Most money; inf: no limit.
    spacing_m
        Least distance between two boxes, edge to edge.
    litres
        Shape (sites,): water a visit takes.
    keepers
        Who waters; `carry_m` is how far at most.
    unkept
        Most planters without a keeper; None: no limit.
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
        """Money for some planters."""
        return float(sum(self.costs[pick] for pick in picks))

    def allows(self, picks: Sequence[tuple[int, int]]) -> bool:
        """Whether some planters can stand together."""
        places = [site for site, _ in picks]
        if len(places) > self.planters or self.cost(picks) > self.budget + _SLACK:
            return False
        clash = self.conflicts[np.ix_(places, places)].sum()
        return int(clash) == len(places) and self.watered(places)

    def open_to(self, picks: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
        """Shape (sites, recipes): which planter could be put beside some others."""
        places = [site for site, _ in picks]
        free = np.ones(self.costs.shape, dtype=bool)
        if len(places) >= self.planters:
            free[:] = False
            return free
        if places:
            free[self.conflicts[places].any(axis=0)] = False
        free &= self.costs <= self.budget - self.cost(picks) + _SLACK
        if self.unkept is not None:
            for site in np.flatnonzero(free.any(axis=1)).tolist():
                if not self.watered([*places, site]):
                    free[site] = False
        return free

    def watered(self, places: Sequence[int]) -> bool:
        """Whether no more planters than allowed are left without a keeper."""
        if self.unkept is None or len(places) <= self.unkept:
            return True
        kept = sum(keeper is not None for keeper in self.kept_by(places))
        return len(places) - kept <= self.unkept

    def kept_by(self, places: Sequence[int]) -> list[int | None]:
        """Who keeps each planter so that as many as can be are kept; None: nobody.

        Each keeper takes as many planters as the litres of a visit allow, counted with the
        thirstiest planter within reach, so that a rota never asks more than was promised.
        """
        if not self.keepers or not places:
            return [None] * len(places)
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
