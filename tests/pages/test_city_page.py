"""The keys of a whole map's four small maps: no two steps are told by the same words."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from worlds.made_city import made_city

from patchnet.pages.sheets.city_page import city_page, told_of_portions


def page_of(hungry, knowledge, **animal):
    """The page of tiles in a row, of which only the hungry months differ."""
    tiles = {f"t{at}": {"hungry_months": months} for at, months in enumerate(hungry)}
    return city_page(made_city(tiles, animal=animal), knowledge=knowledge)


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


def test_what_was_shared_in_portions_is_one_sentence_with_the_worst_of_them(survey_knowledge):
    """Names are the tables', whatever language the answer was made in; of two the worse is told."""
    city = made_city({"t0": {}}, animal={"name": "Teichmolch", "shared": "portions"})
    rows = [("newt", 0.002, 0.01), ("sparrow", -0.03, 0.046), ("bumblebee", 0.0, 0.0)]
    row = city.animals.loc["newt"].to_dict()
    animals = pd.DataFrame(
        {
            key: row | {"homes_off": total, "plots_off": one, "tried_on": 1200}
            for key, total, one in rows
        }
    ).T
    animals.loc["bumblebee", "shared"] = "whole"
    told = told_of_portions(replace(city, animals=animals), survey_knowledge)
    assert told.startswith("Shared in portions: smooth newt and house sparrow. Where both were")
    assert "(1,200 plots), homes came out 3 % off the exact sharing" in told
    assert "those of one plot 4.6 % on the mean (house sparrow; the others no more)" in told
    assert not told_of_portions(made_city({"t0": {}}), survey_knowledge)
    page = city_page(city, knowledge=survey_knowledge)
    assert "Teichmolch" not in page
    assert "<td>Smooth newt</td>" in page or ">Smooth newt<" in page


@pytest.mark.parametrize(("won", "words"), [(5.9e-07, "less than 0.001"), (0.0012, "0.0012")])
def test_a_break_that_wins_next_to_nothing_is_told_so(won, words, survey_knowledge):
    worst = {"group": "newt", "from_plot": "A1", "to_plot": "A2", "width_m": 46.0, "share": 0.01}
    city = made_city({"t0": {}}, worst={"t0": worst | {"homes_won": won}})
    page = city_page(city, knowledge=survey_knowledge)
    assert f"smooth newt: A1 to A2, 46 m; closing it wins {words} linked homes" in page
