"""What people type for a plot, and which one is meant."""

import pandas as pd
import pytest

from patchnet.core.errors import WrongUse
from patchnet.core.folding import folded
from patchnet.read.doors import (
    door_key,
    door_label,
    fold_number,
    household_plots,
    resolve_plot,
)

PLOTS = pd.DataFrame(
    {
        "label": [
            "Elm Road, No. 30, front", "Elm Road, No. 30, back", "Elm Road, No. 7",
            "Elm Road, No. 30a, front", "Oak Lane, Nos. 12, 14, front", "Oak Lane, plot N1, back",
            "The Old Dairy", "Oak Lane, No. 7, front",
        ],
        "street": ["Elm Road"] * 4 + ["Oak Lane"] * 4,
        "door": ["30", "30", "7", "30a", "12; 14", "", "", "7"],
    },
    index=["ER-30F", "ER-30B", "ER-7", "ER-30-AF", "OL-12-14F", "OL-N1B", "OL-G1", "OL-7F"],
)  # fmt: skip


@pytest.mark.parametrize(
    ("said", "plot", "told"),
    [
        ("ER-30F", "ER-30F", ""),
        ("er-30f", "ER-30F", "by its id"),
        ("the old dairy", "OL-G1", "by its label"),
        ("30a", "ER-30-AF", "by its door number"),
        ("No. 30 A", "ER-30-AF", "by its door number"),
        ("12", "OL-12-14F", "by its door number"),
        ("nr 14", "OL-12-14F", "by its door number"),
        ("7 Elm Road", "ER-7", "by its door number and street"),
        ("Oak Lane 7", "OL-7F", "by its door number and street"),
        ("No. 7, Oak Lane", "OL-7F", "by its door number and street"),
        ("30 a Elm Road", "ER-30-AF", "by its door number and street"),
        ("ER-30-A", "ER-30-AF", "by its id"),
    ],
)
def test_what_is_meant_and_how_it_was_told(said, plot, told):
    found = resolve_plot(PLOTS, said)
    assert found.plot == plot
    assert found.told == (f"{said} was taken as plot {plot}, {told}." if told else "")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("30", "'30' could be 2 plots: ER-30F, ER-30B. Say which."),
        ("7", "'7' could be 2 plots: ER-7, OL-7F. Say which."),
        ("ER-30", "'ER-30' could be 2 plots: ER-30F, ER-30B. Say which."),
        ("31", "There is no plot '31'."),
        ("", "There is no plot ''."),
        ("ER-3OF", "There is no plot 'ER-3OF'. Did you mean ER-30F"),
    ],
)
def test_what_is_not_unique_is_listed(said, words):
    with pytest.raises(WrongUse) as caught:
        resolve_plot(PLOTS, said)
    assert words in str(caught.value)


def test_a_household_is_front_and_back():
    assert household_plots(PLOTS, "30") == ("ER-30F", "ER-30B")
    assert household_plots(PLOTS, "ER-30B") == ("ER-30B",)
    with pytest.raises(WrongUse, match="could be 2 plots"):
        household_plots(PLOTS, "7")  # two doors in two streets


def test_an_id_of_an_older_map_comes_before_a_door_number():
    """An old walking number that is another house's door: the id is what it says."""
    plots = pd.DataFrame(
        {"label": "", "street": "Elm Road", "door": ["12", "30"]}, index=["30", "ER-12F"]
    )
    assert resolve_plot(plots, "30").plot == "30"
    assert resolve_plot(plots, "12").plot == "30"


def test_an_address_in_another_street():
    plots = pd.DataFrame(
        {"label": "", "street": "Elm Road", "door": ["1", "9"],
         "also": ["Mill Lane 9a; Mill Lane 12", ""]},
        index=["ER-1", "ER-9"],
    )  # fmt: skip
    assert resolve_plot(plots, "9").plot == "ER-9"
    for said in ("Mill Lane 9 A", "9a mill lane", "No. 12, Mill Lane"):
        assert resolve_plot(plots, said).plot == "ER-1"
    with pytest.raises(WrongUse):
        resolve_plot(plots, "Mill Lane 9")


def test_keys_and_labels():
    assert [door_key(one) for one in ("30", "30a", "12-14", "30/2", "12; 14; 16", "bell", "3bis")] \
        == ["30", "30-A", "12-14", "30-2", "12-16", "", "3-B-I-S"]  # fmt: skip
    assert door_label("12-14") == "Nos. 12\N{EN DASH}14"
    assert door_label("2; 4; 6; 8") == "Nos. 2\N{EN DASH}8 (4 doors)"
    assert fold_number("No. 12\N{EN DASH}14") == "12-14"
    assert folded("St. John's Road") == folded("ST JOHNS  ROAD")
