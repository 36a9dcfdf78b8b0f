"""A plot's plan in words and on the card: complete, escaped, one A4 page, to scale."""

import dataclasses
import html
import json
import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st
from worlds.axe_findings import violations

from patchnet.assess import assess
from patchnet.core.errors import CannotWrite
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.candidate_words import asked_first
from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.kit.plan_words import in_a_sentence
from patchnet.pages.kit.to_scale import SCALES, Paper, fitting_paper
from patchnet.pages.sheets.plan_card import plan_card, write_card
from patchnet.pages.terminal.plan_text import plan_json, plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import Adviser
from patchnet.read.build import build_neighbourhood
from patchnet.sun.at_plot import plot_sun

KNOW = load_knowledge()
PAYLOAD = '<img src=x onerror="alert(1)">'


def street(label="1 Back Lane"):
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2", "3"],
            "kind": ["garden_back", "garden_back", "garden_front"],
            "label": [label, PAYLOAD, "3"],
            "features": ["lawn_short 90; paving 20", "shrub 12; pond 4", "flower_border 9"],
            "seen": ["all", "all", "part"],
        },
        geometry=[
            shapely.box(400_000, 300_000, 400_012, 300_020),
            shapely.box(400_012, 300_000, 400_024, 300_020),
            shapely.box(400_000, 299_990, 400_012, 300_000),
        ],
        crs="EPSG:27700",
    )
    buildings = gpd.GeoDataFrame(
        {"name": [PAYLOAD], "height": [8.0]},
        geometry=[shapely.box(400_000, 300_021, 400_024, 300_028)],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, buildings=buildings, knowledge=KNOW, name=PAYLOAD)


@pytest.fixture(scope="module")
def assessment():
    groups = ["mason_bee", "newt", "sparrow", "bumblebee"]
    return assess(street(), knowledge=KNOW, groups=groups, straight=True)


@pytest.fixture(scope="module")
def plan(assessment):
    return Adviser(assessment).plan("1", PlotFacts(wishes=(("pond", 2.0),)), month=10)


@pytest.fixture(scope="module")
def card(plan, assessment):
    sun = plot_sun(assessment.neighbourhood, "1", knowledge=KNOW)
    return plan_card(plan, assessment, sun=sun)


def test_the_answer_comes_first_and_says_all_it_must(plan):
    words = plan_text(plan, KNOW)
    first = words.index("THREE BEST THINGS")
    titles = (
        "SECOND BEST", "STEP BY STEP", "WHAT TO PLANT", "WHAT IS MISSING TODAY", "RULED OUT",
        "WHAT WOULD CHANGE", "WHAT YOU WISHED FOR",
    )  # fmt: skip
    for title in titles:
        assert first < words.index(title), title
    for addition in plan.best.additions:
        feature = KNOW.features[addition.candidate.feature]
        assert feature.name in words
        for key in feature.cautions:
            assert KNOW.cautions[key].words[:30] in " ".join(words.split())
        for step in KNOW.sitings[feature.key].steps:
            assert step.words[:25] in " ".join(words.split())
    assert all(len(line) <= 130 for line in words.splitlines() if "  " not in line.strip())


def test_one_sentence_to_repeat_comes_first(plan, card):
    sentence = in_a_sentence(plan, KNOW)
    words = " ".join(plan_text(plan, KNOW).split())
    assert words.index(sentence) < words.index("Note:")
    assert sentence.startswith("Add ")
    assert sentence.count(".") == 1
    for addition in plan.best.additions:
        assert KNOW.sitings[addition.candidate.feature].said in sentence
    assert sentence in html.unescape(card)
    nothing = dataclasses.replace(plan, best=None)
    assert in_a_sentence(nothing, KNOW).startswith("Keep what is there")
    one = dataclasses.replace(
        plan, best=dataclasses.replace(plan.best, additions=plan.best.additions[:1])
    )
    assert ": it gives " in in_a_sentence(one, KNOW)
    assert "It makes room for" in plan_text(one, KNOW)


