"""Sheets, phone page and spreadsheets of a street with door numbers, in a country of other law."""

import csv
import dataclasses
import io

import openpyxl
import pytest

from patchnet.pages.survey import SurveyRound, survey_phone_page, survey_sheets
from patchnet.pages.survey.workbook import survey_csv, survey_xlsx

POUND = "\N{POUND SIGN}"


@pytest.fixture(scope="module")
def abroad(survey_street):
    """The street, moved to Finland, with door numbers in the plots' names."""
    hood = survey_street.neighbourhood
    plots = hood.plots.assign(
        label=[f"Leppätie, No. {ident}" for ident in hood.plots.index], door=hood.plots.index
    )
    return SurveyRound(
        dataclasses.replace(hood, plots=plots, country="fi"), survey_street.knowledge
    )


@pytest.mark.parametrize("page", [survey_sheets, survey_phone_page])
def test_pages_say_door_numbers_and_whom_to_ask(page, abroad, survey_street):
    text = page(abroad)
    assert "No. 7" in text
    assert "ask the kunta" in text
    assert POUND not in text
    at_home = dataclasses.replace(survey_street.neighbourhood, country="gb")
    assert "for the law here" not in page(SurveyRound(at_home, survey_street.knowledge))


def test_every_row_of_the_spreadsheets_has_the_door_number(abroad):
    rows = list(csv.DictReader(io.StringIO(survey_csv(abroad)[1:], newline="")))
    assert all(row["called"] == f"Leppätie, No. {row['plot']}" for row in rows)
    sheet = openpyxl.load_workbook(io.BytesIO(survey_xlsx(abroad)))["Survey"]
    cells = sheet.iter_rows(min_row=2, max_row=1 + len(rows), max_col=2, values_only=True)
    assert list(cells) == [(row["plot"], row["called"]) for row in rows]
