"""The calendar of a planting: text, table and figure say the same, and print in black and white."""

import dataclasses
import xml.etree.ElementTree as ET

import pytest
from worlds.axe_findings import violations

from patchnet.pages.kit.colours import PANEL, WOAD, contrast
from patchnet.pages.kit.planting_calendar import (
    CALENDAR_STYLE,
    calendar_figure,
    calendar_text,
    calendar_words,
)
from patchnet.plan.facts import PlotFacts
from patchnet.plan.planting import choose_planting
from patchnet.plan.plot_plan import Bloom, Planting, PlantingLine

SVG = "{http://www.w3.org/2000/svg}"


def line(plant, months, place="flower_border", layer="herb"):
    return PlantingLine(plant, 3, place, layer, months, ("nectar-pollen",), "")


def made(lines, hungry, **more):
    calendar = tuple(
        Bloom(
            month,
            tuple(dict.fromkeys(one.plant for one in lines if month in one.months)),
            month in hungry,
        )
        for month in range(1, 13)
    )
    return Planting(
        lines=tuple(lines), calendar=calendar, hazards=(), uncovered=(), left_out=(), exact=True,
        **more,
    )  # fmt: skip


@pytest.fixture
def small():
    """Winter heath from December to April, hop without flowers; November and March hungry."""
    lines = [
        line("winter_heath", (12, 1, 2, 3, 4), layer="shrub"),
        line("cowslip", (4, 5)),
        line("hop", (), place="climber", layer="climber"),
        line("cowslip", (4, 5), place="planter"),
    ]
    return dataclasses.replace(made(lines, {3, 11}), uncovered=(11,))


def parsed(page):
    return ET.fromstring(page)  # noqa: S314 - our own page


def shapes(svg, tag):
    return list(parsed(svg).iter(SVG + tag))


def test_text(small, knowledge):
    hungry = "Hungry months here (few flowers within reach): Mar, Nov. Still without flowers: Nov; "
    assert calendar_text(small, knowledge).splitlines() == [
        "                  Jan  Feb  Mar  Apr  May  Jun  Jul  Aug  Sep  Oct  Nov  Dec",
        "----------------  ---  ---  ---  ---  ---  ---  ---  ---  ---  ---  ---  ---",
        "Hungry here                 !                                       !",
        "Cowslip                          #    #",
        "Winter heath      #    #    #    #                                       #",
        "Plants in flower  1    1    1    2    1    0    0    0    0    0    0    1",
        "",
        f"{hungry}no plant",
        "that fits this plot flowers then. Not grown for flowers: Hop.",
    ]


def test_words_stand_for_the_figure(small, knowledge):
    words = calendar_words(small, knowledge)
    assert "Winter heath flowers Dec-Apr." in words
    assert "Cowslip flowers Apr-May." in words
    assert "Still without flowers: Nov" in words
    figure = calendar_figure(small, knowledge)
    assert shapes(figure, "desc")[0].text == words


def test_a_plant_that_wraps_over_new_year_has_two_bars(small, knowledge):
    """Columns are 16 px from 160 px on: January 161, December 160 + 11 x 16 + 1 = 337."""
    bars = [one for one in shapes(calendar_figure(small, knowledge), "rect")
            if one.get("fill") == WOAD]  # fmt: skip
    assert [(float(bar.get("x")), float(bar.get("width"))) for bar in bars] == [
        (209, 30),  # cowslip, April and May
        (161, 62),  # winter heath, January to April
        (337, 14),  # and December
    ]


def test_hungry_months_are_hatched_and_an_empty_one_is_boxed(small, knowledge):
    figure = calendar_figure(small, knowledge, ident="card")
    hatched = [one for one in shapes(figure, "rect") if one.get("fill") == "url(#card-hungry)"]
    assert [float(one.get("x")) for one in hatched[:2]] == [192, 320]
    assert len(hatched) == 3, "two months and the key"
    boxes = [one for one in shapes(figure, "rect") if one.get("fill") == "none"]
    assert [float(one.get("x")) for one in boxes] == [321.5]


