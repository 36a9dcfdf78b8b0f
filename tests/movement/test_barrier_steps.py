"""Steps that a barrier lies on, as the growth looks them up: counted out on a grid of 2 x 2."""

import numpy as np
import pytest

from patchnet.movement.barrier_steps import DIRECTIONS, Crossings, Steps, gather_steps


def steps(*where):
    """Closed steps: cell (0-3, row by row) and direction (0-3)."""
    key = np.array(sorted(cell * 4 + direction for cell, direction in where), dtype=np.int64)
    found = Crossings(key, np.zeros(len(key), np.int32), np.zeros(len(key)))
    ones = np.full(len(key), np.inf)
    return gather_steps(found, ones, ones, np.zeros(len(key), np.bool_))


@pytest.mark.parametrize(
    ("cell", "direction", "flags"),
    [
        (0, 0, {(1, 1): 1, (1, 2): 16}),
        (1, 1, {(1, 2): 2, (2, 2): 32}),
        (0, 2, {(1, 1): 4, (2, 2): 64}),
        (1, 3, {(1, 2): 8, (2, 1): 128}),
    ],
)
def test_a_step_is_flagged_at_both_its_ends_and_nowhere_else(cell, direction, flags):
    """Bit d of the first cell, bit d + 4 of the second: east, south, south-east, south-west."""
    assert DIRECTIONS[:4] == ((0, 1), (1, 0), (1, 1), (1, -1))
    wanted = np.zeros((4, 4), np.uint8)
    for place, bits in flags.items():
        wanted[place] = bits
    np.testing.assert_array_equal(steps((cell, direction)).flags((2, 2)), wanted)


def test_flags_of_several_steps_add_up():
    """Two steps from the first cell, and one that ends where one of them does."""
    flags = steps((0, 0), (0, 1), (1, 3)).flags((2, 2))
    assert flags[1:3, 1:3].tolist() == [[3, 16 + 8], [32 + 128, 0]]
    assert flags.sum() == 3 + 24 + 160


def test_keys_in_a_grid_with_a_border():
    """Cell (1, 0) of 2 x 3 is cell (2, 1) of 4 x 5: number 11, key 44 and the direction."""
    assert steps((3, 2)).padded_key((2, 3)).tolist() == [46]
    assert len(Steps.none().padded_key((2, 3))) == 0


def test_of_several_barriers_on_a_step_the_costliest_counts():
    found = Crossings(np.array([4, 4, 9]), np.array([7, 2, 1], np.int32), np.zeros(3))
    one = gather_steps(
        found, np.array([3.0, 5, 1]), np.array([2.0, 1, 0]), np.array([False, True, False])
    )
    assert one.key.tolist() == [4, 9]
    assert (one.extra.tolist(), one.opened.tolist()) == ([5, 1], [2, 0])
    assert one.gap.tolist() == [True, False]
    assert [one.barrier[a:b].tolist() for a, b in zip(one.start, one.start[1:], strict=False)] == [
        [7, 2], [1],
    ]  # fmt: skip
