"""Which door to knock on next, and what to look for there.

Every answer that nobody gave leaves the whole answer a little open. How much, two trials say: the
feature is there, in the usual amount, or it is not. Of an answer that is "there" with chance t and
makes a difference d, knowing it takes away t (1 - t) d^2 of the variance. A door takes away the
sum over its open answers. That counts each by itself; what answers do together is not in it.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.unknown import Prior, fitted_amounts
from patchnet.assess.what_if import Change, Trials
from patchnet.assess.worth import vote_shares, worth_gained
from patchnet.core.compiled import can_compile
from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Door",
    "Look",
    "NextDoors",
    "Where",
    "doors_for_street",
    "open_answers",
    "spared_plots",
    "where_to_look",
]

Array = NDArray[np.float64]
Where = Literal["street", "fence", "household"]
"""From where something can be told: from the street, at the fence, only by the household."""


@dataclass(frozen=True, slots=True)
class Look:
    """Something to look for at a door.

    Attributes
    ----------
    feature
        Key of the feature.
    where
        From where it can be told.
    share
        Part of all that is open that it would settle, 0-1.
    """

    feature: str
    where: Where
    share: float


@dataclass(frozen=True, slots=True)
class Door:
    """A plot with open answers.

    Attributes
    ----------
    plot
        Its id.
    share
        Part of all that is open that would be settled there, 0-1.
    cumulative
        Part that would be settled there and at all doors before it, 0-1.
    looks
        What to look for, what settles most first.
    """

    plot: str
    share: float
    cumulative: float
    looks: tuple[Look, ...]


@dataclass(frozen=True, eq=False, repr=False)
class NextDoors(Shown):
    """Doors to knock on, the one that settles most first.

    Attributes
    ----------
    assessment
        The answer that is to be settled.
    plot
        The plot whose plan is to be settled; None: the whole street.
    doors
        The doors; none where nothing that is open would change the answer.
    unknown
        How many answers are open at all.
    worth
        How much is open. For a street the variance of what is asked for: linked homes of the one
        animal, or the joint worth of several. For a plan the worth that it would win on the mean
        if all was known.
    draws
        Draws that were taken; 0: trials only.
    now_wins
        For a plan: worth that its best choice wins on the mean as things are known.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)
    >>> found = patchnet.next_doors(answer)
    >>> found.table()["share"].is_monotonic_decreasing, found.doors[0].looks[0].where
    (True, 'fence')
    """

    assessment: Assessment
    plot: str | None
    doors: tuple[Door, ...]
    unknown: int
    worth: float
    draws: int = 0
    now_wins: float = 0.0

    def table(self) -> pd.DataFrame:
        """One row a door, the first first (index: plot).

        Returns
        -------
        DataFrame
            Columns ``share`` and ``cumulative`` (parts of all that is open, 0-1), and
            ``look_for`` (keys of features, ``; `` between them).
        """
        rows = [
            (one.share, one.cumulative, "; ".join(look.feature for look in one.looks))
            for one in self.doors
        ]
        index = pd.Index([one.plot for one in self.doors], name="plot", dtype=object)
        return pd.DataFrame(rows, index=index, columns=["share", "cumulative", "look_for"])

    def looks(self) -> pd.DataFrame:
        """One row a door and feature, in the order in which to ask.

        Returns
        -------
        DataFrame
            Columns ``plot``, ``feature``, ``where`` (street, fence, household) and ``share``
            (part of all that is open, 0-1).
        """
        rows = [
            (one.plot, look.feature, look.where, look.share)
            for one in self.doors
            for look in one.looks
        ]
        return pd.DataFrame(rows, columns=["plot", "feature", "where", "share"])


def where_to_look(knowledge: Knowledge, kind: str, feature: str) -> Where:
    """Return from where it can be told whether a plot of a kind has a feature.

    Parameters
    ----------
    knowledge
        The tables.
    kind
        Kind of the plot.
    feature
        Key of a feature that can be seen.
    """
    question = knowledge.survey_questions.get(feature)
    if knowledge.plot_is(kind, "nobodys"):
        return "street"
    if question is not None and not question.from_street:
        return "household"
    in_view = knowledge.features[feature].visible == "street"
    return "street" if in_view and not knowledge.plot_is(kind, "back") else "fence"


def open_answers(assessment: Assessment) -> NDArray[np.bool_]:
    """Shape (n, F): answers that nobody gave about what can be seen, and that may be yes or no.

    Parameters
    ----------
    assessment
        The answer.

    Raises
    ------
    WrongUse
        If it is for the public: then there are no doors in it.
    """
    if assessment.prior is None:
        raise WrongUse(_("What is for the public has no doors: begin with the group's file."))
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    unseen = np.array([one.unseen for one in knowledge.features.values()], dtype=bool)
    chance = np.array(
        [assessment.prior.share(kind, knowledge.setting("prior_strength")) for kind in _kinds(hood)]
    ).reshape(hood.answers.amount.shape)
    found: NDArray[np.bool_] = np.isnan(hood.answers.amount) & ~unseen & (chance > 0) & (chance < 1)
    return found


def spared_plots(assessment: Assessment, spared: Collection[str]) -> frozenset[str]:
    """Plots at which nobody is to knock: those named, and those whose household said no.

    Parameters
    ----------
    assessment
        The answer; column ``consent`` of its plots counts.
    spared
        Ids of households that asked to be left in peace (see `patchnet.survey.left_in_peace`).
    """
    plots = assessment.neighbourhood.plots
    said_no = plots.index[plots["consent"] == "no"] if "consent" in plots else ()
    return frozenset(map(str, (*spared, *said_no)))


def doors_for_street(
    assessment: Assessment,
    *,
    spared: Collection[str] = (),
    progress: Callable[[Iterable[str]], Iterable[str]] | None = None,
) -> NextDoors:
    """Find the doors that would settle most of the answer for a whole street.

    Of one animal it is its linked homes that are to be settled, of several their joint worth (see
    `patchnet.assess.worth`). Features are tried in the usual amount against not there, in the
    quick form of sharing; all else stays as expected.

    Parameters
    ----------
    assessment
        The answer.
    spared
        Ids of plots at which nobody is to knock, beside those whose household said no. What is
        open there counts, but they are not named.
    progress
        Wraps the plots while they are worked through, such as a progress bar.

    Raises
    ------
    WrongUse
        If the answer is for the public.
    """
    is_open = open_answers(assessment)
    plots = assessment.neighbourhood.plots.index
    rows = np.flatnonzero(is_open.any(axis=1)).tolist()
    names = [str(plots[row]) for row in rows]
    trials = Trials(assessment, compiled=can_compile() or None)
    variance = np.zeros(is_open.shape)
    for row, plot in zip(rows, progress(names) if progress else names, strict=True):
        columns = np.flatnonzero(is_open[row])
        variance[row, columns] = _variances(trials, plot, row, columns)
    whole = float(variance.sum())
    left_out = spared_plots(assessment, spared)
    asked = [(row, plot) for row, plot in zip(rows, names, strict=True) if plot not in left_out]
    shares = {plot: variance[row] / whole for row, plot in asked if variance[row].any()}
    return NextDoors(assessment, None, tuple(_doors(assessment, shares)), int(is_open.sum()), whole)


def _doors(assessment: Assessment, shares: dict[str, Array]) -> Iterator[Door]:
    """Doors, the best first, from the share of each feature at each."""
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    so_far = 0.0
    for plot, row in sorted(shares.items(), key=lambda one: -float(one[1].sum())):
        kind = str(hood.plots.loc[plot, "kind"])
        looks = [
            Look(key, where_to_look(knowledge, kind, key), float(row[at]))
            for at, key in enumerate(hood.answers.features)
            if row[at] > 0
        ]
        looks.sort(key=lambda look: -look.share)
        so_far += float(row.sum())
        yield Door(plot, float(row.sum()), min(so_far, 1.0), tuple(looks))


def _variances(trials: Trials, plot: str, row: int, columns: NDArray[np.intp]) -> Array:
    """Variance that each open answer of a plot accounts for, shape (columns,)."""
    assessment = trials.assessment
    prior: Prior | None = assessment.prior
    assert prior is not None  # noqa: S101 - open_answers has refused it
    knowledge = assessment.knowledge
    kind = _kinds(assessment.neighbourhood)[row]
    chance = prior.share(kind, knowledge.setting("prior_strength"))
    changes = _there_and_not(assessment, prior, row, columns)
    linked = trials.at(plot).ranked(changes).reshape(2, len(columns), -1)
    if len(trials.groups) == 1:
        effect = linked[0, :, 0] - linked[1, :, 0]
    else:
        weight = vote_shares(one.group for one in assessment.groups.values())
        first = knowledge.setting("worth_first_homes")
        effect = worth_gained(linked[0], linked[1], first) @ weight
    return np.asarray(chance[columns] * (1.0 - chance[columns]) * effect**2)


def _there_and_not(
    assessment: Assessment, prior: Prior, row: int, columns: NDArray[np.intp]
) -> Sequence[Change]:
    """Changes of a plot's amounts: first with each feature there, then with each not there."""
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    features = list(knowledge.features.values())
    usual = prior.usual(_kinds(hood)[row], np.array([one.typical.value for one in features]))
    answers, now = hood.answers.amount[row], assessment.amounts[row]
    # No more of it than would fit if nothing else unknown was there.
    alone = np.full((len(columns), len(usual)), 0.0)
    alone[np.arange(len(columns)), columns] = usual[columns]
    ground = np.array([one.ground.value for one in features])
    area = np.full(len(columns), float(hood.plots["area_m2"].iloc[row]))
    known = np.tile(answers, (len(columns), 1))
    there = fitted_amounts(known, alone, area, ground)[np.arange(len(columns)), columns]
    beside: dict[str, list[tuple[str, float]]] = {key: [] for key in hood.answers.features}
    for one in knowledge.unseen:
        if one.beside in beside and np.isnan(answers[hood.answers.features.index(one.feature)]):
            beside[one.beside].append((one.feature, one.amount.value))
    changes = []
    for amounts in (there, np.zeros(len(columns))):
        for column, amount in zip(columns.tolist(), amounts.tolist(), strict=True):
            key, more = hood.answers.features[column], amount - float(now[column])
            with_it = {hole: rate * more for hole, rate in beside[key]}  # holes go with trees
            changes.append({key: more, **with_it})
    return changes


def _kinds(hood: Neighbourhood) -> list[str]:
    return [str(kind) for kind in hood.plots["kind"]]
