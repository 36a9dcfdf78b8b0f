"""The order of elimination: each cell once, and what it is for."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array, csc_array
from scipy.sparse.linalg import splu

from patchnet.movement.dissection import nested_dissection


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40))
def test_every_cell_has_one_place(rows, columns):
    assert sorted(nested_dissection(rows, columns)) == list(range(rows * columns))


def test_a_row_of_seventeen():
    """The middle cell, number 8, comes last; the halves of eight are small enough as they are."""
    assert nested_dissection(1, 17).tolist() == [*range(8), 16, *range(8, 16)]


@pytest.mark.parametrize("side", [60])
def test_it_fills_in_less_than_row_by_row(side):
    """George 1973: n log n entries against n^1.5 of the order in which the cells lie."""
    cell = np.arange(side * side).reshape(side, side)
    pairs = [
        (cell[:, :-1], cell[:, 1:]), (cell[:-1], cell[1:]),
        (cell[:-1, :-1], cell[1:, 1:]), (cell[:-1, 1:], cell[1:, :-1]),
    ]  # fmt: skip
    i, j = (np.concatenate([pair[k].ravel() for pair in pairs]) for k in (0, 1))
    both = np.r_[i, j, cell.ravel()], np.r_[j, i, cell.ravel()]
    values = np.r_[np.full(2 * len(i), -1.0), np.full(side * side, 9.0)]
    filled = []
    for place in (cell.ravel(), nested_dissection(side, side)):
        matrix = csc_array(coo_array((values, (place[both[0]], place[both[1]]))))
        factor = splu(
            matrix, permc_spec="NATURAL", diag_pivot_thresh=0, options={"SymmetricMode": True}
        )
        filled.append(factor.nnz)
    assert filled[1] < filled[0] / 2
