"""Hours of sun on the map page: what is carried, drawn and told; what is not known says so."""

import dataclasses
import json
import re

import numpy as np
import pandas as pd
import pytest
from worlds.axe_findings import violations
from worlds.page_texts import written

from patchnet.core.errors import WrongUse
from patchnet.pages.kit.encode import two_digit_codes
from patchnet.pages.map.map_page import map_page
from patchnet.sun.shade import SunHours

YEAR = range(1, 13)
SUN_DAY = (6.2, 8.6, 10.9, 13.0, 14.8, 15.4, 14.8, 13.0, 10.9, 8.6, 6.2, 5.1)
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def sun_on(plots):
    """Plot k of n gets k / n of the open sun; the first is not known, the seventh in doubt."""
    n = len(plots)
    share = np.arange(n) / n
    share[0] = np.nan
    hours = pd.DataFrame(np.outer(share, SUN_DAY), index=plots, columns=list(YEAR))
    uncounted = pd.Series(0, index=plots)
    uncounted.iloc[6] = 2
    least = hours.copy()
    least.iloc[6] = hours.iloc[6] / 2
    classes = pd.DataFrame(0.0, index=plots, columns=["full sun", "part shade", "shade"])
    return SunHours(
        hours, least, hours / 4, hours * 3 / 4, classes, pd.Series(SUN_DAY, index=list(YEAR)),
        uncounted, 6, 70.0, 51.5, 0.0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def sunny(make):
    made = make(24, groups=("mason_bee",))
    return map_page(made, sun=sun_on(made.neighbourhood.plots.index))


@pytest.fixture
def tab(sunny, open_page):
    opened = open_page(sunny)
    opened.page.select_option("#show", "sun")
    return opened.page


def payload_of(page):
    return json.loads(re.search(r'id="payload">(.*?)</script>', page, re.DOTALL)[1])


def test_what_the_page_carries(sunny):
    sun = payload_of(sunny)["sun"]
    assert len(sun["hours"]) == len(sun["morning"]) == len(sun["open"]) == 12
    share = np.arange(24) / 24
    share[0] = np.nan
    assert sun["hours"][5] == two_digit_codes(share * 15.4)
    assert sun["bounds"] == [1, 3, 6, 9]
    assert sun["midsummer"] == 6
    assert not sun["measured"]


def test_a_page_without_sun_offers_none(make, open_page):
    page = map_page(make(24, groups=("mason_bee",)))
    assert payload_of(page)["sun"] is None
    assert 'value="sun"' not in page
    opened = open_page(page)
    opened.page.locator("[data-plot]").first.click()
    assert "Sun and shade" not in opened.page.inner_text("#card")
    assert opened.complaints == []


def test_the_legend_names_the_classes_and_counts_them(tab):
    """Midsummer, 15.4 h in the open on 24 plots: k 15.4 / 24 = 0.64 k hours on plot k.

    Not known: plot 0. Up to 1 h: k = 1; to 3 h: 2-4; to 6 h: 5-9; to 9 h: 10-14; over: 15-23.
    """
    assert tab.inner_text("#map-title") == "Hours of direct sun a day at midsummer"
    lines = [
        one.replace("\n", " ").removeprefix("? ")
        for one in tab.locator("#legend-list li").all_inner_texts()
    ]
    expected = [
        ("Not known: no building near it has a height or storeys", 1),
        ("Shade: up to 1 h", 1),
        ("Shade: 1 to 3 h", 3),
        ("Part shade: 3 to 6 h", 5),
        ("Full sun: 6 to 9 h", 5),
        ("Full sun: over 9 h", 9),
    ]
    for words, count in expected:
        found = [line for line in lines if line.startswith(words)]
        assert len(found) == 1, (words, lines)
        assert re.search(rf"\b{count} plots?\b", found[0]), (words, found)
    assert any(line.startswith("Turns on buildings whose height") for line in lines)
    assert "Trees and hills are not counted." in tab.inner_text("#legend-note")


def test_months_can_be_chosen(tab):
    options = tab.locator("#month option").all_inner_texts()
    assert options[0] == "Midsummer"
    tab.select_option("#month", "12")
    assert tab.inner_text("#map-title") == "Hours of direct sun a day in December"
    assert "A place in the open has 5 hours" in tab.inner_text("#legend-note")
    assert "Full sun" not in tab.inner_text("#legend-list")
    tab.select_option("#show", "hungry")
    assert tab.locator("#month option").first.inner_text() == "Any month"


def test_the_table_holds_the_same_facts(tab):
    tab.fill("#find", "")
    written(tab)
    rows = tab.locator("#plots-body tr").all_inner_texts()
    assert len(rows) == 24
    cells = [re.split(r"\s*\t\s*", row) for row in rows]
    unknown = [row for row in cells if "Not known" in row]
    assert len(unknown) == 1
    # Plot 23: 14.8 h, of which a quarter, 3.7 h, in the first half, so 11 in the second.
    most = max(cells, key=lambda row: float(row[1]) if row[1][0].isdigit() else -1)
    assert most[1:] == ["15", "3.5", "11", "15\u201315"]


def test_the_card_tells_it(tab):
    def card(at):
        tab.evaluate(f"document.querySelector('[data-plot=\"{at}\"]').click()")
        tab.evaluate("document.getElementById('card-whole').open = true")
        return " ".join(tab.inner_text("#card").split())

    assert "Not known: no building near here has a height" in card(0)
    dim = card(1)  # 0.64 h, 0.16 of them early
    assert "0.5 hours of direct sun a day at midsummer" in dim
    assert "without a height" not in dim
    doubtful = card(6)  # 3.85 h, or half of it, 1.9 h
    assert "4 hours of direct sun a day at midsummer" in doubtful
    assert "without a height on the map: 2. If they are as high as most, it is 2 hours" in doubtful
    bright = card(20)  # 12.8 h, carried as 13, of which 3.2 early: 9.8 late
    assert "13 hours of direct sun a day at midsummer" in bright
    assert "full sun. 3 of them in the first half of the day, 10 in the second." in bright
    months = tab.locator("#card table[aria-label='Hours of sun month by month'] td")
    assert months.all_inner_texts()[:3] == ["5", "7", "9"]


@pytest.mark.parametrize("phone", [False, True])
def test_axe_finds_nothing(sunny, open_page, phone):
    opened = open_page(sunny, phone=phone)
    opened.page.select_option("#show", "sun")
    opened.page.evaluate("document.querySelector('[data-plot=\"20\"]').click()")
    assert violations(opened.page, tags=TAGS) == []
    assert opened.complaints == []
    assert opened.fetched == []
    assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_all_months_are_needed(make):
    made = make(24, groups=("mason_bee",))
    sun = sun_on(made.neighbourhood.plots.index)
    one = dataclasses.replace(sun, hours=sun.hours[[6]])
    with pytest.raises(WrongUse, match="all twelve months"):
        map_page(made, sun=one)


def test_two_thousand_plots_add_little(make):
    """Three figures of two letters a plot and month, and one of doubt: 74 letters a plot."""
    made = make(2000, groups=("mason_bee",), a_row=50, drawn=False)
    bare, sunny = map_page(made), map_page(made, sun=sun_on(made.neighbourhood.plots.index))
    assert len(sunny) - len(bare) < 160_000
