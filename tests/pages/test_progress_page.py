"""The progress page: its numbers on paper, who sees what of it, and in a browser."""

import re
from datetime import UTC, date, datetime

import pytest
from worlds.axe_findings import violations

from patchnet.core.errors import WrongUse
from patchnet.pages.privacy import public_features
from patchnet.pages.public_table import released_table
from patchnet.pages.sheets.progress_page import progress_page
from patchnet.pages.survey.progress import survey_progress
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import record_consent
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.survey_layers import read_records


@pytest.fixture
def come(surveyed, survey_knowledge):
    """Ann on plots 1 to 4, all that is asked from the street on plot 1; Bob on plot 2."""
    street = [key for key, q in survey_knowledge.survey_questions.items() if q.from_street]
    said = [("1", key, "there" if at % 2 else "not there") for at, key in enumerate(street)]
    said += [(plot, "pond", "there") for plot in "234"] + [("4", "shrub", "cannot see")]
    surveyed.hand_in("ann", said)
    surveyed.hand_in("bob", [("2", "pond", "not there"), ("2", "shrub", "there")], who="Bob")
    surveyed.hand_in("old", [("9", "pond", "there")], day="2025-05-02", who="<b>Bob</b>")
    found = merge_returns(
        surveyed.path, surveyed.files, knowledge=survey_knowledge, today=date(2026, 6, 1)
    )
    path = write_merged(found, surveyed.path)
    hood = read_neighbourhood(path, knowledge=survey_knowledge)

    def made(audience="own"):
        return survey_progress(
            hood, read_records(path), knowledge=survey_knowledge, audience=audience
        )

    return made


def test_numbers_on_paper(come, survey_knowledge):
    """16 plots, 5 looked at (1 to 4, and 9 the year before). Of S questions asked from the
    street all are answered on plot 1, one each on 2 (shrub; the pond is disputed), 3, 4 and 9:
    (S + 4) / 16 S in all."""
    found = come()
    street = sum(q.from_street for q in survey_knowledge.survey_questions.values())
    plots = found.plots
    assert plots["looked_at"].sum() == 5
    assert plots.loc["1", "street_share"] == 1
    for plot in ("2", "3", "4", "9"):
        assert plots.loc[plot, "street_share"] == pytest.approx(1 / street)
    assert plots.loc["5", "street_share"] == 0
    assert plots.loc[["2", "3"], "people"].tolist() == [2, 1]
    assert found.disputes.values.tolist() == [["2", "pond", 2026]]
    assert found.twice == (1, 5)
    assert found.year == 2026
    weight = found.stretches["plots"]
    whole = (found.stretches["street_share"] * weight).sum() / weight.sum()
    assert whole == pytest.approx((street + 4) / (16 * street))
    assert set(found.stretches["side"]) == {"north side", "south side"}


def test_where_to_go_next(come, survey_knowledge):
    page = progress_page(come(), knowledge=survey_knowledge)
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page[page.index("Where to go next") :]))
    assert "5 of 16" in page
    assert "7 of 8 plots not looked at (" in text
    assert "4 of 8 plots not looked at (" in text
    # Of S = 32 questions on 8 plots each: north of the road 1, south of it 32 + 3.
    thin = re.findall(r"Alder Row, (\w+) side: ([^%(]+) % of what is asked from the street", text)
    assert thin == [("north", "under 1"), ("south", "14")]
    assert "people differ and it counts as not known: 2 wildlife pond" in text
    assert "Not looked at again in 2026: 9." in text
    assert "&lt;b&gt;" not in page
    assert "Bob" not in page


def test_the_same_bytes_each_time(come, survey_knowledge):
    made = [progress_page(come(), knowledge=survey_knowledge) for _ in range(2)]
    assert made[0] == made[1]


def test_the_public_sees_units_alone(surveyed, survey_knowledge):
    """12 of 16 gardens were looked at, three quarters: many; of one feature it is told."""
    surveyed.hand_in("ann", [(str(at), "pond", "there") for at in range(1, 13)])
    path = write_merged(
        merge_returns(
            surveyed.path, surveyed.files, knowledge=survey_knowledge, today=date(2026, 6, 1)
        ),
        surveyed.path,
    )
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    table = released_table(
        path, hood, public_features(survey_knowledge), knowledge=survey_knowledge,
        today=date(2026, 6, 1),
    )  # fmt: skip
    found = survey_progress(
        hood, read_records(path), knowledge=survey_knowledge, audience="public", released=table
    )
    assert len(found.plots) == 0
    assert found.stretches["taking_part"].tolist() == ["many"]
    assert found.stretches["told"].tolist() == [1]
    page = progress_page(found, knowledge=survey_knowledge)
    assert "<svg" not in page
    assert "CANARY" not in page
    assert "contradict" not in page  # what people differ on is not the public's to know
    assert "pond" not in page
    assert "Left out: Addresses and labels" in page


def test_too_few_for_the_public(come):
    with pytest.raises(WrongUse, match="remembers what was handed out"):
        come("public")


def test_the_group_sees_nothing_of_who_refused(come, survey_knowledge, surveyed):
    now = datetime(2026, 5, 20, tzinfo=UTC)
    record_consent(surveyed.path, "2", "no", surveyed.path, knowledge=survey_knowledge, now=now)
    hood = read_neighbourhood(surveyed.path, knowledge=survey_knowledge)
    found = survey_progress(
        hood, read_records(surveyed.path), knowledge=survey_knowledge, audience="group"
    )
    assert len(found.disputes) == 0
    assert found.plots.loc["2", "street_share"] == 0
    assert "said no" in progress_page(found, knowledge=survey_knowledge)


def test_without_any_survey(surveyed, survey_knowledge):
    hood = read_neighbourhood(surveyed.path, knowledge=survey_knowledge)
    found = survey_progress(hood, read_records(surveyed.path), knowledge=survey_knowledge)
    page = progress_page(found, knowledge=survey_knowledge)
    assert "0 of 16" in page
    assert found.wanted_twice == ()


@pytest.mark.browser
def test_in_a_browser(come, survey_knowledge, browser, tmp_path):
    """Without network or script, at 360 px and on a desk; axe finds nothing; it prints."""
    page = progress_page(come(), knowledge=survey_knowledge, title="Alder Row")
    path = tmp_path / "progress.html"
    path.write_text(page, encoding="utf-8")
    for wide in (360, 1280):
        context = browser.new_context(viewport={"width": wide, "height": 740}, offline=True)
        tab = context.new_page()
        asked = []
        tab.on("request", lambda request, asked=asked: asked.append(request.url))
        tab.goto(path.as_uri())
        assert asked == [path.as_uri()]
        assert tab.evaluate("document.documentElement.scrollWidth") == wide
        assert violations(tab) == []
        assert tab.locator("svg .plot.whole").count() >= 1
        assert tab.locator("tbody tr").count() >= 2
        if wide == 1280:
            assert tab.pdf(format="A4").startswith(b"%PDF")
        context.close()
