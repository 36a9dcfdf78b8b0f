"""Who waters the planters, and from which tap: a table of people."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely

from patchnet.core.cells import whole_number
from patchnet.core.errors import DataFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest_hint
from patchnet.core.numbers import parse_number
from patchnet.core.table import Table, read_table
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.read.points import point_on_map
from patchnet.street.site import Site

__all__ = ["Keeper", "keepers_in", "keepers_trouble", "read_keepers"]

_COLUMNS = ("name", "plot", "x", "y", "litres")
_NEEDED = ("name", "litres")
_MINUS = re.compile(r"[-\N{MINUS SIGN}]\s*")


@dataclass(frozen=True, slots=True, eq=False)
class Keeper:
    """Somebody who waters from a tap: where, and how many litres a visit at most.

    Examples
    --------
    >>> import patchnet, shapely
    >>> patchnet.Keeper("the Okoros", shapely.Point(10, 5), 120.0).litres
    120.0
    """

    name: str
    place: shapely.Point
    litres: float


def read_keepers(path: Path | str, neighbourhood: Neighbourhood) -> tuple[Keeper, ...]:
    r"""Read who waters the planters of a scheme.

    Parameters
    ----------
    path
        CSV or xlsx with the columns ``name``, ``litres`` (a visit), and ``plot`` (whose tap it
        is), or ``x`` and ``y`` in the neighbourhood's CRS or in degrees.
    neighbourhood
        For the plots.

    Returns
    -------
    tuple of Keeper
        In the order of the file.

    Raises
    ------
    CannotRead
        If the file is missing or is not a table.
    DataFaults
        If rows cannot be read: every one of them.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = Path("taps.csv").write_text("name,litres,plot\nthe Okoros,120,W17F\n")
    >>> [keeper.litres for keeper in patchnet.read_keepers("taps.csv", patchnet.read_demo())]
    [120.0]
    """
    faults = FaultList()
    people = keepers_in(Path(path), neighbourhood, faults)
    if any(fault.severity == "error" for fault in faults.faults):
        raise DataFaults(faults.faults)
    return people


def keepers_in(
    path: Path, hood: Neighbourhood, faults: FaultList, knowledge: Knowledge | None = None
) -> tuple[Keeper, ...]:
    """Read who waters: a table with the columns name, litres (a visit), and plot, or x and y.

    Parameters
    ----------
    path
        CSV or xlsx.
    hood
        Its plots are taps; x and y are metres of its CRS, or degrees.
    faults
        List that everything wrong is added to.
    knowledge
        For how far from the map a tap may lie; None: the tables that ship with patchnet.

    Raises
    ------
    CannotRead
        If the file is missing or is not a table.
    """
    table = read_table(path, faults, known=_COLUMNS)
    if lacking := [name for name in _NEEDED if table.column_of((name,)) is None]:
        faults.error(
            table.where,
            _("Missing column: {lacking}.").format(lacking=", ".join(lacking)),
            _("The heading must name the columns name, litres, and plot or x, y."),
            row=table.head,
        )
        return ()
    before = len(faults.faults)
    people = _people(table, hood, faults, knowledge or load_knowledge())
    for name, count in Counter(one.name for one in people).items():
        if count > 1:
            mend = _("Give each keeper a name of their own.")
            faults.error(table.where, _("The name {name!r} comes twice.").format(name=name), mend)
    if not people and len(faults.faults) == before:
        faults.error(table.where, _("No keeper is listed."), _("Write one line for each."))
    return tuple(people)


def _people(
    table: Table, hood: Neighbourhood, faults: FaultList, knowledge: Knowledge
) -> list[Keeper]:
    people = []
    for number, row in table.records():
        litres = _number(row, "litres", table.where, number, faults)
        place = _tap(row, hood, table.where, number, faults, knowledge)
        if not row["name"]:
            faults.error(table.where, _("The keeper has no name."), _("Fill it in."), row=number)
        elif litres is not None and litres <= 0:
            what = _("Litres a visit must be above 0, not {litres:g}.").format(litres=litres)
            faults.error(
                table.where,
                what,
                _("Write how many litres they can carry in one visit."),
                row=number,
            )
        elif litres is not None and place is not None:
            people.append(Keeper(row["name"], place, litres))
    return people


def _number(
    row: Mapping[str, str], column: str, where: str, number: int, faults: FaultList
) -> float | None:
    bare = _MINUS.sub("", row[column], count=1)
    found = parse_number(bare)
    if found is None:
        what = _("{column} {row!r} is not a number.").format(column=column, row=row[column])
        faults.error(where, what, _("Write digits, without a unit."), row=number)
        return None
    return -found if _MINUS.match(row[column]) else found


def _tap(
    row: Mapping[str, str],
    hood: Neighbourhood,
    where: str,
    number: int,
    faults: FaultList,
    knowledge: Knowledge,
) -> shapely.Point | None:
    if plot := row.get("plot", ""):
        ident = plot if plot in hood.plots.index else whole_number(plot)
        if ident in hood.plots.index:
            return hood.plots.geometry.loc[ident].representative_point()
        hint = nearest_hint(plot, hood.plots.index)
        faults.error(
            where,
            _("There is no plot {plot!r}.{hint}").format(plot=plot, hint=hint),
            _("Mend the plot."),
            row=number,
        )
        return None
    if not row.get("x") or not row.get("y"):
        mend = _("Name a plot, or x and y.")
        faults.error(where, _("It does not say where the tap is."), mend, row=number)
        return None
    x, y = (_number(row, key, where, number, faults) for key in ("x", "y"))
    if x is None or y is None:
        return None
    point, odd = point_on_map(x, y, hood, knowledge=knowledge)
    if point is None:
        mend = _("Write x and y in the map's metres or as degrees, or name the plot of the tap.")
        faults.error(where, odd, mend, row=number)
    elif odd:
        mend = _("Check on the plan that the tap is where it should be.")
        faults.warn(where, odd, mend, row=number)
    return point


def keepers_trouble(
    people: Sequence[Keeper], sites: Sequence[Site], *, knowledge: Knowledge
) -> str:
    """Say why none of the keepers can water any of the places; empty where one can.

    Parameters
    ----------
    people
        Who waters.
    sites
        Places that may be used.
    knowledge
        For how far cans are carried, and how much water a box takes.
    """
    if not people or not sites:
        return ""
    carry = knowledge.setting("carry_m")
    apart = {one.name: min(site.centre.distance(one.place) for site in sites) for one in people}
    reaching = [one for one in people if apart[one.name] <= carry]
    if not reaching:
        nearest = min(people, key=lambda one: (apart[one.name], one.name))
        return _(
            "No keeper's tap is near enough: the nearest is that of {name}, {apart:.0f} m from the "
            "nearest place, and cans are carried {carry:g} m at most. Find a tap nearer by, leave "
            "planters without a keeper (--unkept), or say that they are carried farther (carry_m "
            "in settings of --knowledge)."
        ).format(name=nearest.name, apart=apart[nearest.name], carry=carry)
    litres = knowledge.setting("visit_litres_m2")
    least = min(
        site.size.plan_m2 * litres
        for site in sites
        for one in reaching
        if site.centre.distance(one.place) <= carry
    )
    most = max(reaching, key=lambda one: one.litres)
    if most.litres < least:
        return _(
            "Too little water: the smallest box within reach takes {least:.0f} litres a visit, and "
            "{name}, who carries most, {litres:g}. Ask for smaller boxes (--size), let two people "
            "share a box under one name, or leave planters without a keeper (--unkept)."
        ).format(least=least, name=most.name, litres=most.litres)
    return ""