@pytest.mark.parametrize("lines", [[], [line("hop", ())]])
def test_nothing_in_flower(lines, knowledge):
    planting = made(lines, {3})
    assert calendar_figure(planting, knowledge) == ""
    assert calendar_text(planting, knowledge)


def test_no_hungry_month(knowledge):
    planting = made([line("cowslip", (4, 5))], set())
    assert "No month is short of flowers here." in calendar_text(planting, knowledge)
    assert "hungry month" not in calendar_figure(planting, knowledge)


def test_want_of_room_is_said(knowledge):
    planting = made([line("cowslip", (4, 5))], {4, 9}, no_room=(9,))
    assert "for want of room beside the others: Sep" in calendar_words(planting, knowledge)


def test_names_from_a_table_of_ones_own_are_escaped(knowledge):
    """Markup in a name, and a name too long for the figure, which the words keep whole."""
    evil = '<img src=x onerror="alert(1)">&' + "a" * 40
    plants = {"cowslip": dataclasses.replace(knowledge.plants["cowslip"], name=evil)}
    own = dataclasses.replace(knowledge, plants=plants)
    planting = made([line("cowslip", (4, 5))], {4})
    page = calendar_figure(planting, own)
    assert "<img" not in page
    assert evil in "".join(parsed(page).itertext())
    drawn = [one.text for one in shapes(calendar_figure(planting, own), "text")]
    assert max(len(name) for name in drawn if name.startswith("<img")) == 23


def test_every_name_of_the_table_fits_beside_the_months(knowledge):
    assert max(len(plant.name) for plant in knowledge.plants.values()) <= 23


def test_bars_stand_out_without_colour():
    """WCAG 2.2, 1.4.11: graphics need a contrast of 3; grey keeps the luminance."""
    assert contrast(WOAD, PANEL) > 7


def test_two_figures_on_one_page_have_ids_of_their_own(small, knowledge):
    pages = [calendar_figure(small, knowledge, ident=ident) for ident in ("one", "two")]
    ids = [{one.get("id") for one in parsed(page).iter()} - {None} for page in pages]
    assert len(ids[0]) == 3
    assert not ids[0] & ids[1]


@pytest.mark.browser
def test_on_a_phone_nothing_is_cut_off_and_axe_finds_nothing(knowledge, browser, tmp_path):
    """360 px wide: the page does not scroll sideways, no word leaves its place."""
    planting = choose_planting(
        knowledge, PlotFacts(), hungry={1: 1, 3: 1, 11: 1}, wants={}, light="sun",
        features={"flower_border": 6, "shrub": 5, "bog": 1, "herb_bed": 1},
    )  # fmt: skip
    every = made(
        [line(key, plant.flower_months) for key, plant in knowledge.plants.items()], {2, 11}
    )
    parts = [
        f"<h2>{name}</h2>{calendar_figure(one, knowledge, ident=name)}"
        for name, one in (("chosen", planting), ("every", every))
    ]
    page = tmp_path / "calendar.html"
    page.write_text(
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width"><title>Calendar</title>'
        f"<style>body{{margin:8px;font:13px sans-serif;background:{PANEL}}}"
        f"{CALENDAR_STYLE}</style></head><body><main><h1>Year</h1>{''.join(parts)}</main>"
        "</body></html>",
        encoding="utf-8",
    )
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    tab = context.new_page()
    tab.goto(page.as_uri())
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    outside = tab.evaluate(
        """() => [...document.querySelectorAll('svg text')].filter(word => {
            const box = word.getBBox();
            const named = word.getAttribute('x') === '2';
            return box.x < 0 || box.x + box.width > (named ? 160 : 360);
        }).map(word => [word.textContent, word.getBBox().x, word.getBBox().width])"""
    )
    assert outside == []
    assert violations(tab) == []
    context.close()
