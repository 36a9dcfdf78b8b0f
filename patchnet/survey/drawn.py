"""Shapes drawn on the survey page: brought onto the map, measured, and given to their plots."""

import json
from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import Transformer

from patchnet.core.crs_change import change_of
from patchnet.core.texts import N_, _
from patchnet.read.assign import measured
from patchnet.read.feature_lists import Problem
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.read.repair import mended
from patchnet.survey.one_return import SAID, Return
from patchnet.survey.rows import (
    Asked,
    Matcher,
    clean,
    say_problems,
    table_of,
    with_features,
    with_plots,
)
from patchnet.survey.survey_record import DRAWN, digest
from patchnet.survey.times import with_times

__all__ = ["check_drawn", "shape_of", "undescribed"]

_REDRAW = N_("Draw it again on the survey page.")


def undescribed(one: Return) -> pd.DataFrame:
    """Return a statement for each shape of a feature of which the return says nothing else.

    Who draws a pond has said that it is there.

    Parameters
    ----------
    one
        A return.
    """
    if not one.drawn:
        return pd.DataFrame(columns=list(SAID), dtype=object)
    described = set(zip(one.said["plot"].astype(str), one.said["feature"].astype(str), strict=True))
    rows = []
    for number, shape in enumerate(one.drawn, 1):
        key = str(shape.get("plot")), str(shape.get("feature"))
        if key not in described:
            described.add(key)
            rows.append(_row(shape, number) | {"answer": "there"})
    return pd.DataFrame(rows, columns=list(SAID), dtype=object)


def check_drawn(
    neighbourhood: Neighbourhood, idents: Sequence[str], match: Matcher, asked: Asked
) -> tuple[gpd.GeoDataFrame, NDArray[np.intp]]:
    """Return all shapes in the map's CRS, columns `DRAWN` and the geometry, and of which return.

    Parameters
    ----------
    neighbourhood
        For its plots and CRS.
    idents
        Id of each return.
    match
        Finds the plot that a text means.
    asked
        The returns, and where faults go.
    """
    frames = [
        pd.DataFrame(
            [_row(shape, number) for number, shape in enumerate(one.drawn, 1)],
            columns=[*SAID, "geometry"],
            dtype=object,
        )
        for one in asked.returns
    ]
    table = table_of(frames)
    if not len(table):
        none = gpd.GeoDataFrame(
            pd.DataFrame(columns=list(DRAWN), dtype=object), geometry=[],
            crs=neighbourhood.plots.crs,
        )  # fmt: skip
        return none, np.zeros(0, dtype=np.intp)
    table = with_features(with_times(with_plots(table, match, asked), asked, tell=False), asked)
    onto = change_of("OGC:CRS84", neighbourhood.plots.crs)
    shapes = np.array([shape_of(value, onto) for value in table["geometry"]] or [None], object)
    shapes = shapes[: len(table)]
    lost = np.array([shape is None for shape in shapes], dtype=bool)
    snap = asked.knowledge.setting("feature_snap_m")
    plots = neighbourhood.plots.geometry.reindex(table["plot"]).to_numpy()
    away = ~lost & ~shapely.dwithin(plots, shapes, snap)
    for bad, what in (
        (lost, _("The drawn shape is no shape that can be used.")),
        (away, _("The drawn shape does not lie on the plot that it is said to be on.")),
    ):
        problems = pd.Series([Problem(what, _(_REDRAW))] * len(table), index=table.index)
        say_problems(table[bad], problems[bad], asked, error=True)
    good = ~lost & ~away
    rows, kept = table[good].reset_index(drop=True), shapes[good]
    heads = [" ".join(clean(one.about.get("surveyor", "")).split()) for one in asked.returns]
    features = asked.knowledge.features
    rows = rows.assign(
        **{
            "return": [idents[at] for at in rows["at"]],
            "surveyor": [
                own or heads[at] for own, at in zip(rows["surveyor"], rows["at"], strict=True)
            ],
            "amount": [
                round(measured(features[key], shape), 3)
                for key, shape in zip(rows["feature"], kept, strict=True)
            ],
            "outline": shapely.to_wkt(kept, rounding_precision=3),
        }
    )
    named = digest(rows[[key for key in DRAWN if key != "shape"] + ["outline"]], "shape")
    whole = gpd.GeoDataFrame(named[list(DRAWN)], geometry=kept, crs=neighbourhood.plots.crs)
    return whole, rows["at"].to_numpy(dtype=np.intp)


def _row(shape: Mapping[str, object], number: int) -> dict[str, object]:
    return dict.fromkeys(SAID, "") | {
        key: shape.get(key) for key in ("plot", "feature", "when", "surveyor")
    } | {"row": number, "geometry": shape.get("geometry")}  # fmt: skip


def shape_of(value: object, onto: Transformer) -> shapely.Geometry | None:
    """Return a GeoJSON geometry in metres, valid and without height; None where it is none."""
    try:
        found = shapely.force_2d(shapely.from_geojson(json.dumps(value)))
    except (shapely.errors.GEOSException, TypeError, ValueError):
        return None
    if found is None or found.is_empty or found.geom_type == "GeometryCollection":
        return None
    points = shapely.get_coordinates(found)
    east, north = onto.transform(points[:, 0], points[:, 1])
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        return None
    return mended(shapely.set_coordinates(found, np.column_stack([east, north])))
