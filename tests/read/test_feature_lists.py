"""Lists of features as people write them: worked by hand, and written then read = identity."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.core.numbers import parse_number
from patchnet.knowledge import load_knowledge
from patchnet.read.feature_lists import (
    FeatureList,
    Problem,
    Said,
    parse_cell,
    parse_list,
    write_list,
)

KNOWLEDGE = load_knowledge()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pond", Said("pond", "there")),
        ("Ponds", Said("pond", "there")),
        ("pond yes", Said("pond", "there")),
        ("pond: x", Said("pond", "there")),
        ("pond \N{CHECK MARK}", Said("pond", "there")),
        ("lawn 12", Said("lawn_short", "there", 12)),
        ("lawn 12m2", Said("lawn_short", "there", 12)),
        ("lawn 12 m\N{SUPERSCRIPT TWO}", Said("lawn_short", "there", 12)),
        ("lawn: 12,5 sqm", Said("lawn_short", "there", 12.5)),
        ("lawn (12 m2)", Said("lawn_short", "there", 12)),
        ("12 m2 lawn", Said("lawn_short", "there", 12)),
        ("12 m2 of lawn", Said("lawn_short", "there", 12)),
        ("lawn 1,200", Said("lawn_short", "there", 1200)),
        ("bulbs 0,125", Said("bulbs", "there", 0.125)),
        ("hedge 8 m", Said("hedge_evergreen", "there", 8)),
        ("2 trees", Said("tree_small", "there", 2)),
        ("3 x tree", Said("tree_small", "there", 3)),
        ("3x tree", Said("tree_small", "there", 3)),
        ("tree x2", Said("tree_small", "there", 2)),
        ("tree 2x", Said("tree_small", "there", 2)),
        ("window box 2", Said("window_box", "there", 2)),
        ("tree 2?", Said("tree_small", "there", 2, sure=False)),
        ("tree? 2", Said("tree_small", "there", 2, sure=False)),
        ("pond?", Said("pond", "there", None, sure=False)),
        ("pond ?", Said("pond", "there", None, sure=False)),
        ("maybe pond", Said("pond", "there", None, sure=False)),
        ("no pond", Said("pond", "not there")),
        ("No ponds", Said("pond", "not there")),
        ("pond no", Said("pond", "not there")),
        ("pond: none", Said("pond", "not there")),
        ("pond 0", Said("pond", "not there")),
        ("no pond?", Said("pond", "not there", None, sure=False)),
        ("pond unknown", Said("pond", "not known")),
        ("pond not known", Said("pond", "not known")),
        ("pond not seen", Said("pond", "not known")),
        # A name of the tables that looks like something else is taken as it stands.
        ("no mow", Said("long_grass", "there")),
        ("Nest box, 25-28 mm hole (tits)", Said("nest_box_small", "there")),
        ("lawn cut every 4 weeks 12", Said("lawn_flowering", "there", 12)),
        ("pond no fish", Said("pond", "there")),
    ],
)
def test_one_item(text, said):
    assert parse_list(text, KNOWLEDGE) == FeatureList((said,))


@pytest.mark.parametrize(
    "text",
    [
        "pond; lawn 12; tree 2?",
        "pond, lawn 12, tree 2?",
        "pond\nlawn 12\n\ntree 2?;",
        " ; pond | lawn 12 ; tree 2?",
    ],
)
def test_a_list_in_any_dress(text):
    assert parse_list(text, KNOWLEDGE).said == (
        Said("pond", "there"),
        Said("lawn_short", "there", 12),
        Said("tree_small", "there", 2, sure=False),
    )


@pytest.mark.parametrize("text", ["none", "nothing", "Nothing else.", "; nothing else"])
def test_nothing_else(text):
    assert parse_list(text, KNOWLEDGE) == FeatureList((), complete=True)


@pytest.mark.parametrize("text", ["", " ", "-", "n/a", "?", "unknown", ";;", "not seen"])
def test_blank_says_nothing(text):
    assert parse_list(text, KNOWLEDGE) == FeatureList(())


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("pnod 3", "'pnod' .*pond"),
        ("no pnod", "'pnod' .*pond"),
        ("fish pond", "not a feature"),
        ("12", "'12' is not a feature"),
        ("lawn -5", "negative: -5"),
        ("-5 m2 lawn", "negative: -5"),
        ("pond 3 m", "in metres, but is measured in square metres"),
        ("tree 3 m2", "in square metres, but is measured in a number"),
        ("shrub x3", "a number of items, but is measured in square metres"),
        ("3 x shrub", "a number of items, but is measured in square metres"),
        ("pond 1e999", "too large"),
        ("lawn " + "9" * 400, "not a feature"),
        ("x" * 100_000, "not a feature"),
        ("1 " * 50_000, "not a feature"),
    ],
)
def test_what_cannot_be_used(text, what):
    found = parse_list(text, KNOWLEDGE)
    assert found.said == ()
    (problem,) = found.problems
    assert isinstance(problem, Problem)
    assert re.search(what, problem.what)
    assert problem.mend
    assert len(problem.what) < 300


def test_every_name_and_word_of_the_tables_is_one_item():
    for feature in KNOWLEDGE.features.values():
        for word in (feature.key, feature.name, *feature.words):
            assert parse_list(word, KNOWLEDGE).said == (Said(feature.key, "there"),), word
            sized = parse_list(f"{word} 3", KNOWLEDGE)
            assert sized.said == (Said(feature.key, "there", 3),), word
            assert parse_list(f"no {word}", KNOWLEDGE).said[0].answer == "not there", word


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12), ("12.5", 12.5), ("12,5", 12.5), (".5", 0.5), ("1,200", 1200),
     ("1,234,567.5", 1234567.5), ("0,125", 0.125), ("1e3", 1000), ("", None), ("nan", None),
     ("inf", None), ("1.2.3", None), ("-3", None)],
)  # fmt: skip
def test_numbers(text, number):
    assert parse_number(text) == number


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", None),
        ("-", None),
        ("yes", Said("pond", "there")),
        ("TRUE", Said("pond", "there")),
        ("x", Said("pond", "there")),
        ("\N{HEAVY CHECK MARK}", Said("pond", "there")),
        ("yes?", Said("pond", "there", None, sure=False)),
        ("No", Said("pond", "not there")),
        ("0", Said("pond", "not there")),
        ("0.0", Said("pond", "not there")),
        ("?", Said("pond", "not known")),
        ("unknown", Said("pond", "not known")),
        ("4,5", Said("pond", "there", 4.5)),
        ("4.5 m2 ?", Said("pond", "there", 4.5, sure=False)),
    ],
)
def test_cells(text, said):
    assert parse_cell(text, KNOWLEDGE.features["pond"], KNOWLEDGE) == said


@pytest.mark.parametrize("text", ["photos/1.jpg", "-2", "3 m", "lots", "1e999"])
def test_cells_that_cannot_be_read(text):
    assert isinstance(parse_cell(text, KNOWLEDGE.features["pond"], KNOWLEDGE), Problem)


_AMOUNT = st.floats(1e-9, 1e9, exclude_min=True).filter(math.isfinite)
_SAID = st.sampled_from(list(KNOWLEDGE.features)).flatmap(
    lambda key: st.one_of(
        st.builds(Said, st.just(key), st.just("there"), st.none() | _AMOUNT, st.booleans()),
        st.builds(Said, st.just(key), st.just("not there"), st.none(), st.booleans()),
        st.builds(Said, st.just(key), st.just("not known")),
    )
)


@settings(deadline=None)
@given(st.lists(_SAID, max_size=12), st.booleans())
def test_written_then_read_is_the_same(said, complete):
    text = write_list(said, complete=complete)
    assert parse_list(text, KNOWLEDGE) == FeatureList(tuple(said), complete)


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_gives_an_answer(text):
    found = parse_list(text, KNOWLEDGE)
    assert all(problem.what and problem.mend for problem in found.problems)
    parse_cell(text, KNOWLEDGE.features["pond"], KNOWLEDGE)
