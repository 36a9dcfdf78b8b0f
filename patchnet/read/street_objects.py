"""Things in the street that a planter keeps clear of, and how fast its roads are."""

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.cells import texts
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.faults import nearest_hint
from patchnet.core.numbers import parse_number
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_street_kind
from patchnet.read.base_map import kept_parts, metres_of
from patchnet.read.columns import Columns

__all__ = ["read_speeds", "read_street_objects", "speed_mph"]

_SPEED = re.compile(r"(?P<number>[\d.,]+)\s*(?P<unit>mph|km/?h|kph|kmh)?")


def read_street_objects(
    table: pd.DataFrame,
    shapes: NDArray[np.object_],
    columns: Columns,
    *,
    where: str,
    crs: object,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Return things in the street: ``geometry``, ``kind``, ``name``, ``width_m`` (NaN unknown).

    Points, lines or areas. A kind that is not known is an error with the nearest spellings: a
    thing left out would let a planter stand on it.

    Parameters
    ----------
    table
        n rows.
    shapes
        Shape (n,): what each row draws, metres.
    columns
        Which column is what.
    where
        Name of the layer, for faults.
    crs
        CRS of the shapes.
    knowledge
        For the kinds of things.
    faults
        Added to.
    """
    if "kind" not in columns.role and len(table):
        faults.error(
            where,
            _("No column says what the things in the street are."),
            _("Add a column kind ({street_kinds} ...).").format(
                street_kinds=", ".join(list(knowledge.street_kinds)[:6])
            ),
        )
    kinds = texts(table[columns.role["kind"]]) if "kind" in columns.role else []
    names = texts(table[columns.role["label"]]) if "label" in columns.role else [""] * len(table)
    widths = texts(table[columns.role["width"]]) if "width" in columns.role else [""] * len(table)
    dropped: list[tuple[Place, str]] = []
    odd: list[tuple[Place, str]] = []
    rows = []
    for at, word in enumerate(kinds):
        kind = match_street_kind(word, knowledge)
        if kind is None:
            words = [w for k in knowledge.street_kinds.values() for w in (k.name, *k.words)]
            faults.error(
                where,
                _("'{word}' is not a kind of thing in a street.{nearest_hint}").format(
                    word=word[:40], nearest_hint=nearest_hint(word, words)
                ),
                _("Write one of: {street_kinds}.").format(
                    street_kinds=", ".join(knowledge.street_kinds)
                ),
                row=at + 1,
            )
            continue
        shape = kept_parts(shapes[at], least=0)
        if shape is None:
            dropped.append(((at + 1, None), _("The row has no point, line or outline to use.")))
            continue
        width = metres_of(widths[at])
        if width is None or width <= 0:
            odd.append(
                (
                    (at + 1, None),
                    _("The width '{width}' was not read.").format(width=widths[at][:40]),
                )
            )
            width = np.nan
        rows.append((shapely.force_2d(shape), kind, names[at], width))
    faults.warn_rows(
        where, odd, together=_("{n} widths were not read."),
        mend=_("Write the width in metres; leave it empty if not known."),
    )  # fmt: skip
    faults.warn_rows(
        where, dropped, together=_("{n} rows have no point, line or outline."),
        mend=_("It was left out, and a planter may stand on it: draw it."),
    )  # fmt: skip
    frame = pd.DataFrame(rows, columns=["geometry", "kind", "name", "width_m"])
    frame["width_m"] = frame["width_m"].astype(float)
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=crs)


def read_speeds(
    table: pd.DataFrame,
    shapes: NDArray[np.object_],
    columns: Columns,
    *,
    where: str,
    faults: FaultList,
) -> NDArray[np.float64]:
    """Return the speed of each road that `read_named` keeps, in mph; NaN where not known.

    ``20 mph``, ``30 km/h``. A bare number is mph, or km/h where the column says so: mph is the
    faster of the two, so nobody sees too little of a driver.

    Parameters
    ----------
    table
        n rows.
    shapes
        Shape (n,): what each row draws.
    columns
        Which column is what.
    where
        Name of the layer, for faults.
    faults
        Added to.

    Returns
    -------
    array
        Shape (roads kept,), mph.
    """
    from scipy import constants

    column = columns.role.get("speed")
    cells = texts(table[column]) if column is not None else [""] * len(shapes)
    metric = column is not None and bool(re.search(r"km|kph", column, re.IGNORECASE))
    says_unit = metric or (column is not None and "mph" in column.casefold())
    odd: list[tuple[Place, str]] = []
    bare: list[tuple[Place, str]] = []
    speeds = []
    for at, shape in enumerate(shapes):
        if kept_parts(shape, least=1) is None:
            continue
        speed, unit = _speed(cells[at])
        if speed is None:
            odd.append(
                ((at + 1, None), _("The speed '{cell}' was not read.").format(cell=cells[at][:40]))
            )
        elif not unit and not says_unit and np.isfinite(speed):
            bare.append(
                (
                    (at + 1, None),
                    _("The speed '{cell}' was read as mph.").format(cell=cells[at][:40]),
                )
            )
        metres = metric if not unit else "k" in unit
        faster = constants.kmh / constants.mph if metres else 1.0
        speeds.append(np.nan if speed is None else speed * faster)
    faults.warn_rows(
        where, odd, together=_("{n} speeds were read as not known."),
        mend=_("Write 20 mph or 30 km/h; leave it empty if not known."),
    )  # fmt: skip
    faults.warn_rows(
        where, bare, together=_("{n} speeds without a unit were read as mph."),
        mend=_("Write 20 mph or 30 km/h."),
    )  # fmt: skip
    return np.array(speeds, dtype=float)


def speed_mph(cell: str) -> float | None:
    """Return a speed as somebody wrote it in miles an hour; None where it cannot be read.

    Parameters
    ----------
    cell
        ``20 mph``, ``30 km/h``; a bare number is mph, the faster of the two.
    """
    from scipy import constants

    speed, unit = _speed(cell)
    if speed is None or not np.isfinite(speed):
        return None
    return speed * (constants.kmh / constants.mph if "k" in unit else 1.0)


def _speed(cell: str) -> tuple[float | None, str]:
    """Number (NaN where empty, None where it cannot be read) and unit as written."""
    text = cell.strip().casefold()
    if text in {"", "?", "-", "unknown", "not known", "none", "signals", "variable"}:
        return np.nan, ""
    found = _SPEED.fullmatch(text)
    number = parse_number(found["number"]) if found else None
    if found is None or number is None or not 0 < number < np.inf:
        return None, ""
    return number, found["unit"] or ""
