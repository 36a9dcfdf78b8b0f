"""What is wrong in a neighbourhood, and the three things that would help it most.

Facts only, for whoever draws or says them (`patchnet.pages.kit.story_words`). What is short comes
from `patchnet.plan.lacks`; what to add from `patchnet.plan.help_search`; a gap in a fence from
`patchnet.assess.fences`. All of it starts from an answer that is there, so it takes about a second
for a street.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from shapely import Point

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import best_gaps, gaps_in_draw
from patchnet.assess.next_door import spared_plots
from patchnet.assess.spread import Spread
from patchnet.assess.worth import worth_gained
from patchnet.core.shown import Shown
from patchnet.plan.candidates import hours_of, taking_up_of
from patchnet.plan.finding import (
    Finding,
    answering,
    finding_of,
    served_by,
    supplied_for_size,
    unseen_plots,
)
from patchnet.plan.help_search import HALF, Additions, Answering, Found, additions_that_help
from patchnet.plan.joint_worth import common_currency
from patchnet.plan.lacks import Lack, lacks_of
from patchnet.plan.stretches import Stretch, nearest_stretch, stretches_of

__all__ = ["Helped", "MostHelp", "RoomFor", "Thing", "most_help"]

_THINGS = 3
_NAMED = 3  # animals named for a thing, as for a plot's additions
_GAPS = 3  # gaps of each animal that are weighed for all animals that walk


@dataclass(frozen=True, slots=True)
class Helped:
    """An animal that a thing helps: linked homes before it, and those that it wins.

    Before the first addition, and before a gap, are those told today; before a later addition,
    those with the additions before it.
    """

    group: str
    before: float
    won: float

    @property
    def after(self) -> float:
        """Linked homes with it."""
        return self.before + self.won


@dataclass(frozen=True, slots=True)
class Thing:
    """One of the things that would help most.

    Attributes
    ----------
    kind
        ``"add"`` (something planted, watered or opened), ``"gap"`` (a hole in a fence or wall),
        ``"doors"`` (plots to look at) or ``"street"`` (something along a street: for the public).
    plots
        Ids of the plots it is about; of a gap the sides that are plots. None for the public.
    point
        Where to draw it, in the neighbourhood's CRS; None for the public.
    stretch
        The part of a street that it lies in; None where none has a name.
    feature, amount
        Key and amount, in the feature's own unit, of what is added; of a gap the feature that it
        is, 1. Empty and 0 of doors; amount 0 for the public.
    animals
        The few that it helps most, most worth first, with linked homes; empty where no figure is
        told.
    worth
        In the joint worth of all animals; None where no figure is told.
    cost
        Money, from and to, in the currency of the ``cost`` settings; what has to be taken up is
        in it. None where it is not known (doors, the public).
    hours, hours_month
        Hours to make it, and hours a month afterwards; None where they are not known.
    months
        When to make it, 1-12.
    cautions, asks
        Keys of the cautions, and whom to ask first, as in `patchnet.plan.plot_plan.Candidate`.
    barriers
        Of a gap: the kinds of barrier that it goes through.
    gives_way
        What makes way, feature to amount in its unit.
    lack
        What it helps against: for the public, or where it gives what the finding says is short.
    on_top
        Whether it is counted with additions before it.
    """

    kind: Literal["add", "gap", "doors", "street"]
    plots: tuple[str, ...] = ()
    point: Point | None = None
    stretch: Stretch | None = None
    feature: str = ""
    amount: float = 0.0
    animals: tuple[Helped, ...] = ()
    worth: float | None = None
    cost: tuple[float, float] | None = None
    hours: float | None = None
    hours_month: float | None = None
    months: tuple[int, ...] = ()
    cautions: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    barriers: tuple[str, ...] = ()
    gives_way: tuple[tuple[str, float], ...] = ()
    lack: Lack | None = None
    on_top: bool = False


@dataclass(frozen=True, slots=True)
class RoomFor:
    """Room for one animal: homes, and between what, as they are told everywhere."""

    group: str
    homes: Spread


@dataclass(frozen=True, eq=False, repr=False)
class MostHelp(Shown):
    """What is wrong in a neighbourhood, and what would help most.

    Attributes
    ----------
    finding
        For the headline.
    things
        At most three, those that win most first, doors last. Additions are each counted with
        those before. Where what is short can be planted, watered or opened, and wins anything, one
        of them gives it.
    on_plots
        Plot id to what that plot might begin with, best first, as estimated and without figures:
        at most three, of different sorts. Empty where there are too many plots.
    rooms
        By animal, in the order of the answer.
    lacks
        All that is short, what is worth most first.
    judged
        Whether things were judged, or only estimated because there are too many plots.
    public
        Whether it is for everybody: then nothing in it points at a household.
    """

    finding: Finding
    things: tuple[Thing, ...]
    on_plots: Mapping[str, tuple[Thing, ...]]
    rooms: tuple[RoomFor, ...]
    lacks: tuple[Lack, ...]
    judged: bool
    public: bool


def most_help(assessment: Assessment, *, spared: Collection[str] = ()) -> MostHelp:
    """Say what is wrong in a neighbourhood and which three things would help it most.

    Parameters
    ----------
    assessment
        The answer; where draws were taken, what is found is said to be sure only where it holds in
        ``settings/lack_sure_share`` of them.
    spared
        Ids of plots of which nothing is asked, beside those whose household said no.

    Returns
    -------
    MostHelp
        Facts with numbers and places.

    Notes
    -----
    Linked homes before are those told; what a thing wins is worked out with the figures in use,
    the street being as expected where nobody looked. What is won by closing a break is the mean of
    the draws where there are any, for there it is often no break.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren", "robin"])
    >>> most_help(answer).things[0].kind
    'add'
    """
    know, hood = assessment.knowledge, assessment.neighbourhood
    public = hood.audience == "public"
    least = np.inf if public else know.setting("stretch_plots_least")
    stretches = stretches_of(hood, least=least)
    lacks: tuple[Lack, ...] = ()
    if len(hood.plots):
        lacks = lacks_of(assessment, stretches, least=know.setting("lack_least_share"))
    finding = finding_of(assessment, lacks, stretches)
    rooms = tuple(RoomFor(key, one.all_homes_told) for key, one in assessment.groups.items())
    judged = len(hood.plots) <= know.setting("help_most_plots")
    on_plots: dict[str, tuple[Thing, ...]] = {}
    if public:
        things = _for_public(assessment, lacks, stretches)
    else:
        things, added = _things(assessment, finding, stretches, spared, judged=judged)
        on_plots = {
            plot: tuple(_added(assessment, one, {}, stretches, on_top=False) for one in each)
            for plot, each in added.on_plots.items()
        }
    return MostHelp(finding, things, on_plots, rooms, lacks, judged and not public, public)


def _things(
    assessment: Assessment,
    finding: Finding,
    stretches: tuple[Stretch, ...],
    spared: Collection[str],
    *,
    judged: bool,
) -> tuple[tuple[Thing, ...], Additions]:
    hood = assessment.neighbourhood
    if not len(hood.plots):
        return (), Additions((), {})
    left_out = spared_plots(assessment, spared)
    unseen = unseen_plots(assessment)
    doors = _doors(assessment, [plot for plot in unseen if plot not in left_out], stretches)
    if finding.kind == "unseen" or any(one.reach is None for one in assessment.groups.values()):
        # What would be won can be worked out only of an answer that knows who reaches what.
        return doors, Additions((), {})
    # Nobody is told to dig up what nobody has seen.
    asked = {str(plot) for plot in hood.plots.index} - left_out - set(unseen)
    wanted = answering(assessment, finding)
    room = _THINGS - len(doors)
    added = additions_that_help(assessment, asked, most=room, closely=judged, answering=wanted)
    made = _told_in_turn(assessment, added, finding, wanted, stretches)
    gap = _gap(assessment, left_out, stretches) if judged else None
    if gap is not None:
        # Additions keep their order, for each is counted with those before it.
        worth = gap.worth or 0.0
        at = next((k for k, one in enumerate(made) if (one.worth or 0.0) < worth), len(made))
        kept = [*made[:at], gap, *made[at:]][:room]
        if not _answered(made) or _answered(kept):
            made = kept
        elif at == 0:
            # The gap wins most: what answers to the headline is counted without the others.
            one = additions_that_help(assessment, asked, most=room - 1, answering=wanted)
            made = [gap, *_told_in_turn(assessment, one, finding, wanted, stretches)]
    return (*made[:room], *doors), added


def _answered(things: Sequence[Thing]) -> bool:
    """Whether one of the things gives what the finding says is short."""
    return any(one.lack is not None for one in things)


def _told_in_turn(
    assessment: Assessment,
    added: Additions,
    finding: Finding,
    wanted: Answering | None,
    stretches: tuple[Stretch, ...],
) -> list[Thing]:
    """The additions as things, each counted with those before it."""
    before = {key: answer.linked_told.mean for key, answer in assessment.groups.items()}
    made = []
    for number, one in enumerate(added.found):
        thing = _added(assessment, one, before, stretches, on_top=number > 0)
        if wanted and thing.feature in wanted.features:
            # Those that the finding speaks of are named first.
            ordered = sorted(thing.animals, key=lambda each: each.group not in wanted.animals)
            thing = replace(thing, lack=finding.lack, animals=tuple(ordered))
        made.append(thing)
        if one.linked is not None:
            for key, more in _all_won(assessment, one).items():
                before[key] += more
    return made


def _doors(
    assessment: Assessment, unseen: list[str], stretches: tuple[Stretch, ...]
) -> tuple[Thing, ...]:
    """Plots to look at, where anything turns on them."""
    plots = assessment.neighbourhood.plots
    if not unseen or not _matters(assessment):
        return ()
    rows = plots.index.get_indexer(unseen)
    # Where most of them lie together, at the one in their middle.
    parts = [(part, [row for row in rows.tolist() if row in part.rows]) for part in stretches]
    part, there = max(parts, key=lambda one: len(one[1]))
    points = plots.geometry.iloc[there].representative_point()
    middle = Point(points.x.mean(), points.y.mean())
    at = int(np.argmin(points.distance(middle).to_numpy()))
    named = part if len(there) == len(unseen) and part.street else None
    return (Thing("doors", tuple(unseen), points.iloc[at], named, months=tuple(range(1, 13))),)


def _matters(assessment: Assessment) -> bool:
    """Whether what nobody has seen makes a difference worth naming for any animal."""
    know = assessment.knowledge
    first, least = know.setting("worth_first_homes"), know.setting("lack_least_share")
    low = np.array([one.homes_low.sum() for one in assessment.groups.values()])
    high = np.array([one.homes_high.sum() for one in assessment.groups.values()])
    return bool((worth_gained(high, low, first) >= np.log1p(least)).any())


def _added(
    assessment: Assessment,
    one: Found,
    before: dict[str, float],
    stretches: tuple[Stretch, ...],
    *,
    on_top: bool,
) -> Thing:
    know, hood = assessment.knowledge, assessment.neighbourhood
    row = hood.row_of(one.plot)
    feature, candidate = know.features[one.candidate.feature], one.candidate
    hours, money = taking_up_of(one.change, know)
    held = know.settings[f"cost_{feature.cost}"]
    animals: tuple[Helped, ...] = ()
    if one.linked is not None:
        animals = _helped(assessment, _all_won(assessment, one), before)
    return Thing(
        kind="add",
        plots=(one.plot,),
        point=hood.plots.geometry.iloc[row].representative_point(),
        stretch=nearest_stretch(stretches, row),
        feature=candidate.feature,
        amount=candidate.amount,
        animals=animals,
        worth=one.worth,
        cost=(held.low + money, held.high + money),
        hours=know.sitings[candidate.feature].making_hours.value + hours,
        hours_month=candidate.hours_month,
        months=candidate.months,
        cautions=candidate.cautions,
        asks=candidate.asks,
        on_top=on_top,
        gives_way=tuple((key, -more) for key, more in one.change.items() if more < 0),
    )


def _all_won(assessment: Assessment, one: Found) -> dict[str, float]:
    """Linked homes that an addition that was judged wins each animal."""
    assert one.linked is not None  # noqa: S101 - who calls has looked
    return {
        key: _over_draws(assessment, key, more)
        for key, more in zip(assessment.groups, one.linked.tolist(), strict=True)
    }


def _over_draws(assessment: Assessment, key: str, won: float) -> float:
    """Linked homes won by a thing; where it closes a break, what that wins on average.

    A break is one only in some of the draws, and then its stepping stone wins nothing else.
    """
    answer = assessment.groups[key]
    if answer.drawn is None or not answer.drawn.breaks:
        return won
    best = max(answer.drawn.breaks, key=lambda one: one.gap.homes_won)
    closes = best.gap.homes_won > 0 and won >= HALF * best.gap.homes_won
    if not closes:
        return won
    return max(won - best.gap.homes_won, 0.0) + min(best.won.mean, best.gap.homes_won)


def _helped(
    assessment: Assessment, won: dict[str, float], before: dict[str, float]
) -> tuple[Helped, ...]:
    """The few animals for which it is worth most, of those that win anything worth naming."""
    currency = common_currency(assessment)
    least = assessment.knowledge.setting("plan_gain_least")
    votes = dict(zip(currency.groups, currency.weight.tolist(), strict=True))
    named = [Helped(key, before[key], more) for key, more in won.items() if more >= least]
    worth = {
        one.group: votes[one.group]
        * float(worth_gained(np.array(one.after), np.array(one.before), currency.first))
        for one in named
    }
    return tuple(sorted(named, key=lambda one: -worth[one.group])[:_NAMED])


def _gap(
    assessment: Assessment, left_out: Collection[str], stretches: tuple[Stretch, ...]
) -> Thing | None:
    """The gap worth most for all animals that walk together; None where none wins anything."""
    know, hood = assessment.knowledge, assessment.neighbourhood
    walking = {key: one for key, one in assessment.groups.items() if one.ground is not None}
    if not walking or not len(hood.barriers):
        return None
    currency = common_currency(assessment)
    votes = dict(zip(currency.groups, currency.weight.tolist(), strict=True))
    able: dict[int, FenceGap] = {}
    for key in walking:
        for gap in fence_gaps(assessment, key, most=_GAPS):
            if gap.now != "yes" and any(gap.plots) and not set(gap.plots) & set(left_out):
                able.setdefault(gap.key, gap)
    best: tuple[float, FenceGap, dict[str, float]] | None = None
    for gap in able.values():
        won = {}
        for key, answer in walking.items():
            _, homes = best_gaps([gaps_in_draw([gap], answer, know)], 1)
            won[key] = float(homes.sum())
        worth = sum(
            votes[key] * float(worth_gained(np.array(walking[key].measures.eca + more),
                                            np.array(walking[key].measures.eca), currency.first))
            for key, more in won.items()
        )  # fmt: skip
        if best is None or worth > best[0]:
            best = worth, gap, won
    if best is None or max(best[2].values()) < know.setting("plan_gain_least"):
        return None
    worth, gap, won = best
    now = {key: answer.linked_told.mean for key, answer in assessment.groups.items()}
    all_won = {key: won.get(key, 0.0) for key in assessment.groups}
    plots = tuple(plot for plot in gap.plots if plot is not None)
    key, *_ = [one for one, each in know.features.items() if "way_through" in each.traits]
    feature, siting = know.features[key], know.sitings[key]
    held = know.settings[f"cost_{feature.cost}"]
    return Thing(
        kind="gap",
        plots=plots,
        point=gap.place,
        stretch=nearest_stretch(stretches, hood.row_of(plots[0])),
        feature=key,
        amount=1.0,
        animals=_helped(assessment, all_won, now),
        worth=worth,
        cost=(held.low, held.high),
        hours=siting.making_hours.value,
        hours_month=hours_of(feature, know),
        months=feature.months,
        cautions=feature.cautions,
        barriers=gap.kinds,
    )


def _for_public(
    assessment: Assessment, lacks: tuple[Lack, ...], stretches: tuple[Stretch, ...]
) -> tuple[Thing, ...]:
    """What helps against what is short, each of another sort, told by street alone."""
    know = assessment.knowledge
    things: list[Thing] = []
    sorts: set[str] = set()
    for lack in lacks:
        feature = served_by(assessment, lack, besides=sorts)
        if feature is None:
            continue
        one = know.features[feature]
        sorts.add(one.sort)
        things.append(
            Thing("street", stretch=_poorest_street(assessment, lack, stretches), feature=feature,
                  months=one.months, cautions=one.cautions, lack=lack)
        )  # fmt: skip
        if len(things) == _THINGS:
            break
    return tuple(things)


def _poorest_street(
    assessment: Assessment, lack: Lack, stretches: tuple[Stretch, ...]
) -> Stretch | None:
    if lack.stretch is not None:
        return lack.stretch if lack.stretch.street else None
    named = [one for one in stretches if one.street]
    if not named:
        return None
    return min(named, key=lambda one: supplied_for_size(assessment, lack, one))
