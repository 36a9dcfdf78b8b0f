"""The paper sheets: one HTML file that prints as A4, both sides of each leaf."""

from string import Template

from patchnet.knowledge.records import Feature
from patchnet.knowledge.survey import RULE_PARTS
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.sheet import sheet
from patchnet.pages.survey.drawing import draw_stretch
from patchnet.pages.survey.notice import notice_html, rules_html, sources_line
from patchnet.pages.survey.questions import MEASURES, Part, parts_of
from patchnet.pages.survey.round import SurveyRound
from patchnet.pages.survey.stretches import Stretch

__all__ = ["survey_sheets"]

_ACROSS = 4  # plots side by side on a page
_DOWN = 41  # lines of a page: features and headings
_BOX = '<td class="box"><span></span></td>' * 3
_HEADS = ("there", "not there", "cannot see", "how much")


def survey_sheets(survey: SurveyRound) -> str:
    """Return the sheets as one HTML page that prints on A4.

    For each stretch: a map with the rules on its back, then the answers to tick, four plots to a
    page. A stretch always takes whole leaves, so that the file can be printed on both sides.
    After the last stretch stands one leaf for a household: every feature, the privacy notice on
    its back.
    """
    parts = parts_of(survey.knowledge, from_street=True)
    pages: list[str] = []
    for stretch in survey.stretches:
        own = [_map_page(survey, stretch), _back(survey)]
        own += _tick_pages(survey, stretch, parts)
        if len(own) % 2:
            own.append(_notes(survey, stretch))
        pages += own
    pages += _household(survey)
    title = f"{survey.name}: survey sheets"
    body = Template(asset("survey/sheets.html")).substitute(
        title=text(title),
        name=text(survey.name),
        leaves=len(pages) // 2,
        pages="".join(f'<section class="page">{page}</section>' for page in pages),
    )
    return sheet(title=title, style=asset("survey/sheets.css"), body=body)


def _top(survey: SurveyRound, heading: str, under: str, *, level: int = 2) -> str:
    return (
        f"<header><h{level}>{text(heading)}</h{level}><p>{text(under)}</p>"
        f'<p class="street-id">{text(survey.name)} &middot; street {survey.street}</p></header>'
    )


def _map_page(survey: SurveyRound, stretch: Stretch) -> str:
    drawing = draw_stretch(survey, stretch)
    count = len(stretch.plots)
    under = f"{count} plot{'s' if count != 1 else ''}, printed at full size 1 to {drawing.scale:,}"
    listed = "".join(
        f"<li><b>{text(plot)}</b> {text(survey.label(plot) or survey.kind(plot))}</li>"
        for plot in stretch.plots
    )
    fields = "".join(
        f"<p>{words}<span></span></p>"
        for words in ("Surveyors", "Date", "From, to (time)", "Seen from")
    )
    credits_ = " &middot; ".join(text(line) for line in survey.neighbourhood.credits)
    return (
        _top(survey, survey.stretch_name(stretch), under)
        + f'<div class="fields">{fields}</div>{drawing.svg}'
        f'<p class="order">In walking order, up one side and down the other:</p>'
        f'<ol class="plots">{listed}</ol><p class="credits">{credits_}</p>'
    )


def _back(survey: SurveyRound) -> str:
    tables = survey.knowledge
    return (
        _top(survey, "Before you go, and on the way", "Keep this sheet on top.")
        + f"<h3>Stay safe, be kind</h3>{rules_html(tables, 'safety')}"
        f"<h3>How to answer</h3>{rules_html(tables, 'seeing')}"
        f'<h3>Privacy: show this to anyone who asks</h3><div class="notice">{notice_html(survey)}'
        f"</div><h3>For the organiser</h3>{rules_html(tables, 'organiser')}"
        f'<p class="sources">{sources_line(tables, RULE_PARTS)}</p>'
    )


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


def _tick_pages(survey: SurveyRound, stretch: Stretch, parts: tuple[Part, ...]) -> list[str]:
    pages = []
    for start in range(0, len(stretch.plots), _ACROSS):
        plots = stretch.plots[start : start + _ACROSS]
        for piece in _pieces(parts):
            under = (
                "Tick one box a line. Blank: nobody looked. Not sure: put a ring round the tick."
            )
            table = _tick_table(survey, plots, piece)
            pages.append(_top(survey, survey.stretch_name(stretch), under) + table)
    return pages


