"""The paper sheets: one HTML file that prints as A4, both sides of each leaf."""

from collections.abc import Mapping, Sequence

from patchnet.core.texts import _, ngettext
from patchnet.knowledge.records import Feature
from patchnet.knowledge.survey import RULE_PARTS
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.survey.notice import rules_of, sources_line
from patchnet.pages.survey.questions import Part, parts_of
from patchnet.pages.survey.round import SurveyRound
from patchnet.pages.survey.stretch_map import draw_stretch
from patchnet.pages.survey.stretches import Stretch
from patchnet.survey.sheet_words import UNITS

__all__ = ["survey_sheets"]

_ACROSS = 4  # plots side by side on a page
_DOWN = 41  # lines of a page: features and headings

_Side = Mapping[str, object]
"""One side of a leaf: under ``side`` which one it is, and what its macro of the template names."""


def survey_sheets(survey: SurveyRound) -> str:
    """Return the sheets as one HTML page that prints on A4.

    For each stretch: a map with the rules on its back, then the answers to tick, four plots to a
    page. A stretch always takes whole leaves, so that the file can be printed on both sides.
    After the last stretch stands one leaf for a household: every feature, the privacy notice on
    its back.
    """
    tables = survey.knowledge
    parts = parts_of(tables, from_street=True)
    pages: list[_Side] = []
    for stretch in survey.stretches:
        own = [_map_page(survey, stretch), {"side": "back"}]
        own += _tick_pages(survey, stretch, parts)
        if len(own) % 2:
            own.append({"side": "notes", "heading": survey.stretch_name(stretch)})
        pages += own
    pages += [_household(survey), {"side": "choice"}]
    return sheet(
        "survey/paper_sheets.html",
        title=_("{survey_name}: survey sheets").format(survey_name=survey.name),
        style=asset("survey/paper_sheets.css"),
        name=survey.name,
        street=survey.street,
        pages=pages,
        told={part: rules_of(tables, part) for part in RULE_PARTS},
        keep_until=survey.keep_until,
        contact=survey.contact,
        sources=" ".join([sources_line(tables, RULE_PARTS), survey.whose_law]).rstrip(),
        privacy_sources=" ".join([sources_line(tables, ("privacy",)), survey.whose_law]).rstrip(),
        credits=survey.neighbourhood.credits,
    )


def _map_page(survey: SurveyRound, stretch: Stretch) -> _Side:
    drawing = draw_stretch(survey, stretch)
    count = len(stretch.plots)
    return {
        "side": "map",
        "heading": survey.stretch_name(stretch),
        "under": (
            ngettext(
                "{n} plot, printed at full size 1 to {scale:,}",
                "{n} plots, printed at full size 1 to {scale:,}",
                count,
            ).format(n=count, scale=drawing.scale)
        ),
        "drawn": drawing.svg,
        "plots": [(plot, survey.label(plot) or survey.kind(plot)) for plot in stretch.plots],
    }


def _lines(parts: tuple[Part, ...]) -> list[Feature | str]:
    """Lines down a table: headings (text) and features."""
    lines: list[Feature | str] = []
    for name, features in parts:
        lines += [name, *features]
    return lines


def _pieces(parts: tuple[Part, ...]) -> list[list[Feature | str]]:
    """Cut the lines so that each piece fits a page; no heading stands last on one."""
    left, pieces = _lines(parts), []
    while left:
        cut = min(_DOWN, len(left))
        if cut < len(left) and isinstance(left[cut - 1], str):
            cut -= 1
        pieces.append(left[:cut])
        left = left[cut:]
    return pieces


def _tick_pages(survey: SurveyRound, stretch: Stretch, parts: tuple[Part, ...]) -> list[_Side]:
    """Return the tables to tick; columns that no plot fills are left out."""
    return [
        {
            "side": "ticks",
            "heading": survey.stretch_name(stretch),
            "plots": [(plot, survey.label(plot), survey.kind(plot)) for plot in plots],
            "lines": [_asked(survey, line) for line in piece],
        }
        for start in range(0, len(stretch.plots), _ACROSS)
        for plots in (stretch.plots[start : start + _ACROSS],)
        for piece in _pieces(parts)
    ]


def _asked(survey: SurveyRound, line: Feature | str) -> Mapping[str, str] | str:
    """A line of a table: a heading, or what is asked of a feature."""
    if isinstance(line, str):
        return line
    hint = survey.knowledge.survey_questions[line.key].hint
    return {"name": line.name, "unit": _(UNITS[line.measure]), "hint": hint}


def _household(survey: SurveyRound) -> _Side:
    """The front of the leaf for a household: every feature, in two columns."""
    lines = _lines(parts_of(survey.knowledge, from_street=False))
    half = -(-len(lines) // 2)
    half -= isinstance(lines[half - 1], str)  # no heading last in a column
    columns: Sequence[Sequence[Feature | str]] = (lines[:half], lines[half:])
    return {
        "side": "household",
        "halves": [[_asked(survey, line) for line in column] for column in columns],
    }
