"""What everybody may know of a street: classes of shares, in units that are fixed once.

What must be safe is the series of all that was handed out, so it stands in a ledger inside the
street's own file. A new table is made only where in every unit nobody or a good handful of
households changed; else the last one is handed out again. Its classes are broad, and laid together
where they could give an answer away (`release_audit`).
"""

import hashlib
import hmac
import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.release_audit import Bound, class_bounds, safe_classes

__all__ = [
    "CELLS",
    "FRONT",
    "STATES",
    "UNITS",
    "Ledger",
    "Released",
    "class_edges",
    "forgotten_in",
    "new_key",
    "release",
    "released_before",
    "taking_part",
]

UNITS = ("plot", "household", "unit")
"""One row a plot: which household and unit it belongs to; never changed once it is there."""
CELLS = ("number", "date", "unit", "feature", "members", "low", "high", "first", "last")
"""One row a unit and feature of each table: tokens of the households counted, least and most of
them that have it, and the first and last class that was named."""
STATES = ("unit", "household", "state")
"""One row a household of the last table: keyed digests of who it is and what it had said."""

FRONT = "/front"
"""Stands after a feature's key for what is in front gardens, which are often all that is seen."""

_PART = ""  # stands for the feature in the row that tells how many were counted
_ANONYMOUS = "x"
_HEX = 10
_VERSION_HEX = 4

Said = NDArray[np.float64]


