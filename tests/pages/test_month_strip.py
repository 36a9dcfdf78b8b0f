"""The months in which flowers run short, drawn and said alike."""

import xml.etree.ElementTree as ET

import pytest

from patchnet.assess.assessment import NeedAtPlot, PlotAnswer, PlotGroup
from patchnet.pages.kit.month_strip import flower_years, month_strip, short_sentence

SVG = "{http://www.w3.org/2000/svg}"


def need(key, resource, months, hungry, room=2.0):
    return NeedAtPlot(
        key, key, resource, 100.0, 1.0, 1.0, 1.0, room, 0.5, "short",
        tuple((month, 1.0) for month in months), hungry, (), 0,
    )  # fmt: skip


def group(key, *needs):
    return PlotGroup(key, 1.0, 2.0, 1.0, 1.0, 1.0, 1.0, True, "anchor", needs)


def answer(*groups):
    return PlotAnswer("p", "p", "garden_back", 1.0, (), (), (), (), (), 30.0, groups)


@pytest.fixture
def made():
    """On paper: the bumblebee needs flowers from March to October and is short in March and July;
    the mason bee has enough; the wren needs none; the moth finds no room."""
    return answer(
        group("mason_bee", need("spring", "bloom", (3, 4, 5), ())),
        group("bumblebee", need("food", "bloom", range(3, 11), (3, 7))),
        group("wren", need("insects", "leaf_inv", (5, 6), (5,))),
        group("moth", need("night", "bloom", (6,), (), room=0.0)),
    )


def test_who_goes_short_comes_first_and_the_rest_is_left_out(made, knowledge):
    years = flower_years(made, knowledge)
    names = [knowledge.groups[key].name for key in ("bumblebee", "mason_bee")]
    assert [one.name for one in years] == names
    assert years[0].short == (3, 7)
    assert years[1].short == ()
    assert short_sentence(years) == f"{names[0]}: too few in Mar, Jul."


def test_a_cross_for_each_month_that_is_short_and_a_dot_for_the_others(made, knowledge):
    drawn = ET.fromstring(month_strip(flower_years(made, knowledge)))  # noqa: S314 - our own
    assert len(list(drawn.iter(SVG + "rect"))) == 12  # only the one that goes short is drawn
    crosses = [one for one in drawn.iter(SVG + "path") if one.get("class") == "cross"]
    assert len(crosses) == 2
    assert len(list(drawn.iter(SVG + "circle"))) == 6
    assert "too few in Mar, Jul" in drawn.find(SVG + "desc").text


def test_where_nothing_is_short_there_is_a_sentence(made, knowledge):
    enough = flower_years(answer(made.groups[0]), knowledge)
    assert month_strip(enough) == ""
    assert short_sentence(enough) == "No animal goes short of flowers near here."
    assert short_sentence([]).startswith("None of the animals")
