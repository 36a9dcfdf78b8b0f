"""Variety of a street's jobs: of many kinds, so that no pest or dry summer takes them all."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

__all__ = ["JobVariety", "effective_jobs"]


@dataclass(frozen=True)
class JobVariety:
    """How many jobs of each kind there are, and what one kind more is held worth.

    Attributes
    ----------
    counts
        Jobs of each kind, by the feature's key.
    weight
        Joint worth that is given for a variety e times as great (log of the effective number).
    """

    counts: Mapping[str, int]
    weight: float

    @cached_property
    def worth(self) -> float:
        """Joint worth (a number without unit) that the variety of all jobs is held worth."""
        return self.weight * _entropy(self.counts.values())

    def more(self, out: Iterable[str], into: Iterable[str]) -> float:
        """Joint worth that some jobs in place of others are held worth for their variety alone.

        Parameters
        ----------
        out, into
            Kinds of the jobs that go, and that come.
        """
        after = Counter(self.counts)
        after.subtract(out)
        after.update(into)
        return JobVariety(after, self.weight).worth - self.worth


def effective_jobs(counts: Iterable[int]) -> float:
    """Effective number of different jobs: exp of the entropy of their shares (Hill 1973).

    Parameters
    ----------
    counts
        Jobs of each kind.

    Returns
    -------
    float
        A number without unit: k where k kinds are equally frequent; 0 where there are no jobs.
    """
    known = [count for count in counts if count > 0]
    return math.exp(_entropy(known)) if known else 0.0


def _entropy(counts: Iterable[int]) -> float:
    """Natural log of the effective number; 0 where there is nothing."""
    known = np.array([count for count in counts if count > 0], dtype=float)
    total = known.sum()
    return float(np.log(total) - (known * np.log(known)).sum() / total) if total else 0.0
