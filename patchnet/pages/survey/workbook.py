"""The survey as a spreadsheet: xlsx with drop-down lists, and CSV."""

import csv
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import lru_cache

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from patchnet.core.cells import harmless
from patchnet.core.language_forms import day_told
from patchnet.core.texts import _
from patchnet.pages.survey.questions import parts_of
from patchnet.pages.survey.round import SurveyRound
from patchnet.survey.sheet_words import ANSWERS, COLUMNS, CONSENT, SEEN_FROM, SURE, UNITS

__all__ = ["put_header", "put_row", "same_bytes", "survey_csv", "survey_xlsx"]

_WIDTHS = (14, 28, 38, 12, 9, 8, 10, 16, 14, 12, 30, 20, 9)
_HEAD = PatternFill("solid", fgColor="FF2D3A78")
_LAST_ROW = 1_048_576  # of a sheet, by the format (ISO/IEC 29500)
_WHEN = datetime(1980, 1, 1)  # noqa: DTZ001 - earliest date a zip file can carry, without a zone
_ZIP_WHEN = (1980, 1, 1, 0, 0, 0)


def survey_csv(survey: SurveyRound) -> str:
    """Return the sheet as CSV text: RFC 4180, with the byte order mark that Excel looks for.

    One row a plot and feature that can be seen from the street, in walking order, the answers
    left empty, each with what people call the plot. The column ``street`` holds the id of the
    street; the last one, in the first row, whose data the map is. Text that a spreadsheet program
    would run as a formula has an apostrophe before it.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_(one) for one in (*COLUMNS, "street", "credit")])
    credit = "; ".join(survey.neighbourhood.credits)
    for row in _rows(survey):
        cells = [harmless(row.get(column, "")) for column in COLUMNS]
        writer.writerow([*cells, survey.street, harmless(credit)])
        credit = ""
    return "\N{ZERO WIDTH NO-BREAK SPACE}" + out.getvalue()


def survey_xlsx(survey: SurveyRound) -> bytes:
    """Return the sheet as an xlsx workbook; the same survey gives the same bytes.

    Sheets: ``Survey`` (as the CSV, with drop-down lists and spare rows), ``About`` (id of the
    street, how to fill it in), ``Features`` (every feature word), ``Plots``.
    """
    book = Workbook()
    sheet = book.active
    sheet.title = _("Survey")
    about = book.create_sheet(_("About"))
    features = book.create_sheet(_("Features"))
    plots = book.create_sheet(_("Plots"))
    rows = list(_rows(survey))[: _LAST_ROW - 1]
    spare = int(survey.knowledge.setting("survey_spare_rows"))
    last = min(1 + len(rows) + spare, _LAST_ROW)
    put_header(sheet, [_(one) for one in COLUMNS], _WIDTHS)
    as_text = [COLUMNS.index(column) + 1 for column in ("plot", "date")]
    for at, row in enumerate(rows, 2):
        put_row(sheet, at, [row.get(column) for column in COLUMNS], as_text=as_text)
    for at in range(2 + len(rows), last + 1):
        put_row(sheet, at, (), as_text=as_text)
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(COLUMNS))}{last}"
    _about(about, survey)
    words = _features(features, survey)
    ids = _plots(plots, survey)
    _lists(sheet, last, words, ids)
    book.properties.creator = "patchnet"
    book.properties.title = survey.name
    book.properties.created = _WHEN
    out = io.BytesIO()
    book.save(out)
    return same_bytes(out.getvalue())


def _rows(survey: SurveyRound) -> Iterator[dict[str, str]]:
    """Yield what is filled in of each row, by column."""
    asked = [
        (feature.name, _(UNITS[feature.measure]))
        for __, features in parts_of(survey.knowledge, from_street=True)
        for feature in features
    ]
    for stretch in survey.stretches:
        for plot in stretch.plots:
            called = survey.label(plot)
            for name, unit in asked:
                yield {"plot": plot, "called": called, "feature": name, "unit": unit}


def put_row(
    sheet: Worksheet, row: int, cells: Sequence[str | None], *, as_text: Sequence[int] = ()
) -> None:
    """Write the cells of one row as text.

    Parameters
    ----------
    sheet
        Where.
    row
        Its number.
    cells
        From the first column; None leaves one empty.
    as_text
        Columns, from 1, in which what people write stays as they wrote it: else 3-4 becomes the
        third of April.
    """
    for column, value in enumerate(cells, 1):
        if value is None:
            continue
        cell = sheet.cell(row, column, _in_a_cell(value))
        cell.data_type = "s"  # so that "=1" stays text
        if column in as_text:
            cell.number_format = "@"
    for column in as_text:
        if column > len(cells) or cells[column - 1] is None:
            sheet.cell(row, column).number_format = "@"


@lru_cache(maxsize=4096)
def _in_a_cell(value: str) -> str:
    """Return text as a cell may hold it: control characters cannot stand in XML.

    The apostrophe of `harmless` stays when somebody saves the sheet as CSV.
    """
    return re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "\N{REPLACEMENT CHARACTER}", harmless(value))


def put_header(sheet: Worksheet, names: Sequence[str], widths: Sequence[int]) -> None:
    """Write the header of a sheet, which stays in sight.

    Parameters
    ----------
    sheet
        Where.
    names
        Of its columns.
    widths
        Of its columns, in characters.
    """
    put_row(sheet, 1, names)
    for column, width in enumerate(widths, 1):
        cell = sheet.cell(1, column)
        cell.font = Font(bold=True, color="FFFFFFFF")
        cell.fill = _HEAD
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"


def _about(sheet: Worksheet, survey: SurveyRound) -> None:
    sheet.column_dimensions["A"].width = 16
    sheet.column_dimensions["B"].width = 100
    lines = [
        (_("street"), survey.street),
        (_("street name"), survey.name),
        (_("surveyor"), ""),
        (_("seen from"), ""),
        (_("date"), ""),
    ]
    rules = survey.knowledge.survey_rules.values()
    lines += [(_("how to fill it in"), rule.words) for rule in rules if rule.part == "seeing"]
    lines += [
        (
            _("answer"),
            _("there, not there or cannot see; empty: nobody looked. Never a blank for a no."),
        ),
        (_("consent"), _("yes or no, once a plot, where the household was asked.")),
        (_("date"), _("as 2026-05-31: year, month, day")),
        (_("photo"), _("the name of the file; nobody but the group sees it.")),
    ]
    lines += [(_("privacy"), rule.words) for rule in rules if rule.part == "privacy"]
    if survey.contact:
        lines.append((_("contact"), survey.contact))
    if survey.keep_until:
        lines.append((_("kept until"), day_told(survey.keep_until)))
    lines += [(_("credit"), line) for line in survey.neighbourhood.credits]
    for at, line in enumerate(lines, 1):
        put_row(sheet, at, line)
        sheet.cell(at, 1).font = Font(bold=True)
        sheet.cell(at, 2).alignment = Alignment(wrap_text=True, vertical="top")


def _features(sheet: Worksheet, survey: SurveyRound) -> str:
    """Write the feature words; return the range of their names."""
    names = (
        _("name"),
        _("measured in"),
        _("asked under"),
        _("seen from the street"),
        _("look for"),
        _("also called"),
    )
    put_header(sheet, names, (44, 12, 30, 20, 60, 60))
    at = 1
    for part, features in parts_of(survey.knowledge, from_street=False):
        for feature in features:
            at += 1
            question = survey.knowledge.survey_questions[feature.key]
            seen = _("yes") if question.from_street else _("no: ask the household")
            measure = _(UNITS[feature.measure])
            also = ", ".join(feature.words)
            put_row(sheet, at, (feature.name, measure, part, seen, question.hint, also))
    return _cells(sheet, at)


def _plots(sheet: Worksheet, survey: SurveyRound) -> str:
    """Write the plots in walking order; return the range of their ids."""
    put_header(sheet, (_("id"), _("called"), _("kind"), _("stretch")), (16, 40, 30, 40))
    at = 1
    for stretch in survey.stretches:
        for plot in stretch.plots:
            at += 1
            called = survey.label(plot)
            cells = (plot, called, survey.kind(plot), survey.stretch_name(stretch))
            put_row(sheet, at, cells, as_text=[1])
    return _cells(sheet, at)


def _cells(sheet: Worksheet, last: int) -> str:
    """Name the cells of a sheet's first column below the heading, as a formula does."""
    title = sheet.title if sheet.title.isalpha() else quote_sheetname(sheet.title)
    return f"{title}!$A$2:$A${last}"


