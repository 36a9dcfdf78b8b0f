"""Who is counted in a table for the public, what waits, and what is left of who was forgotten."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from patchnet.survey.release import (
    CELLS,
    FRONT,
    STATES,
    UNITS,
    Ledger,
    _digest,
    _lacking,
    _token,
    forgotten_in,
    taking_part,
)

NAN = float("nan")
# Plot: household, kind, amounts of pond and bog, consent.
PLOTS = {
    "1": ("A", "garden_front", (NAN, 1), ""),
    "2": ("A", "garden_back", (2, NAN), "yes"),
    "3": ("B", "garden_front", (0, NAN), ""),
    "4": ("B", "garden_back", (NAN, 0), ""),
    "5": ("C", "garden", (0, 0), "no"),
    "6": ("D", "garden", (NAN, NAN), "yes"),
    "7": ("E", "garden_back", (0, 3), ""),
    "8": ("E", "allotment", (NAN, NAN), ""),
    "9": ("-", "verge", (1, 1), ""),
}
# Of each household pond and bog behind the house, and in front of it.
WANTED = {
    "A": [1, NAN, NAN, 1],
    "B": [NAN, 0, 0, NAN],
    "C": [0, 0, NAN, NAN],
    "E": [NAN, 1, NAN, NAN],
}


def counted(*, needs_yes=False, consent=True, refused=()):
    table = pd.DataFrame(
        {"kind": [kind for _, kind, _, _ in PLOTS.values()]}, index=pd.Index(list(PLOTS))
    )
    if consent:
        said = [said for _, _, _, said in PLOTS.values()]
        table["consent"] = [
            "no" if plot in refused else one for plot, one in zip(PLOTS, said, strict=True)
        ]
    answers = SimpleNamespace(
        features=("bog", "pond"),
        amount=np.array([amounts[::-1] for _, _, amounts, _ in PLOTS.values()], dtype=float),
        plots=table.index,
    )
    homes = {plot: one for plot, (one, _, _, _) in PLOTS.items() if one != "-"}
    return taking_part(
        SimpleNamespace(plots=table, answers=answers), pd.Series(homes), ["pond", "bog"],
        fronts={"garden_front"}, needs_yes=needs_yes,
    )  # fmt: skip


def test_what_a_household_has_on_any_plot_or_knows_that_it_has_not():
    """E has a bog on one plot, whatever the other holds; whether a pond, nobody knows."""
    names, said, columns = counted(consent=False)
    assert columns == ["pond", "bog", f"pond{FRONT}", f"bog{FRONT}"]
    assert names == ["A", "B", "C", "E"], "of D nothing is known"
    np.testing.assert_array_equal(said, [WANTED[name] for name in names])


def test_who_said_no_for_any_plot_takes_no_part():
    assert counted()[0] == ["A", "B", "E"]
    assert counted(refused="1")[0] == ["B", "E"]
    assert counted(refused="8")[0] == ["A", "B"]


def test_where_a_yes_is_needed_it_is_enough_for_one_plot():
    names, said, _ = counted(needs_yes=True)
    assert names == ["A"]
    np.testing.assert_array_equal(said, [WANTED["A"]])
    assert counted(needs_yes=True, consent=False)[0] == []


def states(**units):
    """A unit is told as ``"a1 b1"``: household a in state 1, household b in state 1."""
    rows = [(unit, one[:-1], one[-1]) for unit, told in units.items() for one in told.split()]
    return pd.DataFrame(rows, columns=list(STATES), dtype=object)


@pytest.mark.parametrize(
    ("after", "lacking"),
    [
        ("a1 b1 c1 d1", {}),  # nobody
        ("a2 b1 c1 d1", {"u1": 2}),  # one changed
        ("b1 c1 d1", {"u1": 2}),  # one went
        ("a1 b1 c1 d1 e1", {"u1": 2}),  # one came
        ("a2 b1 c1 e1", {}),  # one changed, one went, one came: three
        ("a2 b2 c1 d1", {"u1": 1}),
        ("a2 b2 c2 d1", {}),
    ],
)
def test_a_table_waits_for_a_batch_of_three(after, lacking):
    ledger = Ledger(states=states(u1="a1 b1 c1 d1", u2="z1"), names={"u1": "", "u2": ""})
    assert _lacking(ledger, states(u1=after, u2="z1"), 3) == lacking


def test_who_was_forgotten_and_comes_back_is_one_change():
    ledger = Ledger(states=states(u1="x11 b1"), names={"u1": ""})
    assert _lacking(ledger, states(u1="a1 b1"), 3) == {"u1": 2}
    assert _lacking(ledger, states(u1="b1"), 3) == {"u1": 2}
    assert _lacking(ledger, states(u1="a1 b1 c1"), 3) == {"u1": 1}


def ledger_of(*tables):
    """Two households in a unit; a table says which value (0, 1) each had, of pond and then bog."""
    rows = []
    for number, values in enumerate(tables, 1):
        for feature, said in zip(("pond", "bog"), values, strict=True):
            members = sorted(
                _token("k", one, feature, value) for one, value in zip("ab", said, strict=True)
            )
            rows.append((number, "", "u1", feature, " ".join(members), 0, 2, 0, 3))
    found = [("u1", _digest("k", one), _digest("k", one, "said")) for one in "ab"]
    return Ledger(
        key="k",
        units=pd.DataFrame(
            [("1", "a", "u1"), ("2", "a", "u1"), ("3", "b", "u1")], columns=list(UNITS)
        ),
        cells=pd.DataFrame(rows, columns=list(CELLS)),
        states=pd.DataFrame(found, columns=list(STATES)),
        names={"u1": "Elm"},
    )


def test_of_who_was_forgotten_only_the_order_of_versions_is_left():
    """Household a had no pond in two tables, then one; its bog stayed."""
    before = ledger_of(((0, 1), (1, 0)), ((0, 1), (1, 0)), ((1, 1), (1, 0)))
    after = forgotten_in(before, ["2"], outline=False)
    own = [[token for token in text.split() if token[0] == "x"] for text in after.cells["members"]]
    assert own == [["x1.v1"], ["x1.v1"], ["x1.v1"], ["x1.v1"], ["x1.v2"], ["x1.v1"]]
    others = [_token("k", "b", feature, value) for feature, value in (("pond", 1), ("bog", 0))]
    for text, token in zip(after.cells["members"], others * 3, strict=True):
        assert token in text.split()
        assert len(text.split()) == 2
    assert after.states["household"].tolist() == ["x1", _digest("k", "b")]
    assert after.states["state"].tolist() == ["x1", _digest("k", "b", "said")]
    assert len(after.units) == 3
    assert _digest("k", "a") not in after.cells.to_csv() + after.states.to_csv()
    assert before.states["household"].tolist()[0] == _digest("k", "a"), (
        "the earlier one is left alone"
    )


def test_the_next_who_is_forgotten_gets_the_next_number_and_goes_from_its_unit():
    once = forgotten_in(ledger_of(((0, 1), (1, 0))), ["1"], outline=False)
    twice = forgotten_in(once, ["3"], outline=True)
    assert sorted(twice.states["household"]) == ["x1", "x2"]
    assert twice.units["plot"].tolist() == ["1", "2"]
    assert forgotten_in(once, ["7"], outline=True) is once
