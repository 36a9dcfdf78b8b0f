"""The card in a real browser, network off: what is drawn where, moved by hand and put back.

The plot is x 0-10, y 0-20, the house along y = 20; on the paper a metre is the same number of
pixels both ways.
"""

import dataclasses
import re

import pytest
import shapely
from worlds.axe_findings import violations
from worlds.placed_garden import KNOW, candidate, street

from patchnet.assess import assess
from patchnet.pages.sheets.plan_card import plan_card
from patchnet.plan.facts import PlotFacts
from patchnet.plan.placing import places_for
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.plot_plan import Addition, Reason, Suggestion

pytestmark = pytest.mark.browser

THINGS = (("pond", 3.0), ("lawn_flowering", 20.0), ("bee_hotel", 1.0))


@pytest.fixture(scope="module")
def planned():
    """A plan whose three things are set by hand, so that the test knows them."""
    hood = street()
    answer = assess(hood, knowledge=KNOW, groups=["mason_bee"], straight=True)
    facts = PlotFacts(keep=("seat_evening",))
    things = [candidate(*one) for one in THINGS]
    additions = tuple(
        Addition(one, 1.0, 1.0, 1.0, (), (), reasons=(Reason("nobody", metres=100.0),))
        for one in things
    )
    places = places_for(hood, "1", things, facts=facts, knowledge=KNOW, has={"lawn_short": 90.0})
    plan = dataclasses.replace(
        Adviser(answer).plan("1", facts, month=5),
        best=Suggestion(additions, {}, 1.0, 1.0, (), ()),
        places=places,
    )
    return plan, answer


@pytest.fixture(scope="module")
def card(planned):
    return plan_card(*planned)


def metre(page):
    """Pixels of a metre of ground on the screen."""
    scale = int(re.search(r"1:(\d+) when printed", page.inner_text("figcaption")).group(1))
    return page.locator("#drawing svg").bounding_box()["width"] / 84 * 1000 / scale


def middle(hand):
    box = hand.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_numbers_are_drawn_where_the_things_go(card, planned, open_page):
    page = open_page(card).page
    plan, __ = planned
    hands = [page.locator(".hand").nth(at) for at in range(3)]
    (x0, y0), (x1, y1) = middle(hands[0]), middle(hands[1])
    pond, lawn, __ = (one.geometry.centroid for one in plan.places.placed)
    assert (x1 - x0) / metre(page) == pytest.approx(lawn.x - pond.x, abs=0.1)
    assert (y0 - y1) / metre(page) == pytest.approx(lawn.y - pond.y, abs=0.1)
    numbers = page.locator(".placed text").all_text_contents()
    assert numbers == ["A", "1", "2", "3"]
    assert page.locator(".placed path.new").count() == 2  # a box on a wall is no more than a number


def test_numbers_of_the_jobs_are_those_on_the_drawing(card, planned):
    plan, __ = planned
    svg = card[card.index('class="gardens"') :]
    svg = svg[: svg.index("</svg>")]
    drawn = re.findall(r'data-thing="\d+">.*?<text class="number"[^>]*>(\d)</text>', svg)
    things = [one.candidate.feature for one in plan.best.additions]
    assert drawn == [str(things.index(one.thing) + 1) for one in plan.places.placed]
    assert len(drawn) == len(THINGS)


