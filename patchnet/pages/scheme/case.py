"""The ecological case: before and after, and how sure that is."""

from collections import Counter
from collections.abc import Sequence

from patchnet.assess.comparison import Comparison, GroupChange
from patchnet.core.texts import N_, WordList, _, counted
from patchnet.pages.kit.doubt_words import of_draws
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.front_figures import hardly_moves, states_drawn
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.terminal.compare_text import (
    change_range,
    change_words,
    doubt_words,
    gains_words,
)

__all__ = ["case_html", "sure_html"]

_NAMED = 6
_HEADS: WordList[str] = WordList(
    (
        N_("Animal"),
        N_("Homes in reach before"),
        N_("After"),
        N_("Change"),
        N_("Islands"),
        N_("Breaks closed"),
        N_("Months no longer hungry"),
    )
)
_DRAWN: WordList[str] = WordList((N_("In 9 of 10 draws"), N_("How often"), N_("Sure")))


def case_html(pack: SchemePack) -> Markup:
    """What is won, for whom and where, worked out anew from the start without and with."""
    comparison = pack.scheme.comparison
    told = [one for one in comparison.groups if not _little(one)]
    return render(
        "scheme/case.html",
        states=states_drawn(pack),
        table=_table(pack, told) if told else "",
        little=", ".join(
            pack.knowledge.groups[one.group].name.lower()
            for one in comparison.groups
            if _little(one)
        ),
        closed=[words for change in comparison.groups for words in _closed(change, pack)],
    )


def _little(change: GroupChange) -> bool:
    """Whether an animal hardly gains or loses anything, and no islands of its are joined."""
    return hardly_moves(change) and change.components_before == change.components_after


def _table(
    pack: SchemePack, changes: Sequence[GroupChange], *, whole: bool = False
) -> Markup:  # fmt: skip
    """A row an animal; the whole has how often and how far the draws go apart."""
    comparison, know = pack.scheme.comparison, pack.knowledge
    rows = [
        (
            know.groups[change.group].name,
            *change_words(change.linked_before, change.linked_after),
            _("{components_before} to {components_after}").format(
                components_before=change.components_before, components_after=change.components_after
            ),
            len(change.breaks_closed),
            _months(comparison, change.group),
            *_sure(change, comparison.draws, whole=whole),
        )
        for change in changes
    ]
    return table(
        _("Before and after"),
        [*_HEADS, *(_heads(whole=whole) if comparison.draws else ())],
        rows,
        css="case",
    )


def sure_html(pack: SchemePack) -> Markup:
    """How sure the figures of before and after are, and how they will be checked."""
    return render(
        "scheme/sure.html",
        table=_table(pack, pack.scheme.comparison.groups, whole=True),
        doubt=doubt_words(pack.scheme.comparison),
        known=f"{pack.scheme.before.known_share.mean():.0%}",
    )


def _heads(*, whole: bool) -> list[str]:
    return [*_DRAWN] if whole else [*_DRAWN][-1:]


def _sure(change: GroupChange, draws: int, *, whole: bool) -> tuple[str, ...]:
    """How sure a change is; nothing where nothing was drawn."""
    if change.won is None:
        return ()
    sure = _("yes") if change.sure else _("not sure")
    return (change_range(change.won), gains_words(change, draws), sure) if whole else (sure,)


def _months(comparison: Comparison, group: str) -> str:
    months = Counter(
        month for plot in comparison.plots for month in plot.hungry_closed.get(group, ())
    )
    if not months:
        return _("none")
    return _("{months}, on up to {values}").format(
        months=month_spans(months), values=counted(max(months.values()), "plot")
    )


def _closed(change: GroupChange, pack: SchemePack) -> list[str]:
    name = pack.knowledge.groups[change.group].name
    draws = pack.scheme.comparison.draws
    return [
        _("{name}: between plots {from_plot} and {to_plot}, {width_m} m{often}").format(
            name=name,
            from_plot=gap.from_plot,
            to_plot=gap.to_plot,
            width_m=figure(gap.width_m),
            often=_(", in {n} draws").format(n=of_draws(change.closed_in[at], draws))
            if change.closed_in
            else "",
        )
        for at, gap in enumerate(change.breaks_closed[:_NAMED])
    ]
