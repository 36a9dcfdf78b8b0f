"""The keys of a whole map's four small maps: no two steps are told by the same words."""

import re
from pathlib import Path

import pandas as pd
import pytest

from patchnet.city.city_answer import City
from patchnet.pages.sheets.city_page import city_page


def page_of(hungry, knowledge, **others):
    """The page of tiles in a row, of which only the hungry months differ."""
    animals = {"name": "Newt", "homes": 3.0, "homes_low": 1.0, "homes_high": 4.0,
               "linked_homes": 2.0, "parts": 2, "breaks": 0, "shared": "whole",
               "tried_on": 0, "homes_off": 0.0, "plots_off": 0.0, **others}  # fmt: skip
    tiles = pd.DataFrame(
        {"east": [100.0 * at for at in range(len(hungry))], "north": 0.0, "plots": 5,
         "area_m2": 900.0, "known_share": 0.5, "hungry_months": hungry, "file": "tiles/a.parquet",
         "homes_newt": 1.0},
        index=[f"t{at}" for at in range(len(hungry))],
    )  # fmt: skip
    return city_page(
        City(Path("city"), 100.0, pd.DataFrame([animals], index=["newt"]), tiles, {}, "EPSG:27700"),
        knowledge=knowledge,
    )


def keys_of(page):
    figures = re.findall(r"<figure>(.*?)</figure>", page, re.DOTALL)
    (hungry,) = [one for one in figures if "<b>Months without enough flowers</b>" in one]
    found = re.search(r'<ul class="keys">(.*?)</ul>', hungry, re.DOTALL)
    items = re.findall(r"<li>(.*?)</li>", found[1], re.DOTALL) if found else []
    return [re.sub(r"<.*?>", "", one).strip() for one in items], hungry


@pytest.mark.parametrize(
    ("hungry", "steps"),
    [
        ([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], 5),  # a whole month each
        ([2.0, 2.31], 2),  # three (2, 2.1, 2.2, 2.3), of which the middle one has no tile
    ],
)
def test_steps_are_as_many_as_their_words_tell_apart(hungry, steps, survey_knowledge):
    keys, _ = keys_of(page_of(hungry, survey_knowledge))
    assert len(keys) == steps
    assert len(set(keys)) == steps


def test_what_hardly_differs_is_said_and_not_drawn(survey_knowledge):
    for hungry, words in (([2.0, 2.004], "2"), ([2.0, 2.12], "2 to 2.1")):
        keys, figure = keys_of(page_of(hungry, survey_knowledge))
        assert not keys
        assert "<svg" not in figure
        assert f"Nearly the same in every tile: {words}." in figure
    assert "The same in every tile: 2." in keys_of(page_of([2.0, 2.0], survey_knowledge))[1]


def test_what_portions_are_off_by_next_to_nothing_has_no_figures(survey_knowledge):
    """A rounding of 2e-16 is no measure of anything; a part in ten thousand is told."""
    page = page_of([2.0], survey_knowledge, shared="portions", homes_off=-2.2e-16, plots_off=1e-4)
    assert "homes came out less than 0.01 % off the exact sharing" in page
    assert "those of one plot 0.01 % on the mean" in page
