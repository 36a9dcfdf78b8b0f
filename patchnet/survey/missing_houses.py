"""Houses that volunteers found missing on the map: a spot and a number, to be drawn as plots."""

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.cells import as_text
from patchnet.core.crs_change import change_of
from patchnet.core.texts import _
from patchnet.read.feature_lists import Problem
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.drawn import shape_of
from patchnet.survey.one_return import SAID
from patchnet.survey.rows import Asked, clean, say_problems, table_of
from patchnet.survey.survey_record import MISSING, digest
from patchnet.survey.times import with_times

__all__ = ["check_missing", "to_draw"]


def check_missing(
    neighbourhood: Neighbourhood, idents: Sequence[str], asked: Asked
) -> tuple[gpd.GeoDataFrame, NDArray[np.intp]]:
    """Return the houses in the map's CRS, and the position of the return that each is of.

    The houses have the columns `MISSING` and their geometry, a row each; positions have shape (n,).

    Parameters
    ----------
    neighbourhood
        For its plots and CRS.
    idents
        Id of each return.
    asked
        The returns, and where faults go.
    """
    crs = neighbourhood.plots.crs
    frames = [
        pd.DataFrame(
            [_row(house, number) for number, house in enumerate(one.missing, 1)],
            columns=[*SAID, "door", "geometry"],
            dtype=object,
        )
        for one in asked.returns
    ]
    table = table_of(frames)
    if not len(table):
        return _houses([], crs), np.zeros(0, dtype=np.intp)
    table = with_times(table, asked, tell=False)
    away_m = asked.knowledge.setting("survey_missing_m")
    onto = change_of("OGC:CRS84", crs)
    spots = [
        shape_of({"type": "Point", "coordinates": spot}, onto) if spot else None
        for spot in table["geometry"]
    ]
    whole = shapely.union_all(shapely.envelope(neighbourhood.plots.geometry.to_numpy()))
    good = np.array(
        [
            spot is not None and bool(number) and shapely.dwithin(whole, spot, away_m)
            for spot, number in zip(spots, table["door"], strict=True)
        ],
        dtype=bool,
    )
    problem = Problem(
        _("A house that is said to be missing has no number, or lies far from the map."),
        _("Place it anew on the device, or draw its plot."),
    )
    say_problems(
        table[~good], pd.Series([problem] * len(table), index=table.index)[~good],
        asked, error=True, mend=False,
    )  # fmt: skip
    heads = [" ".join(clean(one.about.get("surveyor", "")).split()) for one in asked.returns]
    rows = table[good].reset_index(drop=True)
    kept = [spot for spot, is_good in zip(spots, good.tolist(), strict=True) if is_good]
    rows = rows.assign(
        **{
            "return": [idents[at] for at in rows["at"]],
            "surveyor": [heads[at] for at in rows["at"]],
            "outline": shapely.to_wkt(np.array(kept, dtype=object), rounding_precision=3),
        }
    )
    named = digest(rows[[key for key in MISSING if key != "house"] + ["outline"]], "house")
    return _houses(kept, crs, named[list(MISSING)]), rows["at"].to_numpy(dtype=np.intp)


def to_draw(houses: gpd.GeoDataFrame, neighbourhood: Neighbourhood) -> pd.DataFrame:
    """Return the houses that are still to be drawn, and the plot that each spot lies on.

    Parameters
    ----------
    houses
        Those of the records, with the columns `MISSING` and their geometry.
    neighbourhood
        The map as it is now: a house whose number is the door of the nearest plot is drawn.

    Returns
    -------
    DataFrame
        Columns door, note, surveyor, when, plot (empty: on none).
    """
    plots = neighbourhood.plots
    tree = shapely.STRtree(plots.geometry.to_numpy())
    rows = []
    for house in houses.itertuples(index=False):
        on = [str(plots.index[at]) for at in tree.query(house.geometry, predicate="intersects")]
        # A spot on a house lies on no plot: its gardens are the nearest.
        near = [str(plots.index[at]) for at in tree.query_nearest(house.geometry)]
        if any(_called(str(house.door), plots.loc[ident]) for ident in near):
            continue
        rows.append((house.door, house.note, house.surveyor, house.when, ", ".join(sorted(on))))
    return pd.DataFrame(rows, columns=["door", "note", "surveyor", "when", "plot"], dtype=object)


def _called(number: str, plot: "pd.Series[Any]") -> bool:
    names = {as_text(plot.get(key)).casefold() for key in ("door", "label")} | {str(plot.name)}
    return number.casefold() in names


def _houses(
    spots: Sequence[shapely.Geometry | None], crs: object, table: pd.DataFrame | None = None
) -> gpd.GeoDataFrame:
    frame = pd.DataFrame(columns=list(MISSING), dtype=object) if table is None else table
    return gpd.GeoDataFrame(frame, geometry=list(spots), crs=crs)


def _row(house: Mapping[str, object], number: int) -> dict[str, object]:
    spot = house.get("point")
    sound = (
        isinstance(spot, list)
        and len(spot) == 2
        and all(isinstance(one, int | float) and abs(one) <= 180 for one in spot)
    )
    return {
        **dict.fromkeys(SAID, ""),
        "note": as_text(house.get("note")),
        "when": as_text(house.get("when")),
        "row": number,
        "door": clean(as_text(house.get("number")))[:40],
        "geometry": [float(one) for one in spot] if sound and isinstance(spot, list) else None,
    }
