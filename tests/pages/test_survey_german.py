"""A German phone page, tapped and handed over, says what an English one says."""

import dataclasses
import json
from datetime import date

import pytest

from patchnet.core import texts
from patchnet.knowledge import load_knowledge
from patchnet.pages.survey import SurveyRound, survey_phone_page
from patchnet.read import read_neighbourhood
from patchnet.survey.merge import merge_returns

pytestmark = pytest.mark.browser


@pytest.fixture
def german_page(survey_file, tmp_path):
    before = texts.language()
    texts.use_language("de")
    try:
        know = load_knowledge()
        survey = SurveyRound(read_neighbourhood(survey_file, knowledge=know), know)
        html = survey_phone_page(dataclasses.replace(survey, keep_until="2028-12-31"))
    finally:
        texts.use_language(before)
    path = tmp_path / "phone.html"
    path.write_text(html, encoding="utf-8")
    return path


def test_a_german_page_is_handed_over_in_words_of_no_language(
    browser, german_page, survey_file, survey_street, tmp_path
):
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, offline=True,
        accept_downloads=True,
    )  # fmt: skip
    page = context.new_page()
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(german_page.as_uri())
    page.wait_for_selector("html.drawn")
    assert page.locator("html").get_attribute("lang") == "de"
    assert "31. Dezember 2028" in page.locator("body").text_content()
    page.fill("#who", "Ines")
    page.tap("#go")
    pond, lawn = (page.locator(f"li.question:has(#q-{key})") for key in ("pond", "lawn_short"))
    pond.locator("[data-answer='there']").tap()
    amount = pond.locator("input[inputmode=decimal]")
    amount.fill("2,5")
    amount.blur()
    assert amount.input_value() == "2,5"
    assert "2,5 m²" in page.inner_text("#say")
    page.tap("#more-words")
    lawn.locator("[data-answer='cannot see']").tap()
    page.locator("#household-part summary").tap()
    page.tap("#consent-yes")
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    # No button of the row at the foot is cut off, however long its word.
    for button in page.locator(".dock-row button").all():
        box = button.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 360
        assert button.evaluate("one => one.scrollWidth <= one.clientWidth")
    page.evaluate("document.getElementById('to-over').click()")
    with page.expect_download() as waiting:
        page.tap("#save")
    path = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(path)
    context.close()
    assert complaints == []
    said = {one["feature"]: one for one in json.loads(path.read_text("utf-8"))["statements"]}
    assert (said["pond"]["answer"], said["pond"]["amount"]) == ("there", 2.5)
    merged = merge_returns(
        survey_file,
        [path],
        knowledge=survey_street.knowledge,
        today=date.today(),  # noqa: DTZ011
    )
    assert merged.faults == ()
    table = merged.records.statements.set_index("feature")
    assert table["answer"].to_dict() == {"pond": "there", "lawn_short": "cannot see"}
    assert set(table["seen_from"]) == {"street"}
    assert dict(merged.consent) == {"1": "yes"}
