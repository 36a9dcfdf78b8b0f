"""The page of a comparison: a map of what changed, and the changes in words and tables."""

from pathlib import Path

import shapely

from patchnet.assess.comparison import Comparison, GroupChange
from patchnet.assess.spread import Spread
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE, GardenDrawing, garden_legend
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.materials import NAMES
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.plan_parts import draw_words
from patchnet.pages.kit.templates import Markup, together
from patchnet.pages.kit.to_scale import Paper, fitting_paper
from patchnet.pages.terminal.compare_text import (
    REAL_CHANGES,
    break_lines,
    change_range,
    change_words,
    doubt_words,
    feature_lines,
    gains_words,
    group_words,
    hardly,
    signed,
    signed_often,
)

__all__ = ["compare_page", "write_comparison"]

_WIDE_MM, _HIGH_MM = 180, 95
_NAMED = 12
_LITTLE = 0.02  # a change smaller than this share of the largest is not tinted
_MAPS = 6
_PAIR_MM = 88, 70  # of each of the two drawings, before and after
_AROUND_M = 12.0  # of a plot that changed
_FEATURES_NAMED = 60


def write_comparison(
    comparison: Comparison, path: Path | str, *, title: str = "", overwrite: bool = False
) -> Path:
    """Write a page with the map of what changed, and return the path.

    Parameters
    ----------
    comparison
        From `patchnet.compare`.
    path
        The HTML file; its folder must be there.
    title
        Stands over it; empty: made of its streets.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    CannotWrite
        If it cannot be written, or a file that patchnet did not make stands there.

    Examples
    --------
    >>> import patchnet
    >>> before = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.write_comparison(patchnet.compare(before, before), "change.html").name
    'change.html'
    """
    ensure_may_write(path, overwrite=overwrite)
    write_text(path, compare_page(comparison, title=title))
    return Path(path)


def compare_page(comparison: Comparison, *, title: str = "") -> str:
    """Return the page as HTML text; it holds everything and asks the network for nothing.

    `title` stands over it; without one it is made of its streets.
    """
    knowledge = comparison.after.knowledge
    credits_said = dict.fromkeys(
        (*comparison.before.neighbourhood.credits, *comparison.after.neighbourhood.credits)
    )
    title = title or _("{place}: what was won and lost").format(
        place=place_name(comparison.after.neighbourhood)
    )
    features = feature_lines(comparison, knowledge)
    return sheet(
        "sheets/compare_page.html",
        title=title,
        style=GARDEN_STYLE + asset("sheets/compare_page.css"),
        groups=[_group(change, knowledge, comparison.draws) for change in comparison.groups],
        drawn=comparison.draws > 0,
        doubt=doubt_words(comparison),
        maps=[_map(comparison, change, knowledge) for change in _most_changed(comparison)],
        small=[
            in_sentence(knowledge.groups[change.group].name)
            for change in comparison.groups
            if _is_small(change)
        ],
        gardens=_gardens(comparison),
        features=features[:_FEATURES_NAMED],
        more=max(0, len(features) - _FEATURES_NAMED),
        other_plots=_other_plots(comparison),
        credits=" ".join(credits_said),
    )


def _gardens(comparison: Comparison) -> dict[str, object]:
    """The gardens before and after, where anything on the ground changed; empty where nothing."""
    changed = {
        one.plot
        for one in comparison.features
        # What is told alike is drawn alike.
        if one.kind in REAL_CHANGES and figure(one.before) != figure(one.after)
    }
    changed |= {*comparison.only_before, *comparison.only_after}
    states = (comparison.before, comparison.after)
    shapes = [
        shape
        for state in states
        for plot, shape in state.neighbourhood.plots.geometry.items()
        if str(plot) in changed
    ]
    if not shapes:
        return {}
    around = shapely.buffer(shapely.union_all(shapes), _AROUND_M)
    paper = fitting_paper(around, wide_mm=_PAIR_MM[0], high_mm=_PAIR_MM[1], margin_mm=2, step=50)
    names = (_("Before"), _("After"))
    drawn: list[dict[str, object]] = []
    kinds: set[str] = set()
    for state, name in zip(states, names, strict=True):
        drawing = GardenDrawing(state.neighbourhood, state.knowledge, paper)
        for plot, shape in state.neighbourhood.plots.geometry.items():
            if str(plot) in changed:
                drawing.choose(shape)
        kinds |= set(drawing.kinds)
        svg = drawing.svg(title=name, to_scale=False, fills=name == names[0])
        drawn.append({"name": name, "drawing": svg})
    return {"drawn": drawn, "legend": garden_legend([key for key in NAMES if key in kinds])}


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


