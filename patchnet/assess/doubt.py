"""How sure an answer is: what becomes of it over many draws of all that is not sure.

What people are told is the mean over the draws (`patchnet.assess.over_draws`), so that before +
change = after, and the middle 90 of 100 of them. That is what our tables and the unseen gardens
leave open; it says nothing of what the tables themselves may have wrong beyond their ranges.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break, GroupAnswer
from patchnet.assess.draws import Draws
from patchnet.assess.links_in_draws import BreakWon, breaks_won, doubt_of_breaks
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.sharing import combine_months
from patchnet.assess.spread import GroupDoubt
from patchnet.assess.supply import resource_months
from patchnet.core.named import Named

__all__ = ["Doubt", "doubt_of", "with_doubt"]

Array = NDArray[np.float64]
_Row = tuple[Array, Array, Array, list[Array], list[list[BreakWon]], Array]


@dataclass(frozen=True, eq=False)
class Doubt:
    """How sure an answer is.

    Attributes
    ----------
    groups
        By animal.
    draws
        The draws that were taken.
    plots
        Ids of the n plots.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.doubt_of(answer, draws=5).groups["wren"].homes.shape
    (5, 127)
    """

    groups: Mapping[str, GroupDoubt]
    draws: Draws
    plots: pd.Index


def doubt_of(
    assessment: Assessment,
    *,
    draws: int | None = None,
    seed: int = 0,
    processes: int | None = 1,
    progress: Callable[[Iterable[_Row]], Iterable[_Row]] | None = None,
) -> Doubt:
    """Work out how sure an answer is.

    Parameters
    ----------
    assessment
        The answer at the figures in use.
    draws
        How many draws; None: as many as the setting ``draws`` says.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps the draws while they are taken, such as a progress bar.

    Returns
    -------
    Doubt
        Linked homes and homes on each plot in every draw, by animal.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> linked = patchnet.doubt_of(answer, draws=5).groups["wren"].linked_homes
    >>> linked.low <= linked.mean <= linked.high
    True
    """
    count = round(assessment.knowledge.setting("draws")) if draws is None else draws
    uncertain = draws_of(assessment, count, seed)
    breaks = {key: one.breaks for key, one in assessment.groups.items()}
    drawn = over_draws(_row, breaks, uncertain, processes=processes)
    rows = list(progress(drawn) if progress else drawn)
    plots = assessment.neighbourhood.plots.index
    found = {}
    for at, (key, answer) in enumerate(assessment.groups.items()):
        needs = len(answer.group.needs)
        found[key] = GroupDoubt(
            linked=np.array([row[0][at] for row in rows]),
            homes=np.array([row[1][at] for row in rows]).reshape(count, len(plots)),
            room=np.array([row[2][at] for row in rows]).reshape(count, len(plots)),
            enough=np.array([row[3][at] for row in rows]).reshape(count, needs, len(plots)),
            breaks=doubt_of_breaks(answer.breaks, [row[4][at] for row in rows]),
            ceiling=np.array([row[5][at] for row in rows]),
        )
    return Doubt(found, uncertain.draws, plots)


def with_doubt(assessment: Assessment, doubt: Doubt) -> Assessment:
    """Return the answer with how sure it is, so that whoever shows it tells that.

    Parameters
    ----------
    assessment
        The answer.
    doubt
        From `doubt_of`.

    Returns
    -------
    Assessment
        The same, with `GroupAnswer.drawn`.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> told = patchnet.with_doubt(answer, patchnet.doubt_of(answer, draws=5))
    >>> told.groups["wren"].linked_told == told.groups["wren"].drawn.linked_homes
    True
    """
    groups = {
        key: replace(answer, drawn=doubt.groups[key]) for key, answer in assessment.groups.items()
    }
    return replace(assessment, groups=Named(groups, "animal"))


def _row(breaks: Mapping[str, tuple[Break, ...]], answer: Assessment) -> _Row:
    groups = answer.groups.values()
    return (
        np.array([one.measures.eca for one in groups]),
        np.array([one.homes.to_numpy() for one in groups]),
        np.array([one.room.to_numpy() for one in groups]),
        [_enough(one, answer) for one in groups],
        [breaks_won(breaks[key], one, answer.knowledge) for key, one in answer.groups.items()],
        np.array([one.ceiling for one in groups]),
    )


def _enough(one: GroupAnswer, answer: Assessment) -> Array:
    """Shape (Q, n): homes that what lies within reach is enough for."""
    rows = []
    for need in one.group.needs:
        supply = resource_months(answer.supply, answer.knowledge, need.resource, need.months)
        within = one.reach.within(need.reach.value) @ (supply / need.amount.value)
        rows.append(combine_months(np.asarray(within), worst=need.month_rule == "worst"))
    return np.array(rows).reshape(len(rows), len(one.homes))
