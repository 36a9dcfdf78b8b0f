"""The paper sheets: whole leaves, true to scale, every plot and feature with its boxes."""

import dataclasses
import html
import re

import pytest
import shapely

from patchnet.pages.survey import survey_sheets
from patchnet.pages.survey.stretch_map import draw_stretch

pytestmark = pytest.mark.browser

DOWN = "() => [...document.querySelectorAll('.page')].map((p) => p.scrollHeight - p.clientHeight)"


@pytest.fixture(scope="module")
def sheets(survey_street):
    return survey_sheets(survey_street)


def shown(browser, html, tmp_path):
    path = tmp_path / "sheets.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_context(offline=True).new_page()
    page.goto(path.as_uri())
    return page


def pages_of(pdf):
    """Count the pages of a PDF by its page objects."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def test_every_plot_has_its_boxes(sheets, survey_street):
    """Three boxes for each of the features that can be seen from the street on each of the eight
    plots, and three for every feature on the household's leaf."""
    questions = survey_street.knowledge.survey_questions.values()
    from_street = sum(one.from_street for one in questions)
    assert sheets.count('<td class="box">') == 3 * (8 * from_street + len(questions))


def test_prints_on_whole_leaves_and_nothing_is_cut_off(browser, sheets, tmp_path):
    """Map, rules, two pages of boxes (8 plots, 4 across), and the household's leaf: six pages."""
    page = shown(browser, sheets, tmp_path)
    page.emulate_media(media="print")
    assert max(page.evaluate(DOWN)) <= 1
    wide = "() => [...document.querySelectorAll('.page')].map((p) => p.scrollWidth - p.clientWidth)"
    assert max(page.evaluate(wide)) <= 1
    assert pages_of(page.pdf(prefer_css_page_size=True)) == sheets.count('class="page"') == 6
    page.context.close()


def test_long_labels_and_a_full_stretch_still_fit(browser, survey_street, tmp_path):
    hood = survey_street.neighbourhood
    plots = hood.plots.assign(label=["The Old Post Office, 12 Upper Alder Row East " * 3] * 8)
    long = dataclasses.replace(
        survey_street,
        neighbourhood=dataclasses.replace(hood, plots=plots, credits=("Someone's map " * 20,)),
        contact="A group with a long name, " * 6,
    )
    page = shown(browser, survey_sheets(long), tmp_path)
    page.emulate_media(media="print")
    assert max(page.evaluate(DOWN)) <= 1
    page.context.close()


def test_the_map_is_true_to_its_scale(survey_street):
    """A plot of 6 x 20 m at 1 to s is 6000/s x 20000/s mm; the bar's half is as long as it says."""
    drawing = draw_stretch(survey_street, survey_street.stretches[0])
    size = re.search(r'width="([\d.]+)mm" height="([\d.]+)mm" viewBox="0 0 ([\d.]+) ', drawing.svg)
    assert size[1] == size[3]  # one unit of the drawing is one millimetre
    outlines = re.findall(r'<path class="plot" d="([^"]+)"', drawing.svg)
    assert len(outlines) == 8
    for outline in outlines:
        points = [tuple(map(float, pair)) for pair in re.findall(r"([\d.]+) ([\d.]+)", outline)]
        west, north, east, south = shapely.MultiPoint(points).bounds
        assert east - west == pytest.approx(6000 / drawing.scale, abs=0.02)
        assert south - north == pytest.approx(20000 / drawing.scale, abs=0.02)
    bar = float(re.search(r'class="bar full"[^>]* width="([\d.]+)"', drawing.svg)[1])
    metres = float(re.search(r"Bar of ([\d.]+) m", drawing.svg)[1])
    assert 2 * bar == pytest.approx(metres * 1000 / drawing.scale, abs=0.02)


def test_numbers_do_not_cover_each_other(survey_street):
    """Each number's box, by its own font size, is free of the others."""
    drawing = draw_stretch(survey_street, survey_street.stretches[0])
    written = re.findall(
        r'<text class="number" x="([\d.]+)" y="([\d.]+)">([^<]+)</text>', drawing.svg
    )
    assert sorted(name for _, _, name in written) == list("12345678")
    boxes = [
        shapely.box(float(x) - 1.1, float(y) - 1.8, float(x) + 1.1, float(y) + 1.8)
        for x, y, _ in written
    ]
    assert not any(one.intersects(other) for at, one in enumerate(boxes) for other in boxes[:at])


def test_rules_and_notice_stand_on_the_back(sheets, survey_street):
    rules = survey_street.knowledge.survey_rules.values()
    for rule in rules:
        assert rule.words in html.unescape(sheets)
    assert "INDG73" in sheets
    assert '<span class="blank"></span>' in sheets
    told = dataclasses.replace(
        survey_street, contact="Wickthorn Wildlife", keep_until="31 December 2028"
    )
    page = survey_sheets(told)
    assert "Wickthorn Wildlife" in page
    assert "31 December 2028" in page
    assert '<span class="blank"></span>' not in page


def test_text_of_the_file_is_text(browser, survey_street, tmp_path):
    payload = "<script>window.hit = 1</script><img src=x onerror='window.hit = 2'>"
    hood = survey_street.neighbourhood
    plots = hood.plots.rename(index={"1": payload}).assign(label=payload, kind=payload)
    laced = dataclasses.replace(
        survey_street,
        title=payload,
        contact=payload,
        neighbourhood=dataclasses.replace(
            hood, plots=plots, credits=(payload,), roads=hood.roads.assign(name=payload)
        ),
    )
    page = shown(browser, survey_sheets(laced), tmp_path)
    assert page.evaluate("window.hit") is None
    assert page.locator("script, img").count() == 0
    assert payload in page.inner_text("h1")
    page.context.close()


def test_same_survey_same_page(sheets, survey_street):
    assert survey_sheets(survey_street) == sheets