def _lists(sheet: Worksheet, last: int, words: str, ids: str) -> None:
    """Add the drop-down lists."""

    def words_of(choices: Sequence[str]) -> str:
        return '"' + ",".join(map(_, choices)) + '"'

    lists = {
        "plot": (ids, _("This plot is not on the sheet Plots.")),
        "feature": (words, _("Choose a feature of the sheet Features.")),
        "answer": (
            words_of(ANSWERS),
            _("Write there, not there or cannot see; or leave it empty."),
        ),
        "unit": (words_of(tuple(UNITS.values())), _("Write m², m or pieces.")),
        "how sure": (words_of(SURE), _("Write sure or not sure.")),
        "seen from": (words_of(SEEN_FROM), _("Choose from where it was seen.")),
        "consent": (words_of(CONSENT), _("Write yes or no, where the household was asked.")),
    }

    def cells_of(column: str) -> str:
        letter = get_column_letter(COLUMNS.index(column) + 1)
        return f"{letter}2:{letter}{last}"

    for column, (choices, message) in lists.items():
        rule = DataValidation(
            "list", formula1=choices, allow_blank=True, showErrorMessage=True, error=message
        )
        rule.errorTitle = _("Not on the list")
        rule.errorStyle = "warning" if column in {"plot", "feature"} else "stop"
        rule.add(cells_of(column))
        sheet.add_data_validation(rule)
    amount = DataValidation(
        "decimal", operator="greaterThan", formula1="0", allow_blank=True, showErrorMessage=True,
        error=_("Write a number above nought, or leave it empty."), errorTitle=_("Not a number"),
    )  # fmt: skip
    amount.add(cells_of("amount"))
    sheet.add_data_validation(amount)


def same_bytes(packed: bytes) -> bytes:
    """Pack a workbook again without the time of day that the library writes into it.

    Parameters
    ----------
    packed
        The workbook as the library saves it.
    """
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(packed)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                stamp = _WHEN.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + stamp, content)
            entry = zipfile.ZipInfo(name, _ZIP_WHEN)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, content)
    return out.getvalue()
