"""The page of a comparison: a map of what changed, and the changes in words and tables."""

from string import Template

from patchnet.assess.compare import Comparison, GroupChange
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.escape import attribute, text
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.sheet import sheet
from patchnet.pages.kit.to_scale import Paper, fitting_paper
from patchnet.pages.terminal.compare_text import (
    change_words,
    feature_lines,
    group_words,
    hardly,
    pair,
    signed,
    states_words,
)

__all__ = ["compare_page"]

_WIDE_MM, _HIGH_MM = 180, 95
_NAMED = 12
_LITTLE = 0.02  # a change smaller than this share of the largest is not tinted
_MAPS = 6
_FEATURES_NAMED = 60


def compare_page(comparison: Comparison, *, title: str = "") -> str:
    """Return the page as HTML text; it holds everything and asks the network for nothing.

    `title` stands over it; without one it is made of the names of the two neighbourhoods.
    """
    knowledge = comparison.after.knowledge
    credits_said = dict.fromkeys(
        (*comparison.before.neighbourhood.credits, *comparison.after.neighbourhood.credits)
    )
    title = title or f"{states_words(comparison)}: what was won and lost"
    body = Template(asset("compare.html")).substitute(
        title=text(title),
        table=_table(comparison, knowledge),
        maps=_maps(comparison, knowledge),
        features=_features(comparison, knowledge),
        plots=_plots(comparison),
        credits=text(" ".join(credits_said)),
    )
    return sheet(title=title, style=asset("compare.css"), body=body)


def _maps(comparison: Comparison, knowledge: Knowledge) -> str:
    """Maps of the groups that change; the others by name."""
    drawn = "".join(
        _group_map(comparison, change, knowledge) for change in _most_changed(comparison)
    )
    small = [
        knowledge.groups[change.group].name.lower()
        for change in comparison.groups
        if _is_small(change)
    ]
    if small:
        drawn += f"<p>Hardly any change, and no map: {text(', '.join(small))}.</p>"
    return drawn or "<p>No homes changed anywhere.</p>"


def _is_small(change: GroupChange) -> bool:
    """Whether a map would tint what no one should build on."""
    return hardly(change.linked_before, change.linked_after) and not (
        change.breaks_closed or change.breaks_opened
    )


def _most_changed(comparison: Comparison) -> list[GroupChange]:
    """The few groups that change most, measured by their own linked homes."""
    changed = [
        change
        for change in comparison.groups
        if any(change.group in plot.homes for plot in comparison.plots) and not _is_small(change)
    ]

    def share(change: GroupChange) -> float:
        most = max(change.linked_before, change.linked_after)
        return abs(change.linked_after - change.linked_before) / most if most > 0 else 0.0

    return sorted(changed, key=share, reverse=True)[:_MAPS]


def _table(comparison: Comparison, knowledge: Knowledge) -> str:
    rows = "".join(
        f'<tr><th scope="row">{text(knowledge.groups[change.group].name)}</th>'
        f"<td>{'</td><td>'.join(pair(change.linked_before, change.linked_after))}</td>"
        f"<td>{change_words(change.linked_before, change.linked_after)}</td>"
        f"<td>{change.components_before} to {change.components_after}</td>"
        f"<td>{'yes' if change.sure else 'not sure'}</td></tr>"
        for change in comparison.groups
    )
    heads = "".join(
        f'<th scope="col">{head}</th>'
        for head in ("Group", "Linked homes before", "After", "Change", "Connected groups", "Sure")
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _group_map(comparison: Comparison, change: GroupChange, knowledge: Knowledge) -> str:
    """One group's map: plots that hold more, hold less, or are new, and breaks that closed."""
    plots = comparison.after.neighbourhood.plots
    whole = plots.geometry.union_all().convex_hull
    paper = fitting_paper(whole, wide_mm=_WIDE_MM, high_mm=_HIGH_MM)
    homes = {
        plot.plot: plot.homes[change.group]
        for plot in comparison.plots
        if change.group in plot.homes
    }
    least = _LITTLE * max((abs(won) for won in homes.values()), default=0.0)
    homes = {plot: won for plot, won in homes.items() if abs(won) >= least}
    new = set(comparison.only_after)
    shapes = []
    for plot, shape in plots.geometry.items():
        won = homes.get(str(plot), 0.0)
        css = "more" if won > 0 else "less" if won < 0 else "same"
        label = f"Plot {plot}: {signed(won)} homes"
        if plot in new:
            css, label = f"new {css}", f"Plot {plot}: not there before, {signed(won)} homes"
        shapes.append(paper.path(shape, css=css, label=label))
    shapes += _breaks(paper, change)
    largest = sorted(homes.items(), key=lambda pair: (-abs(pair[1]), pair[0]))[:_NAMED]
    for plot, won in largest:
        x, y = paper.place(plots.geometry.loc[plot].representative_point())
        sign = "+" if won > 0 else "\N{MINUS SIGN}"
        shapes.append(f'<text x="{x:.2f}" y="{y + 0.9:.2f}" text-anchor="middle">{sign}</text>')
    shapes.append(paper.bar_and_north())
    name = knowledge.groups[change.group].name
    drawn = paper.svg("".join(shapes), title=f"{name}: homes held, change from plot to plot")
    rows = "".join(f"<li>{text(plot)}: {signed(won)} homes</li>" for plot, won in largest)
    return (
        f"<section><h3>{text(name)}</h3><p>{text(group_words(change, knowledge))}</p>"
        f'<figure><div class="wide map" tabindex="0" role="region" aria-label="Map for '
        f'{attribute(name.lower())}">{drawn}</div><figcaption>{_KEY}</figcaption></figure>'
        f"<details><summary>The plots that change most</summary><ul>{rows}</ul></details></section>"
    )


_KEY = (
    '<span class="key more-key">+ holds more</span> '
    '<span class="key less-key">\N{MINUS SIGN} holds less</span> '
    '<span class="key new-key">new plot</span> '
    '<span class="key">white: no change, or less than 2 % of the largest; thick line: a break that '
    "is closed; dotted line: a new break</span>"
)


def _breaks(paper: Paper, change: GroupChange) -> list[str]:
    return [
        paper.path(gap.line, css=css, label=f"Break between {gap.from_plot} and {gap.to_plot}")
        for breaks, css in ((change.breaks_closed, "closed"), (change.breaks_opened, "opened"))
        for gap in breaks
    ]


def _features(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = feature_lines(comparison, knowledge)
    if not lines:
        return "<p>Nothing recorded on the plots has changed.</p>"
    items = "".join(f"<li>{text(line)}</li>" for line in lines[:_FEATURES_NAMED])
    more = len(lines) - _FEATURES_NAMED
    tail = f"<p>And {more} more.</p>" if more > 0 else ""
    return f"<ul>{items}</ul>{tail}"


def _plots(comparison: Comparison) -> str:
    parts = []
    for plots, words in (
        (comparison.only_before, "Only in the first"),
        (comparison.only_after, "Only in the second"),
        (tuple(plot for plot, _ in comparison.moved), "Outlines that differ"),
    ):
        if plots:
            parts.append(f"<p>{words}: {text(', '.join(plots))}.</p>")
    return "".join(parts) or "<p>The same plots are in both.</p>"
