"""Which scheme of its size to choose, and in which order to build it, where much is not sure.

The best scheme at the figures in use may rest on one break that is just narrow enough. So good
schemes are sought anew in a number of draws; all of them are then judged in every draw, and the
one with the largest mean share of what was possible is the choice (see
`patchnet.plan.in_draws`). They are judged first by the promise that the search climbs, which takes
next to no time; the best of them, and those with other planting in one box, by filling alike.
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
from patchnet.assess.over_draws import UncertainAnswer, draws_of, over_draws
from patchnet.assess.worth import vote_shares
from patchnet.plan.in_draws import ChangesInDraws, mean_share, nothing_to_lose
from patchnet.scheme.field import GroupField, group_fields
from patchnet.scheme.filled import FilledState
from patchnet.scheme.search import building_order, climbed_schemes, planted_otherwise
from patchnet.scheme.state import GroupState, Pick, State, Worth
from patchnet.scheme.together import SchemeRules
from patchnet.street.site import Site

__all__ = ["InDraws", "SchemesAsked", "choose_in_draws", "state_of"]

Array = NDArray[np.float64]
Picks = tuple[Pick, ...]
Row = tuple[Array, Array]
Bar = Callable[[Iterable[Any]], Iterable[Any]]
_FROM_EACH = 2  # schemes taken from the search in one draw
_MORE = 3  # beyond the number asked for, so many good planters are combined in every way
_FILLED = 6  # schemes that promise most, over the draws and in use each, that are filled
_LAST = 3  # of these, so many that are judged in all draws


@dataclass(frozen=True, eq=False)
class SchemesAsked:
    """What is sought in each draw.

    Attributes
    ----------
    sites, ids, recipes, groups
        Sites that may be used, ids for their plots, keys of recipes and of animals.
    rules
        Which planters can stand together.
    locked
        Planters that are in every scheme.
    count
        Planters of a scheme, at most.
    """

    sites: tuple[Site, ...]
    ids: tuple[str, ...]
    recipes: tuple[str, ...]
    groups: tuple[str, ...]
    rules: SchemeRules
    locked: Picks
    count: int

    def state(self, answer: Assessment) -> State:
        """Return the search's state in one draw, with nothing built.

        Parameters
        ----------
        answer
            The answer in that draw.
        """
        recipes = [answer.knowledge.recipes[key] for key in self.recipes]
        fields = group_fields(answer, self.sites, self.ids, recipes, list(self.groups))
        return state_of(answer, fields)


def state_of(
    answer: Assessment, fields: Sequence[GroupField], toll: Array | None = None
) -> State:
    """Return the search's state with nothing built.

    Parameters
    ----------
    answer
        The neighbourhood as it is; its settings are used.
    fields
        Those of all animals.
    toll
        Of each site (see `patchnet.scheme.together.SchemeRules`), or None.
    """
    setting = answer.knowledge.setting
    groups = [GroupState(field, setting("p_cut")) for field in fields]
    now = np.sqrt([field.today @ field.chances @ field.today for field in fields])
    votes = vote_shares(field.group for field in fields)
    return State(groups, Worth(votes, now, setting("worth_first_homes")), toll)


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
        so close to it that not both could stand; 0-1.
    """

    picks: Picks
    draws: int
    tried: int
    share: float
    harm: float
    often: tuple[float, ...]


def choose_in_draws(
    before: Assessment,
    asked: SchemesAsked,
    promising: Iterable[Picks],
    *,
    draws: int,
    seed: int,
    processes: int | None,
    progress: Bar | None,
) -> InDraws | None:
    """Choose the scheme that wins most of what was possible, as the mean over the draws.

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

    Returns
    -------
    InDraws
        The choice; None where no scheme wins anything in any draw.
    """
    taken = _Taken(before, asked, draws_of(before, draws, seed), processes, progress)
    some = range(min(draws, BATCH))
    in_use = [tuple(sorted(picks)) for picks in promising][:_FILLED]
    sought = list(taken.each(_sought, asked, some))
    found = [picks for schemes, _ in sought for picks in schemes]
    single = mean_share(np.array([alone for _, alone in sought]))
    pool = _first_pool(asked, [*in_use, *found], single)
    if not pool:
        return None
    first = _ranked(pool, taken.judged(_promised, pool, some))
    likely = _unique(
        [*first[:_FILLED], *in_use, *planted_otherwise(first[0], asked.locked, asked.rules)]
    )
    leader, *others = _ranked(likely, taken.judged(_filled, likely, some))
    last = _unique([leader, *others[:_LAST], *_planted_otherwise(leader, asked)])
    judged = taken.judged(_filled, last, range(draws), stop=True)
    best = int(judged.score.argmax())
    if judged.score[best] <= 0:
        return None
    ordered = _mean_order(last[best], list(taken.each(_order, (asked, last[best]), some)))
    return InDraws(
        picks=ordered,
        draws=judged.count,
        tried=len({*pool, *likely, *last}),
        share=float(judged.share[best]),
        harm=judged.harm(best),
        often=_often(ordered, [last[int(at)] for at in judged.best], asked.rules),
    )


