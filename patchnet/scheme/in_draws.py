"""Which scheme to choose where much is not sure: the one that is expected to win most.

The best scheme at the figures in use may rest on one break that is just narrow enough. So good
schemes are sought anew in a number of draws; all of them are then judged in every draw, and the
one with the largest mean worth, less what is taken off for places to ask about or to measure, is
the choice. They are judged first by the promise that the search climbs, which takes next to no
time; the best of them, and those with other planting in one box, by filling alike.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, combinations, product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import BATCH
from patchnet.assess.over_draws import draws_of
from patchnet.assess.spread import Spread
from patchnet.assess.worth import vote_shares
from patchnet.plan.in_draws import ChangesInDraws
from patchnet.scheme.drawn_states import DrawnState, DrawnStates, SchemesAsked
from patchnet.scheme.search import climbed_schemes, planted_otherwise
from patchnet.scheme.stages import best_order, order_by_misses
from patchnet.scheme.state import Pick
from patchnet.scheme.together import EQUAL, SchemeRules

__all__ = ["InDraws", "choose_in_draws", "often_there", "places_alike"]

Array = NDArray[np.float64]
Picks = tuple[Pick, ...]
Row = tuple[Array, Array]
Bar = Callable[[Iterable[Any]], Iterable[Any]]
_FROM_EACH = 2  # schemes taken from the search in one draw
_MORE = 3  # beyond the number asked for, so many good planters are combined in every way
_FILLED = 4  # schemes that promise most, over the draws and in use each, that are filled
_LAST = 2  # of these, and of those with other planting in one box, so many are judged in all draws
_FEW = 8  # draws in which other planting is tried
_ORDERED = 8  # up to so many planters every order is looked at


@dataclass(frozen=True)
class InDraws:
    """A choice over the draws.

    Attributes
    ----------
    picks
        The planters, in the order of building.
    draws
        In how many draws schemes were judged.
    tried
        How many schemes were.
    worth
        What the choice is worth: mean.
    share
        What the choice wins, over what the best scheme of the draw does: mean, 0-1.
    harm
        Share of the draws in which the street would be better without it, 0-1.
    often
        Along `picks`: share of the draws in which the best scheme has a planter at that place, or
        at one alike (see `often_there`); 0-1.
    won
        Linked homes it wins, all animals together.
    linked
        Shape (G,): the mean for each animal.
    """

    picks: Picks
    draws: int
    tried: int
    worth: float
    share: float
    harm: float
    often: tuple[float, ...]
    won: Spread
    linked: tuple[float, ...]


def choose_in_draws(
    before: Assessment,
    asks: Sequence[SchemesAsked],
    promising: Sequence[Sequence[Picks]],
    *,
    draws: int,
    seed: int,
    processes: int | None,
    progress: Bar | None,
) -> tuple[InDraws | None, ...]:
    """Choose the schemes that are expected to win most: by their mean worth over the draws.

    Parameters
    ----------
    before
        The neighbourhood as it is, assessed for the animals asked for.
    asks
        What is sought, by choice, over the same sites: the last may use most of them.
    promising
        For each choice schemes that are good with the figures in use, the best first; tried with
        those of the draws.
    draws, seed
        How many draws at most, and their seed.
    processes, progress
        See `patchnet.plan_scheme`.

    Returns
    -------
    tuple
        For each choice the scheme; None where no scheme wins anything on the whole.
    """
    uncertain = draws_of(before, draws, seed)
    some = range(min(draws, BATCH))
    with DrawnStates(asks[-1], uncertain, kept=some, processes=processes, bar=progress) as drawn:
        taken = [_Taken(before, asked, drawn) for asked in asks]
        likely = [_likely(one, in_use, some) for one, in_use in zip(taken, promising, strict=True)]
        every = _unique(picks for one in likely for picks in one.last)
        if not every:
            return (None,) * len(asks)
        judged = _judged_until_enough(taken, likely, every, range(draws))
        return tuple(
            _choice(one, found, every, judged, some)
            for one, found in zip(taken, likely, strict=True)
        )


class _Likely(NamedTuple):
    """Schemes one of which will be chosen, how many were tried, and what planters win alone."""

    last: list[Picks]
    tried: int
    alone: Array


def _likely(taken: "_Taken", promising: Sequence[Picks], some: Sequence[int]) -> _Likely:
    """Seek schemes in some draws, and judge them there; the best few are left."""
    asked, drawn = taken.asked, taken.drawn
    in_use = [tuple(sorted(picks)) for picks in promising if picks][:_FILLED]
    sought = drawn.ask(_sought, asked, some) if asked.count else []
    found = [picks for schemes, _ in sought for picks in schemes]
    nothing = np.zeros(len(asked.sites) * len(asked.recipes))
    alone = np.mean([single for _, single in sought], axis=0) if sought else nothing
    pool = _first_pool(asked, [*in_use, *found], alone) if asked.count else []
    if not pool:
        return _Likely([], 0, alone)
    first = taken.ranked(pool, taken.judged(_promised, pool, some))
    likely = _unique([*first[:_FILLED], *in_use])
    leader, *others = taken.ranked(likely, taken.judged(_filled, likely, some))
    planted = [leader, *planted_otherwise(leader, asked.locked, asked.rules)]
    few = some[:: max(1, len(some) // _FEW)]
    better = taken.ranked(planted, taken.judged(_filled, planted, few))
    last = _unique([leader, *better[:_LAST], *others[:_LAST]])
    return _Likely(last, len({*pool, *planted}), alone)


def _judged_until_enough(
    taken: Sequence["_Taken"],
    likely: Sequence[_Likely],
    every: Sequence[Picks],
    numbers: Sequence[int],
) -> ChangesInDraws:
    """Judge schemes in draws, until no other of any choice can be much better than the best."""
    now: list[Array] = []
    after: list[Array] = []
    for first in range(0, len(numbers), BATCH):
        batch = numbers[first : first + BATCH]
        for today, then in taken[0].drawn.ask(_filled, tuple(every), batch):
            now.append(today)
            after.append(then)
        so_far = taken[0].so_far(now, after)
        if all(
            one.enough(_only(so_far, every, found.last), found.last)
            for one, found in zip(taken, likely, strict=True)
            if found.last
        ):
            break
    return taken[0].so_far(now, after)


def _only(judged: ChangesInDraws, every: Sequence[Picks], some: Sequence[Picks]) -> ChangesInDraws:
    """What was judged of some schemes."""
    return replace(judged, after=judged.after[:, [every.index(picks) for picks in some]])


def _choice(
    taken: "_Taken",
    likely: _Likely,
    every: Sequence[Picks],
    judged: ChangesInDraws,
    some: Sequence[int],
) -> InDraws | None:
    """The scheme of one choice, and what it comes to."""
    last = likely.last
    if not last:
        return None
    mine = _only(judged, every, last)
    chosen = taken.ranked(last, mine)[0]
    best = last.index(chosen)
    if taken.score(last, mine)[best] <= 0:
        return None
    less = mine.worth - taken.tolls(last)
    winners = less[less.max(axis=1) > EQUAL]
    shares = winners[:, best] / winners.max(axis=1) if len(winners) else np.zeros(1)
    ordered = _ordered(chosen, taken.drawn, some)
    best_of = [last[int(row.argmax())] for row in winners]
    alike = places_alike(taken.asked, likely.alone)
    return InDraws(
        picks=ordered,
        draws=mine.count,
        tried=likely.tried,
        worth=float(mine.worth[:, best].mean()),
        share=float(shares.mean()),
        harm=mine.harm(best),
        often=often_there(ordered, best_of, taken.asked.rules, alike),
        won=mine.won(best),
        linked=tuple((mine.after[:, best] - mine.now).mean(axis=0).tolist()),
    )


@dataclass(frozen=True, eq=False)
class _Taken:
    """Schemes judged in draws, and put in their order."""

    before: Assessment
    asked: SchemesAsked
    drawn: DrawnStates

    @cached_property
    def votes(self) -> Array:
        groups = self.before.knowledge.groups
        return vote_shares(groups[key] for key in self.asked.groups)

    def judged(
        self,
        work: Callable[[DrawnState, Any], Row],
        pool: Sequence[Picks],
        numbers: Sequence[int],
    ) -> ChangesInDraws:
        """Judge schemes in some draws."""
        rows = self.drawn.ask(work, tuple(pool), numbers)
        return self.so_far([today for today, _ in rows], [then for _, then in rows])

    def so_far(self, now: Sequence[Array], after: Sequence[Array]) -> ChangesInDraws:
        first = self.before.knowledge.setting("worth_first_homes")
        return ChangesInDraws(np.array(now), np.array(after), self.votes, first)

    def tolls(self, pool: Sequence[Picks]) -> Array:
        return np.array([self.asked.rules.tolls(picks) for picks in pool])

    def score(self, pool: Sequence[Picks], judged: ChangesInDraws) -> Array:
        """Shape (pool,): mean worth less tolls."""
        mean: Array = judged.worth.mean(axis=0)
        return mean - self.tolls(pool)

    def ranked(self, pool: Sequence[Picks], judged: ChangesInDraws) -> list[Picks]:
        """Schemes, the largest score first, then by rank."""
        levels = np.round(self.score(pool, judged) / EQUAL).tolist()
        rank = self.asked.rules.rank
        return sorted(pool, key=lambda picks: (-levels[pool.index(picks)], rank(picks)))

    def enough(self, judged: ChangesInDraws, pool: Sequence[Picks]) -> bool:
        """Whether no other scheme can be expected to win much more than the best."""
        setting = self.before.knowledge.setting
        if judged.count < max(setting("draws_least"), 2):
            return False
        score = self.score(pool, judged)
        best = int(score.argmax())
        ahead = judged.worth[:, [best]] - judged.worth
        error = ahead.std(axis=0, ddof=1) / np.sqrt(judged.count)
        surely = score[best] - score - setting("draws_lead") * error
        return bool((surely >= -setting("draws_little") * max(score[best], 0.0)).all())


def _unique(pool: Iterable[Picks]) -> list[Picks]:
    return list(dict.fromkeys(pool))


def _first_pool(asked: SchemesAsked, found: Iterable[Picks], alone: Array) -> list[Picks]:
    """Schemes found, and all that can be made of the planters that are good alone on the mean."""
    recipes = len(asked.recipes)
    order = np.argsort(-alone, kind="stable").tolist()
    good = [(at // recipes, at % recipes) for at in order]
    good = [pick for pick in good if pick not in asked.locked]
    size = max(asked.count - len(asked.locked), 0)
    made = ((*asked.locked, *some) for some in combinations(good[: size + _MORE], size))
    pool = _unique(tuple(sorted(picks)) for picks in chain(found, made))
    return [picks for picks in pool if picks and asked.rules.allows(picks)]


def _sought(drawn: DrawnState, asked: SchemesAsked) -> tuple[tuple[Picks, ...], Array]:
    """Good schemes of one draw, of as many planters as may be; and what each wins alone, (P,)."""
    state = drawn.state
    every = list(product(range(len(asked.sites)), range(len(asked.recipes))))
    alone = np.maximum(state.go_to(asked.locked).after_at_most(every) - state.value, 0.0)
    best = climbed_schemes(state, asked.locked, asked.rules)
    able = [count for count in best.first if 0 < count <= asked.count]
    if not able:
        return (), alone
    first = best.first[max(able)]
    return tuple(sorted(first, key=lambda picks: (-first[picks], picks))[:_FROM_EACH]), alone


def _promised(drawn: DrawnState, pool: Sequence[Picks]) -> Row:
    """Linked homes of each animal today, (G,), and with each scheme, (S, G), as promised."""
    state = drawn.state.go_to(())
    now = state.linked
    return now, np.array([state.go_to(picks).linked for picks in pool])


def _filled(drawn: DrawnState, pool: Sequence[Picks]) -> Row:
    """The same, filled alike."""
    return drawn.filled.linked(()), np.array([drawn.filled.linked(picks) for picks in pool])


def _worths(drawn: DrawnState, schemes: Sequence[Picks]) -> Array:
    """Shape (schemes,): what each promises in one draw."""
    return np.array([drawn.state.go_to(picks).value for picks in schemes])


def _ordered(picks: Picks, drawn: DrawnStates, numbers: Sequence[int]) -> Picks:
    """The order of building: after each planter as much as can be stands, on the mean."""

    def mean(schemes: Sequence[Picks]) -> list[float]:
        worth: list[float] = np.mean(drawn.ask(_worths, schemes, numbers), axis=0).tolist()
        return worth

    if len(picks) <= _ORDERED:
        return best_order(picks, mean)
    return order_by_misses(picks, mean)


def places_alike(asked: SchemesAsked, alone: Array) -> NDArray[np.intp]:
    """Number sites so that those on one side whose planters alone win the same have one number.

    Parameters
    ----------
    asked
        What was sought.
    alone
        Shape (sites x recipes,): what each planter wins alone, the mean of the draws.

    Returns
    -------
    array
        Shape (sites,).
    """
    gain = alone.reshape(len(asked.sites), -1).max(axis=1)
    number = np.full(len(gain), -1, dtype=np.intp)
    highest: dict[str, tuple[int, float]] = {}
    count = 0
    for at in np.argsort(-gain, kind="stable").tolist():
        side = asked.sites[at].side
        known = highest.get(side)
        if known is None or gain[at] < (1 - asked.alike) * known[1]:
            known = highest[side] = (count, float(gain[at]))
            count += 1
        number[at] = known[0]
    return number


def often_there(
    picks: Picks, best: Sequence[Picks], rules: SchemeRules, alike: "NDArray[np.intp] | None" = None
) -> tuple[float, ...]:
    """In which share of the best schemes each place is used, or one that excludes it, or one alike.

    Where a best scheme uses fewer of some places alike than the choice does, each of the choice
    counts for that part of one.

    Parameters
    ----------
    picks
        The choice.
    best
        The best scheme of each draw.
    rules
        Which sites exclude each other.
    alike
        Shape (sites,): number of the places alike to which each belongs; None: each for itself.
    """
    there = np.zeros((len(best), len(picks)))
    for row, scheme in enumerate(best):
        left = [site for site, _ in scheme]
        for at, (site, _) in enumerate(picks):
            near = [other for other in left if rules.conflicts[site, other]]
            if near:
                there[row, at] = 1.0
                left.remove(site if site in near else near[0])
        if alike is None:
            continue
        for number in {int(alike[site]) for site in left}:
            mine = [
                at for at, (s, _) in enumerate(picks) if alike[s] == number and not there[row, at]
            ]
            for at in mine:
                there[row, at] = min(1.0, sum(alike[s] == number for s in left) / len(mine))
    return tuple(there.mean(axis=0).tolist()) if len(best) else (0.0,) * len(picks)