def test_the_same_facts_give_the_same_bytes(plan, assessment):
    again = Adviser(assessment).plan("1", PlotFacts(wishes=(("pond", 2.0),)), month=10)
    assert plan_json(again) == plan_json(plan)
    assert plan_text(again, KNOW) == plan_text(plan, KNOW)
    assert plan_card(again, assessment) == plan_card(plan, assessment)


def test_no_marks_and_no_promises(plan):
    words = plan_text(plan, KNOW).lower()
    for word in ("score", "points", "out of 100", "%", "badge", "guarantee"):
        assert word not in words
    assert "not a forecast of animals" in " ".join(words.split())


def test_every_hazard_of_a_chosen_plant_is_named(plan):
    words = plan_text(plan, KNOW)
    for line in plan.planting.lines:
        plant = KNOW.plants[line.plant]
        assert plant.name in words
        if plant.hazard not in ("", "none"):
            assert line.hazard in words


def test_json_holds_the_whole_plan(plan):
    told = json.loads(plan_json(plan))
    assert told["plot"] == "1"
    assert told["best"]["additions"][0]["candidate"]["feature"] in KNOW.features
    assert len(told["planting"]["calendar"]) == 12


def test_nothing_is_fetched_and_text_is_escaped(assessment):
    """The plot's own label is markup."""
    made = plan_card(Adviser(assessment).plan("2", month=10), assessment)
    assert outside_addresses(made) == []
    assert PAYLOAD not in made
    assert "<script" not in made
    assert "&lt;img" in made


def test_file_is_replaced_only_where_it_is_ours(plan, assessment, tmp_path):
    path = tmp_path / "card.html"
    write_card(plan, path)
    write_card(plan, path)
    path.write_text("my shopping list")
    with pytest.raises(CannotWrite):
        write_card(plan, path)
    assert path.read_text() == "my shopping list"
    write_card(plan, path, overwrite=True)
    assert "for the fridge door" in path.read_text()