def test_arrow_keys_move_a_thing_and_its_sentence_follows(card, planned, open_page):
    opened = open_page(card)
    page, (plan, __) = opened.page, planned
    shape = shapely.affinity.translate(plan.places.placed[0].geometry, -400_000, -300_000)
    words, hand = page.locator('[data-where="0"]'), page.locator(".hand").nth(0)
    first = words.inner_text()
    assert first.startswith(("In the", "On the"))
    hand.focus()
    # A metre, which is two steps, to a side that is free.
    taken = [
        shapely.affinity.translate(one, -400_000, -300_000)
        for one in (
            plan.places.placed[1].geometry, plan.places.kept[0].geometry, plan.places.way,
        )
    ]  # fmt: skip
    free = shapely.box(0, 0, 10, 20) - shapely.union_all(taken)
    steps = {"ArrowUp": (0, 1), "ArrowDown": (0, -1), "ArrowLeft": (-1, 0), "ArrowRight": (1, 0)}
    key, there = next(
        (key, shapely.affinity.translate(shape, *way))
        for key, way in steps.items()
        if free.contains(shapely.affinity.translate(shape, *way))
    )
    hand.press(key)
    hand.press(key)
    away = f"{round(20 - there.bounds[3], 1):g} m from the house"
    assert page.inner_text("#say") == f"Wildlife pond, no fish. {words.inner_text()}"
    assert away in words.inner_text()
    for __ in range(60):
        hand.press("ArrowDown")
    assert words.inner_text() == "Not here: that is not on the plot."
    page.get_by_role("button", name="Put back: Wildlife pond, no fish").click()
    assert words.inner_text() == first
    assert "is back" in page.inner_text("#say")
    assert page.locator(".back:visible").count() == 0
    assert opened.fetched == []
    assert opened.complaints == []


def test_what_is_in_the_way_is_said(card, open_page):
    page = open_page(card).page
    words, hand = page.locator('[data-where="1"]'), page.locator(".hand").nth(1)
    hand.focus()
    seen = set()
    for __ in range(44):
        hand.press("ArrowUp")
        seen.add(words.inner_text())
    assert "Not here: this is the way to the door." in seen
    assert "Not here: that is not on the plot." in seen
    page.get_by_role("button", name="Put back: Flowering lawn").click()
    first = page.locator(".hand").nth(0)
    x, y = middle(first)
    to_x, to_y = middle(hand)
    first.focus()
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(to_x, to_y, steps=5)
    page.mouse.up()
    assert (
        page.locator('[data-where="0"]').inner_text() == "Not here: something else is in the way."
    )
    assert page.locator(".placed.ill").count() >= 1


def test_a_box_stays_on_the_walls(card, planned, open_page):
    page = open_page(card, phone=True).page
    hand, words = page.locator(".hand").nth(2), page.locator('[data-where="2"]')
    assert "south-facing house wall" in words.inner_text()
    hand.focus()
    before = middle(hand)
    hand.press("ArrowDown")  # no wall there
    assert middle(hand) == pytest.approx(before)
    hand.press("ArrowLeft")
    hand.press("ArrowLeft")
    after = middle(hand)
    assert after[1] == pytest.approx(before[1], abs=1)
    assert re.search(
        r"^Where you put it: on the south-facing house wall, about \d+ hours of sun in May\.$",
        words.inner_text(),
    ) or after == pytest.approx(before)


def test_fingers_have_room_and_the_phone_does_not_scroll_sideways(card, open_page):
    page = open_page(card, phone=True).page
    for hand in page.locator(".hand").all():
        box = hand.bounding_box()
        assert (box["width"], box["height"]) == (44, 44)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.locator(".hand").nth(0).focus()
    page.keyboard.press("ArrowDown")
    back = page.locator(".back:visible").bounding_box()
    assert back["height"] >= 44
    assert violations(page) == []


def test_what_is_shown_is_printed(card, open_page):
    page = open_page(card).page
    hand = page.locator(".hand").nth(0)
    hand.focus()
    hand.press("ArrowDown")
    moved = page.locator('[data-thing="0"]').get_attribute("transform")
    page.emulate_media(media="print")
    assert page.locator(".hand:visible, .back:visible").count() == 0
    assert re.fullmatch(r"translate\(-?0\.00 [1-9]\.\d\d\)", moved)
    assert page.locator('[data-thing="0"]').get_attribute("transform") == moved
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2


def test_without_places_there_is_no_script(planned):
    plan, answer = planned
    assert "<script" not in plan_card(dataclasses.replace(plan, places=None), answer)
