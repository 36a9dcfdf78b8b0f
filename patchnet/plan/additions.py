"""For every plot, what could be added with nothing said of it, and what each thing wins alone."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.what_if import Trials
from patchnet.assess.what_if_plot import PlotTrials
from patchnet.core.compiled import can_compile
from patchnet.knowledge.records import Feature, Knowledge, Siting
from patchnet.plan.candidates import candidates_for, fitted, planted_m2
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import Currency, amounts_at, common_currency
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.space import Space, space_of
from patchnet.plan.waiting import in_time

__all__ = [
    "AdditionSize",
    "PairAddition",
    "PlotAdditions",
    "SingleAddition",
    "needs_soil",
    "possible_additions",
]

Array = NDArray[np.float64]
_NAMED = 3  # groups named for each thing, as many plots as are named for a need
_FEW = 10  # from more plots on, waiting a few seconds for the compiler pays
_PAIRS = 3  # pairs kept for a plot, as many as the single things that are shown of it


@dataclass(frozen=True, slots=True)
class AdditionSize:
    """One amount of a thing, with what it takes and what it wins alone.

    `linked_homes` is summed over the groups; `worth` is the change of the joint worth.
    """

    amount: float
    ground_m2: float
    length_m: float
    linked_homes: float
    worth: float


@dataclass(frozen=True, slots=True)
class SingleAddition:
    """One thing by itself.

    Attributes
    ----------
    candidate
        The thing, in the usual amount or as much of it as fits.
    sizes
        That amount first, then smaller ones down to the smallest that is of use (only for what
        takes ground).
    groups
        The few groups for which it wins most, most first.
    """

    candidate: Candidate
    sizes: tuple[AdditionSize, ...]
    groups: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PairAddition:
    """Two things that are worth notably more together than each alone.

    `members` are positions among the plot's single things; `ground_m2` is the ground that both
    take at the amounts that fit together.
    """

    members: tuple[int, int]
    ground_m2: float
    linked_homes: float
    worth: float


@dataclass(frozen=True, slots=True)
class PlotAdditions:
    """What could be added to one plot.

    Attributes
    ----------
    plot
        Id of the plot.
    soil
        Whether there can be open ground at all (not on a balcony).
    ground_m2, hard_m2, planted_m2
        Ground that may be planted; floor for pots beyond it; ground under what grows there.
    singles
        Single things that win something or are part of a pair, the one worth most first.
    pairs
        The few best pairs that are worth more together, the one worth most first.
    taken_up_m2
        What of the ground would have to be taken up first (slabs, plastic grass).
    """

    plot: str
    soil: bool
    ground_m2: float
    hard_m2: float
    planted_m2: float
    singles: tuple[SingleAddition, ...]
    pairs: tuple[PairAddition, ...]
    taken_up_m2: float = 0.0


def needs_soil(feature: Feature, siting: Siting) -> bool:
    """Whether a thing cannot stand in a pot or hang.

    Parameters
    ----------
    feature
        The thing.
    siting
        Where it can go.
    """
    return feature.rooted or siting.in_ground


def possible_additions(
    assessment: Assessment,
    plots: Sequence[str] | None = None,
    *,
    trials: Trials | None = None,
    progress: Callable[[Iterable[str]], Iterable[str]] | None = None,
) -> Mapping[str, PlotAdditions]:
    """Work out what could be added to each plot while nothing is said of it.

    Nothing is hidden because of light, tenancy, children, time or money: whoever shows the
    answer leaves out what does not suit. Every amount and every pair is judged in the quick form
    that ranks for a plot's plan (`PlotTrials.ranked`): what it wins is right to some parts in a
    hundred.

    Parameters
    ----------
    assessment
        The neighbourhood as it is.
    plots
        Ids of plots; all of them where None.
    trials
        Judges of this assessment that are there already. Those made here are compiled where many
        plots are asked about and a compiler is installed.
    progress
        Wraps the ids while they are worked through, such as a progress bar.

    Returns
    -------
    Mapping
        Plot id to `PlotAdditions`, in the order asked for.

    Raises
    ------
    WrongUse
        If there is no such plot.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> list(patchnet.possible_additions(answer, ["M15B"]))
    ['M15B']
    """
    asked = [str(plot) for plot in assessment.neighbourhood.plots.index] if plots is None else plots
    if trials is None:
        trials = Trials(assessment, compiled=(len(asked) > _FEW and can_compile()) or None)
    currency = common_currency(assessment)
    return {
        plot: _additions(trials.at(plot), plot, currency)
        for plot in (progress(asked) if progress else asked)
    }


def _additions(here: PlotTrials, plot: str, currency: Currency) -> PlotAdditions:
    assessment = here.trials.assessment
    knowledge, neighbourhood = assessment.knowledge, assessment.neighbourhood
    kind = str(neighbourhood.plots["kind"].loc[plot])
    space = space_of(
        neighbourhood, plot, PlotFacts(), knowledge, amounts=amounts_at(assessment, plot)
    )
    offered, _ = candidates_for(knowledge, PlotFacts(), space, kind=kind)
    # Everything is judged in one go: what all changes on one plot share is worked out once.
    sets: list[tuple[int, ...]] = []
    things: list[tuple[Candidate, ...]] = []
    changes: list[Mapping[str, float]] = []
    single = [
        ((at,), (one,))
        for at, sizes in enumerate(_sizes(offered, space, kind, knowledge))
        for one in sizes
    ]
    paired = [((i, j), (offered[i], offered[j])) for i, j in combinations(range(len(offered)), 2)]
    for members, chosen in [*single, *paired]:
        result = fitted(chosen, space, knowledge, PlotFacts())
        if result is not None:
            sets.append(members)
            things.append(result[0])
            changes.append(result[1])
    linked = here.ranked([in_time(change, knowledge) for change in changes])
    worth = currency.worth(linked).tolist()
    won = (linked - currency.now).sum(axis=1).tolist()
    sizes: dict[int, list[AdditionSize]] = {}
    groups: dict[int, tuple[str, ...]] = {}
    pairs = []
    for at, (members, chosen) in enumerate(zip(sets, things, strict=True)):
        if len(members) == 1:
            [one] = chosen
            size = AdditionSize(one.amount, one.ground_m2, one.length_m, won[at], worth[at])
            sizes.setdefault(members[0], []).append(size)
            groups.setdefault(members[0], _served(linked[at], currency, knowledge))
        else:
            ground = sum(one.ground_m2 for one in chosen if one.place == "ground")
            pairs.append(PairAddition((members[0], members[1]), ground, won[at], worth[at]))
    pairs = _worth_more(pairs, {at: each[0] for at, each in sizes.items()}, knowledge)
    kept = _kept(sizes, pairs, knowledge)
    place = {at: row for row, at in enumerate(kept)}
    return PlotAdditions(
        plot=plot,
        soil=not knowledge.plot_is(kind, "pots_only"),
        ground_m2=space.ground_m2,
        hard_m2=space.floor_m2 - space.ground_m2,
        planted_m2=planted_m2(space, knowledge),
        taken_up_m2=sum(space.convertible.get(key, 0.0) for key in knowledge.taking_up),
        singles=tuple(SingleAddition(offered[at], tuple(sizes[at]), groups[at]) for at in kept),
        pairs=tuple(
            replace(pair, members=(place[pair.members[0]], place[pair.members[1]]))
            for pair in pairs
        ),
    )


def _sizes(
    offered: Sequence[Candidate], space: Space, kind: str, knowledge: Knowledge
) -> list[tuple[Candidate, ...]]:
    """Each thing in the amount offered; what takes ground also half way down, and smallest."""
    found = [[one] for one in offered]
    for share in (0.5, 0.0):
        wishes = []
        for one in offered:
            least = knowledge.features[one.feature].smallest.value
            wishes.append((one.feature, least + share * (one.amount - least)))
        less, _ = candidates_for(knowledge, PlotFacts(wishes=tuple(wishes)), space, kind=kind)
        smaller = {one.feature: one for one in less}
        for sizes in found:
            lower = smaller.get(sizes[0].feature)
            if lower is None or lower.place not in ("ground", "under"):
                continue
            if lower.amount < sizes[-1].amount:
                sizes.append(lower)
    return [tuple(sizes) for sizes in found]


def _served(linked: Array, currency: Currency, knowledge: Knowledge) -> tuple[str, ...]:
    """The few groups that win most linked homes, of those that win any worth naming."""
    won = linked - currency.now
    least = knowledge.setting("plan_gain_least")
    order = np.argsort(-won, kind="stable")[:_NAMED]
    return tuple(currency.groups[at] for at in order.tolist() if won[at] >= least)


def _worth_more(
    pairs: Sequence[PairAddition], alone: Mapping[int, AdditionSize], knowledge: Knowledge
) -> list[PairAddition]:
    """The few pairs worth most, of those that win notably more than both things apart.

    Both in linked homes, which people are told, and in the joint worth, which ranks.
    """
    least = knowledge.setting("plan_gain_least")
    share = knowledge.setting("pair_more_share")
    found = []
    for pair in pairs:
        apart = [alone[at] for at in pair.members]
        homes = sum(max(one.linked_homes, 0.0) for one in apart)
        worth = sum(max(one.worth, 0.0) for one in apart)
        extra = pair.linked_homes - homes
        if extra >= max(least, share * homes) and pair.worth - worth > share * worth:
            found.append(pair)
    found.sort(key=lambda pair: -pair.worth)
    return found[:_PAIRS]


def _kept(
    sizes: Mapping[int, Sequence[AdditionSize]],
    pairs: Sequence[PairAddition],
    knowledge: Knowledge,
) -> list[int]:
    """Things that win something worth naming, or that a pair needs; the one worth most first."""
    least = knowledge.setting("plan_gain_least")
    paired = {at for pair in pairs for at in pair.members}
    kept = [
        at
        for at, (usual, *_) in sizes.items()
        if at in paired or (usual.linked_homes >= least and usual.worth > 0)
    ]
    return sorted(kept, key=lambda at: (-sizes[at][0].worth, at))
