"""Exchanges: planters of a scheme given up for others, while that wins."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from patchnet.scheme.best import Best
from patchnet.scheme.state import Pick, State
from patchnet.scheme.steps import (
    SOME,
    TIE,
    best_single,
    by_value,
    few,
    open_picks,
    some_chains,
    worth_of,
)
from patchnet.scheme.together import SchemeRules

__all__ = ["exchange", "improve", "thin_out"]

_ROUNDS = 3  # rounds of exchanges at most
_SHORT = 32  # where there are many, so many are looked at: the best, and those near one taken out
_PUSHED = 12  # planters pushed in where there are many
_LONGEST = 4  # planters given up at once for a chain


def improve(state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best) -> None:
    """Exchange, give way and insert chains until none of it wins anything more.

    Parameters
    ----------
    state
        The scheme in the making; it is left at the best one.
    fixed
        Sites that are locked in.
    rules
        Which planters can stand together.
    best
        Takes in what is met.
    """
    for _ in range(_ROUNDS if few(rules) else 1):
        before = state.value
        exchange(state, fixed, rules, best, rounds=_ROUNDS if few(rules) else 2)
        _push_in(state, fixed, rules, best)
        _insert_chains(state, fixed, rules, best)
        if state.value <= before + TIE:
            return


def exchange(
    state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best, *, rounds: int = _ROUNDS
) -> None:
    """Swap one planter for the best other one, while that helps.

    Parameters
    ----------
    state
        The scheme in the making; it is left at the best one.
    fixed
        Sites that are locked in.
    rules
        Which planters can stand together.
    best
        Takes in what is met.
    rounds
        Number of planters that are swapped, at most.
    """
    for _ in range(rounds):
        before = state.value
        kept = state.picks
        better: tuple[float, Pick, Pick] | None = None
        short = _shortlist(state, rules)
        for out, rest in state.without_each(fixed, _movable(kept, fixed)):
            best.meet(rest.picks, rest.value)
            picks = open_picks(rest, rules)
            if not few(rules):
                picks = short(out, picks)
            found = best_single(rest, best, picks, by_value, every=few(rules))
            if found is not None and (better is None or found[1] > better[0] + TIE):
                better = (found[1], out, found[2])
        if better is None or better[0] <= before + TIE:
            state.go_to(kept)
            return
        state.go_to([*(pick for pick in kept if pick != better[1]), better[2]])


def thin_out(state: State, fixed: Sequence[Pick], best: Best) -> None:
    """Leave out, one after the other, the least useful planter.

    Parameters
    ----------
    state
        The scheme in the making.
    fixed
        Sites that are locked in.
    best
        Takes in what is met.
    """
    left = [pick for pick in state.picks if pick not in fixed]
    while len(left) > 1:
        values = state.values_without(fixed, left)
        top = max(values.values())
        out = next(pick for pick in left if values[pick] >= top - TIE)
        left.remove(out)
        best.meet((*fixed, *left), top)


def _shortlist(state: State, rules: SchemeRules) -> Callable[[Pick, list[Pick]], list[Pick]]:
    """Choose, of many planters, those that help most now and those near one taken out."""
    everywhere = replace(rules, planters=len(rules.sites), budget=np.inf, unkept=None)
    everywhere = everywhere.knowing(rules)
    picks = open_picks(state.go_to(state.picks), everywhere)
    promise = dict(zip(picks, state.after_at_most(picks).tolist(), strict=True))
    x = np.array([site.centre.x for site in rules.sites])
    y = np.array([site.centre.y for site in rules.sites])

    def choose(out: Pick, picks: list[Pick]) -> list[Pick]:
        sites = np.array([site for site, _ in picks])
        apart = np.hypot(x[sites] - x[out[0]], y[sites] - y[out[0]])
        near = np.argsort(apart, kind="stable")[: _SHORT // 2].tolist()
        good = np.argsort([-promise.get(pick, 0.0) for pick in picks], kind="stable")
        chosen = sorted({*near, *good[: _SHORT // 2].tolist()})
        return [picks[at] for at in chosen]

    return choose


def _push_in(state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best) -> None:
    """Add one planter, remove what cannot stand beside it, and fill up again.

    Where there are few planters to choose from, up to two others are taken out first.
    """
    kept, before = state.picks, state.value
    taken = {site for site, _ in kept}
    anyhow = replace(rules, planters=len(rules.sites)).knowing(rules)
    others = open_picks(state.go_to(fixed), anyhow)
    others = [pick for pick in others if pick[0] not in taken]
    promise = state.go_to(kept).after_at_most(others)
    order = np.argsort(-promise, kind="stable").tolist()
    if not few(rules):
        order = order[:_PUSHED]
    missed = state.values_without(fixed, _movable(kept, fixed))
    by_miss = sorted(missed, key=lambda pick: -missed[pick])
    movable = _movable(kept, fixed)
    several = range(1, 3) if few(rules) else range(1, 1 + (rules.costs.size <= SOME))
    given_up = [(), *(out for size in several for out in itertools.combinations(movable, size))]
    tried: set[tuple[Pick, ...]] = set()
    for gone, at in itertools.product(given_up, order):
        pick = others[at]
        left = [own for own in kept if own not in gone]
        left = [own for own in left if own in fixed or not rules.conflicts[own[0], pick[0]]]
        for out in by_miss:
            if rules.allows([*left, pick]):
                break
            if out in left:
                left.remove(out)
        key = (*left, pick)
        if key in tried or not rules.allows(key):
            continue
        tried.add(key)
        state.go_to(key)
        best.meet(state.picks, state.value)
        _fill(state, rules, best)
        if state.value > before + TIE:
            return
    state.go_to(kept)


def _fill(state: State, rules: SchemeRules, best: Best) -> None:
    """Add the best single planters while there is room and gain."""
    while True:
        picks = open_picks(state, rules)
        if not few(rules):
            promise = state.after_at_most(picks)
            picks = [picks[at] for at in np.argsort(-promise, kind="stable")[:_SHORT].tolist()]
        found = best_single(state, best, picks, by_value, every=False)
        if found is None or found[1] <= state.value + TIE:
            return
        state.add(found[2])


def _insert_chains(state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best) -> None:
    """Swap the least useful planters for a chain, while that helps."""
    for _ in range(_ROUNDS if few(rules) else 1):
        before, kept = state.value, state.picks
        better: tuple[float, tuple[Pick, ...]] | None = None
        for rest in _fewer(state, fixed, rules):
            state.go_to(rest)
            for chain in some_chains(state, rules):
                value = worth_of(state, chain, best)
                if better is None or value > better[0] + TIE:
                    better = (value, (*rest, *chain))
        if better is None or better[0] <= before + TIE:
            state.go_to(kept)
            return
        state.go_to(better[1])


def _fewer(state: State, fixed: Sequence[Pick], rules: SchemeRules) -> list[list[Pick]]:
    """The scheme without two, three and four of its planters, the least useful ones."""
    left = list(state.picks)
    ranked: list[Pick] = []
    fewer = []
    for out in range(1, _LONGEST + 1):
        movable = _movable(left, fixed)
        if not movable:
            break
        if few(rules) or not ranked:
            values = state.values_without(fixed, movable)
            ranked = sorted(values, key=lambda pick: -values[pick])
        left.remove(ranked.pop(0))
        if out > 1:
            fewer.append(list(left))
    return fewer


def _movable(kept: Sequence[Pick], fixed: Sequence[Pick]) -> list[Pick]:
    return [pick for pick in kept if pick not in fixed]
