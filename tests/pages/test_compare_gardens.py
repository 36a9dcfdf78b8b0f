"""The page of a comparison draws the gardens that changed, before and after."""

import re

import geopandas as gpd
import pytest
import shapely
from worlds.axe_findings import violations

from patchnet.assess import assess
from patchnet.assess.compare import compare
from patchnet.knowledge import load_knowledge
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()


def state(first):
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2", "3"],
            "kind": ["garden_back"] * 3,
            "label": ["1", "<b>2</b>", "3"],
            "features": [first, "shrub 12; pond 4", "flower_border 9"],
            "seen": ["all"] * 3,
        },
        geometry=[
            shapely.box(400_000 + 60 * at, 300_000, 400_012 + 60 * at, 300_020) for at in range(3)
        ],
        crs="EPSG:27700",
    )
    hood = build_neighbourhood(plots, knowledge=KNOW, name="row")
    return assess(hood, knowledge=KNOW, groups=["mason_bee"], straight=True)


@pytest.fixture(scope="module")
def page():
    """On plot 1 paving gives way to flowers; the others, 60 m away, stay as they are."""
    return compare_page(compare(state("paving 100"), state("paving 60; flower_border 40")))


def drawings(page):
    return re.findall(r'<svg[^>]*class="gardens".*?</svg>', page, re.DOTALL)


def test_both_states_of_what_changed_are_drawn(page):
    before, after = drawings(page)
    flowers, paving = 'fill="url(#ground-flowers)"', 'fill="url(#ground-paving)"'
    assert (paving in before, flowers in before) == (True, False)
    assert (paving in after, flowers in after) == (True, True)
    for one in (before, after):
        assert one.count('class="chosen"') == 1
        assert 'fill="url(#ground-bushes)"' not in one  # plot 2 lies outside the drawing
    assert len(re.findall(r'id="ground-flowers"', page)) == 1
    legend = page[page.index('class="garden-legend"') :].split("</ul>")[0]
    assert re.findall(r"</svg>([^<]+)</li>", legend) == ["Flowers", "Paving", "Other ground"]
    assert "<b>2" not in page


def test_where_nothing_changed_nothing_is_drawn():
    now = state("paving 100")
    assert drawings(compare_page(compare(now, now))) == []


@pytest.mark.browser
def test_everybody_can_read_it_on_a_phone_too(page, browser, tmp_path):
    path = tmp_path / "change.html"
    path.write_text(page, encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    tab = context.new_page()
    tab.goto(path.as_uri())
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    assert violations(tab) == []
    context.close()
