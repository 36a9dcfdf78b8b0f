"""The map page for everyone: axe-core, keyboard, touch, small screens."""

from pathlib import Path

import pytest
from playwright.sync_api import expect
from worlds.axe_findings import violations
from worlds.page_texts import written

from patchnet.assess import assess
from patchnet.knowledge.regions import usual_groups
from patchnet.pages.map.map_page import map_page
from patchnet.read import read_neighbourhood

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_axe_finds_nothing(assessment_page, open_page, phone):
    opened = open_page(assessment_page, phone=phone)
    tab = opened.page
    assert violations(tab, targets=True) == []
    for box in ("network", "breaks"):
        tab.locator(f"#{box}").set_checked(True)
    tab.select_option("#show", "hungry")
    tab.click('[data-plot="0"]')
    tab.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    # What a box holds is drawn once the browser says that it is open.
    expect(tab.locator("#card details.sheet[open]:not(:has(.balance))")).to_have_count(0)
    assert violations(tab, targets=True) == []
    assert opened.complaints == []


def test_a_painted_map_passes_too(make, open_page):
    opened = open_page(map_page(make(620, groups=("mason_bee",), a_row=31)))
    assert violations(opened.page, targets=True) == []


def test_the_demo_passes_with_all_groups(knowledge, open_page):
    """The whole way: the invented neighbourhood's files, read, assessed and drawn."""
    hood = read_neighbourhood(DEMO, knowledge=knowledge)
    opened = open_page(map_page(assess(hood, knowledge=knowledge)), phone=True)
    tab = opened.page
    usual = usual_groups(knowledge)
    assert tab.locator("#group option").count() == 1 + len(usual)
    assert tab.locator("path[role=button]").count() == len(hood.plots)
    tab.select_option("#group", label="House sparrow")
    written(tab)
    tab.click('[data-plot="1"]')
    tab.evaluate("for (const one of document.querySelectorAll('#card details')) one.open = true")
    expect(tab.locator(".balance")).to_have_count(len(usual))
    assert violations(tab, targets=True) == []
    assert opened.complaints == []
    assert opened.fetched == []


def test_by_keyboard_alone(assessment_page, open_page):
    """From the skip link through the controls to the plots, by arrows to the next plot, into its
    card and back, and out of the map again."""
    opened = open_page(assessment_page, at="")
    tab = opened.page
    where = "document.activeElement.getAttribute('aria-label') || document.activeElement.id"
    stops = []
    for _ in range(8):
        tab.keyboard.press("Tab")
        stops.append(tab.evaluate(where))
    # Skip link, find your house, the map, its plots (one stop for all 48: no trap), the buttons.
    assert stops[1:3] == ["find-house", "find-go"]
    assert "Street 1 1 back" in stops[4]
    assert stops[5:] == ["Closer", "Farther", "West"]
    for _ in range(3):
        tab.keyboard.press("Shift+Tab")
    tab.keyboard.press("ArrowRight")
    assert "Street 1 2 back" in tab.evaluate(where)
    tab.keyboard.press("ArrowUp")
    assert "Street 1 14 front" in tab.evaluate(where)
    assert "Street 1 14 front" in tab.inner_text("#under")
    tab.keyboard.press("Enter")
    assert "Street 1 14 front" in tab.inner_text("#card-kicker")
    assert tab.evaluate("document.activeElement.id") == "card-title"
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.id") == "card-close"
    tab.keyboard.press("Enter")
    assert "Street 1 14 front" in tab.evaluate(where)
    assert opened.complaints == []


def test_focus_can_be_seen(assessment_page, open_page):
    opened = open_page(assessment_page)
    tab = opened.page
    tab.keyboard.press("Tab")
    tab.keyboard.press("Tab")
    style = "getComputedStyle(document.activeElement)"
    assert tab.evaluate(f"{style}.outlineStyle") == "solid"
    assert float(tab.evaluate(f"{style}.outlineWidth").removesuffix("px")) >= 2


def test_a_tap_on_a_phone_opens_the_card(assessment_page, open_page):
    opened = open_page(assessment_page, phone=True)
    tab = opened.page
    plot = tab.locator("path[role=button]").nth(14)
    box = plot.bounding_box()
    tab.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] * 0.2)
    assert "Street 1 15 front" in tab.inner_text("#card-kicker")
    assert tab.locator("#card").is_visible()
    assert tab.evaluate("document.documentElement.scrollWidth") == 360
    # The map stays in sight above the sheet, with the plot on it, however far one had scrolled.
    seen = tab.locator("#map_street").bounding_box()
    sheet = tab.locator("#card").bounding_box()
    assert seen["y"] == 0
    assert seen["height"] >= 0.4 * 740
    assert sheet["y"] + 1 >= 0.4 * 740
    where = tab.locator("path[role=button]").nth(14).bounding_box()
    assert where["y"] >= 0
    assert where["y"] + where["height"] <= sheet["y"]
    tab.tap("#card-close")
    assert not tab.locator("#card").is_visible()
    # One finger scrolls the page: the browser keeps the gesture.
    assert tab.evaluate("getComputedStyle(document.getElementById('map_street')).touchAction") == (
        "pan-x pan-y"
    )
    assert "One finger scrolls the page" in tab.inner_text("#map-how")
    tab.tap("#one-finger")
    assert tab.get_attribute("#one-finger", "aria-pressed") == "true"
    assert (
        tab.evaluate("getComputedStyle(document.getElementById('map_street')).touchAction")
        == "none"
    )
    for target in tab.locator("button:visible, select:visible, label:has(input):visible").all():
        if target.get_attribute("class") not in {"plot-name", "sort"}:
            assert target.bounding_box()["height"] >= 43.5
    assert opened.complaints == []


def test_nothing_is_cut_off_at_320_pixels(assessment_page, open_page):
    opened = open_page(assessment_page, phone=True)
    tab = opened.page
    tab.set_viewport_size({"width": 320, "height": 600})
    tab.click('[data-plot="3"]')
    assert tab.evaluate("document.documentElement.scrollWidth") <= 320


def test_buttons_move_the_map_without_dragging(assessment_page, open_page):
    opened = open_page(assessment_page)
    tab = opened.page
    view = "JSON.stringify([map_street.getCenter(), map_street.getZoom()])"
    whole = tab.evaluate(view)
    seen = {whole}
    for name in ("zoom-in", "go-left", "go-up", "zoom-out", "go-down", "go-right", "go-right"):
        tab.click(f"#{name}")
        seen.add(tab.evaluate(view))
    assert len(seen) == 8
    tab.click("#go-whole")
    assert tab.evaluate(view) in seen
