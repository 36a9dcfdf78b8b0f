"""One step of the search: the planter or the chain to add, and what may be added at all."""

from collections.abc import Callable, Sequence

import numpy as np

from patchnet.scheme.best import Best
from patchnet.scheme.chains import chains_from
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import SchemeRules

__all__ = [
    "SHAKE",
    "SOME",
    "TIE",
    "best_chain",
    "best_single",
    "by_value",
    "few",
    "open_picks",
    "price",
    "some_chains",
    "widest",
    "worth_of",
]

TIE = 1e-12
"""What wins no more than this over something else wins as much."""
SHAKE = 0.15
"""Gains are shaken by up to this share in the later starts."""
SOME = 400
"""With up to this many planters to choose from, one is given up for another that is pushed in."""
_FEW = 40  # with up to this many planters to choose from, all are judged, in exchanges too
_CHAINS = 32  # chains tried in a step where there are many planters to choose from
_ALL = 400  # chains tried where there are few
_WIDE = 240  # where there are many, a climb looks at so many


def few(rules: SchemeRules) -> bool:
    """Whether there are so few planters to choose from that all are judged, every time.

    Parameters
    ----------
    rules
        Which planters can stand together.
    """
    return rules.costs.size <= _FEW


def open_picks(state: State, rules: SchemeRules) -> list[Pick]:
    """Return the planters that may still be added.

    Parameters
    ----------
    state
        The scheme in the making.
    rules
        Which planters can stand together.
    """
    return [(int(site), int(at)) for site, at in np.argwhere(rules.open_to(state.picks))]


def best_single(
    state: State,
    best: Best,
    picks: Sequence[Pick],
    rate: Callable[[float, int], float],
    *,
    every: bool,
) -> tuple[float, float, Pick] | None:
    """The planter that rates best: its rate, its value and itself.

    What is not worked out exactly cannot rate better: the others' limits are below the best.

    Parameters
    ----------
    state
        The scheme in the making.
    best
        Takes in what is met.
    picks
        Planters to choose from.
    rate
        What a value, a share of the joint worth, is rated for the planter at a place of `picks`.
    every
        Whether all are worked out.

    Returns
    -------
    tuple or None
        Rate and value, shares of the joint worth, and the planter; None: there is none.
    """
    limits = state.after_at_most(picks)
    rated = np.array([rate(limit, at) for at, limit in enumerate(limits.tolist())])
    found: tuple[float, float, Pick] | None = None
    for at in np.argsort(-rated, kind="stable").tolist():
        if found is not None and rated[at] < found[0] - TIE and not every:
            break
        value = state.after(picks[at])
        best.meet((*state.picks, picks[at]), value)
        rating = rate(value, at)
        if (
            found is None
            or rating > found[0] + TIE
            or (rating > found[0] - TIE and picks[at] < found[2])
        ):
            found = (rating, value, picks[at])
    return found


def widest(state: State, picks: Sequence[Pick]) -> set[Pick]:
    """Of some planters those that may win most by themselves.

    Parameters
    ----------
    state
        The scheme in the making.
    picks
        Planters.
    """
    order = np.argsort(-state.after_at_most(picks), kind="stable")[:_WIDE]
    return {picks[at] for at in order.tolist()}


def some_chains(state: State, rules: SchemeRules) -> list[tuple[Pick, ...]]:
    """All chains where there are few planters to choose from, else the most promising.

    Parameters
    ----------
    state
        The scheme in the making.
    rules
        Which planters can stand together.
    """
    return chains_from(state, rules, _ALL if few(rules) else _CHAINS)


def worth_of(state: State, chain: Sequence[Pick], best: Best) -> float:
    """What the scheme would be worth with a chain more.

    Parameters
    ----------
    state
        The scheme in the making.
    chain
        Planters to add.
    best
        Takes in what is met.

    Returns
    -------
    float
        Share of the joint worth.
    """
    for pick in chain:
        state.add(pick)
    value = state.value
    best.meet(state.picks, value)
    for _ in chain:
        state.undo()
    return value


def price(rules: SchemeRules, picks: Sequence[Pick]) -> float:
    """Number of planters, or their money where money is what runs out.

    Parameters
    ----------
    rules
        Which planters can stand together.
    picks
        Planters.

    Returns
    -------
    float
        A number of planters of the usual price.
    """
    cost = float(sum(rules.costs[pick] for pick in picks))
    if np.isfinite(rules.budget) and cost > 0:
        return cost / float(rules.costs.mean())
    return float(len(picks))


def by_value(value: float, _at: int) -> float:
    """Rate a planter by what the scheme is worth with it.

    Parameters
    ----------
    value
        Share of the joint worth.

    Returns
    -------
    float
        The same share.
    """
    return value


def best_chain(
    state: State,
    rules: SchemeRules,
    best: Best,
    shake: "np.random.Generator | None",
    known: tuple[float, tuple[Pick, ...]],
) -> tuple[float, tuple[Pick, ...]]:
    """The chain that wins most for each planter, with what it wins; or what was known before.

    Parameters
    ----------
    state
        The scheme in the making.
    rules
        Which planters can stand together.
    best
        Takes in what is met.
    shake
        Shakes gains; None: not.
    known
        A gain for each planter, a share of the joint worth, and its planters.

    Returns
    -------
    tuple
        As `known`: a share of the joint worth and planters.
    """
    top, move = known
    before = state.value
    for chain in some_chains(state, rules):
        won = worth_of(state, chain, best) - before
        won *= 1.0 if shake is None else 1 + SHAKE * float(shake.uniform(-1, 1))
        if won / price(rules, chain) > top + TIE:
            top, move = won / price(rules, chain), chain
    return top, move
