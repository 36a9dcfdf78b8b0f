"""Rows of returns: their text, their plots and their dates, each at the edge of what is taken."""

from datetime import date, timedelta

import pandas as pd
import pytest

from patchnet.core.fault_list import FaultList
from patchnet.read.feature_lists import Problem
from patchnet.survey.one_return import SAID, Return
from patchnet.survey.rows import Asked, clean, mapped, plot_matcher, say_problems, table_of
from patchnet.survey.times import with_times

TODAY = date(2026, 6, 1)


def frame(*rows):
    """Rows of a return; what is not given is empty."""
    table = pd.DataFrame(
        [{**dict.fromkeys(SAID, ""), "row": at, **row} for at, row in enumerate(rows)]
    )
    return table.reindex(columns=list(SAID)).astype(object)


@pytest.fixture
def asked(survey_knowledge):
    def make(*abouts):
        returns = [
            Return(f"r{at}", f"id{at}", "page", "", about, frame())
            for at, about in enumerate(abouts)
        ]
        return Asked(returns, survey_knowledge, TODAY, FaultList())

    return make


def told(one):
    return [str(fault) for fault in one.faults.faults]


# text ------------------------------------------------------------------------------------------


def test_text_without_control_characters_and_a_page_of_it_at_most():
    assert clean(" a\x00\x08\x1f\x7fb\tc\nd ") == "a b\tc\nd"
    assert clean("x" * 2000) == "x" * 2000
    assert clean("x" * 2001) == "x" * 2000
    assert clean("\ud800") == "?"


def test_each_different_value_is_worked_out_once():
    calls = []
    column = pd.Series(["a", "b", "a", None, "b"], index=[5, 4, 3, 2, 1])
    found = mapped(column[column.notna()], lambda one: calls.append(one) or one.upper())
    assert calls == ["a", "b"]
    assert found.to_dict() == {5: "A", 4: "B", 3: "A", 1: "B"}
    assert mapped(column[:0], str).tolist() == []


def test_returns_in_one_table_each_row_knows_which():
    table = table_of([frame({"plot": 1.0, "note": " a\x00"}), frame(), frame({"plot": True}, {})])
    assert table["at"].tolist() == [0, 2, 2]
    assert table["plot"].tolist() == ["1", "yes", ""]
    assert table["note"].tolist() == ["a", "", ""]
    assert table["row"].tolist() == [0, 0, 1]
    assert list(table_of([frame()]).columns) == [*SAID, "at"]


# what is told -----------------------------------------------------------------------------------


def problems(asked, rows, *, error=True):
    """A row is (position of the return, number, words of the problem or None)."""
    table = pd.DataFrame(rows, columns=["at", "row", "say"])
    say = [words and Problem(words, "Mend it.") for _, _, words in rows]
    say = pd.Series(say, dtype=object)
    say_problems(table, say, asked, error=error)
    return told(asked)


def test_a_problem_is_told_once_a_return(asked):
    rows = [(0, 3, "odd."), (1, 4, "odd."), (0, 5, None), (0, 6, "odd."), (0, 7, "other.")]
    assert sorted(problems(asked({}, {}), rows)) == [
        "error: r0, row 7: other. Mend it.",
        "error: r0: Rows 3, 6: odd. Mend it.",
        "error: r1, row 4: odd. Mend it.",
    ]
    assert problems(asked({}), [(0, 1, None)]) == []
    assert problems(asked({}), [(0, 1, "odd.")], error=False)[0].startswith("warning")


@pytest.mark.parametrize(("count", "end"), [(12, "11, 12: "), (13, "11, 12 and 1 more: ")])
def test_twelve_rows_are_named(asked, count, end):
    (line,) = problems(asked({}), [(0, row, "odd.") for row in range(1, count + 1)])
    assert line == f"error: r0: Rows 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, {end}odd. Mend it."


@pytest.mark.parametrize("count", [50, 51, 60])
def test_fifty_problems_of_a_return_are_listed(asked, count):
    lines = problems(asked({}, {}), [(0, row, f"odd {row}.") for row in range(count)])
    assert len(lines) == min(count, 50) + (count > 50)
    if count > 50:
        assert lines[-1] == (
            f"error: r0: ... and {count - 50} more of the kind. Mend those that are listed first."
        )


# plots -------------------------------------------------------------------------------------------


@pytest.fixture
def match():
    idents = ["1", "2", "1-2", "007b", "3/22", "A=1"]
    labels = ["4 Elm Road", "6 Elm Road", "6 Elm Road", "", "", ""]
    return plot_matcher(pd.DataFrame({"label": labels, "street": "Elm Road"}, index=idents))


@pytest.mark.parametrize("text", ["1", "1.0", "'1"])
def test_an_id_as_a_spreadsheet_may_write_it(match, text):
    assert match(text) == ("1", None)


