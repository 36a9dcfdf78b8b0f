"""The best scheme of each size, where only places of some verdicts may be used.

Places that fit come first. So a scheme is sought among them alone, then with places to ask about,
then with all that may turn out to fit once they are measured; each may use what the one before
may, and never ends below it. Proposed is the first that wins nearly as much as the last.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from patchnet.knowledge.records import Knowledge
from patchnet.scheme.asked import VERDICTS
from patchnet.scheme.best import Best
from patchnet.scheme.filled import FilledState
from patchnet.scheme.planter_scheme import SchemeAsk
from patchnet.scheme.search import every_scheme, planted_otherwise, search_schemes
from patchnet.scheme.small_schemes import SMALL, SmallSchemes
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import SchemeRules

__all__ = ["Choice", "choices_of", "proposed"]

_LIKELY = 3  # schemes of each size that are filled


@dataclass(frozen=True, eq=False)
class Choice:
    """The schemes found among places of some verdicts.

    Attributes
    ----------
    verdicts
        Those verdicts.
    rules
        The rules, with the sites that may be used.
    best
        The best scheme of each size, filled exactly.
    exact
        Whether every scheme there is was filled.
    limits
        By size, for the sizes that were looked at whole: no scheme wins more, less its tolls.
    """

    verdicts: tuple[str, ...]
    rules: SchemeRules
    best: Best
    exact: bool
    limits: dict[int, float]

    @property
    def picks(self) -> tuple[Pick, ...]:
        """The best scheme of any size; of those as good, the first by rank."""
        return self.best.overall


def choices_of(
    ask: SchemeAsk,
    filled: FilledState,
    state: State,
    locked: Sequence[Pick],
    rules: SchemeRules,
    knowledge: Knowledge,
    small: SmallSchemes | None = None,
) -> tuple[Choice, ...]:
    """Seek the best schemes among the places that fit, then with those to ask about, then all.

    A step that would bring no more places is left out, but for the first.

    Parameters
    ----------
    ask
        What was asked: its verdicts.
    filled, state
        Work out what each scheme wins, exactly and as promised.
    locked
        Planters that are in every scheme.
    rules
        What a scheme must keep to; with all sites.
    knowledge
        For the settings.
    small
        All schemes of one planter and two; None: they are searched for like all others.
    """
    order = np.array([VERDICTS.index(site.verdict) for site in rules.sites])
    last = max(int(order.max()), 0)
    fixed = [site for site, _ in locked]
    choices: list[Choice] = []
    for at, verdict in enumerate(VERDICTS):
        if verdict not in ask.verdicts or (at > 0 and not (order == at).any()):
            continue
        able = order <= at
        able[fixed] = True
        own = replace(rules, able=None if at >= last and able.all() else able).knowing(rules)
        best, exact = _found(filled, state, locked, own, knowledge)
        for before in choices:
            for first in before.best.first.values():
                for picks in first:
                    best.meet(picks, filled.value(picks))
        limits: dict[int, float] = {}
        if not exact and small is not None:
            limits = _of_small(best, small, own, knowledge, state)
        verdicts = tuple(one for one in VERDICTS[: at + 1] if one in ask.verdicts)
        choices.append(Choice(verdicts, own, best, exact, limits))
    return tuple(choices)


def proposed(values: Sequence[float], share: float) -> int:
    """Return which of some choices is proposed: the first that wins nearly as much as the last.

    Parameters
    ----------
    values
        What each wins, in shares of the goal (no unit), each with more places than the one before.
    share
        How much is nearly as much, 0-1.

    Examples
    --------
    >>> proposed([0.0, 0.96, 1.0], 0.95)
    1
    """
    return next(at for at, value in enumerate(values) if value >= share * values[-1])


def _found(
    filled: FilledState,
    state: State,
    locked: Sequence[Pick],
    rules: SchemeRules,
    knowledge: Knowledge,
) -> tuple[Best, bool]:
    """The best scheme of each size, filled exactly; and whether all were filled.

    Where there are more than that, those that promise most are, among all or as searched for.
    """
    few = round(knowledge.setting("scheme_filled_most"))
    every = round(knowledge.setting("scheme_every_most"))
    promising = every_scheme(state, locked, rules, most=few, keep=few)
    exact = promising is not None
    if promising is None:
        promising = every_scheme(state, locked, rules, most=every)
    if promising is None:
        promising = search_schemes(state, locked, rules)
    best = Best(rules)
    for first in promising.first.values():
        ordered = sorted(first, key=lambda picks: (-first[picks], rules.rank(picks)))
        for picks in ordered if exact else ordered[:_LIKELY]:
            best.meet(picks, filled.value(picks))
    if not exact:
        # Of the size that wins most all that were found are filled, and plantings tried.
        count = len(best.overall)
        for picks in promising.first[count]:
            best.meet(picks, filled.value(picks))
        _plant_otherwise(best, count, filled, locked, rules)
    return best, exact


def _of_small(
    best: Best, small: SmallSchemes, rules: SchemeRules, knowledge: Knowledge, state: State
) -> dict[int, float]:
    """Prove which schemes of one planter and of two win most, as far as that takes little time."""
    few = round(knowledge.setting("scheme_filled_most"))
    usual = knowledge.setting("scheme_filled_plots")
    smaller = max(1.0, usual / max(state.groups[0].field.plots, 1))
    fillings = {1: round(few * len(state.groups) * smaller), 2: few * len(state.groups)}
    return {
        size: small.prove(best, size, rules, fillings=fillings[size], rows=few)
        for size in range(1, min(rules.planters, SMALL) + 1)
    }


def _plant_otherwise(
    best: Best, count: int, filled: FilledState, locked: Sequence[Pick], rules: SchemeRules
) -> None:
    """Plant one box of the best scheme of a size otherwise, while that wins.

    The promise cannot tell plantings apart that feed the same homes.
    """
    before: tuple[Pick, ...] = ()
    while best.picks[count] != before:
        before = best.picks[count]
        for picks in planted_otherwise(before, locked, rules):
            best.meet(picks, filled.value(picks))
