"""The ecological case: before and after, and how sure that is."""

from collections import Counter

from patchnet.assess.compare import Comparison, GroupChange
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.scheme.pack import SchemePack, many
from patchnet.pages.scheme.tables import table_html
from patchnet.pages.terminal.compare_text import change_words, pair

__all__ = ["case_html"]

_NAMED = 6
_HEADS = (
    "Group", "Linked homes before", "After", "Change", "Connected groups", "Breaks closed",
    "Months no longer hungry", "Sure",
)  # fmt: skip


def case_html(pack: SchemePack) -> str:
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
    closed = [words for change in comparison.groups for words in _closed(change, pack)]
    listed = "".join(f"<li>{text(words)}</li>" for words in closed)
    known = pack.scheme.before.known_share
    return (
        "<p>The neighbourhood was worked out from the start twice, without and with the planters. "
        "Homes are an index of room for wildlife, not a forecast of animals.</p>"
        + table_html("Before and after", _HEADS, rows, css="case")
        + (f"<h3>Breaks that are closed</h3><ul>{listed}</ul>" if listed else "")
        + f"<h3>How sure</h3><p>Of each plot {known.mean():.0%} of the features are known on "
        "average; what is not known was taken from plots of the same kind. A change is called sure "
        "where it stays the same way if all of it were absent, and if all of it were there. "
        "Distances and needs come from the tables, many from few studies: see the sources.</p>"
        "<h3>How success will be measured again</h3><p>The same survey of the same plots a year "
        "after building, compared with this state; flowers and visitors counted at each box as the "
        "upkeep grid says; the same photographs.</p>"
    )


def _months(comparison: Comparison, group: str) -> str:
    months = Counter(
        month for plot in comparison.plots for month in plot.hungry_closed.get(group, ())
    )
    if not months:
        return "none"
    return f"{month_spans(months)}, on up to {many(max(months.values()), 'plot')}"


def _closed(change: GroupChange, pack: SchemePack) -> list[str]:
    name = pack.knowledge.groups[change.group].name
    return [
        f"{name}: between plots {gap.from_plot} and {gap.to_plot}, {figure(gap.width_m)} m"
        for gap in change.breaks_closed[:_NAMED]
    ]
