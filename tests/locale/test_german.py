"""German is complete in all that is handed out, and what a German sheet says is read back."""

import csv
import fnmatch
import gettext
import io
import json
import re
import tomllib
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from babel.dates import get_month_names
from babel.messages import pofile
from worlds.page_texts import PageTexts

from patchnet.assess import assess
from patchnet.core import texts
from patchnet.core.texts import FOLDER
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.words import match_feature
from patchnet.locale.extract import wrong_places
from patchnet.pages.kit.numbers import MONTH_NAMES, MONTHS
from patchnet.pages.map import map_words
from patchnet.pages.map.map_page import map_page
from patchnet.pages.privacy import assessment_for, public_features
from patchnet.pages.public_table import table_of
from patchnet.pages.sheets.plan_card import write_card
from patchnet.pages.sheets.poster import poster
from patchnet.pages.sheets.progress_page import write_progress
from patchnet.pages.sheets.residents_notice import residents_notice
from patchnet.pages.survey import SurveyRound, phone_words, write_survey
from patchnet.pages.survey.progress import survey_progress
from patchnet.pages.survey.workbook import survey_csv, survey_xlsx
from patchnet.plan.additions import possible_additions
from patchnet.plan.plan_plot import plan_plot
from patchnet.read import read_neighbourhood
from patchnet.sun.shade import sun_hours
from patchnet.survey.merge import merge_returns
from patchnet.survey.release import Ledger
from patchnet.survey.sheet_words import ABOUT, ANSWERS, COLUMNS, CONSENT, SEEN_FROM, SURE, UNITS

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data_demo"
TODAY = date(2026, 6, 1)


class Spy(gettext.NullTranslations):
    """Asked where the catalogue has no translation; keeps what it was asked for."""

    def __init__(self):
        super().__init__()
        self.asked = []

    def gettext(self, message):
        self.asked.append(message)
        return message

    def ngettext(self, one, several, n):
        self.asked.append((one, several))
        return one if n == 1 else several


@pytest.fixture(scope="module")
def german(street_in):
    """Speak German; English afterwards. The street that all tests share is made before."""
    assert street_in
    before = texts.language()
    texts.use_language("de")
    yield
    texts.use_language(before)


@pytest.fixture
def spy(german):
    """What was asked for and has no translation."""
    catalogue, listens = texts._catalogue("de"), Spy()
    catalogue.add_fallback(listens)
    yield listens
    catalogue._fallback = None


class World:
    """The demo, assessed for an animal that flies and one that walks, in German."""

    def __init__(self):
        self.knowledge = load_knowledge()
        self.hood = read_neighbourhood(DEMO, knowledge=self.knowledge)
        self.answer = assess(
            self.hood, knowledge=self.knowledge, groups=["mason_bee", "newt"], straight=True
        )
        _, released = table_of(
            Ledger(), self.hood, public_features(self.knowledge), knowledge=self.knowledge,
            today=TODAY,
        )  # fmt: skip
        self.public = assessment_for(self.answer, "public", released=released)
        self.survey = SurveyRound(
            self.hood, self.knowledge, contact="Wildes Wickthorn", keep_until="2028-12-31"
        )


@pytest.fixture(scope="module")
def world(german):
    return World()


def map_of(world, _folder):
    """With what could be added to every third plot: it takes the same words as all of them."""
    plots = world.hood.plots.index[::3]
    return map_page(
        world.answer,
        sun=sun_hours(world.hood, knowledge=world.knowledge),
        additions=possible_additions(world.answer, list(plots)),
    )


def card_of(world, folder):
    plan = plan_plot(world.answer, "M15B", month=5)
    return write_card(plan, folder / "card.html").read_text(encoding="utf-8")


def survey_page(name):
    def made(world, folder):
        write_survey(world.survey, folder)
        return (folder / name).read_text(encoding="utf-8")

    return made


def progress_of(world, folder):
    progress = survey_progress(world.hood, knowledge=world.knowledge)
    path = write_progress(progress, folder / "page.html", knowledge=world.knowledge)
    return path.read_text(encoding="utf-8")


PAGES = {
    "map": map_of,
    "public map": lambda world, _: map_page(world.public, public=True),
    "poster": lambda world, _: poster(world.public, meet="Samstag, 10 Uhr, am Anger"),
    "poster of the group": lambda world, _: poster(assessment_for(world.answer, "group")),
    "notice": lambda world, _: residents_notice(world.public),
    "card": card_of,
    "sheets": survey_page("sheets.html"),
    "phone": survey_page("phone.html"),
    "progress": progress_of,
}

# Words that no German text has: an English one that went past the catalogue is found by them.
ENGLISH = re.compile(
    r"\b(the|and|of|with|is|are|for|your|you|this|that|from|there|not|by|to|at|plots?|homes?)\b"
)
# What users wrote, and what stays as it is in every language: whose data, works and their titles.
NOT_OURS = ("credits", "sources", "source", "cite", "figures-used")


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_left_in_english(spy, world, tmp_path, name):
    html = PAGES[name](world, tmp_path)
    assert spy.asked == []
    page = PageTexts(html, without=NOT_OURS)
    assert page.language == "de"
    know = world.knowledge
    theirs = {one.citation for one in know.sources.values()} | {*world.hood.credits}
    said = [text for text in page.texts if text.strip() not in theirs]
    assert [text for text in said if ENGLISH.search(text)] == []
    # A decimal point: two numbers of a date or a scale have none beside a unit.
    assert [text for text in said if re.search(r"\d\.\d+ (m|m²|cm|Stunden?|%)\b", text)] == []


def test_tables_and_words_of_scripts(spy, german):
    for table in (map_words.SCRIPT, map_words.PAGE, map_words.SHOWS, phone_words.SCRIPT):
        json.dumps(dict(table))
    dict(phone_words.PAGE)
    assert spy.asked == []


