"""Where does this number come from?"""

import pytest

from patchnet.core.errors import WrongUse
from patchnet.knowledge import describe_source, load_knowledge

KNOW = load_knowledge()


def test_a_published_figure_names_value_range_class_work_and_place():
    text = describe_source(KNOW, "groups/mason_bee/hop")
    assert "150 m (range 70 to 300)" in text
    assert "Published" in text
    assert "Hofmann, M. M." in text
    assert "group_figures.csv line 2" in text
    assert "d50" not in text


def test_an_assumption_is_called_one():
    text = describe_source(KNOW, "groups/mason_bee/weight")
    assert "Our own assumption, not a finding" in text


@pytest.mark.parametrize("table", sorted({key.split("/")[0] for key in KNOW.figures}))
def test_every_figure_can_be_asked_for(table):
    """One test a table: thousands of tests of a millisecond each would take longer to run about."""
    for key, figure in KNOW.figures.items():
        if key.split("/")[0] == table:
            text = describe_source(KNOW, key)
            assert text.startswith(f"{key}: ")
            assert figure.place in text, key
            own = "Our own assumption, not a finding" in text
            assert own == (figure.kind == "assumption"), key
            assert all(f"{source}: " in text for source in figure.sources), key


@pytest.mark.parametrize("key", ["groups/newt", "groups/newt/", " Groups/Newt "])
def test_a_prefix_lists_all_below(key):
    text = describe_source(KNOW, key)
    for quantity in ("hop", "d50", "anchor/breeding_water", "anchor_reach", "step_min", "weight"):
        assert f"groups/newt/{quantity}: " in text
    assert "groups/newt/active_months: " in text
    assert "groups/frog" not in text


def test_a_prefix_ends_at_a_slash():
    """supplies/pond must not list supplies/pond_something; features/tree is nothing."""
    with pytest.raises(WrongUse, match="tree_small"):
        describe_source(KNOW, "features/tree_smal")
    assert "container_pond" not in describe_source(KNOW, "supplies/pond")


def test_every_source_can_be_asked_for():
    for key, source in KNOW.sources.items():
        text = describe_source(KNOW, key)
        assert source.citation in text, key
        uses = sum(key in entry.sources for entry in KNOW.figures.values())
        uses += sum(key in entry.sources for entry in KNOW.origins.values())
        assert f"Used for {uses} entries" in text or (uses == 0 and "cautions/" in text), key


def test_every_caution_can_be_asked_for():
    for key, caution in KNOW.cautions.items():
        assert caution.words in describe_source(KNOW, f"cautions/{key}"), key


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("groups/mason_bee/hopp", "groups/mason_bee/hop"),
        ("newt", "barrier_crossings/newt or densities/newt or groups/newt or movement_costs/newt"),
        ("hofman_2020", "hofmann_2020"),
        ("cautions/pond_child", "cautions/pond_children"),
        ("qqqqqq", "Try groups"),
        ("", "Try groups"),
        ("/", "Try groups"),
    ],
)
def test_unknown_keys_are_refused_with_the_nearest(key, hint):
    with pytest.raises(WrongUse) as caught:
        describe_source(KNOW, key)
    assert hint in str(caught.value)
    assert caught.value.exit_status == 2
