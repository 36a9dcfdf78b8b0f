"""Numbers and paths as text: read back by a decoder written apart from the encoder."""

import math
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.pages.kit.encode import (
    ALPHABET,
    column_code,
    path_code,
    two_digit_codes,
    whole_codes,
)


def _numbers(code: str) -> list[float]:
    """Read codes as the docstring of `two_digit_codes` says."""
    values = []
    for at in range(0, len(code), 2):
        number = ALPHABET.index(code[at]) * 64 + ALPHABET.index(code[at + 1])
        if number == 0:
            values.append(0.0)
        elif number == 4095:
            values.append(math.nan)
        else:
            power, digits = divmod(number - 1, 90)
            values.append(float(f"{digits + 10}e{power - 7}"))
    return values


def _path(code: str) -> list[tuple[int, int]]:
    folded, number, shift = [], 0, 0
    for sign in code:
        digit = ALPHABET.index(sign)
        number |= (digit & 31) << shift
        shift += 5
        if digit < 32:
            folded.append(number)
            number, shift = 0, 0
    steps = [-(one + 1) // 2 if one % 2 else one // 2 for one in folded]
    points, x, y = [], 0, 0
    for at in range(0, len(steps), 2):
        x, y = x + steps[at], y + steps[at + 1]
        points.append((x, y))
    return points


def _column(code: str) -> list[float]:
    """Read a column as the docstring of `column_code` says."""
    if not code.startswith("."):
        return _numbers(code)
    ends = 2 + 2 * (ALPHABET.index(code[1]) + 1)
    listed = _numbers(code[2:ends])
    return [listed[ALPHABET.index(sign)] for sign in code[ends:]]


@given(st.lists(st.sampled_from([0.0, math.nan, *range(1, 80)]), max_size=300))
def test_a_column_reads_as_its_two_digits_and_is_never_longer(values):
    plain, short = two_digit_codes(values), column_code(values)
    assert len(short) <= len(plain)
    assert _column(short) == pytest.approx(_numbers(plain), nan_ok=True, rel=1e-12)


def test_columns_worked_on_paper():
    """Sixty-four numbers are listed in 2 + 2 x 64 characters, so 131 values are shorter so; of
    sixty-five different ones none are. One number alone takes 2 + 2 + n characters."""
    different = [10 + at for at in range(64)]
    assert len(column_code([*different, *[10] * 67])) == 2 + 2 * 64 + 131
    assert len(column_code([*different, *[10] * 66])) == 2 * 130
    assert len(column_code([*different, 90, *[10] * 200])) == 2 * 265
    assert len(column_code([7] * 100)) == 2 + 2 + 100
    assert column_code([]) == ""


def test_two_digits_worked_on_paper():
    """Each value rounded to two digits by hand; 9.96 becomes 10, a blank stays a blank."""
    given_ = [0, 1, 9.96, 34.4, 0.0449, 128, 99_900, math.nan, 1e-9, math.inf]
    wanted = [0, 1, 10, 34, 0.045, 130, 100_000, math.nan, 0, 9.9e12]
    assert _numbers(two_digit_codes(given_)) == pytest.approx(wanted, nan_ok=True, rel=1e-12)


@given(st.lists(st.floats(1e-5, 1e11), max_size=20))
def test_two_digits_agree_with_decimal(values):
    for value, read in zip(values, _numbers(two_digit_codes(values)), strict=True):
        exact = Decimal(value)
        unit = Decimal((0, (1,), exact.adjusted() - 1))
        wanted = exact.quantize(unit, rounding=ROUND_HALF_EVEN)
        # Half-way cases may fall either way: the quotient is rounded once before the digits are.
        near = abs(abs(exact - wanted) - unit / 2) < unit * Decimal("1e-9")
        assert near or math.isclose(read, float(wanted), rel_tol=1e-12)


@given(st.lists(st.tuples(*[st.integers(-(10**8), 10**8)] * 2), min_size=1, max_size=30))
def test_a_path_reads_back(points):
    assert _path(path_code(np.array(points, dtype=np.int64))) == points


def test_a_path_worked_on_paper():
    """Steps (3, -1), (-3, 20): folded 6, 1, 5, 40; 40 = 8 + 32, so 'o' (40) then 'B' (1)."""
    assert path_code(np.array([[3, -1], [0, 19]])) == "GBFoB"


def test_a_whole_number_too_large_is_refused():
    with pytest.raises(ValueError, match="4095"):
        whole_codes([4096])
    assert whole_codes([0, 64, 4095]) == "AABA__"
