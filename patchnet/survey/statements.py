"""What the statements of many people in many years come to, and what has changed since.

Nothing is overwritten: statements stay as they were made, and what they come to is worked out
from all of them each time.

* Within one return the last statement of a plot and feature counts: people correct themselves.
  Of several returns of one person in one year, the last that says there or not there.
* Between people of one year: if all who could see say there, it is there; if all say not there,
  it is not; if they differ, it is disputed, and that means not known until they agree.
* "Cannot see" settles nothing and disputes nothing.
* The last year with an answer counts. Against the years before it, each feature is gone, still
  there, new, or not looked at again.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from patchnet.core.folding import folded
from patchnet.read.feature_lists import Said, write_list
from patchnet.survey.survey_record import Records

__all__ = ["CHANGES", "by_year", "disputes", "resolve", "votes"]

CHANGES = (
    "gone", "still there", "new", "not looked at again", "still not there", "first answer",
    "disputed", "cannot see",
)  # fmt: skip
"""What can have become of a feature by the last year of the survey. New: it was not there before;
first answer: nobody had said before whether it was."""

_CELL = ["plot", "feature", "year"]


def votes(statements: pd.DataFrame, *, first_looks: bool = False) -> pd.DataFrame:
    """Return what each person holds in each year.

    Columns: plot, feature, year, person (by which people are told apart), surveyor (as written),
    answer, amount, sure, seen_from, when.

    A person who says there and not there at the same moment has two rows, and so disputes
    herself. Who gave no name is told by the return.

    Parameters
    ----------
    statements
        Columns as `survey_records.STATEMENTS`.
    first_looks
        True: what each person held at first, in the earliest return of the year in which she
        could see, before people talked over their differences: what agreement is counted on.
    """
    table = statements.copy()
    names = table["surveyor"].map(folded).astype(object)
    table["person"] = names.where(names != "", "return " + table["return"].astype(str))
    table["moment"] = pd.factorize(table["utc"], sort=True)[0]
    codes = {
        key: pd.factorize(table[key], sort=True)[0]
        for key in ("plot", "feature", "person", "return")
    }
    order = np.lexsort(
        (
            table["turn"].to_numpy(dtype=np.int64),
            table["moment"].to_numpy(),
            codes["return"],
            codes["person"],
            table["year"].to_numpy(dtype=np.int64),
            codes["feature"],
            codes["plot"],
        )
    )
    table = table.iloc[order]
    last = table.drop_duplicates([*_CELL, "person", "return"], keep="last").copy()
    last["holder"] = last.groupby([*_CELL, "person"], sort=False).ngroup()
    blind = last["answer"] == "cannot see"
    seeing = last[~blind]
    moments = seeing.groupby("holder", sort=False)["moment"]
    counted = moments.transform("min") if first_looks else moments.transform("max")
    kept = seeing[seeing["moment"] == counted].drop_duplicates(["holder", "answer", "amount"])
    # Who could see at another time of the year is not blind.
    hidden = last[blind & ~last["holder"].isin(seeing["holder"])].drop_duplicates("holder")
    both = pd.concat([kept, hidden]) if len(hidden) else kept
    columns = [*_CELL, "person", "surveyor", "answer", "amount", "sure", "seen_from", "when"]
    return both.sort_values(["holder", "answer"], kind="stable")[columns].reset_index(drop=True)


def by_year(records: Records, *, held: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return what each year's statements come to.

    Parameters
    ----------
    records
        Statements, and shapes for the amounts.
    held
        Rows from `votes` of these statements, if they are at hand.

    Returns
    -------
    DataFrame
        One row a plot, feature and year: plot, feature, year, answer (there, not there,
        disputed, cannot see), amount (in the feature's unit; NaN not said), sure, there,
        not_there and cannot_see (so many people), drawn (whether the amount was measured on a
        drawn shape).
    """
    held = votes(records.statements) if held is None else held
    counts = (
        held.assign(
            there=(held["answer"] == "there").astype(np.int64),
            not_there=(held["answer"] == "not there").astype(np.int64),
            cannot_see=(held["answer"] == "cannot see").astype(np.int64),
        )
        .groupby([*_CELL, "person"], sort=True)[["there", "not_there", "cannot_see"]]
        .max()
        .groupby(_CELL, sort=True)
        .sum()
    )
    answer = np.select(
        [
            (counts["there"] > 0) & (counts["not_there"] > 0),
            counts["there"] > 0,
            counts["not_there"] > 0,
        ],
        ["disputed", "there", "not there"],
        "cannot see",
    )
    table = counts.assign(answer=answer)
    said = held[(held["answer"] == "there") & held["amount"].notna()]
    table["amount"] = _middle(said.astype({"amount": float}), _CELL).reindex(table.index)
    sure = held["sure"].astype(bool) & (held["answer"] != "cannot see")
    table["sure"] = sure.groupby([held[key] for key in _CELL]).any().reindex(table.index)
    drawn = _drawn_amounts(records).reindex(table.index)
    table["drawn"] = drawn.notna()
    table["amount"] = drawn.fillna(table["amount"]).where(table["answer"] == "there")
    columns = ["answer", "amount", "sure", "there", "not_there", "cannot_see", "drawn"]
    return table[columns].reset_index()


