"""The survey as xlsx and CSV: read by other programs' rules, filled in, and merged back."""

import csv
import dataclasses
import io
from datetime import date
from importlib import resources

import openpyxl
import pytest

from patchnet.knowledge import match_feature
from patchnet.pages.survey.workbook import survey_csv, survey_xlsx
from patchnet.survey.merge import merge_returns

HEADER = [
    "plot", "called", "feature", "answer", "amount", "unit", "how sure", "seen from", "surveyor",
    "date", "note", "photo", "consent", "street", "credit",
]  # fmt: skip
TODAY = date(2026, 6, 1)


def asked_from_street():
    """Features of the table that can be seen from a street, by the standard library alone."""
    table = resources.files("patchnet.knowledge") / "tables" / "survey_questions.csv"
    rows = csv.DictReader(io.StringIO(table.read_text(encoding="utf-8")))
    return [row["feature"] for row in rows if row["from_street"] == "y"]


def renamed(survey, names):
    """The same street with other plot ids."""
    hood = survey.neighbourhood
    plots = hood.plots.rename(index=names)
    answers = dataclasses.replace(hood.answers, plots=plots.index)
    return dataclasses.replace(
        survey, neighbourhood=dataclasses.replace(hood, plots=plots, answers=answers)
    )


def test_csv_is_rfc_4180_with_a_byte_order_mark(survey_street, knowledge):
    """Line ends are CR LF, each row has the same fields, one row a plot and feature."""
    text = survey_csv(survey_street)
    assert text[0] == "\ufeff"
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    header, *rows = csv.reader(io.StringIO(text[1:], newline=""), strict=True)
    assert header == HEADER
    features = asked_from_street()
    assert len(rows) == 8 * len(features)
    assert [match_feature(row[2], knowledge) for row in rows[: len(features)]] == features
    assert {len(row) for row in rows} == {len(HEADER)}
    assert {row[-2] for row in rows} == {survey_street.street}
    assert all(not cell for row in rows for cell in (*row[3:5], *row[6:-2], row[-1]))


def test_nothing_becomes_a_formula(survey_street):
    """Ids that a spreadsheet program would run are text in both files; a plain -3 is left."""
    names = {"1": "=1+1", "2": "@cmd", "3": "-3", "4": "+x", "5": "3-4"}
    survey = renamed(survey_street, names)
    _, *rows = csv.reader(io.StringIO(survey_csv(survey)[1:], newline=""))
    assert {row[0] for row in rows} == {"'=1+1", "'@cmd", "-3", "'+x", "3-4", "6", "7", "8"}
    sheet = openpyxl.load_workbook(io.BytesIO(survey_xlsx(survey)))["Survey"]
    cells = [row[0] for row in sheet.iter_rows(min_row=2, max_row=1 + len(rows))]
    assert {cell.value for cell in cells} == {row[0] for row in rows}
    assert {cell.data_type for cell in cells} == {"s"}
    assert {cell.number_format for cell in cells} == {"@"}


def test_xlsx_has_its_sheets_and_drop_down_lists(survey_street, knowledge):
    book = openpyxl.load_workbook(io.BytesIO(survey_xlsx(survey_street)))
    assert book.sheetnames == ["Survey", "About", "Features", "Plots"]
    sheet = book["Survey"]
    assert [cell.value for cell in sheet[1]] == HEADER[:-2]
    last = 1 + 8 * len(asked_from_street()) + int(knowledge.setting("survey_spare_rows"))
    lists = {str(rule.sqref): rule.formula1 for rule in sheet.data_validations.dataValidation}
    assert lists == {
        f"A2:A{last}": "Plots!$A$2:$A$9",
        f"C2:C{last}": f"Features!$A$2:$A${1 + len(knowledge.features)}",
        f"D2:D{last}": '"there,not there,cannot see"',
        f"E2:E{last}": "0",
        f"F2:F{last}": '"m²,m,pieces"',
        f"G2:G{last}": '"sure,not sure"',
        f"H2:H{last}": '"street,own plot,neighbour\'s plot,window"',
        f"M2:M{last}": '"yes,no"',
    }
    about = {row[0].value: row[1].value for row in book["About"].iter_rows(max_col=2)}
    assert about["street"] == survey_street.street
    words = [row[0].value for row in book["Features"].iter_rows(min_row=2)]
    assert sorted(match_feature(word, knowledge) for word in words) == sorted(knowledge.features)
    plots = [row[0].value for row in book["Plots"].iter_rows(min_row=2)]
    assert plots == ["1", "3", "5", "7", "8", "6", "4", "2"]


