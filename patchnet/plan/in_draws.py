"""The sets that a plot could add, judged in every draw of what is not sure; and which to choose.

In each draw the best set wins what it wins; what another set wins, over that, is its share of what
was possible. The set with the largest mean share over the draws is the choice: it is never far
from the best, whatever turns out to be so. `python tests/calibration/choice.py` looks at
such choices, and at those made with the figures in use, in draws that were not used to choose.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.draws import BATCH
from patchnet.assess.links_in_draws import gaps_won
from patchnet.assess.over_draws import UncertainAnswer, over_draws
from patchnet.assess.spread import MIDDLE, Spread, spread_of
from patchnet.assess.what_if import Trials
from patchnet.assess.worth import worth_gained
from patchnet.core.compiled import can_compile
from patchnet.plan.waiting import in_time

__all__ = [
    "ChangesInDraws",
    "clear_lead",
    "judge_in_draws",
    "mean_share",
    "nothing_to_lose",
    "pool_of_sets",
    "sets_of_the_best",
    "shares_of_best",
]

Array = NDArray[np.float64]
Change = Mapping[str, float]
Row = tuple[Array, Array, list[float]]
Gaps = tuple[tuple[str, FenceGap], ...]
"""Gaps in fences, each for an animal that walks: its key and the gap."""
_NOTHING = 1e-9  # worth that is rounding
_LEAST_SHARE = -1.0  # a set that does great harm in one draw does not decide by that alone


@dataclass(frozen=True, eq=False)
class ChangesInDraws:
    """Linked homes of G animals in D draws, today and after each of S changes on one plot.

    Attributes
    ----------
    now
        Shape (D, G).
    after
        Shape (D, S, G).
    weight
        Shape (G,): votes of the animals.
    first
        Homes, as in `patchnet.assess.worth.worth_gained`.
    cautious
        Choose by that low end of the shares (0.1: what is passed 9 times in 10) in place of their
        mean; None: by the mean.
    gaps
        Shape (D, L): linked homes that gaps in fences, asked for beside the changes, win.
    """

    now: Array
    after: Array
    weight: Array
    first: float
    cautious: float | None = None
    gaps: Array = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def count(self) -> int:
        """How many draws."""
        return len(self.now)

    @cached_property
    def worth(self) -> Array:
        """Shape (D, S): change of the joint worth."""
        return np.asarray(worth_gained(self.after, self.now[:, None], self.first) @ self.weight)

    @cached_property
    def shares(self) -> Array:
        """Shape (D', S): share of what was possible, in draws in which anything was."""
        return shares_of_best(self.worth)

    @cached_property
    def share(self) -> Array:
        """Shape (S,): mean share of what was possible; nothing where never anything was."""
        return mean_share(self.worth)

    @cached_property
    def score(self) -> Array:
        """Shape (S,): what is chosen by, the share's mean or its low end."""
        if self.cautious is None or not len(self.shares):
            return self.share
        return np.asarray(np.quantile(self.shares, self.cautious, axis=0))

    @cached_property
    def best(self) -> NDArray[np.intp]:
        """Shape (D',): the best change of each draw in which anything wins."""
        return np.asarray(self.shares.argmax(axis=1), dtype=np.intp)

    @cached_property
    def now_mean(self) -> Array:
        """Shape (G,): linked homes today, mean."""
        return np.asarray(self.now.mean(axis=0))

    @cached_property
    def after_mean(self) -> Array:
        """Shape (S, G): linked homes after, mean."""
        return np.asarray(self.after.mean(axis=0))

    def won(self, at: int) -> Spread:
        """Linked homes that one change wins, over all animals."""
        return spread_of((self.after[:, at] - self.now).sum(axis=1))

    def won_by(self, at: int) -> Array:
        """Shape (G, 3): what one change wins each animal: mean, and the ends of the middle 90."""
        each = self.after[:, at] - self.now
        return np.column_stack([each.mean(axis=0), *np.quantile(each, MIDDLE, axis=0)])

    def harm(self, at: int) -> float:
        """Share of draws in which one change makes things worse, 0-1."""
        return float((self.worth[:, at] < -_NOTHING).mean())


def shares_of_best(worth: Array) -> Array:
    """Share of what was possible, shape (D', S), in the draws in which anything was.

    Parameters
    ----------
    worth
        Shape (D, S): change of the joint worth by each of S changes.
    """
    best = worth.max(axis=1, initial=0.0)
    some = best > _NOTHING
    shares: Array = np.maximum(worth[some] / best[some, None], _LEAST_SHARE)
    return shares


def mean_share(worth: Array) -> Array:
    """Mean share of what was possible, shape (S,); nothing where never anything was.

    Parameters
    ----------
    worth
        As in `shares_of_best`.
    """
    shares = shares_of_best(worth)
    return np.asarray(shares.mean(axis=0)) if len(shares) else np.zeros(worth.shape[1])


def sets_of_the_best(
    sets: Sequence[tuple[int, ...]], gain: Array, *, singles: int
) -> list[tuple[int, ...]]:
    """All pairs and threes of the best single things, each ascending.

    Parameters
    ----------
    sets, gain, singles
        As in `pool_of_sets`.
    """
    alone = [(-float(won), members[0]) for members, won in zip(sets, gain, strict=True)
             if len(members) == 1]  # fmt: skip
    things = sorted(thing for _, thing in sorted(alone)[:singles])
    return [*combinations(things, 2), *combinations(things, 3)]


def pool_of_sets(
    sets: Sequence[tuple[int, ...]], gain: Array, *, first: int, singles: int
) -> list[int]:
    """Choose the sets that are worth judging in every draw.

    Every single thing; the best sets with the figures in use; all pairs and threes of the best
    single things; and whatever is part of one of these.

    Parameters
    ----------
    sets
        Sets of positions of candidates, each ascending.
    gain
        Shape (S,): what each wins with the figures in use.
    first
        How many of the best sets.
    singles
        How many of the best single things are combined.

    Returns
    -------
    list
        Places among the sets, ascending.
    """
    place = {members: at for at, members in enumerate(sets)}
    alone = {members for members in sets if len(members) == 1}
    order = np.argsort(-gain, kind="stable").tolist()
    wanted = alone | {sets[at] for at in order[:first]}
    wanted |= set(sets_of_the_best(sets, gain, singles=singles))
    parts = {part for one in wanted for size in (1, 2) for part in combinations(one, size)}
    return sorted(place[one] for one in wanted | parts if one in place)


def clear_lead(judged: ChangesInDraws, rivals: Sequence[int], *, surely: float) -> bool:
    """Whether the change with the largest mean share leads every rival beyond chance.

    Parameters
    ----------
    judged
        So far.
    rivals
        Changes it must lead.
    surely
        How much that is: standard errors of the difference (a number).
    """
    if not len(rivals):
        return False
    return _ahead(judged, rivals, surely) > 0


def nothing_to_lose(judged: ChangesInDraws, *, surely: float, least: float) -> bool:
    """Whether no other change has a mean share that is larger by more than a little.

    Many changes may be nearly alike, so that none ever leads the others.

    Parameters
    ----------
    judged
        So far.
    surely
        As in `clear_lead`.
    least
        A share that is little, 0-1.
    """
    return _ahead(judged, range(judged.after.shape[1]), surely) >= -least


def _ahead(judged: ChangesInDraws, rivals: Sequence[int], surely: float) -> float:
    """By how much share the first leads each rival at least; nothing is known of few draws."""
    shares = judged.shares
    if len(shares) < BATCH:
        return -math.inf
    ahead = shares[:, [int(judged.score.argmax())]] - shares[:, list(rivals)]
    error = ahead.std(axis=0, ddof=1) / math.sqrt(len(shares))
    return float((ahead.mean(axis=0) - surely * error).min())


@dataclass(frozen=True)
class _Asked:
    """What is tried in each draw."""

    plot: str
    changes: tuple[Change, ...]
    gaps: Gaps


def judge_in_draws(
    uncertain: UncertainAnswer,
    plot: str,
    changes: Sequence[Change],
    *,
    weight: Array,
    first: float,
    cautious: float | None = None,
    gaps: Gaps = (),
    enough: Callable[[ChangesInDraws], bool] | None = None,
    processes: int | None = 1,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None,
) -> ChangesInDraws:
    """Judge changes on one plot in every draw, in the quick form that ranks.

    What is added counts as it stands some years ahead, by the years of the draw. What would be
    taken away and is not there in a draw is not taken.

    Parameters
    ----------
    uncertain
        The answer and its draws.
    plot
        Id of the plot.
    changes
        Feature to amount more, in its own unit.
    weight, first, cautious
        Of the joint worth, and of the choice (see `ChangesInDraws`); homes, and 0-1.
    gaps
        Gaps in fences to be judged too, each by itself.
    enough
        Asked after each batch of draws: whether they will do.
    processes, progress
        See `patchnet.assess.over_draws`.
    """
    rows: Iterable[Row] = over_draws(
        _in_draw, _Asked(plot, tuple(changes), gaps), uncertain, processes=processes
    )
    now: list[Array] = []
    after: list[Array] = []
    opened: list[list[float]] = []

    def so_far() -> ChangesInDraws:
        shape = (len(now), len(changes), len(weight))
        return ChangesInDraws(
            np.array(now),
            np.array(after).reshape(shape),
            weight,
            first,
            cautious,
            np.array(opened).reshape(len(now), len(gaps)),
        )

    for before, changed, won in progress(rows) if progress else rows:
        now.append(before)
        after.append(changed)
        opened.append(won)
        if enough is not None and len(now) % BATCH == 0 and enough(so_far()):
            break
    return so_far()


def _in_draw(asked: _Asked, answer: Assessment) -> Row:
    trials = Trials(answer, compiled=can_compile() or None)
    row = answer.neighbourhood.row_of(asked.plot)
    there = dict(
        zip(answer.neighbourhood.answers.features, answer.amounts[row].tolist(), strict=True)
    )
    changes = [
        {key: max(more, -there[key]) for key, more in in_time(change, answer.knowledge).items()}
        for change in asked.changes
    ]
    won = [gaps_won([gap], answer.groups[key], answer.knowledge)[0] for key, gap in asked.gaps]
    return trials.now, trials.at(asked.plot).ranked(changes), won