@pytest.fixture
def printed(card, browser, tmp_path):
    """The card as a printer sees it: A4 with the margins of its style sheet."""
    path = tmp_path / "card.html"
    path.write_text(card, encoding="utf-8")
    context = browser.new_context(viewport={"width": 704, "height": 960}, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    page.emulate_media(media="print")
    yield page
    context.close()


@pytest.mark.browser
def test_card_prints_on_two_sides_of_a4_and_reads_on_a_phone(card, browser, tmp_path):
    path = tmp_path / "card.html"
    path.write_text(card, encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    context.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
    sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    for size in sizes:
        assert tuple(map(float, size)) == pytest.approx((595, 842), abs=1.5)


@pytest.mark.browser
def test_nothing_on_paper_is_small_or_runs_over(printed):
    """9 pt are 12 px; letters in a drawing count at the size they are printed at, and those on the
    garden itself are as small as on any plan."""
    small = printed.evaluate(
        """() => {
          const found = [];
          for (const one of document.querySelectorAll("main *")) {
            const own = [...one.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
            if (!own || !one.checkVisibility()) continue;
            if (one.closest(".gardens, .unseen, title, desc")) continue;
            const svg = one.closest("svg");
            const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
            const size = parseFloat(getComputedStyle(one).fontSize) * scale;
            if (size < 11.9) found.push([one.textContent.slice(0, 30), size]);
          }
          return found;
        }"""
    )
    assert small == []
    over = printed.evaluate(
        """() => [...document.querySelectorAll("main *")]
          .filter((one) => one.getBoundingClientRect().right > innerWidth + 1)
          .map((one) => one.outerHTML.slice(0, 60))"""
    )
    assert over == []


def test_the_front_is_short_and_has_no_command(card):
    """At most 300 words beside those in the drawing and its legend, and nothing to type."""
    front = card[card.index("<main") : card.index('class="leaf reverse"')]
    for drawn in (r"<svg.*?</svg>", r'<ul class="garden-legend.*?</ul>'):
        front = re.sub(drawn, " ", front, flags=re.DOTALL)
    words = html.unescape(re.sub(r"<[^>]*>", " ", front)).split()
    assert 50 < sum(any(letter.isalpha() for letter in word) for word in words) <= 300
    assert "patchnet" not in html.unescape(re.sub(r"<[^>]*>", " ", card[card.index("<main") :]))


def test_every_caution_stands_in_the_box_once(plan, card):
    told = html.unescape(card)
    box = told[told.index('<section class="safety">') :]
    box = box[: box.index("</section>")]
    assert any(one.candidate.cautions for one in plan.best.additions)
    for number, addition in enumerate(plan.best.additions, 1):
        for key in addition.candidate.cautions:
            words = KNOW.cautions[key].brief
            (line,) = [one for one in re.findall(r"<li>(.*?)</li>", box) if one.endswith(words)]
            assert str(number) in re.search(r"<b>([\d, ]+)</b>", line).group(1)
        for words in asked_first(addition.candidate):
            assert box.count(words) == 1


@pytest.mark.browser
def test_card_is_accessible(card, browser, tmp_path):
    path = tmp_path / "card.html"
    path.write_text(card, encoding="utf-8")
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert violations(page) == []
    context.close()


# plans to scale -------------------------------------------------------------------------------


def test_ten_metres_are_a_hundred_millimetres_at_one_to_a_hundred():
    paper = Paper((0, 0), 100, 200, 100)
    there = paper.mm(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 1.0]]))
    assert there[1] - there[0] == pytest.approx([100, 0])
    assert there[2] - there[0] == pytest.approx([0, -10])
    assert paper.bar_m(100) == 10


def test_a_plan_turned_a_quarter_clockwise_has_north_to_the_right():
    paper = Paper((0, 0), 100, 200, 100, turn_deg=90)
    there = paper.mm(np.array([[0.0, 0.0], [0.0, 1.0]]))
    assert there[1] - there[0] == pytest.approx([10, 0])
    assert "rotate(90.00)" in paper.bar_and_north()


@given(st.floats(1, 500), st.floats(1, 500), st.floats(-180, 180), st.floats(-1e6, 1e6))
def test_a_shape_lies_inside_the_paper_it_was_fitted_to(wide, high, turn, east):
    shape = shapely.affinity.rotate(shapely.box(east, 0, east + wide, high), 30)
    paper = fitting_paper(shape, wide_mm=180, high_mm=120, turn_deg=turn)
    points = paper.mm(np.asarray(shape.exterior.coords))
    assert points.min() >= -1e-6
    assert (points.max(axis=0) <= np.array([180, 120]) + 1e-6).all()
    assert paper.window().buffer(1e-6).contains(shape)
    smaller = [scale for scale in SCALES if scale < paper.scale]
    if smaller:
        tight = Paper(paper.centre, smaller[-1], 180, 120, turn).mm(
            np.asarray(shape.exterior.coords)
        )
        assert tight.min() < 6 or (tight.max(axis=0) > np.array([174, 114])).any()


def test_wishes_stand_on_the_card_as_in_the_text(plan, card):
    words = " ".join(plan_text(plan, KNOW).split())
    start = words.index("Wildlife pond, no fish, 2 m²: by itself it would make room for")
    told = words[start : words.index(";", start)] if ";" in words[start:] else words[start:]
    assert told[:60] in " ".join(card.split())


def test_a_wished_pond_never_comes_without_the_question_about_children(plan, card):
    for words in (plan_text(plan, KNOW), card):
        told = " ".join(words.split())
        start = told.index("Wildlife pond, no fish, 2 m²: by itself it would make room for")
        assert "children under six" in told[start : start + 400]
