"""Words people write, matched to keys."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.knowledge import (
    load_knowledge,
    match_barrier_kind,
    match_feature,
    match_plot_kind,
    near_features,
    near_plot_kinds,
)
from patchnet.knowledge.words import plain, word_index

KNOW = load_knowledge()


@st.composite
def written(draw, keys):
    """A key as people write it: any case, any gap, perhaps a plural s, blanks around."""
    key = draw(st.sampled_from(sorted(keys)))
    gap = st.sampled_from(["_", "-", " ", "", "  ", "/"])
    text = draw(gap).join(key.split("_"))
    text = "".join(draw(st.sampled_from([letter.upper(), letter])) for letter in text)
    if not text.lower().endswith(("s", "x", "h", "y", "f")):
        text += draw(st.sampled_from(["", "s"]))
    return key, draw(st.sampled_from(["", " "])) + text + draw(st.sampled_from(["", " ", "."]))


@given(written(KNOW.features))
def test_any_writing_of_a_feature_matches(case):
    key, text = case
    assert match_feature(text, KNOW) == key


@given(written(KNOW.plot_kinds))
def test_any_writing_of_a_plot_kind_matches(case):
    key, text = case
    assert match_plot_kind(text, KNOW) == key


@given(written(KNOW.barrier_kinds))
def test_any_writing_of_a_barrier_kind_matches(case):
    key, text = case
    assert match_barrier_kind(text, KNOW) == key


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("log pile", "dead_wood_pile"),
        ("Logs", "dead_wood_pile"),
        ("bug hotel", "bee_hotel"),
        ("fishless pond", "pond"),
        ("bird table", "bird_feeder"),
        ("lawn", "lawn_short"),
        ("hedge", "hedge_evergreen"),
        ("Hedgerow", "hedge_native"),
        ("trees", "tree_small"),
        ("hedgehog highway", "fence_gap"),
        ("leaves", "leaf_pile"),
        ("bushes", "shrub"),
        ("nest-boxes", "nest_box_small"),
        ("artifical grass", "artificial_grass"),
        ("Wildlife pond, no fish", "pond"),
        ("NETTLES", "nettle_patch"),
    ],
)
def test_what_people_write(word, key):
    assert match_feature(word, KNOW) == key


@pytest.mark.parametrize("word", ["", " ", "?", "fish pond", "compost bin", "swimming pool", "pnd"])
def test_what_is_not_matched(word):
    assert match_feature(word, KNOW) is None


@given(st.text(max_size=40))
def test_any_text_gives_a_key_or_none(word):
    found = match_feature(word, KNOW)
    assert found is None or found in KNOW.features
    assert set(near_features(word, KNOW)) <= set(KNOW.features)


@given(st.text(max_size=40))
def test_plain_is_settled(word):
    assert plain(word).upper() == plain(word.upper()).upper() or not word.isascii()
    assert plain(f" {word}_") == plain(word)


def test_nearest_words_are_offered():
    assert near_features("pnd", KNOW)[0] == "pond"
    assert near_features("log_pyle", KNOW)[0] == "dead_wood_pile"
    assert near_features("qqqqqq", KNOW) == []
    assert near_plot_kinds("alotment", KNOW) == ["allotment"]


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("Front Garden", "garden_front"),
        ("back yard", "garden_back"),
        ("grass verge", "verge"),
        ("street planters", "planter"),
        ("cemetery", "churchyard"),
        ("school", "school_ground"),
    ],
)
def test_plot_kinds_people_write(word, key):
    assert match_plot_kind(word, KNOW) == key


@pytest.mark.parametrize(
    ("word", "key"), [("Railings", "railing"), ("brick wall", "wall"), ("fencing", "fence")]
)
def test_barrier_kinds_people_write(word, key):
    assert match_barrier_kind(word, KNOW) == key


@pytest.mark.parametrize("table", ["features", "plot_kinds", "barrier_kinds"])
def test_no_word_means_two_things(table):
    index = word_index(getattr(KNOW, table).values())
    assert {word: keys for word, keys in index.items() if len(keys) > 1} == {}
    assert "" not in index
