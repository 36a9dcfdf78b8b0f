"""Which scheme to choose where much is not sure: the one that is expected to win most.

The best scheme at the figures in use may rest on one break that is just narrow enough. So good
schemes are sought anew in a number of draws; all of them are then judged in every draw, and the
one with the largest mean worth, less what is taken off for places to ask about or to measure, is
the choice. They are judged first by the promise that the search climbs, which takes next to no
time; the best of them, and those with other planting in one box, by filling alike.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, combinations, product
from typing import Any

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

__all__ = ["Beside", "InDraws", "choose_in_draws"]

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
class Beside:
    """What another scheme comes to in the draws in which the choice was made.

    Attributes
    ----------
    won
        Linked homes it wins, all animals together.
    linked
        Shape (G,): the mean for each animal.
    """

    won: Spread
    linked: tuple[float, ...]


@dataclass(frozen=True)
class InDraws:
    """The choice over the draws.

    Attributes
    ----------
    picks
        The planters, in the order of building.
    draws
        In how many draws schemes were judged.
    tried
        How many schemes were.
    share
        What the choice wins, over what the best scheme of the draw does: mean, 0-1.
    harm
        Share of the draws in which the street would be better without it, 0-1.
    often
        Along `picks`: share of the draws in which the best scheme has a planter at that place, or
        at one alike (see `often_there`); 0-1.
    own, beside
        What the choice comes to, and each scheme that was judged beside it.
    """

    picks: Picks
    draws: int
    tried: int
    share: float
    harm: float
    often: tuple[float, ...]
    own: Beside
    beside: tuple[Beside, ...]


def choose_in_draws(
    before: Assessment,
    asked: SchemesAsked,
    promising: Iterable[Picks],
    *,
    draws: int,
    seed: int,
    processes: int | None,
    progress: Bar | None,
    beside: Sequence[Picks] = (),
) -> InDraws | None:
    """Choose the scheme that is expected to win most: its mean worth over the draws.

    Parameters
    ----------
    before
        The neighbourhood as it is, assessed for the animals asked for.
    asked
        What is sought.
    promising
        Schemes that are good with the figures in use, the best first; tried with those of the
        draws.
    draws, seed
        How many draws at most, and their seed.
    processes, progress
        See `patchnet.plan_scheme`.
    beside
        Schemes that are judged in the same draws, and not chosen from.

    Returns
    -------
    InDraws
        The choice; None where no scheme wins anything on the whole.
    """
    uncertain = draws_of(before, draws, seed)
    some = range(min(draws, BATCH))
    with DrawnStates(asked, uncertain, kept=some, processes=processes, bar=progress) as drawn:
        taken = _Taken(before, asked, drawn)
        in_use = [tuple(sorted(picks)) for picks in promising][:_FILLED]
        sought = drawn.ask(_sought, (), some)
        found = [picks for schemes, _ in sought for picks in schemes]
        alone = np.mean([single for _, single in sought], axis=0)
        pool = _first_pool(asked, [*in_use, *found], alone)
        if not pool:
            return None
        first = taken.ranked(pool, taken.judged(_promised, pool, some))
        likely = _unique([*first[:_FILLED], *in_use])
        leader, *others = taken.ranked(likely, taken.judged(_filled, likely, some))
        planted = [leader, *planted_otherwise(leader, asked.locked, asked.rules)]
        few = some[:: max(1, len(some) // _FEW)]
        better = taken.ranked(planted, taken.judged(_filled, planted, few))
        last = _unique([leader, *better[:_LAST], *others[:_LAST]])
        judged = taken.judged(_filled, [*last, *beside], range(draws), choose=len(last))
        chosen = taken.ranked(last, judged)[0]
        best = last.index(chosen)
        if taken.score(last, judged)[best] <= 0:
            return None
        told = [
            Beside(
                judged.won(at),
                tuple((judged.after[:, at] - judged.now).mean(axis=0).tolist()),
            )
            for at in (best, *range(len(last), len(last) + len(beside)))
        ]
        among = judged.worth[:, : len(last)] - taken.tolls(last)
        winners = among[among.max(axis=1) > EQUAL]
        shares = winners[:, best] / winners.max(axis=1) if len(winners) else np.zeros(1)
        ordered = _ordered(chosen, drawn, some)
        alike = places_alike(asked, alone)
        return InDraws(
            picks=ordered,
            draws=judged.count,
            tried=len({*pool, *planted}),
            share=float(shares.mean()),
            harm=judged.harm(best),
            often=often_there(
                ordered, [last[int(row.argmax())] for row in winners], asked.rules, alike
            ),
            own=told[0],
            beside=tuple(told[1:]),
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
        *,
        choose: int | None = None,
    ) -> ChangesInDraws:
        """Judge schemes; to `choose` from so many, until no other can be much better."""
        now: list[Array] = []
        after: list[Array] = []
        for first in range(0, len(numbers), BATCH):
            for today, then in self.drawn.ask(work, tuple(pool), numbers[first : first + BATCH]):
                now.append(today)
                after.append(then)
            if choose is not None and self.enough(self.so_far(now, after), pool[:choose]):
                break
        return self.so_far(now, after)

    def so_far(self, now: Sequence[Array], after: Sequence[Array]) -> ChangesInDraws:
        first = self.before.knowledge.setting("worth_first_homes")
        return ChangesInDraws(np.array(now), np.array(after), self.votes, first)

    def tolls(self, pool: Sequence[Picks]) -> Array:
        return np.array([self.asked.rules.tolls(picks) for picks in pool])

    def score(self, pool: Sequence[Picks], judged: ChangesInDraws) -> Array:
        """Shape (pool,): mean worth less tolls; `judged` may hold more behind."""
        mean: Array = judged.worth[:, : len(pool)].mean(axis=0)
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
        worth = judged.worth[:, : len(pool)]
        ahead = worth[:, [best]] - worth
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


def _sought(drawn: DrawnState, _: object) -> tuple[tuple[Picks, ...], Array]:
    """Good schemes of one draw, of as many planters as may be; and what each wins alone, (P,)."""
    state, asked = drawn.state, drawn.asked
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