def _empty(columns: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame(columns=list(columns), dtype=object)


@dataclass(frozen=True, eq=False)
class Ledger:
    """All that was handed out of a street.

    Attributes
    ----------
    key
        Key of the digests; it never leaves the street's file.
    units, cells, states
        Columns as the tuples of this module say.
    names, shapes
        Unit -> what it is called, and its outline as it was when units were fixed.
    """

    key: str = ""
    units: pd.DataFrame = field(default_factory=lambda: _empty(UNITS))
    cells: pd.DataFrame = field(default_factory=lambda: _empty(CELLS))
    states: pd.DataFrame = field(default_factory=lambda: _empty(STATES))
    names: Mapping[str, str] = field(default_factory=dict)
    shapes: Mapping[str, shapely.Geometry] = field(default_factory=dict)

    @property
    def number(self) -> int:
        """Number of the last table; 0 where there was none."""
        return int(self.cells["number"].max()) if len(self.cells) else 0


@dataclass(frozen=True, eq=False)
class Released:
    """The table that everybody may have.

    Attributes
    ----------
    day
        Its date.
    number
        How many tables there have been.
    unit_of
        Plot -> unit.
    household_of
        Plot -> household.
    names, shapes
        Of the units.
    classes
        Unit, feature -> first and last class; what is not in it is not told.
    waits
        Unit -> how many households more must change before there is a new table; empty where
        this is a new one, or where nothing changed.
    taking_part
        Unit -> class of the share of its households that were counted.
    """

    day: str
    number: int
    unit_of: Mapping[str, str]
    household_of: Mapping[str, str]
    names: Mapping[str, str]
    shapes: Mapping[str, shapely.Geometry]
    classes: Mapping[tuple[str, str], tuple[int, int]]
    waits: Mapping[str, int] = field(default_factory=dict)
    taking_part: Mapping[str, int] = field(default_factory=dict)


def class_edges(knowledge: Knowledge) -> list[float]:
    """Return the shares at which the second, third and fourth class begin.

    Parameters
    ----------
    knowledge
        For the edges.

    Returns
    -------
    list
        Three shares of a unit's households, 0-1.
    """
    return [knowledge.setting(f"public_class_{name}") for name in ("some", "many", "most")]


def taking_part(
    neighbourhood: Neighbourhood,
    household_of: "pd.Series[str]",
    features: Sequence[str],
    *,
    fronts: Collection[str],
    needs_yes: bool,
) -> tuple[list[str], Said, list[str]]:
    """Return the households whose answers may be counted, and what each has.

    What is in front gardens is told apart from the rest: of many a house the front alone was seen,
    and a share over what was seen of either would be of neither.

    A household that said no for any of its plots takes no part; nor does one of which nothing is
    known, as after it was forgotten.

    Parameters
    ----------
    neighbourhood
        The street.
    household_of
        Household of each plot; plots that are nobody's home are not in it.
    features
        Keys that are counted.
    fronts
        Kinds of plot that are the part before a house.
    needs_yes
        True: only households that said yes.

    Returns
    -------
    tuple
        Households, k of them, in the order of the plots; what they have, shape (k, columns): 1 on
        any of its plots, 0 on none, NaN not known; and the columns: each feature, and each with
        `FRONT`.
    """
    answers = neighbourhood.answers
    at = [answers.features.index(key) for key in features]
    amount = pd.DataFrame(answers.amount[:, at], index=answers.plots).loc[household_of.index]
    owner = household_of.to_numpy(dtype=object)
    names = pd.Index(dict.fromkeys(owner))
    kinds = neighbourhood.plots["kind"].astype(str).loc[household_of.index]
    front = kinds.isin(list(fronts)).to_numpy()
    parts = []
    for mine in (~front, front):
        has = (amount[mine] > 0).groupby(owner[mine]).any().reindex(names)
        told = amount[mine].notna().groupby(owner[mine]).all().reindex(names)
        there = has.fillna(value=False).to_numpy(dtype=bool)
        known = there | told.fillna(value=False).to_numpy(dtype=bool)
        parts.append(np.where(known, there, np.nan).astype(float))
    said = np.hstack(parts)
    columns = [*features, *(f"{key}{FRONT}" for key in features)]
    consent = _consent(neighbourhood).loc[household_of.index]
    refused = (consent == "no").groupby(owner).any().reindex(names).to_numpy(dtype=bool)
    agreed = (consent == "yes").groupby(owner).any().reindex(names).to_numpy(dtype=bool)
    part = ~refused & ~np.isnan(said).all(axis=1) & (agreed | (not needs_yes))
    return [str(name) for name in names[part]], said[part], columns


def _consent(neighbourhood: Neighbourhood) -> "pd.Series[str]":
    plots = neighbourhood.plots
    if "consent" in plots.columns:
        return pd.Series(plots["consent"].astype(str), index=plots.index)
    return pd.Series("", index=plots.index)


def release(
    ledger: Ledger,
    households: Sequence[str],
    said: Said,
    features: Sequence[str],
    *,
    knowledge: Knowledge,
    today: date,
) -> tuple[Ledger, Released]:
    """Make a new table where that may be, else hand out the last one.

    Parameters
    ----------
    ledger
        With its units fixed.
    households, said, features
        From `taking_part`.
    knowledge
        For ``public_households_min``, ``public_batch_households`` and the classes.
    today
        Date of a new table (UTC).

    Returns
    -------
    tuple
        The ledger, unchanged where the last table is handed out again; and the table.
    """
    unit_of = dict(zip(ledger.units["household"], ledger.units["unit"], strict=True))
    at = [place for place, name in enumerate(households) if name in unit_of]
    states = _states(ledger.key, [households[one] for one in at], said[at], unit_of)
    lacking = _lacking(ledger, states, int(knowledge.setting("public_batch_households")))
    if ledger.number and (lacking or _same(ledger.states, states)):
        return ledger, replace(released_before(ledger), waits=lacking)
    rows = []
    least = int(knowledge.setting("public_households_min"))
    edges = class_edges(knowledge)
    number = ledger.number + 1
    for unit in ledger.names:
        inside = [one for one in at if unit_of[households[one]] == unit]
        names = [households[one] for one in inside]
        for column, feature in enumerate(features):
            cell = _cell(ledger, unit, feature, names, said[inside, column], least, edges)
            if cell is not None:
                rows.append((number, today.isoformat(), unit, feature, *cell))
    if rows:
        counted = pd.Series(unit_of).groupby(pd.Series(unit_of)).size()
        for unit in ledger.names:
            share = sum(unit_of[households[one]] == unit for one in at) / int(counted[unit])
            place = sum(share >= edge for edge in edges)
            rows.append((number, today.isoformat(), unit, _PART, "", 0, 0, place, place))
    else:
        if ledger.number:
            return ledger, replace(released_before(ledger), waits=dict.fromkeys(ledger.names, 0))
        raise WrongUse(
            _(
                "In no unit are the answers of {least} households known: there is nothing to tell."
            ).format(least=least)
        )
    after = replace(
        ledger,
        cells=pd.concat([ledger.cells, pd.DataFrame(rows, columns=list(CELLS))], ignore_index=True)
        if len(ledger.cells)
        else pd.DataFrame(rows, columns=list(CELLS)),
        states=states,
    )
    return after, released_before(after)


def released_before(ledger: Ledger) -> Released:
    """Return the last table of a ledger, which has one.

    Parameters
    ----------
    ledger
        The street's ledger.
    """
    cells = ledger.cells[ledger.cells["number"] == ledger.number]
    classes = {
        (str(unit), str(feature)): (int(first), int(last))
        for unit, feature, first, last in zip(
            cells["unit"], cells["feature"], cells["first"], cells["last"], strict=True
        )
    }
    part = {unit: classes.pop((unit, _PART))[0] for unit in ledger.names}
    plots = ledger.units["plot"].astype(str)
    return Released(
        day=str(cells["date"].iloc[0]),
        number=ledger.number,
        unit_of=dict(zip(plots, ledger.units["unit"], strict=True)),
        household_of=dict(zip(plots, ledger.units["household"], strict=True)),
        names=ledger.names,
        shapes=ledger.shapes,
        classes=classes,
        taking_part=part,
    )


def _cell(
    ledger: Ledger,
    unit: str,
    feature: str,
    names: Sequence[str],
    said: Said,
    least: int,
    edges: Sequence[float],
) -> tuple[str, int, int, int, int] | None:
    """Return members, bounds and classes of one cell; None where nothing may be told."""
    known = ~np.isnan(said)
    if known.sum() < least:
        return None
    members = frozenset(
        _token(ledger.key, name, feature, int(value))
        for name, value in zip(np.array(names, dtype=object)[known], said[known], strict=True)
    )
    mine = ledger.cells[(ledger.cells["unit"] == unit) & (ledger.cells["feature"] == feature)]
    if len(mine):
        last = mine.iloc[-1]
        if frozenset(str(last["members"]).split()) == members:
            kept = [int(last[key]) for key in ("low", "high", "first", "last")]
            return str(last["members"]), kept[0], kept[1], kept[2], kept[3]
    past = [
        Bound(frozenset(str(text).split()), int(low), int(high))
        for text, low, high in zip(mine["members"], mine["low"], mine["high"], strict=True)
    ]
    classes = class_bounds(len(members), edges)
    true = int(said[known].sum())
    for begin, end in safe_classes(past, members, classes):
        if classes[begin][0] <= true <= classes[end][1]:
            return " ".join(sorted(members)), classes[begin][0], classes[end][1], begin, end
    return None


def _token(key: str, household: str, feature: str, value: int) -> str:
    version = _digest(key, household, feature, str(value), size=_VERSION_HEX)
    return f"{_digest(key, household)}.{version}"


def _digest(key: str, *words: str, size: int = _HEX) -> str:
    message = "\x1f".join(words).encode("utf-8", "replace")
    return hmac.new(key.encode(), message, hashlib.sha256).hexdigest()[:size]


def new_key() -> str:
    """Return a key that nobody can guess."""
    return secrets.token_hex(16)


def _states(
    key: str, households: Sequence[str], said: Said, unit_of: Mapping[str, str]
) -> pd.DataFrame:
    rows = [
        (unit_of[name], _digest(key, name), _digest(key, name, repr(row.tolist())))
        for name, row in zip(households, said, strict=True)
    ]
    return pd.DataFrame(sorted(rows), columns=list(STATES), dtype=object)


def _same(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    return sorted(map(tuple, one.to_numpy().tolist())) == sorted(
        map(tuple, other.to_numpy().tolist())
    )


def _lacking(ledger: Ledger, states: pd.DataFrame, batch: int) -> dict[str, int]:
    """Return the units in which somebody, but too few, changed, and how many are lacking.

    Who was forgotten and takes part again counts once, not as one who left and one who joined.
    """
    lacking = {}
    for unit in ledger.names:
        before = _by_household(ledger.states, unit)
        after = _by_household(states, unit)
        gone, come = before.keys() - after.keys(), after.keys() - before.keys()
        nameless = sum(name.startswith(_ANONYMOUS) for name in gone)
        changed = sum(before[name] != after[name] for name in before.keys() & after.keys())
        changed += len(gone) + max(0, len(come) - nameless)
        if 0 < changed < batch:
            lacking[unit] = batch - changed
    return lacking


def _by_household(states: pd.DataFrame, unit: str) -> dict[str, str]:
    mine = states[states["unit"] == unit]
    return dict(zip(mine["household"].astype(str), mine["state"].astype(str), strict=True))


def forgotten_in(ledger: Ledger, plots: Sequence[str], *, outline: bool) -> Ledger:
    """Put a number without meaning in place of households' digests, in every table of the series.

    The sets stay comparable and no longer lead to a plot. Nothing is handed out anew.

    Parameters
    ----------
    ledger
        May be empty.
    plots
        Ids of the plots of households that are to be forgotten.
    outline
        True: the plots are deleted, and so is their place in a unit.
    """
    mine = ledger.units["plot"].isin(list(plots))
    gone = dict.fromkeys(ledger.units.loc[mine, "household"].astype(str))
    if not gone:
        return ledger
    cells, states, units = ledger.cells.copy(), ledger.states.copy(), ledger.units.copy()
    texts = cells["members"].astype(str).tolist()
    taken = {token.split(".")[0] for text in texts for token in text.split()} | set(
        states["household"].astype(str)
    )
    number = 1 + max((int(name[1:]) for name in taken if name.startswith(_ANONYMOUS)), default=0)
    for household in gone:
        old = _digest(ledger.key, household)
        if old not in taken:
            continue
        new = f"{_ANONYMOUS}{number}"
        number += 1
        versions: dict[tuple[str, str], str] = {}
        for at, text in enumerate(texts):
            tokens = text.split()
            for place, token in enumerate(tokens):
                head, version = token.split(".")
                if head == old:
                    # Versions of one feature are told apart by their order, and by nothing else.
                    feature = str(cells["feature"].iloc[at])
                    count = sum(one == feature for one, _ in versions)
                    name = versions.setdefault((feature, version), f"v{count + 1}")
                    tokens[place] = f"{new}.{name}"
            texts[at] = " ".join(sorted(tokens))
        found = states["household"] == old
        states.loc[found, "household"] = new
        states.loc[found, "state"] = new
    cells["members"] = texts
    if outline:
        units = units[~mine].reset_index(drop=True)
    return replace(ledger, cells=cells, states=states, units=units)