def test_months_are_those_of_cldr(german):
    """Unicode CLDR, common/main/de.xml: the wide names that stand alone."""
    wide = get_month_names("wide", context="stand-alone", locale="de")
    assert list(MONTH_NAMES) == [wide[month] for month in range(1, 13)]
    assert all(
        long.startswith(short.rstrip(".")) for short, long in zip(MONTHS, MONTH_NAMES, strict=True)
    )


@pytest.fixture(scope="module")
def catalogue():
    with (FOLDER / "de.po").open("rb") as lines:
        return pofile.read_po(lines, locale="de")


def said_of(message):
    return message.string if isinstance(message.string, tuple) else (message.string,)


def test_every_value_has_its_place(catalogue):
    assert wrong_places(catalogue) == []


def test_signs_of_a_translation(catalogue):
    """German quotation marks in pairs, blanks at the ends and lines as in the text, one address."""
    wrong = []
    for message in catalogue:
        if not message.id:
            continue
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        for said in filter(None, said_of(message)):
            if said.count("„") != said.count("“"):
                wrong.append(("marks", said))
            if re.search(r"\b(du|dich|dir|dein\w*)\b", said, re.IGNORECASE):
                wrong.append(("du", said))
            ends = [(one[:1].isspace(), one[-1:].isspace()) for one in ids]
            if (said[:1].isspace(), said[-1:].isspace()) not in ends:
                wrong.append(("blanks", said))
    assert wrong == []


def test_the_compiled_one_goes_into_the_wheel():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = project["tool"]["setuptools"]["package-data"]["patchnet"]
    for name in ("locale/de.mo", "locale/de.po", "locale/patchnet.pot"):
        assert (ROOT / "patchnet" / name).is_file()
        assert any(fnmatch.fnmatch(name, pattern) for pattern in patterns), name


# sheets -------------------------------------------------------------------------------------


def test_words_of_a_sheet_are_told_apart(german):
    """Of what stands in one column, and of the headings, no two words are the same in German."""
    for words in ((*COLUMNS, *ABOUT), ANSWERS, CONSENT, SURE, SEEN_FROM, UNITS.values()):
        said = [texts._(word).casefold() for word in words]
        assert len(set(said)) == len(said), said


def filled_in(rows):
    """Answers in the words of the sheet's own lists, by the row's heading."""
    heads = rows[0]
    at = {texts._(word): heads.index(texts._(word)) for word in COLUMNS}
    put = {
        1: {"answer": "there", "amount": "2,5", "how sure": "not sure", "seen from": "own plot"},
        2: {"answer": "not there", "seen from": "street"},
        3: {"answer": "cannot see", "consent": "yes"},
    }
    for row, cells in put.items():
        for column, word in (cells | {"date": "2026-05-02", "surveyor": "Ann"}).items():
            rows[row][at[texts._(column)]] = texts._(word)
    return rows


def of_workbook(survey):
    book = openpyxl.load_workbook(io.BytesIO(survey_xlsx(survey)))
    sheet = book.worksheets[0]
    rows = filled_in([[cell.value for cell in row] for row in sheet.iter_rows()])
    for at, row in enumerate(rows, 1):
        for column, value in enumerate(row, 1):
            sheet.cell(at, column).value = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def of_csv(survey, delimiter, encoding):
    rows = filled_in(list(csv.reader(io.StringIO(survey_csv(survey).lstrip("\ufeff")))))
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode(encoding)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("returned.xlsx", of_workbook),
        ("returned.csv", lambda survey: of_csv(survey, ",", "utf-8-sig")),
        # as Excel saves "CSV UTF-8" where decimals have a comma
        ("returned.csv", lambda survey: of_csv(survey, ";", "utf-8-sig")),
    ],
    ids=["xlsx", "csv", "csv of Excel"],
)
@pytest.mark.parametrize("read_in", ["de", "en"])
def test_a_german_sheet_is_read_in_any_language(german, surveyed, name, made, read_in):
    know = load_knowledge()
    survey = SurveyRound(read_neighbourhood(surveyed.path, knowledge=know), know)
    asked = [row[2] for row in csv.reader(io.StringIO(survey_csv(survey)))][1:4]
    keys = [match_feature(one, know) for one in asked]
    surveyed.write(name, made(survey))
    texts.use_language(read_in)
    try:
        merged = merge_returns(
            surveyed.path, surveyed.files, knowledge=load_knowledge(), today=TODAY
        )
    finally:
        texts.use_language("de")
    assert [str(one) for one in merged.faults] == []
    table = merged.records.statements.set_index("feature")
    assert table["answer"].to_dict() == dict(
        zip(keys, ("there", "not there", "cannot see"), strict=True)
    )
    first = table.loc[keys[0]]
    assert (first["amount"], bool(first["sure"]), first["seen_from"]) == (2.5, False, "own plot")
    assert merged.records.consent["consent"].tolist() == ["yes"]


def test_the_lists_of_a_workbook_name_cells_that_are_there(german, surveyed):
    know = load_knowledge()
    survey = SurveyRound(read_neighbourhood(surveyed.path, knowledge=know), know)
    book = openpyxl.load_workbook(io.BytesIO(survey_xlsx(survey)))
    assert all(len(name) <= 31 for name in book.sheetnames)
    named = 0
    for rule in book.worksheets[0].data_validations.dataValidation:
        title, bang, _cells = rule.formula1.partition("!")
        if bang:
            assert title.strip("'") in book.sheetnames
            named += 1
        elif rule.type == "list":
            assert len(rule.formula1) <= 257, "a list in a cell has at most 255 signs (ISO 29500)"
    assert named == 2
