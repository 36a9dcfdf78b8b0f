"""How a fault reads, which spellings are near, and when many are told as one."""

import pickle

import pytest

from patchnet.core.errors import DataFaults, TableFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault, nearest, nearest_hint
from patchnet.core.read_limits import read_limit


@pytest.mark.parametrize(
    ("row", "ident", "line"),
    [
        (None, None, "error: plots: It is wrong. Mend it."),
        (0, None, "error: plots, row 0: It is wrong. Mend it."),
        (3, "", "error: plots, row 3 (): It is wrong. Mend it."),
        (None, "14", "error: plots (14): It is wrong. Mend it."),
        (3, "14", "error: plots, row 3 (14): It is wrong. Mend it."),
    ],
)
def test_a_fault_in_one_line(row, ident, line):
    assert str(Fault("error", "plots", row, ident, "It is wrong.", "Mend it.")) == line


def test_a_fault_without_advice_ends_without_a_blank():
    assert str(Fault("warning", "plots", None, None, "Odd.", "")) == "warning: plots: Odd."


def test_near_spellings_are_at_most_three_and_the_best_comes_first():
    """Letters alike (Ratcliff and Metzener 1988): wrens 8 of 9, wre 6 of 7, wrensy 8 of 10."""
    words = ["wrensy", "wre", "Wren", "wrens", "owl"]
    assert nearest("wren", words) == ["Wren", "wrens", "wre"]
    assert nearest("WREN", words, most=1) == ["Wren"]
    assert nearest("hedgehog", words) == []
    assert nearest_hint("wren", ["owl", "wrens", "wre"]) == " Did you mean wrens or wre?"
    assert nearest_hint("hedgehog", words) == ""


def test_six_in_ten_letters_alike_are_near_and_less_is_not():
    """abcde/abcxy: 2 x 3 of 10 letters; abcdef/abcxyz: 2 x 3 of 12."""
    assert nearest("abcde", ["abcxy"]) == ["abcxy"]
    assert nearest("abcdef", ["abcxyz"]) == []


def rows(count, ident="p"):
    return [((k, f"{ident}{k}" if ident else None), f"what {k}") for k in range(1, count + 1)]


@pytest.mark.parametrize("count", [0, 1, 8])
def test_eight_alike_are_told_one_by_one(count):
    faults = FaultList()
    faults.warn_rows("plots", rows(count), together="{n} are odd.", mend="Look.")
    expected = [
        Fault("warning", "plots", k, f"p{k}", f"what {k}", "Look.") for k in range(1, count + 1)
    ]
    assert faults.faults == tuple(expected)
    assert not faults.errors


def test_nine_alike_are_one_line():
    faults = FaultList()
    faults.warn_rows("plots", rows(9, ident=""), together="{n} are odd.", mend="Look.")
    (fault,) = faults.faults
    assert (fault.row, fault.ident) == (None, None)
    assert fault.what == "9 are odd. Rows 1, 2, 3, 4, 5, 6, 7, 8, 9."


@pytest.mark.parametrize(("count", "end"), [(60, "60 (p60)."), (61, "60 (p60) and 1 more.")])
def test_sixty_rows_are_named(count, end):
    faults = FaultList()
    faults.warn_rows("plots", rows(count), together="{n} are odd.", mend="Look.")
    (fault,) = faults.faults
    assert fault.what.startswith(f"{count} are odd. Rows 1 (p1), 2 (p2), ")
    assert fault.what.endswith(end)


def test_a_list_keeps_the_order_and_knows_its_errors():
    faults = FaultList()
    faults.warn("a", "Odd.", "Look.", row=1)
    assert not faults.errors
    faults.error("b", "Wrong.", "Mend it.", ident="x")
    faults.extend([Fault("warning", "c", None, None, "Odd.", "Look.")])
    assert faults.errors
    assert [(one.severity, one.where) for one in faults.faults] == [
        ("warning", "a"), ("error", "b"), ("warning", "c"),
    ]  # fmt: skip
    error = TableFaults(faults.faults)
    assert str(error) == "error: b (x): Wrong. Mend it."
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own
    assert (type(again), again.faults, again.exit_status) == (TableFaults, faults.faults, 1)
    assert str(DataFaults([])) == "no faults"


def test_limits_are_those_of_the_table():
    assert (read_limit("return_seconds"), read_limit("sheet_rows")) == (20, 250_000)