def test_same_survey_same_bytes(survey_street):
    assert survey_xlsx(survey_street) == survey_xlsx(survey_street)


TOLD = {
    ("3", "pond"): ("there", 2.5, "m²", "not sure", "street", "Robin", "2026-05-31"),
    ("3", "bird_bath"): ("not there", None, "pieces", "sure", "street", "Robin", "2026-05-31"),
    ("8", "hedge_native"): ("cannot see", None, "m", "", "", "Robin", "2026-05-31"),
}
BY_HOUSEHOLD = ("there", 1, "pieces", "sure", "own plot", "Robin", "2026-05-31")


def filled_xlsx(survey):
    """Fill in three rows as a person would, and a spare row for what a household told."""
    names = survey.knowledge.features
    told = {(plot, names[key].name): cells for (plot, key), cells in TOLD.items()}
    book = openpyxl.load_workbook(io.BytesIO(survey_xlsx(survey)))
    for row in book["Survey"].iter_rows(min_row=2):
        for cell, value in zip(row[3:], told.get((row[0].value, row[2].value), ()), strict=False):
            cell.value = value
        if row[0].value is None:
            values = ("8", None, names["compost_heap"].name, *BY_HOUSEHOLD, None, None, "yes")
            for cell, value in zip(row, values, strict=True):
                cell.value = value
            break
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def filled_csv(survey):
    """Fill in the same as in `filled_xlsx`."""
    names = survey.knowledge.features
    told = {(plot, names[key].name): cells for (plot, key), cells in TOLD.items()}
    header, *rows = csv.reader(io.StringIO(survey_csv(survey)[1:], newline=""))
    for row in rows:
        if (row[0], row[2]) in told:
            cells = told[row[0], row[2]]
            row[3:10] = ["" if value is None else str(value) for value in cells]
    own = map(str, BY_HOUSEHOLD)
    rows.append(["8", "", names["compost_heap"].name, *own, "", "", "yes", survey.street, ""])
    out = io.StringIO(newline="")
    csv.writer(out).writerows([header, *rows])
    return out.getvalue().encode("utf-8-sig")


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_a_filled_in_sheet_comes_back_whole(form, survey_street, survey_file, knowledge, tmp_path):
    path = tmp_path / f"sheet.{form}"
    path.write_bytes({"xlsx": filled_xlsx, "csv": filled_csv}[form](survey_street))
    merged = merge_returns(survey_file, [path], knowledge=knowledge, today=TODAY)
    assert merged.faults == ()
    rows = merged.records.statements
    found = {
        (row.plot, row.feature, row.answer, str(row.amount), row.seen_from, row.surveyor)
        for row in rows.itertuples()
    }
    assert found == {
        ("3", "pond", "there", "2.5", "street", "Robin"),
        ("3", "bird_bath", "not there", "nan", "street", "Robin"),
        ("8", "hedge_native", "cannot see", "nan", "", "Robin"),
        ("8", "compost_heap", "there", "1.0", "own plot", "Robin"),
    }
    assert dict(merged.consent) == {"8": "yes"}


def test_an_id_with_an_apostrophe_before_it_is_found_again(survey_street, survey_file, tmp_path):
    """A CSV that says '3 for plot 3, as the sheet does for an id that would be a formula."""
    text = survey_csv(survey_street).replace("\r\n3,", "\r\n'3,")
    header, first, *_ = text.split("\r\n")
    row = next(line for line in text.split("\r\n") if line.startswith("'3,"))
    path = tmp_path / "sheet.csv"
    path.write_text(f"{header}\r\n{row.replace(',,,', ',there,,', 1)}\r\n", encoding="utf-8")
    merged = merge_returns(survey_file, [path], knowledge=survey_street.knowledge, today=TODAY)
    assert merged.records.statements["plot"].tolist() == ["3"]
    assert first
