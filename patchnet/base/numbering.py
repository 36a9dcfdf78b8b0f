"""Ids for plots: the street's code, the door number, and the part.

``ER-12F`` is the front of 12 Elm Road, ``ER-12-AF`` that of 12a, ``ER-12-14B`` the back of 12-14,
``ER-12X2F`` the front of a second plot that is called 12. Where a street has door numbers and a
plot has none, it counts by itself (N). Where nobody has mapped a door number, plots count in
walking order, odd on the left of the street, even on the right. Verges (V), tree pits (T),
planters (P) and mapped green (G) count by themselves too. With an earlier base, a plot that is
still there keeps its id, and a number that was used is not used again.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.earlier import Earlier
from patchnet.base.streets import Streets, street_codes
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import door_key

__all__ = ["Numbered", "Unit", "number_plots"]

Shapes = NDArray[np.object_]
NOWHERE = "X"
_ID = re.compile(
    r"(?P<code>[A-Z0-9]+)-(?P<sort>[VTPGN]?)(?P<number>\d+)(?P<more>(?:-(?:\d+|[A-Z]))*(?:X\d+)?)"
    r"(?P<part>[FB]?)"
)
_UNNUMBERED = "N"


@dataclass(frozen=True, eq=False)
class Unit:
    """What gets one number: a plot, or its front and back together.

    Attributes
    ----------
    parts
        Part (F front, B back, or empty: whole) -> outline.
    street
        Position of the street; -1 where it faces none.
    point
        Where on the street it counts, shape (2,); a point of its own where it faces none.
    sort
        V, T, P, G or empty.
    door
        Door numbers, ``12`` or ``12; 14``; empty where not known.
    """

    parts: Mapping[str, shapely.Geometry]
    street: int
    point: NDArray[np.float64]
    sort: str = ""
    door: str = ""


@dataclass(frozen=True, eq=False)
class Numbered:
    """Ids of units in walking order.

    Attributes
    ----------
    order
        Positions of the units in walking order.
    ids
        Unit, part -> id.
    number
        What stands between code and part in the id of each unit.
    code, side
        Street code and side (left, right or empty) of each unit.
    kept, new
        How many plots kept an earlier id, and how many are new.
    gone
        Earlier ids that are on no plot any more.
    """

    order: tuple[int, ...]
    ids: Mapping[tuple[int, str], str]
    number: tuple[str, ...]
    code: tuple[str, ...]
    side: tuple[str, ...]
    kept: int = 0
    new: int = 0
    gone: tuple[str, ...] = field(default=())


def number_plots(
    units: Sequence[Unit],
    streets: Streets,
    earlier: Earlier | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> Numbered:
    """Number the units.

    Parameters
    ----------
    units
        In any order.
    streets
        For names and courses.
    earlier
        Plots of an earlier base, or None.
    knowledge
        For ``base_same_plot_share``.
    faults
        List that faults are added to: earlier ids that two plots claim.
    """
    old_codes = dict(earlier.codes) if earlier else {}
    used = sorted({streets.names[unit.street] for unit in units if unit.street >= 0})
    codes = street_codes(used, {**old_codes, "": NOWHERE})
    code = [codes[streets.names[u.street]] if u.street >= 0 else NOWHERE for u in units]
    along, side = _walk(units, streets)
    # One side after the other, each from the beginning of the street.
    order = sorted(
        range(len(units)),
        key=lambda at: (
            code[at] == NOWHERE, code[at], units[at].sort != "", units[at].sort, side[at],
            round(along[at], 2), _corner(units[at]),
        ),
    )  # fmt: skip
    ids: dict[tuple[int, str], str] = {}
    if earlier is not None:
        ids = _keep(units, earlier, knowledge, faults)
    kept = len(ids)
    taken = set(earlier.ids) if earlier else set()
    base = {at: _bare(ident) for (at, _), ident in ids.items()}
    last = _last_numbers(taken)
    keys = [door_key(unit.door) if not unit.sort else "" for unit in units]
    doored = {code[at] for at, key in enumerate(keys) if key}
    stems = {_bare(ident) for ident in taken}
    for at in order:
        for part in units[at].parts:
            if (at, part) in ids:
                continue
            own = base.get(at)
            if own is None or f"{own}{part}" in taken:
                sort = units[at].sort
                if keys[at]:
                    own = _free(f"{code[at]}-{keys[at]}", stems)
                else:
                    plain = not sort and code[at] in doored
                    own = _next(code[at], _UNNUMBERED if plain else sort, side[at], last)
                base[at] = own
                stems.add(own)
            ids[at, part] = f"{own}{part}"
            taken.add(f"{own}{part}")
    gone = tuple(sorted(set(earlier.ids) - set(ids.values()), key=_natural)) if earlier else ()
    number = tuple(
        base[at].split("-", maxsplit=1)[-1] if at in base else "" for at in range(len(units))
    )
    return Numbered(
        tuple(order),
        ids,
        number,
        tuple(code),
        tuple(side),
        kept,
        len(ids) - kept if earlier else 0,
        gone,
    )


def _walk(units: Sequence[Unit], streets: Streets) -> tuple[list[float], list[str]]:
    """Return metres walked to each unit and the side of the street it lies on."""
    along, side = [], []
    for unit in units:
        if unit.street < 0:
            # Without a street: row by row from the north, as one reads.
            along.append(-float(unit.point[1]))
            side.append("")
            continue
        metres, way = streets.courses[unit.street].place(*unit.point)
        inside = shapely.get_coordinates(shapely.point_on_surface(next(iter(unit.parts.values()))))[
            0
        ]
        beside = inside - unit.point
        left = way[0] * beside[1] - way[1] * beside[0] > 0
        along.append(metres)
        side.append("left" if left else "right")
    return along, side


def _corner(unit: Unit) -> tuple[float, ...]:
    return tuple(next(iter(unit.parts.values())).bounds)


def _next(code: str, sort: str, side: str, last: dict[tuple[str, str, str], int]) -> str:
    """Return the next free number: odd on the left, even on the right, all where neither."""
    split = side if not sort else ""
    key = (code, sort, split)
    step = 2 if split else 1
    first = 2 if split == "right" else 1
    number = last[key] + step if key in last else first
    last[key] = number
    return f"{code}-{sort}{number}"


def _free(stem: str, taken: set[str]) -> str:
    """Return a stem that no other plot has: ``ER-12``, ``ER-12X2``."""
    if stem not in taken:
        return stem
    return next(one for k in range(2, 10_000) if (one := f"{stem}X{k}") not in taken)


def _last_numbers(ids: set[str]) -> dict[tuple[str, str, str], int]:
    last: dict[tuple[str, str, str], int] = {}
    for ident in ids:
        found = _ID.fullmatch(ident)
        if found is None or found["more"]:
            continue
        number = int(found["number"])
        split = "" if found["sort"] or found["code"] == NOWHERE else "right"
        if split and number % 2:
            split = "left"
        key = (found["code"], found["sort"], split)
        last[key] = max(last.get(key, 0), number)
    return last


def _keep(
    units: Sequence[Unit], earlier: Earlier, knowledge: Knowledge, faults: FaultList
) -> dict[tuple[int, str], str]:
    """Give plots that were there before the ids they had."""
    keys = [(at, part) for at, unit in enumerate(units) for part in unit.parts]
    shapes = np.array([units[at].parts[part] for at, part in keys], dtype=object)
    new, old = shapely.STRtree(earlier.shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[new], earlier.shapes[old]))
    share = shared / (shapely.area(shapes)[new] + shapely.area(earlier.shapes)[old] - shared)
    order = sorted(range(len(new)), key=lambda k: (-share[k], earlier.ids[old[k]], keys[new[k]]))
    ids: dict[tuple[int, str], str] = {}
    given: dict[str, tuple[int, str]] = {}
    least = knowledge.setting("base_same_plot_share")
    for k in order:
        key, ident = keys[new[k]], earlier.ids[old[k]]
        if share[k] <= least or key in ids:
            continue
        if ident in given:
            continue
        ids[key] = ident
        given[ident] = key
    mostly = shared > least * shapely.area(shapes)[new]
    pieces = np.bincount(old[mostly], minlength=len(earlier.ids))
    split = [
        ((int(k) + 1, ident), _("The plot is in several pieces now: the largest keeps the number."))
        for k, ident in enumerate(earlier.ids)
        if pieces[k] > 1
    ]
    faults.warn_rows(
        earlier.where, split, together=_("{n} plots are in several pieces now."),
        mend=_("Look at them before old and new statements are put together."),
    )  # fmt: skip
    return ids


def _bare(ident: str) -> str:
    return re.sub(r"[FB]$", "", ident) if _ID.fullmatch(ident) else ident


def _natural(ident: str) -> tuple[str, int, str]:
    found = _ID.fullmatch(ident)
    if found is None:
        return ident, 0, ""
    return found["code"] + found["sort"], int(found["number"]), found["more"] + found["part"]
