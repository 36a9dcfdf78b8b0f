"""The search for a scheme: chains of planters, one planter at a time, exchanges, new starts.

The gain is not submodular: two planters can close a break that neither closes alone. So beside
the best single planter each step also tries whole chains along the best routes that would be
there if every site were a stop, and takes what wins most for each planter. Afterwards planters
are exchanged as long as that wins, from several starts. Every scheme met on the way may become
the best of its size. Nothing is left to chance, and of schemes that are worth the same the one
whose rank is least is taken (see `patchnet.scheme.together`).
"""

import itertools
from collections.abc import Sequence
from dataclasses import replace
from math import comb

import numpy as np

from patchnet.scheme.best import FIRST, Best
from patchnet.scheme.exchanges import exchange, improve, thin_out
from patchnet.scheme.state import Pick, State
from patchnet.scheme.steps import (
    SHAKE,
    SOME,
    TIE,
    best_chain,
    best_single,
    few,
    open_picks,
    price,
    widest,
)
from patchnet.scheme.together import SchemeRules

__all__ = [
    "climbed_schemes",
    "every_scheme",
    "greedy_scheme",
    "planted_otherwise",
    "search_schemes",
]

_STARTS = 4  # the plain one, one led by chains, and some with a shaken order
_SEED = 20  # of the shaken starts: always the same
_EVERY = 5  # where there are many, chains are tried, and all are looked at, in so many steps


def every_scheme(
    state: State, fixed: Sequence[Pick], rules: SchemeRules, *, most: int, keep: int = FIRST
) -> Best | None:
    """Judge every scheme there is; None where there are more than `most` of them.

    `keep`: how many of each size are kept (see `Best`).

    Parameters
    ----------
    state
        Works out what each scheme wins.
    fixed
        Planters that must be in every scheme.
    rules
        What a scheme must keep to.
    most
        Most schemes that are judged.
    keep
        See above.
    """
    sites, recipes = rules.costs.shape
    able = range(sites) if rules.able is None else np.flatnonzero(rules.able).tolist()
    free = list(itertools.product(able, range(recipes)))
    left = rules.planters - len(fixed)
    if sum(comb(len(free), size) for size in range(left + 1)) > most:
        return None
    best = Best(rules, keep=keep)

    def grow(after: int) -> None:
        best.meet(state.picks, state.value)
        open_to = rules.open_to(state.picks)
        last = len(state.picks) + 1 == rules.planters
        for at in range(after, len(free)):
            if not open_to[free[at]]:
                continue
            if last:
                # Nothing comes beside it: it need not be put.
                best.meet((*state.picks, free[at]), state.after(free[at]))
                continue
            state.add(free[at])
            grow(at + 1)
            state.undo()

    state.go_to(fixed)
    grow(0)
    return best


def greedy_scheme(state: State, fixed: Sequence[Pick], rules: SchemeRules) -> Best:
    """Add the best single planter again and again: the baseline the search must beat.

    Parameters
    ----------
    state
        Works out what each scheme wins.
    fixed
        Planters that must be in it.
    rules
        What a scheme must keep to.
    """
    best = Best(rules)
    _climb(state.go_to(fixed), rules, best, None, chains=False)
    return best


def planted_otherwise(
    picks: Sequence[Pick], fixed: Sequence[Pick], rules: SchemeRules
) -> list[tuple[Pick, ...]]:
    """Return the schemes that differ from one in the planting of a single box.

    Parameters
    ----------
    picks
        The scheme.
    fixed
        Planters that must stay as they are.
    rules
        What a scheme must keep to.
    """
    found = []
    for site, recipe in picks:
        if (site, recipe) not in fixed:
            rest = [pick for pick in picks if pick[0] != site]
            others = [other for other in range(rules.costs.shape[1]) if other != recipe]
            found += [tuple(sorted((*rest, (site, other)))) for other in others]
    return [each for each in found if rules.allows(each)]


def climbed_schemes(state: State, fixed: Sequence[Pick], rules: SchemeRules) -> Best:
    """Climb by single planters and once more led by chains, with no exchanges: quick.

    Parameters
    ----------
    state
        Works out what each scheme wins.
    fixed
        Planters that must be in it.
    rules
        What a scheme must keep to.
    """
    best = Best(rules)
    for chains in (False, True):
        _climb(state.go_to(fixed), rules, best, None, chains=chains)
    return best


def search_schemes(state: State, fixed: Sequence[Pick], rules: SchemeRules) -> Best:
    """Search for good schemes of every size.

    Parameters
    ----------
    state
        The scheme in the making; it is left somewhere.
    fixed
        Sites that are locked in.
    rules
        Which planters can stand together.
    """
    best = Best(rules)
    shake = np.random.default_rng(_SEED)
    for turn in range(_STARTS if few(rules) else _STARTS // 2):
        state.go_to(fixed)
        _climb(state, rules, best, shake if turn > 1 else None, chains=turn > 0)
        if few(rules) or turn:
            improve(state, fixed, rules, best)
        if few(rules):
            thin_out(state, fixed, best)
    for count in _sizes(best, rules):
        if len(fixed) < count:
            own = replace(rules, planters=count).knowing(rules)
            state.go_to(_ordered(fixed, best.picks[count]))
            if few(rules):
                improve(state, fixed, own, best)
            else:
                exchange(state, fixed, own, best, rounds=1)
    return best


def _sizes(best: Best, rules: SchemeRules) -> list[int]:
    """Numbers of planters whose best scheme is worked on: all, or where there are many, some."""
    sizes = sorted(best.picks)
    some = {sizes[-1] // part for part in (1, 2, 4)}
    every = rules.costs.size <= SOME
    return sizes if every else [size for size in sizes if size in some]


def _ordered(fixed: Sequence[Pick], picks: Sequence[Pick]) -> list[Pick]:
    """What is locked in first: it is never taken away again."""
    return [*fixed, *(pick for pick in picks if pick not in fixed)]


def _climb(
    state: State,
    rules: SchemeRules,
    best: Best,
    shake: "np.random.Generator | None",
    *,
    chains: bool,
) -> None:
    """Add planters while there is room, money and gain."""
    best.meet(state.picks, state.value)
    wide: set[Pick] = set()
    for step in itertools.count():
        picks = open_picks(state, rules)
        if chains and not few(rules):
            if step % _EVERY == 0:
                wide = widest(state, picks)
            picks = [pick for pick in picks if pick in wide]
        shaken = np.ones(len(picks))
        if shake is not None:
            shaken += SHAKE * shake.uniform(-1, 1, len(picks))
        before = state.value
        weights = shaken / np.array([price(rules, [pick]) for pick in picks])

        def rate(value: float, at: int, before: float = before, w: "np.ndarray" = weights) -> float:
            return float((value - before) * w[at])

        found = best_single(state, best, picks, rate, every=few(rules))
        move: tuple[Pick, ...] = () if found is None else (found[2],)
        top = 0.0 if found is None else found[0]
        # Chains are tried now and then, and always where no single planter wins anything.
        if chains and (few(rules) or step % _EVERY == 0 or top <= TIE):
            top, move = best_chain(state, rules, best, shake, (top, move))
        if top <= TIE:
            return
        for pick in move:
            state.add(pick)
        best.meet(state.picks, state.value)
