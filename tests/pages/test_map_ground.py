"""Groups that walk, in a real browser: ground, corridors, pinch points, gaps to make."""

import io
import re

import numpy as np
import pytest
from PIL import Image
from worlds.axe_findings import violations
from worlds.page_texts import written

from patchnet.pages.kit import colours

pytestmark = pytest.mark.browser

TOGGLES = ("cover", "corridors", "pinch", "gaps")


def quiet(opened) -> None:
    assert opened.fetched == []
    assert opened.complaints == []


@pytest.fixture
def newt(walked_page, open_page):
    opened = open_page(walked_page)
    opened.page.select_option("#group", label="Smooth newt")
    written(opened.page)
    return opened


def legend(tab) -> str:
    return tab.inner_text("#legend-list")


def test_toggles_are_there_for_groups_that_walk_alone(newt):
    tab = newt.page
    for group, shown in (("Smooth newt", True), ("Red mason bee", False), (None, False)):
        tab.select_option("#group", **({"label": group} if group else {"value": "-1"}))
        for name in TOGGLES:
            assert tab.locator(f"#{name}").is_visible() is shown
        assert tab.locator("#ground-also").is_visible() is shown
    quiet(newt)


def test_the_ground_is_drawn_and_told(newt, walked):
    """The picture stands in for the shading: each plot's class in colour, name, table, legend."""
    tab = newt.page
    tab.set_checked("#barriers", False)
    tab.set_checked("#labels", False)
    houses = tab.locator("path[fill='#d9d3cb']").count()
    tab.set_checked("#cover", True)
    picture = tab.locator("#map_street img.ground-picture")
    assert picture.count() == 1
    assert "Smooth newt: picture of how hard the ground is" in picture.get_attribute("alt")
    assert "how hard the ground is" in tab.inner_text("#map-title")
    assert tab.locator("path[fill='#d9d3cb']").count() < houses
    shot = np.array(Image.open(io.BytesIO(tab.screenshot())).convert("RGB"))
    words = {"Easy": 0, "Slower": 1, "Hard": 2, "Closed": 3}
    near = seen = 0
    for plot in tab.locator("path[role=button]").all():
        box = plot.bounding_box()
        if box["width"] * box["height"] < 400:
            continue
        name = plot.get_attribute("aria-label")
        tint = colours.COVER[next(at for word, at in words.items() if word.lower() in name)]
        wanted = tuple(int(tint.base[at : at + 2], 16) for at in (1, 3, 5))
        left, top = int(box["x"]), int(box["y"])
        inside = shot[top : top + int(box["height"]), left : left + int(box["width"])]
        alike = (inside == wanted).all(axis=2)
        seen += 1
        near += alike.mean() > 1 / 6
    assert seen > 20
    assert near > 0.8 * seen
    counts = [int(one) for one in re.findall(r"(\d+) plots?$", legend(tab), re.MULTILINE)]
    assert sum(counts) == len(walked.neighbourhood.plots)
    written(tab)
    assert tab.locator("#plots-body td").first.inner_text() in {"Easy", "Slower", "Hard", "Closed"}
    tab.set_checked("#cover", False)
    assert picture.count() == 0
    assert tab.locator("path[fill='#d9d3cb']").count() == houses
    quiet(newt)


def test_corridors_pinch_points_and_gaps_draw(newt):
    tab = newt.page
    lines = tab.locator("#map_street path").count()
    tab.set_checked("#corridors", True)
    # Three corridors, each a band, a rim of paper and a line.
    assert tab.locator("#map_street path").count() == lines + 9
    assert "ways hardly harder" in legend(tab)
    tab.set_checked("#pinch", True)
    (picture,) = tab.locator("#map_street img.ground-picture").all()
    assert "squeezed" in picture.get_attribute("alt")
    assert "keep it open" in legend(tab)
    tab.set_checked("#gaps", True)
    assert tab.locator("#map_street .make-gap").all_inner_texts() == list("ABCDEF")
    assert "ask the owner" in legend(tab)
    tab.set_checked("#network", True)
    assert "as the animal would walk" in legend(tab)
    for name in TOGGLES:
        tab.set_checked(f"#{name}", False)
    assert tab.locator("#map_street .make-gap, #map_street img").count() == 0
    quiet(newt)


def test_the_gap_list_says_what_where_and_ask_first(newt):
    tab = newt.page
    words = re.sub("[\u2066-\u2069]", "", tab.inner_text("#street-words"))
    assert "A shared fence needs its owner's consent: ask first." in words
    assert "A gap is 13 by 13 cm" in words
    items = tab.locator(".gap-list li")
    assert items.count() == 6
    for item in items.all_inner_texts():
        assert re.search(r"between .+ and .+: gap now (none|not known); wins \S+ linked", item)
        assert re.search(r"as hard as \S+ m over good ground", item)
    tab.click(".gap-list li:nth-child(2) button")
    assert tab.is_checked("#gaps")
    assert "Gap B, between" in tab.inner_text("#under")
    quiet(newt)


def test_the_card_says_how_a_walker_gets_about(newt):
    newt.page.click('[data-plot="3"]')
    newt.page.click("#card-whole > summary")
    words = newt.page.inner_text("#card-body")
    assert "cannot get to over the ground, round houses and walls" in words


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_axe_finds_nothing_with_everything_on(walked_page, open_page, phone):
    opened = open_page(walked_page, phone=phone)
    tab = opened.page
    tab.select_option("#group", label="Smooth newt")
    for name in ("network", "breaks", *TOGGLES):
        tab.set_checked(f"#{name}", True)
    tab.click('[data-plot="3"]')
    assert violations(opened.page, targets=True) == []
    assert tab.evaluate("document.documentElement.scrollWidth") == (360 if phone else 1280)
    quiet(opened)


def test_a_page_for_the_public_shows_no_gap(walked_public, open_page):
    opened = open_page(walked_public)
    tab = opened.page
    tab.select_option("#group", label="Smooth newt")
    for name in ("network", "breaks"):
        tab.set_checked(f"#{name}", True)
    for name in ("cover", "corridors", "pinch", "gaps"):
        assert not tab.locator(f"#{name}").is_visible()
    assert tab.locator("#map_street .gap, #map_street .make-gap, .gap-list").count() == 0
    assert "Has a gap" not in legend(tab)
    assert tab.locator("#map_street .barrier").count() == 0
    places = [int(one.get_attribute("data-plot")) for one in tab.locator("[data-plot]").all()]
    tab.click(f'[data-plot="{max(places)}"]')  # units come after public land
    assert "shown together" in tab.inner_text("#card-head, #card")
    assert violations(opened.page, targets=True) == []
    quiet(opened)


def test_paper_carries_the_ground(newt):
    tab = newt.page
    for name in TOGGLES:
        tab.set_checked(f"#{name}", True)
    pdf = tab.pdf(format="A4", print_background=True)
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Subtype /Image") >= 2
    assert tab.locator("#map_street img.ground-picture").count() == 2
    quiet(newt)
