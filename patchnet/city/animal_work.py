"""One animal on the whole city, and what it leaves: a row a plot, its breaks, and its totals."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import GroupAnswer
from patchnet.assess.provision import hungry_months
from patchnet.assess.tables import BREAK_COLUMNS, break_rows, group_columns
from patchnet.city.asked import CityAsked
from patchnet.city.bunched import (
    NOT_OFF,
    PORTIONS,
    answer_in_city,
    portions_error,
    shared_as,
)
from patchnet.city.parts import shapes_as_bytes
from patchnet.city.tile_work import learnt
from patchnet.knowledge.records import Knowledge

__all__ = ["HUNGRY", "animal_step", "homes_of_patches"]

HUNGRY = "hungry_"
"""Column of the months in which flowers are short for an animal: bit m - 1 for month m."""


_PATCHES = ".patches.npy"


def animal_step(asked: CityAsked, key: str) -> None:
    """Answer for one animal; leave its columns by the plots' numbers, breaks and totals.

    Parameters
    ----------
    asked
        What the city is asked; all tiles are worked out.
    key
        Of the animal.
    """
    known = learnt(asked)
    group = asked.knowledge.groups[key]
    answer = answer_in_city(asked, known, group)
    asked.work.put_array(f"{key}.animal.npy", _rows(key, answer, asked.knowledge))
    rows = break_rows(key, answer.breaks)
    lines = np.empty(len(rows), dtype=object)
    lines[:] = [row["geometry"] for row in rows]
    plain = {
        name: np.array([row[name] for row in rows], dtype=None if rows else np.float64)
        for name in BREAK_COLUMNS
        if name not in {"group", "geometry"}
    }
    form = shared_as(asked, key)
    off = portions_error(asked, group) if form == PORTIONS else NOT_OFF
    told = {**_totals(answer), "shared": form, **off}
    asked.work.put_arrays(f"{key}.breaks.npz", {**plain, **shapes_as_bytes(lines)})
    files = [f"{key}.animal.npy", f"{key}.breaks.npz"]
    if asked.importance:
        patch, homes = (one.to_numpy() for one in (answer.patch, answer.homes))
        asked.work.put_array(f"{key}{_PATCHES}", np.where(patch, homes, np.nan))
        files.append(f"{key}{_PATCHES}")
    asked.work.finish(key, files, told)


def homes_of_patches(asked: CityAsked, key: str) -> NDArray[np.float64]:
    """Return the homes on all plots, not a number where a plot is no patch; shape (n,).

    Parameters
    ----------
    asked
        What the city is asked, importance too; the animal is answered.
    key
        Of the animal.
    """
    return np.array(asked.work.array(f"{key}{_PATCHES}"))


def _rows(key: str, answer: GroupAnswer, knowledge: Knowledge) -> NDArray[Any]:
    """Columns of the plots as one array of records, of which each tile reads its own."""
    columns = {name: series.to_numpy() for name, series in group_columns(key, answer).items()}
    if any(knowledge.resources[sheet.need.resource].by_month for sheet in answer.needs):
        months = hungry_months(answer, knowledge.resources).to_numpy(bool)
        columns[f"{HUNGRY}{key}"] = months @ (1 << np.arange(12))
    plain = {
        name: np.asarray(one, dtype=str) if one.dtype == object else one
        for name, one in columns.items()
    }
    records = np.empty(len(answer.homes), [(name, one.dtype) for name, one in plain.items()])
    for name, one in plain.items():
        records[name] = one
    return records


def _totals(answer: GroupAnswer) -> dict[str, object]:
    measures = answer.measures
    return {
        "name": answer.group.name,
        "room": float(answer.room.sum()),
        "homes": float(answer.homes.sum()),
        "homes_low": float(answer.homes_low.sum()),
        "homes_high": float(answer.homes_high.sum()),
        "linked_homes": measures.eca,
        "pc_numerator": measures.pc_numerator,
        "cut_bound": measures.cut_bound,
        "patches": int(answer.patch.sum()),
        "parts": measures.components,
        "breaks": len(answer.breaks),
    }
