"""The search for a scheme: chains of planters, one planter at a time, exchanges, new starts.

The gain is not submodular: two planters can close a break that neither closes alone. So beside
the best single planter each step also tries whole chains along the best routes that would be
there if every site were a stop, and takes what wins most for each planter. Afterwards planters
are exchanged as long as that wins, from several starts. Every scheme met on the way may become
the best of its size. Nothing is left to chance, and of schemes that are worth the same the one
whose rank is least is taken (see `patchnet.scheme.together`).
"""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import comb

import numpy as np

from patchnet.scheme.chains import chains_from
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import EQUAL, SchemeRules

__all__ = [
    "Best",
    "climbed_schemes",
    "every_scheme",
    "greedy_scheme",
    "planted_otherwise",
    "search_schemes",
]

_TIE = 1e-12
_FIRST = 8  # schemes of each size that are kept to be filled exactly
_STARTS = 4  # the plain one, one led by chains, and some with a shaken order
_SHAKE = 0.15  # gains are shaken by up to this share in the later starts
_ROUNDS = 3  # rounds of exchanges at most
_FEW = 40  # with up to this many planters to choose from, all are judged, in exchanges too
_SHORT = 32  # beyond that, exchanges look at this many: the best, and those near what is taken out
_CHAINS = 32  # chains tried in a step where there are many planters to choose from
_ALL = 400  # chains tried where there are few
_SOME = 400  # with up to this many, one is given up for another that is pushed in
_PUSHED = 12  # planters pushed in where there are many
_SEED = 20  # of the shaken starts: always the same
_WIDE = 240  # there a climb looks at so many, and at all of them in every so many steps:
_EVERY = 5
_LONGEST = 4  # planters given up at once for a chain


@dataclass
class Best:
    """The best scheme met for each number of planters, and those nearly as good.

    `first` holds for each number the few schemes that promise most (`keep` of them), with what
    they promise.
    """

    rules: SchemeRules
    value: dict[int, float] = field(default_factory=dict)
    picks: dict[int, tuple[Pick, ...]] = field(default_factory=dict)
    first: dict[int, dict[tuple[Pick, ...], float]] = field(default_factory=dict)
    judged: int = 0
    keep: int = _FIRST

    def meet(self, picks: Sequence[Pick], value: float) -> None:
        """Take note of a scheme."""
        self.judged += 1
        count = len(picks)
        first = self.first.setdefault(count, {})
        if len(first) == self.keep and _level(value) < min(map(_level, first.values())):
            return
        key = tuple(sorted(picks))
        if key in first:
            return
        first[key] = value
        best = self.picks.get(count)
        if best is None or self._before(key, value, best, self.value[count]):
            self.value[count], self.picks[count] = value, key
        if len(first) > self.keep:
            least = min(map(_level, first.values()))
            last = [one for one in first if _level(first[one]) == least]
            del first[max(last, key=self.rules.rank) if len(last) > 1 else last[0]]

    @property
    def overall(self) -> tuple[Pick, ...]:
        """The best of any size; of those as good, the first by rank."""
        top = max(map(_level, self.value.values()))
        return min(
            (self.picks[count] for count in self.picks if _level(self.value[count]) == top),
            key=self.rules.rank,
        )

    def _before(
        self, one: tuple[Pick, ...], value: float, other: tuple[Pick, ...], than: float
    ) -> bool:
        if _level(value) != _level(than):
            return value > than
        return self.rules.rank(one) < self.rules.rank(other)


def _level(value: float) -> int:
    """Worth in steps of what makes a difference, so that being as good is the same to all."""
    return round(value / EQUAL)


