"""The map page as people find it: find one's house, its sheet, its address, the year."""

import dataclasses
import re
from functools import partial
from pathlib import Path

import pytest
from worlds.story_streets import answered, row_street

from patchnet.assess import assess
from patchnet.core import texts
from patchnet.pages.map.map_page import map_page
from patchnet.read import read_neighbourhood

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "data_demo"
GROUPS = ["bumblebee", "newt", "wren"]


def clean(words):
    return re.sub("[\u2068\u2069]", "", words)


@pytest.fixture(scope="module")
def bare(make):
    """24 plots; all there is is a pond on the first and one on the fourth."""
    return map_page(make(24, bare=True, groups=("mason_bee",)))


@pytest.fixture(scope="module")
def demo(knowledge):
    hood = read_neighbourhood(DEMO, knowledge=knowledge)
    return map_page(assess(hood, knowledge=knowledge, groups=GROUPS, straight=True))


def test_a_house_is_found_by_street_and_number(bare, open_page):
    opened = open_page(bare, at="")
    tab = opened.page
    tab.fill("#find-house", "nowhere 5")
    tab.press("#find-house", "Enter")
    assert "No house of that name" in tab.inner_text("#find-said")
    tab.fill("#find-house", "street 1")
    tab.click("#find-go")
    assert "24 fit" in tab.inner_text("#find-said")
    tab.fill("#find-house", "STREET 1, 4")
    tab.press("#find-house", "Enter")
    assert "Street 1 4 back" in clean(tab.inner_text("#card-kicker"))
    assert opened.complaints == []


def test_the_sheet_tells_what_is_near_and_how_far(bare, open_page):
    """Plot 2 lies beside plot 1, which has a pond; plot 8 is 18 m from plot 4's (three plots of
    6 m between them)."""
    opened = open_page(bare, at="#plot=p2")
    tab = opened.page
    assert tab.inner_text("#card-title") == "Near you already: a wildlife pond."
    assert clean(tab.inner_text(".sheet-lines")).split("\n") == [
        "Wildlife pond at Street 1 1 back", "next door",
    ]  # fmt: skip
    assert tab.locator("#map_street .given").count() == 1
    tab.keyboard.press("Escape")
    tab.evaluate("location.hash = 'plot=p8'")
    tab.wait_for_selector("#card:not([hidden])")
    assert clean(tab.inner_text(".sheet-lines")).split("\n") == [
        "Wildlife pond at Street 1 4 back", "18 m",
    ]  # fmt: skip
    assert opened.complaints == []


def test_a_dish_of_water_next_door_is_no_pond(open_page):
    """Twelve metres a garden: a drinker next door to plot 2, a tub pond two gardens on (12 m), a
    lawn that is cut often nowhere counted as help."""
    gardens = [
        "insect_drinker 1; lawn_short 60",
        "lawn_short 60",
        "lawn_short 60",
        "container_pond 1",
    ]
    labels = ["1 back", "2 back", "3 back", "4 back"]
    hood = row_street(gardens, streets=["Elm Road"] * 4, labels=labels)
    opened = open_page(map_page(answered(hood, ["frog"])), at="#plot=2")
    tab = opened.page
    assert clean(tab.inner_text(".sheet-lines")).split("\n") == [
        "Insect drinker at Elm Road 1 back", "next door",
        "Container pond at Elm Road 4 back", "12 m",
    ]  # fmt: skip
    assert "drinker" not in tab.inner_text("#card-title")
    tab.evaluate("location.hash = 'plot=1'")
    tab.wait_for_function("document.querySelector('#card-body').innerText.includes('24 m')")
    assert tab.inner_text("#card-title") != "Near you already: a drinker for insects."
    assert opened.complaints == []


def test_back_closes_the_sheet_and_the_address_leads_to_it(bare, open_page):
    opened = open_page(bare, at="")
    tab = opened.page
    tab.evaluate("document.querySelector('path[role=button]').dispatchEvent(new Event('click'))")
    tab.fill("#find-house", "p3")
    tab.press("#find-house", "Enter")
    assert tab.evaluate("location.hash") == "#plot=p3"
    tab.click(".share summary")
    assert tab.input_value("#share-link").endswith("#plot=p3")
    tab.go_back()
    assert not tab.locator("#card").is_visible()
    assert tab.evaluate("location.hash") == ""
    tab.go_forward()
    tab.wait_for_selector("#card:not([hidden])")
    assert "Street 1 3 back" in clean(tab.inner_text("#card-kicker"))
    tab.keyboard.press("Escape")
    assert not tab.locator("#card").is_visible()
    assert opened.complaints == []


def test_what_the_sheet_covers_takes_no_focus(bare, open_page):
    opened = open_page(bare, at="#plot=p3")
    tab = opened.page
    tab.keyboard.press("Tab")
    for _ in range(12):
        tab.keyboard.press("Tab")
        covered = tab.evaluate(
            "Boolean(document.activeElement.closest('.things, .rooms, #closer'))"
        )
        assert not covered


