"""The ecological case: before and after, and how sure that is."""

from collections import Counter

from patchnet.assess.compare import Comparison, GroupChange
from patchnet.core.texts import _
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.pack import SchemePack, many
from patchnet.pages.terminal.compare_text import change_words, pair

__all__ = ["case_html"]

_NAMED = 6
_HEADS = (
    "Group", "Linked homes before", "After", "Change", "Connected groups", "Breaks closed",
    "Months no longer hungry", "Sure",
)  # fmt: skip


def case_html(pack: SchemePack) -> Markup:
    """What is won, for whom and where, worked out anew from the start without and with."""
    comparison, know = pack.scheme.comparison, pack.knowledge
    rows = [
        (
            know.groups[change.group].name,
            *pair(change.linked_before, change.linked_after),
            change_words(change.linked_before, change.linked_after),
            f"{change.components_before} to {change.components_after}",
            len(change.breaks_closed),
            _months(comparison, change.group),
            "yes" if change.sure else "not sure",
        )
        for change in comparison.groups
    ]
    return render(
        "scheme/case.html",
        table=table("Before and after", _HEADS, rows, css="case"),
        closed=[words for change in comparison.groups for words in _closed(change, pack)],
        known=f"{pack.scheme.before.known_share.mean():.0%}",
    )


def _months(comparison: Comparison, group: str) -> str:
    months = Counter(
        month for plot in comparison.plots for month in plot.hungry_closed.get(group, ())
    )
    if not months:
        return _("none")
    return f"{month_spans(months)}, on up to {many(max(months.values()), 'plot')}"


def _closed(change: GroupChange, pack: SchemePack) -> list[str]:
    name = pack.knowledge.groups[change.group].name
    return [
        f"{name}: between plots {gap.from_plot} and {gap.to_plot}, {figure(gap.width_m)} m"
        for gap in change.breaks_closed[:_NAMED]
    ]