def test_other_ways_to_name_a_plot(match):
    assert match("7B") == ("007b", None)
    for text, plot in (("01-Feb", "1-2"), ("Mar-22", "3/22"), ("4 elm road", "1")):
        found, problem = match(text)
        assert found == plot
        assert "was taken as plot" in problem.what
    for text, words in (("", "There is no plot in it"), ("6 Elm Road", "could be"),
                        ("99", "There is no plot '99' here")):  # fmt: skip
        found, problem = match(text)
        assert found is None
        assert words in problem.what
    assert {"2", "1-2"} <= set(match("6 Elm Road")[1].what.rstrip(".").split())


def test_near_spellings_are_looked_for_fifty_times():
    match = plot_matcher(pd.DataFrame({"label": ""}, index=["elmwood"]))
    hints = ["Did you mean" in match(f"elmwoof{k}")[1].what for k in range(60)]
    assert hints == [True] * 50 + [False] * 10


# dates -------------------------------------------------------------------------------------------


def doubts(asked, day, **about):
    """How the date of one row is doubted, and the year that it counts for."""
    one = asked(about)
    table = with_times(table_of([frame({"when": day})]), one)
    row = table.iloc[0]
    return row["dated"], row["year"], told(one)


@pytest.fixture
def slack(survey_knowledge):
    return int(survey_knowledge.setting("clock_slack_days"))


def around(day, slack):
    """The last day that is no doubt, before and after it, and those beyond."""
    one = timedelta(days=1)
    reach = timedelta(days=slack)
    return day - reach - one, day - reach, day + reach, day + reach + one


def test_tomorrow_is_doubted_from_the_slack_of_a_clock_on(asked, slack):
    _, _, last, beyond = around(TODAY, slack)
    assert doubts(asked, last.isoformat())[:2] == ("", last.year)
    assert doubts(asked, "2027-03-01")[:2] == ("in the future", 2026)
    assert doubts(asked, beyond.isoformat())[:2] == ("in the future", 2026)


def test_outside_the_round_on_either_side(asked, slack):
    began, saved = date(2025, 12, 30), date(2026, 1, 3)
    early, first, _, _ = around(began, slack)
    _, _, last, late = around(saved, slack)
    about = {"began": began.isoformat(), "saved": saved.isoformat()}
    assert doubts(asked, first.isoformat(), **about)[:2] == ("", first.year)
    assert doubts(asked, last.isoformat(), **about)[:2] == ("", last.year)
    for day in (early, late):
        assert doubts(asked, day.isoformat(), **about)[:2] == ("outside the round", 2026)
    assert doubts(asked, early.isoformat(), began=about["began"])[0] == ""
    assert doubts(asked, early.isoformat(), began=about["began"], saved="2027-01-01")[0] == ""


def test_before_the_sheet_was_made(asked, slack):
    early, first, _, _ = around(date(2026, 1, 2), slack)
    assert doubts(asked, first.isoformat(), made="2026-01-02")[0] == ""
    assert doubts(asked, early.isoformat(), made="2026-01-02")[:2] == (
        "before the sheet was made", 2026,
    )  # fmt: skip
    assert doubts(asked, early.isoformat(), made="2027-01-02")[0] == "", "made in the future"


def test_no_date_is_that_of_the_round_or_of_today(asked):
    assert doubts(asked, "", began="2025-05-02")[:2] == ("", 2025)
    assert doubts(asked, "", saved="2024-05-02")[:2] == ("", 2024)
    dated, year, lines = doubts(asked, "")
    assert (dated, year) == ("no date", 2026)
    assert "1 of its answers have no date: they were counted for 2026" in lines[0]
    dated, _, lines = doubts(asked, "some day")
    assert dated == "no date"
    assert any("'some day' is no date" in line for line in lines)


def test_times_sort_by_the_moment_wherever_they_were_written(asked):
    rows = ["2026-05-02T10:00:00+01:00", "2026-05-02T09:30:00Z", "2026-05-02T10:00:00-05:00"]
    table = with_times(table_of([frame(*({"when": text} for text in rows))]), asked({}))
    assert table["when"].tolist() == rows
    assert table["utc"].tolist() == [
        "2026-05-02T09:00:00.000000", "2026-05-02T09:30:00.000000", "2026-05-02T15:00:00.000000",
    ]  # fmt: skip


def test_the_order_of_day_and_month_holds_for_a_whole_return(asked):
    """In the first 13/5 tells that days come first, in the second 5/13 that months do."""
    one = asked({}, {}, {})
    table = with_times(
        table_of(
            [
                frame({"when": day}, {"when": "2/5/2026"})
                for day in ("13/5/2026", "5/13/2026", "2/2/26")
            ]
        ),
        one,
    )
    assert table["when"].tolist()[1::2] == ["2026-05-02", "2026-02-05", "2026-05-02"]
    (line,) = [line for line in told(one) if "two ways" in line]
    assert line.startswith("warning: r2: Its dates can be read in two ways")
