"""Every house that has an address, or is large, with its plots or the reason why it has none."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.base.addresses import Left
from patchnet.base.gathered import Gathered
from patchnet.base.numbering import Numbered
from patchnet.base.plot_rows import Piece
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge

__all__ = ["COLUMNS", "account"]

COLUMNS = ("street", "door", "osm", "plots", "reason")
_NO_GROUND = N_("no ground beside it that could be a garden")
_SHED = N_("a garage, shed or the like by its tags")
_GUESSED_SHED = N_("taken for a shed or garage of the larger house beside it")
_NO_HOME = N_("drawn too small, or under construction")
_OUT = ("outbuilding", "none")


def account(
    inputs: Gathered,
    pieces: Sequence[Piece],
    numbered: Numbered,
    plots: gpd.GeoDataFrame,
    knowledge: Knowledge,
) -> pd.DataFrame:
    """Return one row a door, and one for each large house without any: columns `COLUMNS`.

    Parameters
    ----------
    inputs
        Buildings with their doors, and addresses that are of none.
    pieces, numbered
        What became plots, and their ids.
    plots
        The plots that there are in the end.
    knowledge
        For ``base_named_house_m2``.
    """
    idents = set(plots["id"])
    of_house: dict[int, list[str]] = {}
    for at, piece in enumerate(pieces):
        own = [numbered.ids[at, part] for part in piece.unit.parts]
        for home in piece.homes:
            of_house.setdefault(home, []).extend(one for one in own if one in idents)
    large = shapely.area(inputs.buildings.geometry.to_numpy()) > knowledge.setting(
        "base_named_house_m2"
    )
    uses = inputs.buildings["use"].tolist()
    osm = inputs.buildings["osm"].tolist()
    sure = inputs.buildings["sure"].to_numpy(dtype=bool)
    rows: list[tuple[str, str, str, str, str]] = []
    inside = np.ones(len(uses), dtype=bool)
    if inputs.place is not None:
        spots = inputs.buildings.geometry.representative_point()
        inside = spots.intersects(inputs.place).to_numpy()
    for at in np.flatnonzero(inside).tolist():
        doors = inputs.buildings["doors"].iloc[at]
        named = [door for door in doors if door.number]
        mine = of_house.get(at, [])
        guessed_shed = uses[at] == _OUT[0] and not sure[at]
        if not named and (mine or not large[at] or (uses[at] in _OUT and not guessed_shed)):
            continue
        reason = _(_GUESSED_SHED) if guessed_shed else _reason(str(uses[at]), large=bool(large[at]))
        reason = "" if mine else reason
        ids = "; ".join(dict.fromkeys(mine))
        rows += [(door.street, door.number, osm[at], ids, reason) for door in named]
        if not named:
            rows.append(("", "", osm[at], ids, reason))
    rows += [_left_out(one) for one in inputs.left]
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return _once(table)


def _reason(use: str, *, large: bool) -> str:
    if use in _OUT:
        return _(_SHED)
    return _(_NO_GROUND) if large else _(_NO_HOME)


def _left_out(one: Left) -> tuple[str, str, str, str, str]:
    return one.door.street, one.door.number, one.osm, "", one.reason


def _once(table: pd.DataFrame) -> pd.DataFrame:
    """An address that several buildings have (a house and its shop) is there if any has a plot."""
    known: Mapping[tuple[str, str], bool] = {
        (str(street), str(door)): True
        for street, door, plots in zip(table["street"], table["door"], table["plots"], strict=True)
        if plots and door
    }
    again = np.array(
        [
            bool(reason) and known.get((str(street), str(door)), False)
            for street, door, reason in zip(
                table["street"], table["door"], table["reason"], strict=True
            )
        ],
        dtype=bool,
    )
    return table[~again].reset_index(drop=True)