def _group(change: GroupChange, knowledge: Knowledge, draws: int) -> dict[str, object]:
    """One row of the table."""
    before, after, won = change_words(change.linked_before, change.linked_after)
    row: dict[str, object] = {
        "name": knowledge.groups[change.group].name,
        "before": before,
        "after": after,
        "won": won,
        "parts": _("{components_before} to {components_after}").format(
            components_before=change.components_before, components_after=change.components_after
        ),
    }
    if change.won is not None:
        row["range"] = change_range(change.won)
        row["bar"] = _bar(change.won)
        row["often"] = gains_words(change, draws)
        row["sure"] = _("yes") if change.sure else _("not sure")
    return row


def _bar(won: Spread) -> dict[str, float]:
    """Places from 0 to 100 of no change, the mean and both ends of the range."""
    least, most = min(won.low, won.mean, 0.0), max(won.high, won.mean, 0.0)
    wide = most - least
    at = {"none": 0.0, "mean": won.mean, "low": won.low, "high": won.high}
    return {
        name: round(4 + 92 * (value - least) / wide, 1) if wide > 0 else 50.0
        for name, value in at.items()
    }


def _map(comparison: Comparison, change: GroupChange, knowledge: Knowledge) -> dict[str, object]:
    """One group's map: plots that hold more, hold less, or are new, and breaks that closed."""
    plots = comparison.after.neighbourhood.plots
    whole = plots.geometry.union_all().convex_hull
    paper = fitting_paper(whole, wide_mm=_WIDE_MM, high_mm=_HIGH_MM)
    homes = {
        plot.plot: plot.homes[change.group]
        for plot in comparison.plots
        if change.group in plot.homes
    }
    often = {plot.plot: plot.often.get(change.group) for plot in comparison.plots}
    least = _LITTLE * max((abs(won) for won in homes.values()), default=0.0)
    homes = {plot: won for plot, won in homes.items() if abs(won) >= least}
    new = set(comparison.only_after)
    shapes = []
    for plot, shape in plots.geometry.items():
        won = homes.get(str(plot), 0.0)
        css = "more" if won > 0 else "less" if won < 0 else "same"
        label = _("Plot {plot}: {won} homes").format(plot=plot, won=signed(won))
        if plot in new:
            css, label = (
                f"new {css}",
                _("Plot {plot}: not there before, {won} homes").format(plot=plot, won=signed(won)),
            )
        shapes.append(paper.path(shape, css=css, label=label))
    shapes += _breaks(paper, change)
    largest = sorted(homes.items(), key=lambda pair: (-abs(pair[1]), pair[0]))[:_NAMED]
    for plot, won in largest:
        x, y = paper.place(plots.geometry.loc[plot].representative_point())
        sign = "+" if won > 0 else "\N{MINUS SIGN}"
        shapes.append(draw_words("", x, y + 0.9, sign))
    shapes.append(paper.bar_and_north())
    name = knowledge.groups[change.group].name
    return {
        "name": name,
        "words": group_words(change, knowledge, comparison.draws),
        "breaks": break_lines(change, knowledge, comparison.draws),
        "drawn": paper.svg(
            together(shapes),
            title=_("{name}: homes held, change from plot to plot").format(name=name),
        ),
        "largest": [
            (plot, signed_often(won, often[plot], comparison.draws)) for plot, won in largest
        ],
    }


def _breaks(paper: Paper, change: GroupChange) -> list[Markup]:
    return [
        paper.path(
            gap.line,
            css=css,
            label=_("Break between {from_plot} and {to_plot}").format(
                from_plot=gap.from_plot, to_plot=gap.to_plot
            ),
        )
        for breaks, css in ((change.breaks_closed, "closed"), (change.breaks_opened, "opened"))
        for gap in breaks
    ]


def _other_plots(comparison: Comparison) -> list[tuple[str, str]]:
    """Plots that are not in both, or not alike, under what they are."""
    kinds = (
        (_("Only in the first"), comparison.only_before),
        (_("Only in the second"), comparison.only_after),
        (_("Outlines that differ"), tuple(plot for plot, __ in comparison.moved)),
    )
    return [(words, ", ".join(plots)) for words, plots in kinds if plots]
