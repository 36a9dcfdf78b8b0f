"""A householder's words, and every mistake in them."""

import pytest

from patchnet.core.errors import CannotRead, DataFaults
from patchnet.knowledge import load_knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.read_facts import facts_in_file, read_facts

KNOW = load_knowledge()


def read(**said):
    return read_facts(said, KNOW, where="your answers")


def faults(**said):
    with pytest.raises(DataFaults) as caught:
        read(**said)
    return [(fault.ident, fault.what) for fault in caught.value.faults]


def test_nothing_said_is_nothing_known():
    assert read() == PlotFacts()
    assert read(light="", soil="?", tenure="don't know", free_m2=None) == PlotFacts()


def test_words_as_people_write_them():
    facts = read(
        light="Half shade", soil="Sandy", damp="no", tenure="rented", free_m2="7,5",
        keep="play lawn, bins and bikes", small_children="yes", pets=["cat"],
        hours_month=2, budget="80", edible=True, groups="House sparrow; hedgehog",
        wishes="bee hotel, long grass 6 m2",
    )  # fmt: skip
    assert facts == PlotFacts(
        light="part", soil="sand", damp=False, tenure="rent", free_m2=7.5,
        keep=("play_lawn", "bins", "bike"), small_children=True, pets=("cat",), hours_month=2.0,
        budget=80.0, edible=True, groups=("sparrow", "hedgehog"),
        wishes=(("bee_hotel", None), ("long_grass", 6.0)),
    )  # fmt: skip


def test_wishes_as_a_table():
    assert read(wishes={"pond": 3}).wishes == (("pond", 3.0),)


def test_all_mistakes_come_in_one_list():
    found = faults(
        light="bright", soil="mud", free_m2=-2, budget="lots", colour="red", groups="hedghog",
        wishes="unicorn", damp="maybe", keep="swimming pool",
    )  # fmt: skip
    assert {ident for ident, _ in found} == {
        "light", "soil", "free_m2", "budget", "colour", "groups", "wishes", "damp", "keep",
    }  # fmt: skip


def test_near_spellings_are_offered():
    ((_, what),) = faults(groups="hedghog")
    assert "edgehog" in what
    ((_, what),) = faults(wishes="bee hotle")
    assert "Did you mean" in what


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"pots_only": "yes", "wishes": "pond 10"}, "pots"),
        ({"small_children": "yes", "wishes": "pond 3"}, "children"),
        ({"free_m2": 4, "wishes": "long grass 10"}, "only 4 m2 is free"),
        ({"wishes": "paving"}, "cannot be added"),
    ],
)
def test_contradictions_are_named(said, words):
    ((ident, what),) = faults(**said)
    assert ident == "wishes"
    assert words in what


def test_numbers_that_are_none():
    for wrong in ("nan", "inf", True, "1e999"):
        assert faults(free_m2=wrong)


def test_a_file_nested_without_end(tmp_path):
    """It is read aside, and ends there."""
    path = tmp_path / "facts.toml"
    path.write_text("light = " + "[" * 100_000)
    with pytest.raises(CannotRead, match="cannot be read"):
        facts_in_file(path)
