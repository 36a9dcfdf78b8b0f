"""What a survey has gathered: every statement, shape, answer about consent and return."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd

from patchnet.core.shown import Shown

__all__ = [
    "CONSENT",
    "DRAWN",
    "FORGOTTEN",
    "MISSING",
    "RETURNS",
    "SAID_IN",
    "STATEMENTS",
    "Records",
    "digest",
    "joined",
    "left_in_peace",
    "listed",
    "state_digest",
]

STATEMENTS = (
    "statement", "return", "plot", "feature", "answer", "amount", "sure", "seen_from", "surveyor",
    "when", "utc", "turn", "year", "dated", "note", "photo",
)  # fmt: skip
"""One row a statement. `statement` is a digest of it; `when` as written, `utc` for sorting; `turn`
counts statements of one moment; `year` is the round that it counts for; `dated` doubts the date."""

DRAWN = ("shape", "return", "plot", "feature", "amount", "surveyor", "when", "utc", "year")
"""One row a shape, with its geometry; `amount` is measured, in the feature's own unit."""

CONSENT = ("answer_id", "return", "plot", "consent", "surveyor", "when", "utc")
"""One row an answer about consent: yes or no."""

RETURNS = (
    "return", "content", "form", "street", "surveyor", "seen_from", "began", "saved", "damaged",
)  # fmt: skip
"""One row a return and content: the same `return` twice was handed in with two contents."""

FORGOTTEN = ("plot", "utc")
"""Plots whose household asked to be forgotten, and when."""

MISSING = ("house", "return", "door", "note", "surveyor", "when", "utc", "year")
"""One row a house that the map lacks, with its spot."""

SAID_IN = ("ident", "content")
"""One row for each content of a return in which a statement, shape or answer was: what two sheets
say alike is kept once, and stays when one of them is taken back."""

# What does not make two statements different: what follows from the rest, or from the day of
# merging; and for a sheet its id, since sheets that are mended and handed in again repeat rows.
_DERIVED = frozenset(("utc", "year", "dated", "statement", "answer_id", "shape", "house"))


def _empty(columns: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame(columns=list(columns), dtype=object)


def _no_shapes(columns: Sequence[str] = DRAWN) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(_empty(columns), geometry=[])


@dataclass(frozen=True, eq=False, repr=False)
class Records(Shown):
    """Everything gathered; columns as the tuples of this module say.

    `streets` are ids under which returns are taken (see `returns.street_id`).
    """

    statements: pd.DataFrame = field(default_factory=lambda: _empty(STATEMENTS))
    drawn: gpd.GeoDataFrame = field(default_factory=_no_shapes)
    consent: pd.DataFrame = field(default_factory=lambda: _empty(CONSENT))
    returns: pd.DataFrame = field(default_factory=lambda: _empty(RETURNS))
    forgotten: pd.DataFrame = field(default_factory=lambda: _empty(FORGOTTEN))
    said_in: pd.DataFrame = field(default_factory=lambda: _empty(SAID_IN))
    streets: tuple[str, ...] = ()
    missing: gpd.GeoDataFrame = field(default_factory=lambda: _no_shapes(MISSING))

    @property
    def are_none(self) -> bool:
        """Whether nobody has said anything, nor asked to be forgotten."""
        return not any(
            len(table)
            for table in (
                self.statements, self.drawn, self.consent, self.returns, self.forgotten,
                self.missing,
            )
        )  # fmt: skip


def left_in_peace(records: Records) -> frozenset[str]:
    """Return the plots whose household asked to be forgotten and has not agreed again since.

    Parameters
    ----------
    records
        All records of a street.

    Returns
    -------
    frozenset
        Ids of plots.
    """
    agreed = records.consent[records.consent["consent"] == "yes"]
    last = agreed.groupby("plot")["utc"].max().to_dict()
    asked = zip(records.forgotten["plot"], records.forgotten["utc"], strict=True)
    return frozenset(str(plot) for plot, utc in asked if str(last.get(plot, "")) <= str(utc))


def listed(column: "pd.Series[Any]") -> list[Any]:
    """Return the values of a column; much faster than going through it.

    Parameters
    ----------
    column
        n values.
    """
    values: list[Any] = column.to_numpy(dtype=object).tolist()
    return values


def state_digest(records: Records) -> str:
    """Return a digest of all that was gathered, whatever the order in which it came.

    Parameters
    ----------
    records
        All records of a street.
    """
    found = hashlib.sha256()
    for name, key in (
        ("statements", "statement"), ("drawn", "shape"), ("consent", "answer_id"),
        ("returns", "content"), ("forgotten", "plot"), ("said_in", "ident"),
    ):  # fmt: skip
        table: pd.DataFrame = getattr(records, name)
        lines = [str(one) for one in listed(table[key])]
        if name == "said_in":
            lines = [
                f"{one} {two}" for one, two in zip(lines, listed(table["content"]), strict=True)
            ]
        found.update("\n".join([name, *sorted(lines), ""]).encode())
    if len(records.missing):  # files of earlier forms have none
        lines = sorted(str(one) for one in listed(records.missing["house"]))
        found.update("\n".join(["missing", *lines, ""]).encode())
    return found.hexdigest()[:16]


def digest(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return the rows with a column `name` in front: a digest of what each row says.

    Parameters
    ----------
    table
        Text columns of one of the records.
    name
        Name of the new column.
    """
    parts = [key for key in table.columns if key not in _DERIVED]
    columns = [
        [text if not text.startswith("sheet-") else "sheet" for text in listed(table[key])]
        if key == "return"
        else [str(value) for value in listed(table[key])]
        for key in parts
    ]
    found = [
        hashlib.sha256("\x1f".join(row).encode()).hexdigest()[:16]
        for row in zip(*columns, strict=True)
    ]
    return table.assign(**{name: found})[[name, *table.columns]]


def joined(
    tables: Sequence[pd.DataFrame], keys: Sequence[str], order: Sequence[str]
) -> pd.DataFrame:
    """Join tables, each row once by its `keys`, in an order that does not depend on theirs.

    Parameters
    ----------
    tables
        At least one, all with the same columns.
    keys
        Columns that say which row it is.
    order
        Columns to sort by.
    """
    filled = [table for table in tables if len(table)]
    if not filled:
        return tables[0]
    whole = filled[0] if len(filled) == 1 else pd.concat(filled, ignore_index=True)
    whole = whole.sort_values(list(order), kind="stable")
    return whole.drop_duplicates(list(keys)).reset_index(drop=True)