@dataclass(frozen=True, eq=False)
class _Taken:
    """How draws are taken."""

    before: Assessment
    asked: SchemesAsked
    uncertain: UncertainAnswer
    processes: int | None
    progress: Bar | None

    @cached_property
    def votes(self) -> Array:
        groups = self.before.knowledge.groups
        return vote_shares(groups[key] for key in self.asked.groups)

    def each(
        self, work: Callable[[Any, Assessment], Any], extra: object, numbers: Sequence[int]
    ) -> Iterable[Any]:
        rows = over_draws(work, extra, self.uncertain, list(numbers), processes=self.processes)
        return self.progress(rows) if self.progress else rows

    def judged(
        self,
        work: Callable[[Any, Assessment], Row],
        pool: Sequence[Picks],
        numbers: Sequence[int],
        *,
        stop: bool = False,
    ) -> ChangesInDraws:
        """Judge schemes; where it may stop, until no other can be much better than the first."""
        now: list[Array] = []
        after: list[Array] = []
        for today, then in self.each(work, (self.asked, tuple(pool)), numbers):
            now.append(today)
            after.append(then)
            if stop and len(now) % BATCH == 0 and self.enough(self.so_far(now, after)):
                break
        return self.so_far(now, after)

    def so_far(self, now: Sequence[Array], after: Sequence[Array]) -> ChangesInDraws:
        first = self.before.knowledge.setting("worth_first_homes")
        return ChangesInDraws(np.array(now), np.array(after), self.votes, first)

    def enough(self, judged: ChangesInDraws) -> bool:
        setting = self.before.knowledge.setting
        return judged.count >= setting("draws_least") and nothing_to_lose(
            judged, surely=setting("draws_lead"), least=setting("draws_little")
        )


def _unique(pool: Iterable[Picks]) -> list[Picks]:
    return list(dict.fromkeys(pool))


def _planted_otherwise(picks: Picks, asked: SchemesAsked) -> list[Picks]:
    return planted_otherwise(picks, asked.locked, asked.rules)


def _ranked(pool: Sequence[Picks], judged: ChangesInDraws) -> list[Picks]:
    """Schemes, the largest mean share first."""
    return [pool[at] for at in np.argsort(-judged.score, kind="stable").tolist()]


def _first_pool(asked: SchemesAsked, found: Iterable[Picks], single: Array) -> list[Picks]:
    """Schemes found, and all that can be made of the planters that are good alone in most draws."""
    recipes = len(asked.recipes)
    order = np.argsort(-single, kind="stable").tolist()
    good = [(at // recipes, at % recipes) for at in order]
    good = [pick for pick in good if pick not in asked.locked]
    size = max(asked.count - len(asked.locked), 0)
    made = ((*asked.locked, *some) for some in combinations(good[: size + _MORE], size))
    pool = _unique(tuple(sorted(picks)) for picks in chain(found, made))
    return [picks for picks in pool if picks and asked.rules.allows(picks)]


def _sought(asked: SchemesAsked, answer: Assessment) -> tuple[tuple[Picks, ...], Array]:
    """Good schemes of one draw, of as many planters as may be; and what each wins alone, (P,)."""
    state = asked.state(answer)
    every = list(product(range(len(asked.sites)), range(len(asked.recipes))))
    alone = np.maximum(state.go_to(asked.locked).after_at_most(every) - state.value, 0.0)
    best = climbed_schemes(state, asked.locked, asked.rules)
    able = [count for count in best.first if 0 < count <= asked.count]
    if not able:
        return (), alone
    first = best.first[max(able)]
    return tuple(sorted(first, key=lambda picks: (-first[picks], picks))[:_FROM_EACH]), alone


def _promised(extra: tuple[SchemesAsked, tuple[Picks, ...]], answer: Assessment) -> Row:
    """Linked homes of each animal today, (G,), and with each scheme, (S, G), as promised."""
    asked, pool = extra
    state = asked.state(answer)
    now = state.linked
    return now, np.array([state.go_to(picks).linked for picks in pool])


def _filled(extra: tuple[SchemesAsked, tuple[Picks, ...]], answer: Assessment) -> Row:
    """The same, filled alike."""
    asked, pool = extra
    exactly = FilledState(asked.state(answer))
    return exactly.linked(()), np.array([exactly.linked(picks) for picks in pool])


def _order(extra: tuple[SchemesAsked, Picks], answer: Assessment) -> Picks:
    """The order of building in one draw: what is missed least is built last."""
    asked, picks = extra
    state = asked.state(answer)
    return tuple(building_order(picks, lambda left: state.values_without((), left)))


def _mean_order(picks: Picks, orders: Sequence[Picks]) -> Picks:
    """Planters by their mean place in several orders; then as they come."""
    mean = {pick: np.mean([order.index(pick) for order in orders]) for pick in picks}
    return tuple(sorted(picks, key=lambda pick: (mean[pick], pick)))


def _often(picks: Picks, best: Sequence[Picks], rules: SchemeRules) -> tuple[float, ...]:
    """In which share of the best schemes each place is used, or one that excludes it."""
    return tuple(
        float(np.mean([rules.conflicts[site, [s for s, _ in each]].any() for each in best]))
        for site, _ in picks
    )
