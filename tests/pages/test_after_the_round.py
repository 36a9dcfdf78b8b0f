"""After a round: which door next and why; a notice for residents, made with their consent."""

import re
from datetime import date

import pytest
from click.testing import CliRunner

from patchnet.assess import assess
from patchnet.assess.next_door import doors_for_street
from patchnet.commands.main import cli
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.pages.sheets.progress_page import progress_page
from patchnet.pages.survey.progress import survey_progress
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import record_consent
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.survey_layers import read_records

KNOW = load_knowledge()


@pytest.fixture
def street(surveyed):
    """Of sixteen plots twelve were looked at: pond and shrub on some of them."""
    said = [(str(at), "pond", "there" if at % 3 else "not there", None) for at in range(1, 13)]
    said += [(str(at), "shrub", "there" if at % 2 else "not there", None) for at in range(1, 13)]
    surveyed.hand_in("first", said)
    merged = merge_returns(surveyed.path, surveyed.files, knowledge=KNOW, today=date(2026, 6, 1))
    write_merged(merged, surveyed.path)
    return surveyed.path


def told(page):
    return " ".join(re.sub(r"<[^>]*>", " ", page[page.index("<main") :]).split())


def test_the_page_says_which_door_next_and_why(street):
    hood = read_neighbourhood(street, knowledge=KNOW)
    answer = assess(hood, knowledge=KNOW, groups=["frog", "wren"], straight=True)
    doors = doors_for_street(answer)
    page = told(
        progress_page(survey_progress(hood, read_records(street), knowledge=KNOW),
                      knowledge=KNOW, doors=doors)
    )  # fmt: skip
    first = doors.doors[0]
    assert f"Door {first.plot}, " in page
    assert KNOW.features[first.looks[0].feature].name.lower() in page
    assert "because nobody knows of" in page
    assert page.count("answers that people differ on") == 1
    spared = doors_for_street(answer, spared=[first.plot])
    without = told(
        progress_page(survey_progress(hood, knowledge=KNOW), knowledge=KNOW, doors=spared)
    )
    assert f"Door {first.plot}, " not in without, "who asked to be left in peace is not named"


def test_progress_and_notice_are_one_command(street, tmp_path):
    """Twelve households take part; two say no, and ten are counted; of nine nothing is told."""
    page, notice = tmp_path / "page.html", tmp_path / "notice.html"
    words = ["progress", str(street), "-o", str(page), "--notice", str(notice)]
    for plot in ("1", "2"):
        record_consent(street, plot, "no", street, knowledge=KNOW)
    run = CliRunner().invoke(cli, words)
    assert run.exit_code == 0, run.output
    text = notice.read_text(encoding="utf-8")
    assert "CANARY" not in text, "no address and no name"
    assert "Our one wish" in text
    assert "Door " in told(page.read_text(encoding="utf-8"))


def test_with_too_few_households_there_is_no_notice_and_the_page_is_there(street, tmp_path):
    page, notice = tmp_path / "page.html", tmp_path / "notice.html"
    for plot in ("1", "2", "3"):
        record_consent(street, plot, "no", street, knowledge=KNOW)
    words = ["progress", str(street), "-o", str(page), "--notice", str(notice)]
    run = CliRunner().invoke(cli, words)
    assert isinstance(run.exception, WrongUse)
    assert "at least 10" in str(run.exception)
    assert page.exists()
    assert not notice.exists()