def _tick_table(survey: SurveyRound, plots: tuple[str, ...], lines: list[Feature | str]) -> str:
    """Draw one table; columns that no plot fills are left out."""
    tops = "".join(
        f'<th scope="colgroup" colspan="4"><b>{text(plot)}</b>'
        f"<small>{text(survey.label(plot))}</small><small>{text(survey.kind(plot))}</small></th>"
        for plot in plots
    )
    heads = "".join(f'<th scope="col"><span>{word}</span></th>' for word in _HEADS) * len(plots)
    body = []
    for line in lines:
        if isinstance(line, str):
            body.append(
                f'<tr class="part"><th colspan="{1 + 4 * len(plots)}">{text(line)}</th></tr>'
            )
        else:
            cells = (_BOX + '<td class="amount"></td>') * len(plots)
            body.append(f'<tr><th scope="row">{_asked(line)}</th>{cells}</tr>')
    columns = '<col class="what">' + ('<col class="tick">' * 3 + '<col class="much">') * len(plots)
    last = (
        '<tr class="remark"><th scope="row">Remarks (nothing about people); photo names</th>'
        + '<td colspan="4"></td>' * len(plots)
        + "</tr>"
    )
    return (
        f'<table class="ticks of-{len(plots)}"><colgroup>{columns}</colgroup>'
        f"<thead><tr><td></td>{tops}</tr>"
        f"<tr><td></td>{heads}</tr></thead><tbody>{''.join(body)}{last}</tbody></table>"
    )


def _asked(feature: Feature) -> str:
    return f"{text(feature.name)} <small>{text(MEASURES[feature.measure])}</small>"


def _notes(survey: SurveyRound, stretch: Stretch) -> str:
    under = "Sketch ponds, hedges and what the map lacks. Write the plot's number beside each."
    return _top(survey, survey.stretch_name(stretch), under) + '<div class="grid"></div>'


def _household(survey: SurveyRound) -> list[str]:
    """One leaf for a household: every feature, and the privacy notice on its back."""
    parts = parts_of(survey.knowledge, from_street=False)
    lines = _lines(parts)
    half = -(-len(lines) // 2)
    half -= isinstance(lines[half - 1], str)  # no heading last in a column
    hints = survey.knowledge.survey_questions

    def column(some: list[Feature | str]) -> str:
        heads = "".join(
            f'<th scope="col"><span>{word}</span></th>'
            for word in ("there", "not there", "not sure", "how much")
        )
        body = "".join(
            f'<tr class="part"><th colspan="5">{text(line)}</th></tr>'
            if isinstance(line, str)
            else f'<tr><th scope="row">{_asked(line)}<i>{text(hints[line.key].hint)}</i></th>'
            f'{_BOX}<td class="amount"></td></tr>'
            for line in some
        )
        return (
            f'<table class="ticks own"><thead><tr><td></td>{heads}</tr></thead>'
            f"<tbody>{body}</tbody></table>"
        )

    fields = "".join(f"<p>{words}<span></span></p>" for words in ("Plot number", "Date"))
    front = (
        _top(survey, "For a household", "What is on your plot? Copy this leaf as often as needed.")
        + f'<div class="fields">{fields}</div>'
        f'<div class="halves">{column(lines[:half])}{column(lines[half:])}</div>'
    )
    consent = "".join(
        f'<p class="choice"><span></span>{text(words)}</p>'
        for words in (
            "Yes: my plot may be shown with these answers.",
            "No: count my plot only together with others.",
        )
    )
    where = sources_line(survey.knowledge, ("privacy",))
    back = (
        _top(survey, "Privacy, and your choice", "The household keeps a copy of this page.")
        + f'<div class="notice large">{notice_html(survey)}</div><div class="consent">{consent}'
        '<div class="fields"><p>Date<span></span></p><p>Signed<span></span></p></div></div>'
        f'<p class="sources">{where}</p>'
    )
    return [front, back]
