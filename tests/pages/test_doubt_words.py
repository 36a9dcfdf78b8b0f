"""How sure something is, as pages tell it: the map in a browser, a plot, a plan and its card."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from worlds.axe_findings import violations
from worlds.page_texts import written

from patchnet.assess import assess
from patchnet.assess.doubt import doubt_of, with_doubt
from patchnet.assess.draws import RUN
from patchnet.assess.plot import plot_answer
from patchnet.assess.spread import Spread
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.doubt_words import often_words, range_words, times_in_ten
from patchnet.pages.map.map_page import map_page
from patchnet.pages.map.payload import payload
from patchnet.pages.sheets.plan_card import plan_card
from patchnet.pages.terminal.plan_text import plan_text
from patchnet.pages.terminal.plot_text import plot_text
from patchnet.plan.plan_plot import plan_plot
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()


@pytest.fixture(scope="module")
def answer():
    """Three gardens, one of which nobody has seen."""
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2", "3", "4"],
            "kind": ["garden_back"] * 4,
            "features": ["lawn_short 90", "shrub 12; flower_border 20", "", "tree_small 1"],
            "seen": ["all", "all", "none", "all"],
        },
        geometry=[
            shapely.box(4e5 + 12 * at, 3e5, 4e5 + 12 * (at + 1), 3e5 + 20) for at in range(4)
        ],
        crs="EPSG:27700",
    )
    hood = build_neighbourhood(plots, knowledge=KNOW, name="Back Lane")
    return assess(hood, knowledge=KNOW, groups=["mason_bee", "wren", "moth"])


@pytest.fixture(scope="module")
def told(answer):
    return with_doubt(answer, doubt_of(answer, draws=RUN))


@given(st.floats(0, 1))
def test_counts_of_ten_are_near_the_share(share):
    words = times_in_ten(share)
    found = re.search(r"\d", words.replace("10", ""))
    if found:
        assert abs(int(found[0]) / 10 - share) <= 0.0501 or (share > 0.9 and found[0] == "9")
    else:
        assert words in ("nearly always", "hardly ever", "about once in 10")


def test_sure_is_what_the_table_says():
    sure = KNOW.setting("sure_in")
    assert sure == 0.95
    assert often_words(0.95, sure=sure).startswith("Sure")
    assert "sure" not in often_words(0.949, sure=sure).lower()


def test_a_range_in_words():
    assert range_words(Spread(2.0, 0.94, 3.42)) == "between 0.94 and 3.4, 9 times in 10"
    assert range_words(Spread(2.0, 2.0, 2.0)) == "2 each time"


def test_the_map_shows_means_and_ranges(told, open_page):
    """What the page says of the mason bee is what the draws say, and there is a bar for it."""
    opened = open_page(map_page(told))
    page = opened.page
    linked = told.groups["mason_bee"].drawn.linked
    page.select_option("#group", label="All animals together")
    written(page)
    words = page.inner_text("#street-words")
    assert f"worked out {RUN} times" in words
    row = page.locator("#street-words tr", has_text=told.groups["mason_bee"].group.name)
    mean = f"{float(f'{linked.mean():.2g}'):g}"
    assert row.locator("td").first.inner_text().split()[0] == mean
    assert row.locator("svg.range-bar").count() == 1
    bar = row.locator("svg.range-bar").bounding_box()
    assert bar["width"] > 20
    assert opened.complaints == []
    assert violations(page) == []


def test_the_bar_is_true_to_the_draws(told, open_page):
    page = open_page(map_page(told)).page
    page.select_option("#group", label="All animals together")
    written(page)
    linked = told.groups["mason_bee"].linked_told
    row = page.locator("#street-words tr", has_text=told.groups["mason_bee"].group.name)
    middle = row.locator("rect.middle")
    start, width = (float(middle.get_attribute(name)) for name in ("x", "width"))
    assert start == pytest.approx(100 * linked.low / linked.high, abs=1)
    assert start + width == pytest.approx(100)


def test_marks_tell_of_what_nobody_has_seen_whatever_is_drawn(answer, told):
    """A plot is marked where its homes turn on open answers, not where figures have ranges."""
    for one, other in zip(payload(answer)["groups"], payload(told)["groups"], strict=True):
        assert one["open"] == other["open"]
        assert [need["open"] for need in one["needs"]] == [need["open"] for need in other["needs"]]
    assert any(one["open"] for one in payload(answer)["groups"])


def test_without_draws_nothing_is_said_of_them(answer, open_page):
    page = open_page(map_page(answer)).page
    assert page.locator("svg.range-bar").count() == 0
    assert "worked out" not in page.inner_text("#street-words")


def test_a_plots_text_tells_means_and_ranges(told):
    at = plot_answer(told, "2")
    bee = next(one for one in at.groups if one.group == "mason_bee")
    held = told.groups["mason_bee"].drawn.homes[:, 1]
    assert bee.homes == pytest.approx(held.mean())
    assert (bee.homes_low, bee.homes_high) == pytest.approx(tuple(np.quantile(held, [0.05, 0.95])))
    assert f"worked this out {RUN} times" in " ".join(plot_text(at, KNOW).split())


@pytest.mark.parametrize("cautious", [False, True])
def test_a_plan_and_its_card_say_how_often_each_thing_is_among_the_best(answer, cautious):
    plan = plan_plot(answer, "1", month=5, draws=RUN, cautious=cautious)
    text = " ".join(plan_text(plan, KNOW).split())
    card = plan_card(plan, answer)
    sure = KNOW.setting("sure_in")
    for one in plan.best.additions:
        assert often_words(one.often, sure=sure) in text
        assert often_words(one.often, sure=sure) in card
    assert f"worked this out {RUN} times" in text
    assert f"worked this out {RUN} times" in " ".join(card.split())
    assert ("in the worse of these times" in text) == cautious
    assert "%" not in text  # a count of times is no mark


def test_caution_needs_draws(answer):
    with pytest.raises(WrongUse, match="draws"):
        plan_plot(answer, "1", month=5, cautious=True)
