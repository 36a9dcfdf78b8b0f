"""OpenStreetMap's features laid on the plots they belong to."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.base.gathered import areas_only
from patchnet.base.overlay import united
from patchnet.knowledge.records import Knowledge

__all__ = ["place_features"]


def place_features(
    features: gpd.GeoDataFrame, plots: gpd.GeoDataFrame, knowledge: Knowledge
) -> tuple[gpd.GeoDataFrame, int]:
    """Return the features on plots (``plot``, ``feature``, ``osm``, ``basis``), and how many are on none.

    An area is cut at the borders of plots, and areas of one feature on one plot are one; so no
    plot has more of a thing than it can hold. Lines are cut to the plots and their near
    surroundings. What a plot is by its kind (a planter) is not told a second time.

    Parameters
    ----------
    features
        Table with ``feature``, ``sure`` and ``osm``.
    plots
        Table with ``id`` and ``kind``.
    knowledge
        For ``feature_snap_m`` and what kinds of plot imply.
    """  # noqa: E501 - the first line says what the two are
    names = ["plot", "feature", "osm", "basis", "geometry"]
    if not len(features):
        empty = pd.DataFrame({name: np.empty(0, dtype=object) for name in names})
        return gpd.GeoDataFrame(empty, geometry="geometry", crs=features.crs), 0
    shapes = features.geometry.to_numpy()
    outlines = plots.geometry.to_numpy()
    tree = shapely.STRtree(outlines)
    snap = knowledge.setting("feature_snap_m")
    dimension = shapely.get_dimensions(shapes)
    word = features["feature"].to_numpy(dtype=object) + np.where(features["sure"], "", " ?")
    implied = [knowledge.plot_kinds[kind].implies for kind in plots["kind"]]
    key = features["feature"].tolist()
    osm = features["osm"].tolist()
    ids = plots["id"].tolist()
    rows: list[tuple[str, str, str, shapely.Geometry]] = []
    placed: set[int] = set()
    at, plot = tree.query(shapes, predicate="dwithin", distance=snap)
    small = dimension[at] < 2
    for k in np.unique(at[small]).tolist():
        near = np.sort(plot[small][at[small] == k])
        placed.add(k)
        nearest = near[int(np.argmin(shapely.distance(outlines[near], shapes[k])))]
        if implied[nearest] == key[k]:
            continue
        shape = shapes[k]
        if dimension[k] == 1:
            around = united(outlines[near]).buffer(snap)
            shape = shape.intersection(around)
            rows.append(("", word[k], osm[k], shape))
        else:
            rows.append((ids[nearest], word[k], osm[k], shape))
    least = knowledge.setting("sliver_area_m2")
    rows += _areas(at[~small], plot[~small], shapes, outlines, (word, osm, ids), placed, least)
    kept = [row for row in rows if not _denied(row, ids, implied)]
    table = pd.DataFrame(
        [(p, w, o, "OpenStreetMap", shape) for p, w, o, shape in kept], columns=names
    )
    return gpd.GeoDataFrame(table, geometry="geometry", crs=features.crs), len(features) - len(
        placed
    )


def _areas(
    at: NDArray[np.intp],
    plot: NDArray[np.intp],
    shapes: NDArray[np.object_],
    outlines: NDArray[np.object_],
    names: tuple[NDArray[np.object_], list[str], list[str]],
    placed: set[int],
    least: float,
) -> list[tuple[str, str, str, shapely.Geometry]]:
    """Cut areas at the plots' borders and join those of one feature on one plot."""
    word, osm, ids = names
    part = shapely.intersection(shapes[at], outlines[plot])
    groups: dict[tuple[int, str], list[int]] = {}
    for row, (k, p) in enumerate(zip(at.tolist(), plot.tolist(), strict=True)):
        if part[row].area >= least:
            groups.setdefault((p, word[k]), []).append(row)
            placed.add(k)
    rows = []
    for (p, text), members in sorted(groups.items()):
        whole = areas_only(united(part[members]))
        known = "; ".join(dict.fromkeys(osm[int(at[row])] for row in members))
        rows.append((ids[p], text, known, whole))
    return rows


def _denied(
    row: tuple[str, str, str, shapely.Geometry], ids: list[str], implied: list[str | None]
) -> bool:
    """Whether a plot is that feature by its kind already."""
    if not row[0]:
        return False
    return implied[ids.index(row[0])] == row[1].removesuffix(" ?")
