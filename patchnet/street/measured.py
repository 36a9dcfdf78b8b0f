"""What somebody measured on the spot at places along a street, read back from a tape sheet."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest_hint
from patchnet.core.numbers import parse_number
from patchnet.core.table import Table, heading, read_table
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_street_kind
from patchnet.read.street_objects import speed_mph
from patchnet.street.site import Site

__all__ = [
    "COLUMNS", "NOTHING", "Measured", "ensure_measured_here", "measured_in", "read_measured",
]  # fmt: skip

COLUMNS = (
    "place", "x", "y", "footway_m", "road_m", "girth_cm", "side_road_m", "speed", "things",
    "by", "date",
)  # fmt: skip
"""Columns of the table, in the order of the sheet; only `place` is needed."""
NOTHING = "none"
"""What is written where somebody looked and there is nothing."""
_NOTHING = frozenset((NOTHING, "nothing", "no", "0"))
_THING = re.compile(r"(?P<kind>.*?)[\s:=]+(?P<metres>[\d.,]+)\s*(?:m|metres?)?")
_BOUNDS = {  # of what a tape says: outside of these the unit was another
    "footway_m": (0.0, 40.0),
    "road_m": (1.0, 60.0),
    "girth_cm": (5.0, 1500.0),
    "side_road_m": (0.0, 1000.0),
}
_CM = 100.0


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured at one place; None: not measured.

    Attributes
    ----------
    place
        Key of the site, ``L012.0``.
    x, y
        Where the sheet had it, in the CRS of the map; None: not said.
    footway_m
        From the kerb to the first thing behind the box, where that is narrowest along it.
    road_m
        Between the kerbs.
    girth_m
        Round the stem of the nearest tree.
    side_road_m
        Along the kerb to the nearest side road; infinite: there is none in sight.
    speed_mph
        Speed limit of the road, or what was measured.
    things
        What else is within reach of the box: kind and metres to it; empty: somebody looked and
        there is nothing.
    by, date
        Who measured, and when.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.Measured("L012.0", footway_m=3.45).footway_m
    3.45
    """

    place: str
    x: float | None = None
    y: float | None = None
    footway_m: float | None = None
    road_m: float | None = None
    girth_m: float | None = None
    side_road_m: float | None = None
    speed_mph: float | None = None
    things: tuple[tuple[str, float], ...] | None = None
    by: str = ""
    date: str = ""

    def with_other(self, other: "Measured") -> "Measured":
        """Put two of one place together: of two figures the one that is less kind counts."""
        both = [
            max(self.girth_m or 0.0, other.girth_m or 0.0) or None,
            max(self.speed_mph or 0.0, other.speed_mph or 0.0) or None,
        ]
        things = None
        if self.things is not None or other.things is not None:
            nearest: dict[str, float] = {}
            for kind, apart in (*(self.things or ()), *(other.things or ())):
                nearest[kind] = min(apart, nearest.get(kind, apart))
            things = tuple(sorted(nearest.items()))
        return Measured(
            place=self.place,
            x=other.x if self.x is None else self.x,
            y=other.y if self.y is None else self.y,
            footway_m=_least(self.footway_m, other.footway_m),
            road_m=_least(self.road_m, other.road_m),
            girth_m=both[0],
            side_road_m=_least(self.side_road_m, other.side_road_m),
            speed_mph=both[1],
            things=things,
            by=_joined(self.by, other.by),
            date=max(self.date, other.date),
        )


def read_measured(
    path: Path | str | Sequence[Path | str], *, knowledge: Knowledge | None = None
) -> dict[str, Measured]:
    r"""Read what was measured at places along a street.

    Parameters
    ----------
    path
        CSV or xlsx with the columns of the sheet, or several of them: ``place``, and any of
        ``footway_m``, ``road_m``, ``girth_cm``, ``side_road_m``, ``speed``, ``things``. Where two
        say something of one place, the figure that is less kind to a planter counts.
    knowledge
        For the kinds of things in a street.

    Returns
    -------
    dict
        By key of the place; rows in which nothing was filled in are left out.

    Raises
    ------
    CannotRead
        If a file is missing or is not a table.
    DataFaults
        If rows cannot be read: every one of them.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = Path("tape.csv").write_text("place,footway_m,things\nL012.0,3.45,gully 1.2\n")
    >>> patchnet.read_measured("tape.csv")["L012.0"].things
    (('gully', 1.2),)
    """
    knowledge = knowledge or load_knowledge()
    faults = FaultList()
    paths = [path] if isinstance(path, Path | str) else list(path)
    found = measured_in([Path(one) for one in paths], knowledge, faults)
    if any(fault.severity == "error" for fault in faults.faults):
        raise DataFaults(faults.faults)
    return found


def measured_in(
    paths: Sequence[Path], knowledge: Knowledge, faults: FaultList
) -> dict[str, Measured]:
    """Read tables of what was measured; everything wrong is added to `faults`.

    Parameters
    ----------
    paths
        CSV or xlsx.
    knowledge
        For the kinds of things in a street.
    faults
        Added to.
    """
    found: dict[str, Measured] = {}
    for path in paths:
        table = read_table(path, faults, known=[heading(name) for name in COLUMNS])
        if table.column_of(("place",)) is None:
            faults.error(
                table.where,
                _("Missing column: place."),
                _("The heading must name the columns of the tape-measure sheet: {columns}.").format(
                    columns=", ".join(COLUMNS)
                ),
                row=table.head,
            )
            continue
        for number, row in table.records():
            one = _row(row, table, number, knowledge, faults)
            if one is not None:
                before = found.get(one.place)
                found[one.place] = one if before is None else before.with_other(one)
    return found


