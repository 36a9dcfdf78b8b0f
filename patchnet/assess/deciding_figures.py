"""Which figures of the tables an answer turns on, and how much of it the unknown answers are.

Over the draws the worth of each animal's linked homes is explained by the figures that were drawn,
the one that tells most first (`patchnet.assess.variance_shares`). What no figure explains beyond
chance is named as that. The same with the figures held shows what the answers that nobody gave
leave open.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import BATCH, RUN
from patchnet.assess.next_door import open_answers
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.variance_shares import stepwise_shares
from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.drawn import Uncertain, uncertain_figures

__all__ = ["LEAST_DRAWS", "DecidingFigures", "FigureFamily", "deciding_figures"]

Array = NDArray[np.float64]
LEAST_DRAWS = 2 * BATCH
"""With fewer draws than this hardly anything could stand out from chance."""


@dataclass(frozen=True, slots=True)
class FigureFamily:
    """Figures that are drawn together, or one by itself.

    Attributes
    ----------
    figures
        The figures, the one that tells most first.
    share
        Of all doubt, the mean over the animals asked for, 0-1.
    shares
        The same by figure.
    """

    figures: tuple[Uncertain, ...]
    share: float
    shares: tuple[float, ...]


@dataclass(frozen=True, eq=False, repr=False)
class DecidingFigures(Shown):
    """The figures that an answer turns on.

    Attributes
    ----------
    assessment
        The answer.
    draws
        How many draws were taken.
    shares
        One row a figure that tells (index: its key), one column an animal: share of that animal's
        doubt, 0-1; 0 where it does not stand out. Doubt is the variance of log(linked homes +
        first), see `patchnet.assess.worth`.
    families
        The same for all animals together, figures of a family together, the first first.
    answers
        By animal: share of its doubt that is left when the figures are held, 0-1.
    least
        Share below which one more figure cannot be told from chance, the mean over the animals.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)
    >>> found = patchnet.deciding_figures(answer, draws=50)
    >>> bool((found.table()["share"] > 0).all()), found.draws
    (True, 50)
    """

    assessment: Assessment
    draws: int
    shares: pd.DataFrame
    families: tuple[FigureFamily, ...]
    answers: "pd.Series[float]"
    least: float

    @property
    def explained(self) -> float:
        """Share of the doubt that the figures named explain, the mean over the animals, 0-1."""
        return float(self.shares.sum().mean()) if self.shares.size else 0.0

    def table(self) -> pd.DataFrame:
        """One row a figure that tells, the first first (index: its key).

        Returns
        -------
        DataFrame
            Columns ``share`` (of all doubt, the mean over the animals, 0-1), ``value``, ``unit``,
            ``low``, ``high``, ``class`` and ``with_others`` (what it is drawn together with).
        """
        rows = [
            (share, one.figure.value, one.figure.unit, one.figure.low, one.figure.high,
             one.figure.kind, one.with_others)
            for family in self.families
            for one, share in zip(family.figures, family.shares, strict=True)
        ]  # fmt: skip
        index = pd.Index(
            [one.figure.key for family in self.families for one in family.figures],
            name="figure",
            dtype=object,
        )
        columns = ["share", "value", "unit", "low", "high", "class", "with_others"]
        table = pd.DataFrame(rows, index=index, columns=columns)
        return table.sort_values("share", ascending=False, kind="stable")


def deciding_figures(
    assessment: Assessment,
    *,
    draws: int | None = None,
    seed: int = 0,
    processes: int | None = 1,
    progress: Callable[[Iterable[Any]], Iterable[Any]] | None = None,
) -> DecidingFigures:
    """Find the figures that an answer turns on.

    A figure's share of an animal's doubt is explained about so much: with 100 draws only shares
    of a tenth and more stand out from chance, with 400 of a fiftieth.

    Parameters
    ----------
    assessment
        The answer.
    draws
        How many draws, 50 or more; None: as many as the setting ``draws_figures`` says.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps the draws while they are taken, such as a progress bar.

    Returns
    -------
    DecidingFigures
        Figures that go together stand together, what matters most first.

    Raises
    ------
    WrongUse
        If there are fewer than 50 draws, or the answer is for the public.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)
    >>> found = patchnet.deciding_figures(answer, draws=50)
    >>> bool(0 <= found.explained <= 1), bool(found.answers["wren"] < 0.2)
    (True, True)
    """
    knowledge = assessment.knowledge
    is_open = bool(open_answers(assessment).any())
    count = round(knowledge.setting("draws_figures")) if draws is None else draws
    if count < LEAST_DRAWS:
        raise WrongUse(
            _("To find the figures that matter takes draws: give --draws {least} or more.").format(
                least=LEAST_DRAWS
            )
        )
    # Spread is told well enough by fewer draws.
    held = min(count, round(knowledge.setting("draws"))) if is_open else 0
    drawn = draws_of(assessment, count, seed)
    asked = [(drawn, count), (draws_of(assessment, held, seed, held=True), held)]
    rows = (row for one, __ in asked for row in over_draws(_linked, None, one, processes=processes))
    linked = np.array(list(progress(rows) if progress else rows))
    worth = np.log(linked + knowledge.setting("worth_first_homes"))
    everything, answers = worth[:count], worth[count:]
    place = {one.figure.key: at for at, one in enumerate(drawn.draws.figures)}
    shares: dict[str, dict[str, float]] = {}
    least = []
    for column, key in enumerate(assessment.groups):
        own = [place[one.figure.key] for one in uncertain_figures(knowledge, [key])]
        found, by_chance = stepwise_shares(
            drawn.draws.normals[own], everything[:, column], run=RUN, seed=seed
        )
        least.append(by_chance)
        figures = [drawn.draws.figures[own[one.place]].figure.key for one in found]
        shares[key] = dict(zip(figures, (one.share for one in found), strict=True))
    index = pd.Index([one.figure.key for one in drawn.draws.figures], name="figure", dtype=object)
    table = pd.DataFrame(shares, index=index, dtype=float).fillna(0.0)
    table = table[(table > 0).any(axis=1)]
    return DecidingFigures(
        assessment,
        count,
        table,
        _families(table, drawn.draws.figures),
        _left_open(everything, answers, list(assessment.groups)),
        float(np.mean(least)) if least else 1.0,
    )


def _families(table: pd.DataFrame, figures: Sequence[Uncertain]) -> tuple[FigureFamily, ...]:
    share = table.mean(axis=1)
    by_name: dict[str, list[Uncertain]] = {}
    for one in figures:
        if one.figure.key in share.index:
            by_name.setdefault(one.with_others or one.figure.key, []).append(one)
    found = []
    for members in by_name.values():
        members.sort(key=lambda one: -float(share[one.figure.key]))
        each = tuple(float(share[one.figure.key]) for one in members)
        found.append(FigureFamily(tuple(members), sum(each), each))
    return tuple(sorted(found, key=lambda family: -family.share))


def _left_open(everything: Array, answers: Array, groups: list[str]) -> "pd.Series[float]":
    """Share of each animal's doubt that the answers alone leave."""
    if not len(answers):
        return pd.Series(0.0, index=groups)
    whole = everything.var(axis=0, ddof=1)
    part = answers.var(axis=0, ddof=1)
    return pd.Series(
        np.where(whole > 0, np.minimum(part / np.where(whole > 0, whole, 1.0), 1.0), 0.0),
        index=groups,
    )


def _linked(extra: None, answer: Assessment) -> Array:  # noqa: ARG001 - it needs nothing more
    return np.array([one.measures.eca for one in answer.groups.values()])
