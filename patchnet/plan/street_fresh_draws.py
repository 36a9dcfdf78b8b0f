"""A street's plan in draws that it was not chosen by, beside the plots' own best sets."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import BATCH
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.spread import spread_of
from patchnet.core.texts import _
from patchnet.plan.joint_worth import Currency
from patchnet.plan.street_in_draws import Change, drawn_street
from patchnet.plan.street_plan import StreetDoubt, StreetPlan

__all__ = ["Compared", "in_fresh_draws", "won_by_both"]

Array = NDArray[np.float64]
Progress = Callable[[Iterable[Any], str], Iterable[Any]]


@dataclass(frozen=True)
class Compared:
    """Two plans that are judged in each draw.

    Attributes
    ----------
    plan, own
        Plot id to feature to amount more, in its own unit.
    weight
        Shape (G,): votes of the animals.
    first
        Homes, as in `patchnet.plan.joint_worth.Currency`.
    gaps
        Gaps in fences that the first of them opens, by their keys.
    """

    plan: Mapping[str, Change]
    own: Mapping[str, Change]
    weight: Array
    first: float
    gaps: tuple[int, ...] = ()


def won_by_both(asked: Compared, answer: Assessment) -> tuple[float, float, float]:
    """Return homes and joint worth won by a plan, and joint worth won by the other, in one draw.

    Parameters
    ----------
    asked
        The two plans.
    answer
        The street as it is, in the draw.

    Returns
    -------
    tuple
        Linked homes over all animals; joint worth twice, numbers without unit.
    """
    street = drawn_street(answer, asked.weight, asked.first)
    now = street.today.now
    own = street.with_plan(asked.own).now
    street.open(frozenset(asked.gaps))
    after = street.with_plan(asked.plan).now
    return (
        float((after - now).sum()),
        float(street.gained(after, now)),
        float(street.gained(own, now)),
    )


def in_fresh_draws(
    assessment: Assessment,
    plan: StreetPlan,
    currency: Currency,
    draws: int,
    processes: int | None,
    progress: Progress | None,
) -> StreetDoubt:
    """Judge a plan in draws that it was not chosen by: those of later batches.

    Parameters
    ----------
    assessment
        The street as it is.
    plan
        The plan, with the own best sets.
    currency
        The joint worth.
    draws
        How many draws.
    processes, progress
        As in `patchnet.plan_together`.
    """
    first = BATCH * -(-plan.draws // BATCH)
    uncertain = draws_of(assessment, first + draws, plan.seed)
    gaps = tuple(one.gap.key for one in plan.gaps)
    asked = Compared(plan.changes, plan.own, currency.weight, currency.first, gaps)
    rows = over_draws(
        won_by_both, asked, uncertain, range(first, first + draws), processes=processes
    )
    found = np.array(list(progress(rows, _("draws")) if progress else rows))
    homes, worth, own = found.T
    able = own > 0
    ratio = float(np.median(worth[able] / own[able])) if able.any() else 1.0
    return StreetDoubt(
        draws,
        spread_of(homes),
        spread_of(worth),
        spread_of(own),
        ratio,
        float((worth > own).mean()),
    )
