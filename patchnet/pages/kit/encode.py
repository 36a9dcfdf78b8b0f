"""Numbers and shapes written as short text, so that a large page stays small."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "ALPHABET", "column_code", "flag_codes", "path_code", "two_digit_codes", "whole_codes",
]  # fmt: skip

# 64 characters that need no escape in JSON, HTML or JavaScript.
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
_BYTES = np.frombuffer(ALPHABET.encode("ascii"), dtype=np.uint8)

_LOWEST = -6  # power of ten of the smallest number kept; what is smaller is written as 0
_HIGHEST = 12
_MISSING = 4095


def two_digit_codes(values: ArrayLike) -> str:
    """Write numbers to two significant digits, two characters each.

    Code 0 is zero, 4095 is missing (NaN); any other code c stands for
    ``(10 + (c - 1) mod 90) x 10 ** ((c - 1) div 90 - 7)``.

    Parameters
    ----------
    values
        Numbers >= 0 or NaN, shape (n,). Below 1e-6 they become 0; above 9.9e12 they become that.
    """
    array = np.asarray(values, dtype=np.float64)
    codes = np.zeros(array.shape, dtype=np.int64)
    codes[np.isnan(array)] = _MISSING
    positive = np.flatnonzero(array >= 10.0**_LOWEST)
    if positive.size:
        number = np.minimum(array[positive], 9.9 * 10.0**_HIGHEST)
        power = np.floor(np.log10(number)).astype(np.int64)
        digits = np.rint(number / 10.0 ** (power - 1)).astype(np.int64)
        # 9.96 rounds to 10, and log10 may be off by one unit at a power of ten.
        power = np.where(digits >= 100, power + 1, np.where(digits < 10, power - 1, power))
        power = np.clip(power, _LOWEST, _HIGHEST)
        digits = np.clip(np.rint(number / 10.0 ** (power - 1)).astype(np.int64), 10, 99)
        codes[positive] = 1 + (power - _LOWEST) * 90 + digits - 10
    return whole_codes(codes)


def column_code(values: ArrayLike) -> str:
    """Write numbers as `two_digit_codes`, or shorter where few of them differ.

    Up to 64 different numbers may be listed first: a point, one character for how many they are
    (less one), two for each; then one character for each value, which of the list it is.

    Parameters
    ----------
    values
        As of `two_digit_codes`, shape (n,).

    Examples
    --------
    >>> column_code([1, 1, 20, 1, 1, 20, 1, 1]), two_digit_codes([1, 20])
    ('.BIdKBAABAABAA', 'IdKB')
    """
    plain = two_digit_codes(values)
    pairs = np.frombuffer(plain.encode("ascii"), dtype=">u2")
    listed, which = np.unique(pairs, return_inverse=True)
    if listed.size > len(ALPHABET) or 2 + 2 * listed.size + pairs.size >= len(plain):
        return plain
    signs = _BYTES[np.r_[listed.size - 1, which]].tobytes().decode("ascii")
    return f".{signs[0]}{listed.tobytes().decode('ascii')}{signs[1:]}"


def whole_codes(values: ArrayLike) -> str:
    """Write whole numbers 0-4095, two characters each.

    Raises
    ------
    ValueError
        If a number lies outside.
    """
    codes = np.asarray(values, dtype=np.int64)
    if codes.size and (codes.min() < 0 or codes.max() > _MISSING):
        raise ValueError("Only 0 to 4095 fit into two characters.")
    out = np.empty((codes.size, 2), dtype=np.uint8)
    out[:, 0] = _BYTES[codes >> 6]
    out[:, 1] = _BYTES[codes & 63]
    return out.tobytes().decode("ascii")


def flag_codes(flags: ArrayLike) -> str:
    """Write yes and no, six to a character, the first in the lowest bit; nothing where all are no.

    Parameters
    ----------
    flags
        Shape (n,), true or false.

    Examples
    --------
    >>> flag_codes([True, False, False, False, False, True, True]), flag_codes([False] * 9)
    ('hB', '')
    """
    true = np.asarray(flags, dtype=bool)
    if not true.any():
        return ""
    bits = np.zeros((-(-true.size // 6), 6), dtype=np.int64)
    bits.flat[: true.size] = true
    return _BYTES[bits @ (1 << np.arange(6))].tobytes().decode("ascii")


def path_code(points: NDArray[np.int64]) -> str:
    """Write a path of whole numbers (or the rows of a table) as steps from point to point.

    Each step is folded to a number >= 0 (2 n, or -2 n - 1 where n < 0) and written in groups of
    five bits, least first, 32 added to all but the last.

    Parameters
    ----------
    points
        Shape (k, columns): whole centimetres from the page's origin, in two columns, or what else
        changes little from row to row.
    """
    start = np.zeros((1, points.shape[1]), dtype=np.int64)
    steps = np.diff(points, axis=0, prepend=start).ravel()
    folded = np.where(steps < 0, -2 * steps - 1, 2 * steps)
    out: list[str] = []
    for rest in folded.tolist():
        left = rest
        while left > 31:
            out.append(ALPHABET[32 + (left & 31)])
            left >>= 5
        out.append(ALPHABET[left])
    return "".join(out)
