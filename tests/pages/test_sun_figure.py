"""The figure of the sun on one plot: its numbers, its words, and how it looks in a browser."""

import dataclasses
import re
from xml.etree import ElementTree as ET

import pytest
import shapely

from patchnet.pages.kit.colours import STEPS, contrast
from patchnet.pages.kit.sun_figure import hours_words, sun_figure, sun_words
from patchnet.sun.at_plot import PlotSun
from patchnet.sun.shady_corner import ShadyCorner
from patchnet.sun.sunny_walls import SunnyWall

SVG = "{http://www.w3.org/2000/svg}"
HOURS = (0.0, 0.2, 0.6, 2.4, 4.6, 6.4, 5.0, 3.3, 1.0, 0.1, 0.0, 0.0)
OPEN = (6.2, 8.6, 10.9, 13.0, 14.8, 15.4, 14.8, 13.0, 10.9, 8.6, 6.2, 5.1)
SUN = PlotSun(
    "p1",
    known=True,
    why_not="",
    hours=HOURS,
    open_hours=OPEN,
    cls="sun",
    shares=(0.6, 0.3, 0.1),
    morning_hours=2.1,
    afternoon_hours=4.3,
    seat="evening",
    sunny_wall=SunnyWall("south-west-facing garden wall", 7.2, shapely.Point(0, 0)),
    shady_corner=ShadyCorner("north-east corner", 1.4, shapely.Point(1, 1)),
    notes=("Trees and hills are not counted, nor is cloud.",),
)


def test_bars_stand_to_scale_with_their_numbers():
    """Scale: 15.4 h in the open in June fill 104 px; 6.4 h are 6.4 / 15.4 of it, 43.2 px."""
    root = ET.fromstring(sun_figure(SUN))  # noqa: S314 - our own text
    bars = root.findall(f"{SVG}rect")
    assert len(bars) == 24
    june_open, june = bars[10:12]
    assert float(june_open.get("height")) == pytest.approx(104, abs=0.1)
    assert float(june.get("height")) == pytest.approx(43.2, abs=0.1)
    numbers = [one.text for one in root.findall(f"{SVG}text") if one.get("font-weight")]
    assert numbers == ["0", "<½", "0.5", "2.5", "4.5", "6", "5", "3.5", "1", "<½", "0", "0"]
    assert "On this plot: Jan 0, Feb <½, Mar 0.5" in root.find(f"{SVG}desc").text
    assert root.get("role") == "img"
    ids = re.findall(r'id="([^"]+)"', sun_figure(SUN, ident="one") + sun_figure(SUN, ident="two"))
    assert len(ids) == len(set(ids)) == 4


def test_reads_without_colour():
    """The bar against paper: at least 3 to 1 (WCAG 2.2, 1.4.11), and it is filled, not outlined."""
    assert contrast(STEPS[-1].base, "#ffffff") > 3


def test_words():
    said = " ".join(sun_words(SUN))
    assert "6 hours a day of direct sun, on average: it lies in full sun." in said
    assert (
        "In the first half of the day it is about 2 hours, in the second about 4.5 hours." in said
    )
    assert "In December there is none; a place in the open has 5 hours." in said
    assert "evening sun, but not morning" in said
    assert "south-west-facing garden wall: 7 hours of sun a day in spring. Ask first" in said
    assert "north-east corner has least sun, 1.5 hours a day" in said
    assert said.endswith("nor is cloud.")


def test_words_of_the_dark_and_of_the_south():
    dark = dataclasses.replace(
        SUN, hours=(0.0,) * 12, cls="shade", morning_hours=0.0, afternoon_hours=0.0,
        sunny_wall=None, shady_corner=None, seat="neither",
    )  # fmt: skip
    said = " ".join(sun_words(dark))
    assert "gets no direct sun, on average: it lies in shade." in said
    assert "half of the day" not in said
    south = dataclasses.replace(SUN, midsummer=12, hours=HOURS[6:] + HOURS[:6])
    assert "In June there is none" in " ".join(sun_words(south))


def test_not_known():
    unknown = PlotSun("p1", known=False, why_not="No building near has a height.")
    assert sun_figure(unknown) == ""
    assert sun_words(unknown) == ("No building near has a height.",)


def test_nothing_from_a_file_gets_in_unescaped():
    assert "<b>" not in sun_figure(SUN, ident='"><b>')


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0, "no sun"), (0.2, "less than half an hour"), (0.45, "half an hour"), (1.1, "1 hour"),
        (1.3, "1.5 hours"), (4.8, "5 hours"), (9.49, "9 hours"), (9.5, "10 hours"),
    ],
)  # fmt: skip
def test_hours_in_words(hours, words):
    assert hours_words(hours) == words