def disputes(years: pd.DataFrame, held: pd.DataFrame) -> pd.DataFrame:
    """Return what people differ on, and who says what.

    Parameters
    ----------
    years
        From `by_year`.
    held
        From `votes`.

    Returns
    -------
    DataFrame
        One row a plot and feature whose last answer is disputed: plot, feature, year, there_by,
        not_there_by (names; "no name" for who gave none).
    """
    columns = ["plot", "feature", "year", "there_by", "not_there_by"]
    if not len(years):
        return pd.DataFrame(columns=columns)
    last = _last_telling(years, ["plot", "feature"])
    cells = last.loc[last["answer"] == "disputed", _CELL]
    said = held.merge(cells, on=_CELL).sort_values([*_CELL, "person"], kind="stable")
    said["name"] = said["surveyor"].where(said["surveyor"] != "", "no name")
    rows = cells.sort_values(_CELL, kind="stable").set_index(_CELL)
    for column, answer in (("there_by", "there"), ("not_there_by", "not there")):
        names = said[said["answer"] == answer].groupby(_CELL)["name"].agg(", ".join)
        rows[column] = names.reindex(rows.index)
    return rows.reset_index()[columns]


def resolve(years: pd.DataFrame, plots: Sequence[str], features: Sequence[str]) -> pd.DataFrame:
    """Return what is held of each feature now, and what has changed.

    Parameters
    ----------
    years
        From `by_year`.
    plots, features
        Their order in the map and in the tables.

    Returns
    -------
    DataFrame
        One row a plot and feature of which anything was ever said: plot, feature (its key),
        features (a list that is read back), answer (there, not there, not known), amount, sure,
        year (that the answer is from), change (see `CHANGES`), before (the earlier year it is
        compared with; NaN none), people_there, people_not_there, people_cannot_see (of that year).
    """
    columns = (
        "plot", "feature", "features", "answer", "amount", "sure", "year", "change", "before",
        "people_there", "people_not_there", "people_cannot_see",
    )  # fmt: skip
    if not len(years):
        return pd.DataFrame(columns=list(columns))
    cell = ["plot", "feature"]
    latest = years["year"].max()
    table = years.sort_values([*cell, "year"], kind="stable")
    now = _last_telling(table, cell)
    settled = table[table["answer"].isin(["there", "not there"]) & (table["year"] < latest)]
    before = settled.drop_duplicates(cell, keep="last").set_index(cell)
    index = pd.MultiIndex.from_frame(now[cell])
    earlier = before["answer"].reindex(index).to_numpy(dtype=object)
    looked = table[(table["year"] == latest)].set_index(cell)["answer"].reindex(index)
    current = looked.to_numpy(dtype=object)
    was, had_no = earlier == "there", earlier == "not there"
    change = np.select(
        [
            current == "disputed",
            (current == "there") & was,
            (current == "there") & had_no,
            (current == "not there") & was,
            (current == "not there") & had_no,
            (current == "there") | (current == "not there"),
            (current == "cannot see") & ~was & ~had_no,
        ],
        ["disputed", "still there", "new", "gone", "still not there", "first answer", "cannot see"],
        "not looked at again",
    )
    known = now["answer"].isin(["there", "not there"])
    result = pd.DataFrame(
        {
            "plot": now["plot"].to_numpy(),
            "feature": now["feature"].to_numpy(),
            "answer": now["answer"].where(known, "not known").to_numpy(),
            "amount": now["amount"].to_numpy(dtype=float),
            "sure": now["sure"].to_numpy(dtype=bool),
            "year": now["year"].to_numpy(dtype=np.int64),
            "change": change,
            "before": before["year"].reindex(index).to_numpy(dtype=float),
            "people_there": now["there"].to_numpy(dtype=np.int64),
            "people_not_there": now["not_there"].to_numpy(dtype=np.int64),
            "people_cannot_see": now["cannot_see"].to_numpy(dtype=np.int64),
        }
    )
    result["features"] = [
        write_list([Said(key, answer, None if np.isnan(amount) else amount, bool(sure))])
        for key, answer, amount, sure in zip(
            result["feature"], result["answer"], result["amount"], result["sure"], strict=True
        )
    ]
    place = {key: at for at, key in enumerate(plots)}
    rank = {key: at for at, key in enumerate(features)}
    order = np.lexsort((result["feature"].map(rank), result["plot"].map(place)))
    return result.iloc[order].reset_index(drop=True)[list(columns)]


def _last_telling(table: pd.DataFrame, cell: list[str]) -> pd.DataFrame:
    """Return the last row of each plot and feature that settles it, or else its last row."""
    weight = (table["answer"] != "cannot see").astype(int)
    ordered = table.assign(weight=weight).sort_values([*cell, "weight", "year"], kind="stable")
    return ordered.drop_duplicates(cell, keep="last")


def _drawn_amounts(records: Records) -> "pd.Series[float]":
    """Return what was measured on shapes: each person's last drawing, the middle of several."""
    table = pd.DataFrame(records.drawn.drop(columns="geometry"))
    if not len(table):
        return pd.Series(dtype=float, index=pd.MultiIndex.from_arrays([[], [], []], names=_CELL))
    names = table["surveyor"].map(folded).astype(object)
    table["person"] = names.where(names != "", "return " + table["return"].astype(str))
    table["amount"] = table["amount"].astype(float)
    held = [*_CELL, "person", "return"]
    summed = table.groupby(held, sort=True).agg(amount=("amount", "sum"), utc=("utc", "max"))
    summed = summed.reset_index().sort_values([*held[:-1], "utc", "return"], kind="stable")
    return _middle(summed.drop_duplicates(held[:-1], keep="last"), _CELL)


def _middle(table: pd.DataFrame, keys: list[str]) -> "pd.Series[float]":
    """Return the median amount; of an even number the larger of the two in the middle."""
    ordered = table.sort_values([*keys, "amount"], kind="stable")
    grouped = ordered.groupby(keys, sort=True)["amount"]
    size, at = grouped.transform("size"), grouped.cumcount()
    return ordered[at == size // 2].set_index(keys)["amount"].sort_index()
