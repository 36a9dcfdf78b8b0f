"""The units of a street's public figures: whole stretches of one side, fixed once.

A unit is never cut anew: two cuts of the same households would give away what lies between them.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import shapely

from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.survey.release import UNITS, Ledger, new_key

__all__ = ["SEVERAL", "TOGETHER", "fix_units", "unit_shapes"]

SEVERAL = N_("Several streets")
"""Name of a unit that is not along one street."""
TOGETHER = "plots shown together"
"""Kind of what is shown for several plots at once."""


def fix_units(
    order: pd.DataFrame,
    household_of: "pd.Series[str]",
    taking_part: Sequence[str],
    shapes: "pd.Series[shapely.Geometry]",
    *,
    knowledge: Knowledge,
) -> Ledger:
    """Return a new ledger with the units of a street.

    Parameters
    ----------
    order
        Index plot; columns street and side (empty where they must not be named), order (place in
        the whole walk).
    household_of
        Household of each plot that is somebody's home, index plot.
    taking_part
        Households whose answers are counted now.
    shapes
        Outline of each plot, in metres.
    knowledge
        For ``public_households_min``, ``public_unit_households`` and ``public_join_m``.

    Raises
    ------
    WrongUse
        If so few households take part that there can be no unit.
    """
    least = int(knowledge.setting("public_households_min"))
    usual = int(knowledge.setting("public_unit_households"))
    walk = order.loc[household_of.index].assign(household=household_of).sort_values("order")
    homes = walk.drop_duplicates("household").set_index("household")[["street", "side"]]
    part = homes.index.isin(list(taking_part))
    if part.sum() < least:
        raise WrongUse(
            _(
                "{total} households take part, and a file for the public needs at least {least}: "
                "in a smaller group a class would point to a house. A household takes part when "
                "something is known of its plot and it has not said no."
            ).format(total=int(part.sum()), least=least)
        )
    units = _stretches(homes, pd.Series(part, index=homes.index), least, usual)
    unit_of = {name: f"u{number}" for number, names in enumerate(units, 1) for name in names}
    placed = household_of[household_of.isin(list(unit_of))]
    table = pd.DataFrame(
        {
            "plot": placed.index.astype(str),
            "household": placed.to_numpy(),
            "unit": [unit_of[name] for name in placed],
        },
        columns=list(UNITS),
        dtype=object,
    )
    names = _names(homes, units)
    drawn = unit_shapes(table, shapes, join_m=knowledge.setting("public_join_m"))
    return Ledger(key=new_key(), units=table, names=names, shapes=drawn)


def _stretches(
    homes: pd.DataFrame, part: "pd.Series[bool]", least: int, usual: int
) -> list[list[str]]:
    """Cut each side of a street so that every piece has enough that take part."""
    units: list[list[str]] = []
    last_of: dict[str, int] = {}
    rest: list[tuple[str, list[str]]] = []
    for (street, __), rows in homes.groupby(["street", "side"], sort=True):
        names = [str(name) for name in rows.index]
        count = int(part.loc[rows.index].sum())
        if count < least:
            rest.append((str(street), names))
            continue
        pieces = max(1, count // usual)
        # A household that takes no part goes with the one before it.
        place = np.maximum(np.cumsum(part.loc[rows.index].to_numpy()) - 1, 0)
        piece = place * pieces // count
        units += [[names[at] for at in np.flatnonzero(piece == one)] for one in range(pieces)]
        last_of[str(street)] = len(units) - 1
    left: list[str] = []
    for street, names in rest:
        if street in last_of:
            units[last_of[street]] += names
        else:
            left += names
    if left and int(part.loc[left].sum()) >= least:
        units.append(left)
    elif left and units:
        units[-1] += left
    return units


def _names(homes: pd.DataFrame, units: Sequence[Sequence[str]]) -> dict[str, str]:
    words = []
    for names in units:
        rows = homes.loc[list(names)]
        street = rows["street"].unique()
        side = rows["side"].unique()
        place = [str(street[0])] if len(street) == 1 and street[0] else []
        place += [str(side[0])] if place and len(side) == 1 and side[0] else []
        words.append(", ".join(place) or _(SEVERAL))
    counted: dict[str, int] = {}
    named = {}
    for number, word in enumerate(words, 1):
        counted[word] = counted.get(word, 0) + 1
        more = f" ({counted[word]})" if words.count(word) > 1 else ""
        named[f"u{number}"] = word + more
    return named


def unit_shapes(
    units: pd.DataFrame, shapes: "pd.Series[shapely.Geometry]", *, join_m: float
) -> Mapping[str, shapely.Geometry]:
    """Return each unit drawn as one, over the narrow seams between its plots but over no other.

    Parameters
    ----------
    units
        Columns plot and unit.
    shapes
        Outline of each plot, in metres.
    join_m
        Half the width of a seam.
    """
    taken = shapely.union_all(shapes.loc[units["plot"]].to_numpy())
    drawn: dict[str, shapely.Geometry] = {}
    for unit, rows in units.groupby("unit", sort=False):
        whole = shapely.union_all(shapes.loc[rows["plot"]].to_numpy())
        closed = whole.buffer(join_m, join_style="mitre").buffer(-join_m, join_style="mitre")
        seams = shapely.difference(closed, taken)
        drawn[str(unit)] = _areas(shapely.union(whole, seams), whole)
        taken = shapely.union(taken, seams)
    return drawn


def _areas(shape: shapely.Geometry, otherwise: shapely.Geometry) -> shapely.Geometry:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    if not parts:
        return otherwise
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