def every_scheme(
    state: State, fixed: Sequence[Pick], rules: SchemeRules, *, most: int, keep: int = _FIRST
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
    for turn in range(_STARTS if _few(rules) else _STARTS // 2):
        state.go_to(fixed)
        _climb(state, rules, best, shake if turn > 1 else None, chains=turn > 0)
        if _few(rules) or turn:
            _improve(state, fixed, rules, best)
        if _few(rules):
            _thin_out(state, fixed, best)
    for count in _sizes(best, rules):
        if len(fixed) < count:
            own = replace(rules, planters=count)
            state.go_to(_ordered(fixed, best.picks[count]))
            if _few(rules):
                _improve(state, fixed, own, best)
            else:
                _exchange(state, fixed, own, best, rounds=1)
    return best


def _sizes(best: Best, rules: SchemeRules) -> list[int]:
    """Numbers of planters whose best scheme is worked on: all, or where there are many, some."""
    sizes = sorted(best.picks)
    some = {sizes[-1] // part for part in (1, 2, 4)}
    every = rules.costs.size <= _SOME
    return sizes if every else [size for size in sizes if size in some]


def _few(rules: SchemeRules) -> bool:
    """Whether there are so few planters to choose from that all are judged, every time."""
    return rules.costs.size <= _FEW


def _ordered(fixed: Sequence[Pick], picks: Sequence[Pick]) -> list[Pick]:
    """What is locked in first: it is never taken away again."""
    return [*fixed, *(pick for pick in picks if pick not in fixed)]


def _best_single(
    state: State,
    best: Best,
    picks: Sequence[Pick],
    rate: Callable[[float, int], float],
    *,
    every: bool,
) -> tuple[float, float, Pick] | None:
    """The planter that rates best: its rate, its value and itself.

    What is not worked out exactly cannot rate better: the others' limits are below the best.
    """
    limits = state.after_at_most(picks)
    rated = np.array([rate(limit, at) for at, limit in enumerate(limits.tolist())])
    found: tuple[float, float, Pick] | None = None
    for at in np.argsort(-rated, kind="stable").tolist():
        if found is not None and rated[at] < found[0] - _TIE and not every:
            break
        value = state.after(picks[at])
        best.meet((*state.picks, picks[at]), value)
        rating = rate(value, at)
        if (
            found is None
            or rating > found[0] + _TIE
            or (rating > found[0] - _TIE and picks[at] < found[2])
        ):
            found = (rating, value, picks[at])
    return found


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
        picks = _open(state, rules)
        if chains and not _few(rules):
            if step % _EVERY == 0:
                wide = _widest(state, picks)
            picks = [pick for pick in picks if pick in wide]
        shaken = np.ones(len(picks))
        if shake is not None:
            shaken += _SHAKE * shake.uniform(-1, 1, len(picks))
        before = state.value
        weights = shaken / np.array([_price(rules, [pick]) for pick in picks])

        def rate(value: float, at: int, before: float = before, w: "np.ndarray" = weights) -> float:
            return float((value - before) * w[at])

        found = _best_single(state, best, picks, rate, every=_few(rules))
        move: tuple[Pick, ...] = () if found is None else (found[2],)
        top = 0.0 if found is None else found[0]
        # Chains are tried now and then, and always where no single planter wins anything.
        if chains and (_few(rules) or step % _EVERY == 0 or top <= _TIE):
            top, move = _best_chain(state, rules, best, shake, (top, move))
        if top <= _TIE:
            return
        for pick in move:
            state.add(pick)
        best.meet(state.picks, state.value)


def _best_chain(
    state: State,
    rules: SchemeRules,
    best: Best,
    shake: "np.random.Generator | None",
    known: tuple[float, tuple[Pick, ...]],
) -> tuple[float, tuple[Pick, ...]]:
    """The chain that wins most for each planter, with what it wins; or what was known before."""
    top, move = known
    before = state.value
    for chain in _some_chains(state, rules):
        won = _worth_of(state, chain, best) - before
        won *= 1.0 if shake is None else 1 + _SHAKE * float(shake.uniform(-1, 1))
        if won / _price(rules, chain) > top + _TIE:
            top, move = won / _price(rules, chain), chain
    return top, move


def _widest(state: State, picks: Sequence[Pick]) -> set[Pick]:
    """Of some planters those that may win most by themselves."""
    order = np.argsort(-state.after_at_most(picks), kind="stable")[:_WIDE]
    return {picks[at] for at in order.tolist()}


def _open(state: State, rules: SchemeRules) -> list[Pick]:
    return [(int(site), int(at)) for site, at in np.argwhere(rules.open_to(state.picks))]


def _some_chains(state: State, rules: SchemeRules) -> list[tuple[Pick, ...]]:
    """All chains where there are few planters to choose from, else the most promising."""
    return chains_from(state, rules, _ALL if _few(rules) else _CHAINS)


def _worth_of(state: State, chain: Sequence[Pick], best: Best) -> float:
    """What the scheme would be worth with a chain more."""
    for pick in chain:
        state.add(pick)
    value = state.value
    best.meet(state.picks, value)
    for _ in chain:
        state.undo()
    return value


def _price(rules: SchemeRules, picks: Sequence[Pick]) -> float:
    """Number of planters, or their money where money is what runs out."""
    cost = float(sum(rules.costs[pick] for pick in picks))
    if np.isfinite(rules.budget) and cost > 0:
        return cost / float(rules.costs.mean())
    return float(len(picks))


def _value(value: float, _at: int) -> float:
    return value


def _improve(state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best) -> None:
    """Exchange, give way and insert chains until none of it wins anything more."""
    for _ in range(_ROUNDS if _few(rules) else 1):
        before = state.value
        _exchange(state, fixed, rules, best, rounds=_ROUNDS if _few(rules) else 2)
        _push_in(state, fixed, rules, best)
        _insert_chains(state, fixed, rules, best)
        if state.value <= before + _TIE:
            return


def _exchange(
    state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best, *, rounds: int = _ROUNDS
) -> None:
    """Swap one planter for the best other one, while that helps."""
    for _ in range(rounds):
        before = state.value
        kept = state.picks
        better: tuple[float, Pick, Pick] | None = None
        short = _shortlist(state, rules)
        for out, rest in state.without_each(fixed, _movable(kept, fixed)):
            best.meet(rest.picks, rest.value)
            picks = _open(rest, rules)
            if not _few(rules):
                picks = short(out, picks)
            found = _best_single(rest, best, picks, _value, every=_few(rules))
            if found is not None and (better is None or found[1] > better[0] + _TIE):
                better = (found[1], out, found[2])
        if better is None or better[0] <= before + _TIE:
            state.go_to(kept)
            return
        state.go_to([*(pick for pick in kept if pick != better[1]), better[2]])


def _shortlist(state: State, rules: SchemeRules) -> Callable[[Pick, list[Pick]], list[Pick]]:
    """Choose, of many planters, those that help most now and those near one taken out."""
    everywhere = replace(rules, planters=len(rules.sites), budget=np.inf, unkept=None)
    picks = _open(state.go_to(state.picks), everywhere)
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
    others = _open(state.go_to(fixed), replace(rules, planters=len(rules.sites)))
    others = [pick for pick in others if pick[0] not in taken]
    promise = state.go_to(kept).after_at_most(others)
    order = np.argsort(-promise, kind="stable").tolist()
    if not _few(rules):
        order = order[:_PUSHED]
    missed = state.values_without(fixed, _movable(kept, fixed))
    by_miss = sorted(missed, key=lambda pick: -missed[pick])
    movable = _movable(kept, fixed)
    several = range(1, 3) if _few(rules) else range(1, 1 + (rules.costs.size <= _SOME))
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
        if state.value > before + _TIE:
            return
    state.go_to(kept)


def _fill(state: State, rules: SchemeRules, best: Best) -> None:
    """Add the best single planters while there is room and gain."""
    while True:
        picks = _open(state, rules)
        if not _few(rules):
            promise = state.after_at_most(picks)
            picks = [picks[at] for at in np.argsort(-promise, kind="stable")[:_SHORT].tolist()]
        found = _best_single(state, best, picks, _value, every=False)
        if found is None or found[1] <= state.value + _TIE:
            return
        state.add(found[2])


def _movable(kept: Sequence[Pick], fixed: Sequence[Pick]) -> list[Pick]:
    return [pick for pick in kept if pick not in fixed]


def _insert_chains(state: State, fixed: Sequence[Pick], rules: SchemeRules, best: Best) -> None:
    """Swap the least useful planters for a chain, while that helps."""
    for _ in range(_ROUNDS if _few(rules) else 1):
        before, kept = state.value, state.picks
        better: tuple[float, tuple[Pick, ...]] | None = None
        for rest in _fewer(state, fixed, rules):
            state.go_to(rest)
            for chain in _some_chains(state, rules):
                value = _worth_of(state, chain, best)
                if better is None or value > better[0] + _TIE:
                    better = (value, (*rest, *chain))
        if better is None or better[0] <= before + _TIE:
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
        if _few(rules) or not ranked:
            values = state.values_without(fixed, movable)
            ranked = sorted(values, key=lambda pick: -values[pick])
        left.remove(ranked.pop(0))
        if out > 1:
            fewer.append(list(left))
    return fewer


def _thin_out(state: State, fixed: Sequence[Pick], best: Best) -> None:
    """Leave out, one after the other, the least useful planter."""
    left = [pick for pick in state.picks if pick not in fixed]
    while len(left) > 1:
        values = state.values_without(fixed, left)
        top = max(values.values())
        out = next(pick for pick in left if values[pick] >= top - _TIE)
        left.remove(out)
        best.meet((*fixed, *left), top)
