"""Money, speed and whom to ask in each country; rates and places worked on paper."""

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.knowledge.countries import country_at, money, speed_words

COUNTRIES = load_knowledge().countries


@pytest.mark.parametrize(
    ("key", "pounds", "words"),
    [
        ("gb", 1234.4, "\N{POUND SIGN}1,234"), ("gb", 0.4, "\N{POUND SIGN}0.40"),
        ("fi", 100, "\N{EURO SIGN}117"),  # 1.17 euros a pound
        ("ch", 5, "CHF 5.50"), ("cz", 0, "CZK 0"), ("elsewhere", 20, "GBP 20"),
    ],
)  # fmt: skip
def test_amounts_are_said_in_the_money_of_the_country(key, pounds, words):
    assert money(pounds, COUNTRIES[key]) == words


def test_no_pound_sign_outside_britain():
    for key, country in COUNTRIES.items():
        assert (country.sign == "\N{POUND SIGN}") == (key == "gb")
        assert country.ask
        assert country.law == ("England and Wales" if key == "gb" else "")


def test_speeds():
    """20 mph are 20 x 1.609344 = 32.19 km/h."""
    assert speed_words(20, COUNTRIES["gb"]) == "20 mph"
    assert speed_words(20, COUNTRIES["fi"]) == "32 km/h"


@pytest.mark.parametrize(
    ("told", "key"),
    [
        ({"said": "LI"}, "li"), ({"said": "XX", "grid": 27700}, "gb"), ({"grid": 3067}, "fi"),
        ({"place": (24.94, 60.17)}, "fi"), ({"place": (14.40, 50.10)}, "cz"),
        ({"place": (-1.26, 51.75)}, "gb"), ({"place": (13.40, 52.52)}, "elsewhere"),
        # Vaduz lies a kilometre from Switzerland and ten from Austria: better not to guess.
        ({"place": (9.52, 47.14)}, "elsewhere"), ({"place": (0.0, 0.0)}, "elsewhere"),
        ({}, "elsewhere"),
    ],
)  # fmt: skip
def test_where_a_place_lies(told, key):
    assert country_at(COUNTRIES, **told).key == key


def test_boxes_do_not_overlap():
    boxes = [one.box for one in COUNTRIES.values() if one.box]
    for at, (west, south, east, north) in enumerate(boxes):
        for other in boxes[at + 1 :]:
            assert west >= other[2] or other[0] >= east or south >= other[3] or other[1] >= north