def test_a_sheet_has_at_most_three_hundred_words(demo, open_page):
    opened = open_page(demo, at="")
    tab = opened.page
    ponds, called = 0, []
    for plot in ("M15B", "W20B", "M09B", "P06", "K2", "B3", "W01B", "C1"):
        tab.evaluate(f"location.hash = 'plot={plot}'")
        tab.wait_for_selector("#card:not([hidden])")
        words = len(clean(tab.inner_text("#card")).split())
        assert words <= 300, (plot, words)
        assert "patchnet" not in tab.inner_text("#card")
        # What to do here comes before what nobody has, which is told as no wish.
        heads = tab.locator("#card h3").all_inner_texts()
        nobody = [at for at, one in enumerate(heads) if one.startswith("What nobody within")]
        best = [at for at, one in enumerate(heads) if one.startswith("A good first thing")]
        assert not (nobody and best) or best[0] < nobody[0]
        assert bool(nobody) == ("no list of wishes" in tab.inner_text("#card"))
        assert "Nobody near" not in tab.inner_text("#card-title")
        assert tab.locator("#map_street .chosen-number").count() == 1
        # Where a pond is asked for though there is one near, that is said, and not called enough.
        asked = [
            one for one in tab.locator("#card .best").all_text_contents() if "pond" in one[:40]
        ]
        near = "pond at" in " ".join(tab.locator(".sheet-lines").all_text_contents())
        assert all(("one more still helps" in one) == near for one in asked)
        title = tab.inner_text("#card-title")
        assert not asked or "pond" not in title.partition("already")[2]
        if title == "Make a wildlife pond, unless small children come.":
            assert "do children under six" in tab.inner_text("#card .best p.mind:not(.small-print)")
            called.append(plot)
        ponds += bool(asked) and near
        tab.keyboard.press("Escape")
    assert ponds
    assert "M15B" in called
    assert opened.complaints == []


def test_the_story_stands_on_the_first_screen(demo, open_page):
    """One sentence on what is wrong, a field for one's house, and the things with their numbers."""
    opened = open_page(demo, at="")
    tab = opened.page
    assert tab.inner_text("h1").endswith(".")
    things = tab.locator(".things li").count()
    assert 1 <= things <= 3
    assert tab.locator("#map_street .do-disc").count() == tab.locator(".disc:enabled").count()
    for selector in ("h1", "#find-house", ".things li:first-child"):
        box = tab.locator(selector).bounding_box()
        assert box["y"] + 20 < 860
    before = tab.evaluate("map_street.getZoom()")
    tab.locator(".disc:enabled").first.click()
    assert tab.evaluate("map_street.getZoom()") > before
    assert not tab.locator("#group").is_visible()  # what experts look at waits under 'Look closer'
    assert opened.complaints == []


def test_twelve_months_lead_to_the_map(demo, open_page):
    opened = open_page(demo, at="")
    tab = opened.page
    months = tab.locator("#year-maps button")
    tab.locator("#year").scroll_into_view_if_needed()
    tab.wait_for_selector("#year-words:not(:empty)")
    assert months.count() == 12
    assert "In no month" in tab.inner_text("#year-words") or "Worst in" in tab.inner_text(
        "#year-words"
    )
    months.nth(3).click()
    assert tab.input_value("#show") == "hungry"
    assert tab.input_value("#month") == "4"
    assert "April" in tab.text_content("#map-title")
    assert opened.complaints == []


@pytest.mark.parametrize("language", ["en", "de"])
def test_what_stands_below_the_year_does_not_move_when_it_is_drawn(open_page, request, language):
    """Else a click there, just as the twelve maps come, lands on something else."""
    request.addfinalizer(partial(texts.use_language, texts.language()))
    texts.use_language(language)
    answer = answered(row_street(["lawn_short 60; paving 40"] * 3), ["bumblebee", "wren"])
    opened = open_page(map_page(answer), phone=True, at="")
    tab = opened.page
    below = "document.getElementById('closer').getBoundingClientRect().top + window.scrollY"
    assert tab.inner_text("#year-words") == ""
    before = tab.evaluate(below)
    tab.locator("#year").scroll_into_view_if_needed()
    tab.wait_for_selector("#year-words:not(:empty)")
    assert tab.evaluate(below) == before
    assert opened.complaints == []


def test_a_file_name_never_becomes_a_title(make):
    made = make(24, groups=("mason_bee",))
    hood = dataclasses.replace(made.neighbourhood, name="final_v3_REALLY.gpkg")
    page = map_page(dataclasses.replace(made, neighbourhood=hood))
    assert "final_v3_REALLY" not in page
    assert "<title>Street 1</title>" in page


def test_dark_and_large_text_keep_the_map(demo, open_page):
    """In the dark the page is dark and the plan of the gardens stays as it is drawn; with text
    twice as large the map keeps some height, on a desk and on a phone."""
    opened = open_page(demo, at="")
    tab = opened.page
    tab.emulate_media(color_scheme="dark")
    page, plan = tab.evaluate(
        "[document.body, document.querySelector('.map-box')].map((one) =>"
        " getComputedStyle(one).backgroundColor)"
    )
    light = [sum(map(int, re.findall(r"\d+", colour)[:3])) for colour in (page, plan)]
    assert light[0] < 150
    assert light[1] > 600
    for width in (1400, 360):
        tab.set_viewport_size({"width": width, "height": 800})
        tab.evaluate("document.documentElement.style.fontSize = '200%'")
        assert tab.locator("#map_street").bounding_box()["height"] >= 140
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