def ensure_measured_here(
    measured: Mapping[str, Measured],
    sites: Sequence[Site],
    knowledge: Knowledge,
    *,
    street: str,
    sides: str,
) -> None:
    """Make sure that every place that was measured is a site, and lies where it was measured.

    Parameters
    ----------
    measured
        By key of the site.
    sites
        Those of the street.
    knowledge
        For how far apart the two may be.
    street, sides
        Its name, and the sides that were looked at: another side's places are passed over.

    Raises
    ------
    WrongUse
        If one is not: all of them at once.
    """
    known = {site.key: site for site in sites}
    most = knowledge.street_rule("tape_apart_m")
    wrong = []
    for key, one in measured.items():
        site = known.get(key)
        if site is None:
            if sides == "both" or key[:1].upper() == sides[0].upper():
                wrong.append(
                    _("{key} was measured, but is no place on {street}.{hint}").format(
                        key=key, street=street, hint=nearest_hint(key, known)
                    )
                )
        elif one.x is not None and one.y is not None:
            apart = float(site.centre.distance(shapely.Point(one.x, one.y)))
            if apart > most:
                wrong.append(
                    _(
                        "{key} was measured {apart:.0f} m from where it lies now: the line of "
                        "{street} was drawn anew, or the sheet is another street's. Make a new "
                        "sheet, and write what was measured at the places nearest to the old ones."
                    ).format(key=key, apart=apart, street=street)
                )
    if wrong:
        raise WrongUse("\n".join(wrong))


def _row(
    row: Mapping[str, str], table: Table, number: int, knowledge: Knowledge, faults: FaultList
) -> Measured | None:
    figures = {name: _figure(row, name, table, number, faults) for name in _BOUNDS}
    things = _things(row.get("things", ""), table, number, knowledge, faults)
    speed = _speed(row.get("speed", ""), table, number, faults)
    if things is None and speed is None and all(one is None for one in figures.values()):
        return None
    if not row["place"]:
        faults.error(
            table.where,
            _("It does not say which place was measured."),
            _("Write the place as the sheet has it, such as L012.0."),
            row=number,
        )
        return None
    girth = figures["girth_cm"]
    return Measured(
        place=row["place"].upper(),
        x=parse_number(row.get("x", "")),
        y=parse_number(row.get("y", "")),
        footway_m=figures["footway_m"],
        road_m=figures["road_m"],
        girth_m=None if girth is None else girth / _CM,
        side_road_m=figures["side_road_m"],
        speed_mph=speed,
        things=things,
        by=row.get("by", ""),
        date=row.get("date", ""),
    )


def _figure(
    row: Mapping[str, str], name: str, table: Table, number: int, faults: FaultList
) -> float | None:
    cell = row.get(heading(name), "").strip()
    unit = name.rpartition("_")[2]
    bare = cell.casefold().removesuffix(unit).strip()
    if not bare or bare == "?":
        return None
    if name == "side_road_m" and bare in _NOTHING:
        return math.inf
    figure = parse_number(bare)
    least, most = _BOUNDS[name]
    if figure is not None and least <= figure <= most:
        return figure
    mend = _(
        "Write {unit}, from {least:g} to {most:g}, such as {example}; leave it empty if it was "
        "not measured."
    ).format(
        unit=_("metres") if unit == "m" else _("centimetres"), least=least, most=most,
        example="2.45" if unit == "m" else "63",
    )  # fmt: skip
    faults.error(
        table.where, _("{name} {cell!r} cannot be.").format(name=name, cell=cell[:40]), mend,
        row=number,
    )  # fmt: skip
    return None


def _speed(cell: str, table: Table, number: int, faults: FaultList) -> float | None:
    if not cell.strip():
        return None
    speed = speed_mph(cell)
    if speed is None:
        faults.error(
            table.where,
            _("The speed {cell!r} was not read.").format(cell=cell[:40]),
            _("Write 20 mph or 30 km/h."),
            row=number,
        )
    return speed


def _things(
    cell: str, table: Table, number: int, knowledge: Knowledge, faults: FaultList
) -> tuple[tuple[str, float], ...] | None:
    words = [word.strip() for word in re.split(r"[;\n]|,(?!\d)", cell) if word.strip()]
    if not words:
        return None
    if [word.casefold() for word in words] in ([one] for one in _NOTHING):
        return ()
    found = []
    for word in words:
        parts = _THING.fullmatch(word)
        metres = parse_number(parts["metres"]) if parts else None
        kind = match_street_kind(parts["kind"], knowledge) if parts else None
        if parts is None or metres is None:
            what = _("'{word}' does not say how far away it is.").format(word=word[:40])
            mend = _("Write the thing and the metres from the box, such as gully 1.2; or none.")
            faults.error(table.where, what, mend, row=number)
        elif kind is None:
            choices = [w for k in knowledge.street_kinds.values() for w in (k.name, *k.words)]
            what = _("'{word}' is not a kind of thing in a street.{nearest_hint}").format(
                word=parts["kind"][:40], nearest_hint=nearest_hint(parts["kind"], choices)
            )
            mend = _("Write one of: {street_kinds}.").format(
                street_kinds=", ".join(knowledge.street_kinds)
            )
            faults.error(table.where, what, mend, row=number)
        else:
            found.append((kind, metres))
    return tuple(found)


def _least(one: float | None, two: float | None) -> float | None:
    both = [each for each in (one, two) if each is not None]
    return min(both, default=None)


def _joined(one: str, two: str) -> str:
    return "; ".join(dict.fromkeys(each for each in (one, two) if each))
