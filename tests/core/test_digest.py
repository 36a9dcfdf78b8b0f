"""Digests: alike for what is alike, another for any difference, and never of what is not known."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from patchnet.core.digest import digest_of, own_digest


@dataclass(frozen=True)
class Pair:
    first: Any
    second: Any = None


@dataclass(frozen=True)
class Other:
    first: Any
    second: Any = None


def table(**changed):
    columns = {"a": [1.0, np.nan], "b": ["x", None]} | changed
    return gpd.GeoDataFrame(
        columns, geometry=[shapely.Point(0, 0), shapely.Point(1, 1)], index=["p", "q"]
    )


DIFFERENT = [
    (), (None,), ("",), (b"",), (0,), (0.0,), (-0.0,), (False,), ("0",), ("None",),
    ("ab", "c"), ("a", "bc"), (["a"], "b"), (["a", "b"],), (("a", "b"), ()), ("ab",),
    ({"a": 1},), ({"a": 2},), ({"b": 1},), ({"a": 1, "b": 2},), ({"b": 2, "a": 1},),
    (frozenset({"a", "b"}),),
    (np.zeros(4),), (np.zeros((2, 2)),), (np.zeros(4, dtype=np.float32),), (np.zeros(5),),
    (np.array(["a", "b"], dtype=object),), (np.array(["ab", ""], dtype=object),),
    (table(),), (table(a=[1.0, 2.0]),), (table(b=["x", "y"]),), (table().rename(index={"p": "r"}),),
    (table().rename(columns={"a": "c"}),), (table().iloc[::-1],), (table()["a"],),
    (shapely.Point(0, 1),), (shapely.LineString([(0, 0), (0, 1)]),),
    (Pair(1, 2),), (Pair(2, 1),), (Other(1, 2),), (Pair(1),),
]  # fmt: skip


def test_what_differs_has_another_digest():
    assert len({digest_of(*one) for one in DIFFERENT}) == len(DIFFERENT)


@pytest.mark.parametrize("thing", [
    table, lambda: Pair(table(), {"a": np.arange(3)}), lambda: {3, 1, 2},
    lambda: pd.Series(["a", "b"]), lambda: np.arange(6).reshape(2, 3),
])  # fmt: skip
def test_what_is_alike_has_the_same_digest(thing):
    assert digest_of(thing()) == digest_of(thing())


def test_how_an_array_lies_in_memory_is_nothing():
    rows = np.arange(6.0).reshape(2, 3)
    assert digest_of(np.asfortranarray(rows)) == digest_of(rows) != digest_of(rows.T)


def test_of_a_path_the_bytes_count(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_bytes(b"alike")
    other.write_bytes(b"alike")
    before = digest_of(one)
    assert digest_of(other) == before != digest_of(str(one))
    other.write_bytes(b"alikE")
    assert digest_of(other) != before


def test_what_nobody_can_compare_is_refused():
    with pytest.raises(TypeError, match="object"):
        digest_of([object()])


def test_the_program_has_one_digest():
    assert own_digest() == own_digest()
    assert len(own_digest()) == 64
