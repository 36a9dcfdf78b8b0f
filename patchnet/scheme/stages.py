"""In which order planters are built, and in which stages none of which wins nothing.

Two planters may close a break that neither closes alone. So an order is chosen by what stands
after each planter, all of them added up, and planters that win next to nothing when they are
built go into one stage with those that make them worth having.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations, pairwise

from patchnet.scheme.planter_scheme import SchemeStage
from patchnet.scheme.state import Pick
from patchnet.scheme.together import EQUAL

__all__ = ["best_order", "order_by_misses", "stages_of"]

Picks = tuple[Pick, ...]
Worths = Callable[[Sequence[Picks]], Sequence[float]]


def best_order(picks: Iterable[Pick], worths: Worths) -> Picks:
    """Return the order after each step of which most stands, all steps added up.

    Every order is looked at, set by set (Held & Karp 1962, doi:10.1137/0110015): what stands does
    not depend on how it came about. Of orders as good as each other the first by the planters'
    numbers is taken.

    Parameters
    ----------
    picks
        The planters.
    worths
        Gives the worth of each of some schemes.
    """
    every = tuple(sorted(picks))
    sets = [each for size in range(1, len(every) + 1) for each in combinations(every, size)]
    stands = dict(zip(sets, worths(sets), strict=True))
    best: dict[Picks, tuple[float, Picks]] = {(): (0.0, ())}
    for each in sets:
        for last in each:
            so_far, order = best[tuple(pick for pick in each if pick != last)]
            total, found = so_far + stands[each], (*order, last)
            known = best.get(each)
            if known is None or total > known[0] + EQUAL:
                best[each] = (total, found)
            elif total > known[0] - EQUAL and found < known[1]:
                best[each] = (known[0], found)
    return best[every][1]


def order_by_misses(picks: Iterable[Pick], worths: Worths) -> Picks:
    """Return an order in which what is missed least is built last: for many planters.

    Parameters
    ----------
    picks
        The planters.
    worths
        Gives the worth of each of some schemes.
    """
    left, last = sorted(picks), []
    while left:
        rests = worths([tuple(one for one in left if one != pick) for pick in left])
        top = max(rests)
        out = max(pick for pick, rest in zip(left, rests, strict=True) if rest > top - EQUAL)
        left.remove(out)
        last.append(out)
    return tuple(last[::-1])


def stages_of(order: Sequence[Pick], worths: Worths, least: float) -> tuple[SchemeStage, ...]:
    """Cut an order into stages that each add something.

    Parameters
    ----------
    order
        The planters in the order of building; they are numbered from 1.
    worths
        Gives the worth of each of some schemes.
    least
        Share of the whole that a stage adds at least, 0-1; what is left at the end goes with the
        stage before it.

    Returns
    -------
    tuple of SchemeStage
        In their order; none where there are no planters.
    """
    if not order:
        return ()
    stands = [0.0, *worths([tuple(order[: at + 1]) for at in range(len(order))])]
    enough = max(least * stands[-1], EQUAL)
    cuts, before = [0], 0.0
    for at in range(1, len(order) + 1):
        if stands[at] - before >= enough:
            cuts.append(at)
            before = stands[at]
    if cuts[-1] < len(order):
        cuts = [*cuts[: max(len(cuts) - 1, 1)], len(order)]
    return tuple(
        SchemeStage(
            numbers=tuple(range(first + 1, end + 1)),
            gain=stands[end] - stands[first],
            stands=stands[end],
            together=end - first > 1,
        )
        for first, end in pairwise(cuts)
    )
