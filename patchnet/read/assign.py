"""Mapped features given to the plots they lie in, and measured there.

An area or line is cut at the plots' borders and each plot gets its part; a part below
``settings/feature_min_share`` stays with the plot that has most: it is drawing error. A line
along a common border counts half on either side. A point, and anything that is counted, goes
whole to the plot of its representative point. What lies outside every plot goes to the nearest
within ``settings/feature_snap_m``, and is left out with a warning beyond that. A row that names
its plot goes there whole, if it lies there at all.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.cells import texts
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.texts import _
from patchnet.knowledge.records import Feature, Knowledge
from patchnet.read.columns import Columns
from patchnet.read.feature_lists import Problem, Said, parse_cell, parse_list
from patchnet.read.feature_sheet import Sheet
from patchnet.read.repair import mended

__all__ = ["assign_features", "measured"]

Shapes = NDArray[np.object_]
Share = tuple[int, shapely.Geometry, float]
"""Plot, the part of the geometry on it, its share of the whole."""


@dataclass(frozen=True, eq=False)
class _Plots:
    shapes: Shapes
    tree: shapely.STRtree
    snap_m: float
    min_share: float


def assign_features(
    table: pd.DataFrame,
    shapes: Shapes,
    columns: Columns,
    named: Sequence[int | None],
    plots: Shapes,
    idents: Sequence[str],
    sheet: Sheet,
    *,
    crs: object,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Fill `sheet` from mapped features and return them: geometry, plot, feature, amount.

    Parameters
    ----------
    table
        Rows of the features layer.
    shapes
        Their geometries in metres, shape (rows,).
    columns
        Which column is which.
    named
        Position of the plot that a row names; None where it names none.
    plots, idents
        Valid outlines of the plots, shape (n,), and their ids.
    sheet
        Empty; filled with what lies on each plot.
    crs
        CRS of the result.
    knowledge
        For words, units and the two settings.
    faults
        List that faults are added to.

    Returns
    -------
    GeoDataFrame
        Columns ``plot``, ``feature``, ``amount`` (in the feature's unit) and the geometry.
    """
    base = _Plots(
        plots,
        shapely.STRtree(plots),
        knowledge.setting("feature_snap_m"),
        knowledge.setting("feature_min_share"),
    )
    words = texts(table[columns.role["features"]])
    amounts = texts(table[columns.role["amount"]]) if "amount" in columns.role else None
    rows: list[dict[str, object]] = []
    outside: list[tuple[Place, str]] = []
    elsewhere: list[tuple[Place, str]] = []
    for at, (word, shape) in enumerate(zip(words, shapes, strict=True)):
        plot_named = named[at]
        place = (at + 1, None if plot_named is None else idents[plot_named])
        said = _said(word, amounts[at] if amounts else "", place, sheet.where, knowledge, faults)
        valid = _usable(shape, place, sheet.where, faults)
        if said is None or valid is None:
            continue
        feature = knowledge.features[said.feature]
        if plot_named is not None and _touches(base, valid, plot_named):
            shares: list[Share] = [(plot_named, valid, 1.0)]
        else:
            shares = _shares(valid, feature, base)
            if plot_named is not None and shares:
                what = _("{feature_name} does not lie on plot {ident}, which it names.").format(
                    feature_name=feature.name, ident=idents[plot_named]
                )
                elsewhere.append((place, what))
        if not shares:
            outside.append(
                (
                    place,
                    _("{feature_name} lies outside any plot: it was left out.").format(
                        feature_name=feature.name
                    ),
                )
            )
        for plot, part, share in shares:
            amount = _amount(said, feature, valid, share)
            sheet.add(
                plot,
                Said(said.feature, said.answer, amount, said.sure),
                place,
                add_up=True,
                faults=faults,
            )
            rows.append(
                {
                    "geometry": part,
                    "plot": idents[plot],
                    "feature": said.feature,
                    "amount": np.nan if amount is None else amount,
                }
            )
    faults.warn_rows(
        sheet.where, outside, together=_("{n} features lie outside any plot and were left out."),
        mend=_("Draw a plot round it (a verge, a tree pit), or move it."),
    )  # fmt: skip
    faults.warn_rows(
        sheet.where, elsewhere, together=_("{n} features do not lie on the plot they name."),
        mend=_("Mend the plot's id; the feature was counted where it lies."),
    )  # fmt: skip
    return gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=["geometry", "plot", "feature", "amount"]),
        geometry="geometry",
        crs=crs,
    )


def _said(
    word: str, amount: str, place: Place, where: str, knowledge: Knowledge, faults: FaultList
) -> Said | None:
    """Read what a row is; None (with an error) where it is nothing known."""
    found = parse_list(word, knowledge)
    for problem in found.problems:
        faults.error(where, problem.what, problem.mend, row=place[0], ident=place[1])
    if found.problems:
        return None
    if len(found.said) != 1:
        what = (
            _("The row does not say what it is.")
            if not found.said
            else _("The row has two features.")
        )
        faults.error(
            where, what, _("Write one feature a row."), row=place[0], ident=place[1]
        )  # fmt: skip
        return None
    (said,) = found.said
    sized = parse_cell(amount, knowledge.features[said.feature], knowledge)
    if isinstance(sized, Problem):
        faults.error(where, sized.what, sized.mend, row=place[0], ident=place[1])
        return None
    if sized is None or said.answer != "there":
        return said
    return Said(said.feature, sized.answer, sized.amount, said.sure and sized.sure)


def _usable(
    shape: shapely.Geometry | None, place: Place, where: str, faults: FaultList
) -> shapely.Geometry | None:
    """Return a valid geometry without Z; None (with an error) where none can be used."""
    valid = None
    if shape is None or shape.is_empty:
        what, mend = _("The feature is not drawn."), _("Draw it, or delete the row.")
    elif not np.isfinite(shapely.get_coordinates(shape)).all():
        what, mend = (
            _("The feature has a corner without a place (NaN or infinite)."),
            _("Draw it again."),
        )
    else:
        what, mend = _("The feature's outline crosses itself many times."), _("Draw it again.")
        valid = mended(shape)
    if valid is None:
        faults.error(where, what, mend, row=place[0], ident=place[1])
    return valid


def _touches(base: _Plots, shape: shapely.Geometry, plot: int) -> bool:
    return bool(shapely.dwithin(base.shapes[plot], shape, base.snap_m))


def _shares(shape: shapely.Geometry, feature: Feature, base: _Plots) -> list[Share]:
    """Return the plots that share a geometry; empty where none is near."""
    measure = {0: None, 1: shapely.length, 2: shapely.area}[shapely.get_dimensions(shape)]
    if feature.measure == "count" or measure is None:
        return _by_point(shape, base)
    near = np.sort(base.tree.query(shape, predicate="intersects"))
    parts = shapely.intersection(base.shapes[near], shape)
    sizes = measure(parts)
    inside = sizes.sum()
    if not inside > 0:
        return _nearest(shape, base)
    main = int(np.argmax(sizes))
    kept = sizes >= base.min_share * measure(shape)
    kept[main] = True
    # What is cut off as too small stays with the main plot; so does what no plot covers where
    # it is no more than drawing error. A border line that lies in two plots is shared.
    total = max(float(measure(shape)), 1e-12)
    shares = np.where(kept, sizes, 0.0)
    shares[main] += sizes[~kept].sum()
    if shares.sum() > total:
        shares *= total / shares.sum()
    return [(int(near[k]), parts[k], float(shares[k] / total)) for k in np.flatnonzero(kept)]


def _by_point(shape: shapely.Geometry, base: _Plots) -> list[Share]:
    point = shapely.point_on_surface(shape)
    near = np.sort(base.tree.query(point, predicate="intersects"))
    if len(near):
        return [(int(near[0]), shape, 1.0)]
    return _nearest(shape, base)


def _nearest(shape: shapely.Geometry, base: _Plots) -> list[Share]:
    near = np.sort(base.tree.query(shape, predicate="dwithin", distance=base.snap_m))
    if not len(near):
        return []
    distance = shapely.distance(base.shapes[near], shape)
    return [(int(near[int(np.argmin(distance))]), shape, 1.0)]


def _amount(said: Said, feature: Feature, shape: shapely.Geometry, share: float) -> float | None:
    """Return a share of a feature's amount, in its own unit; None where it has no size."""
    if said.answer != "there":
        return said.amount
    whole = measured(feature, shape) if said.amount is None else said.amount
    return whole * share if whole > 0 else None


def measured(feature: Feature, shape: shapely.Geometry) -> float:
    """Measure a geometry in the feature's unit; 0 where it has no such size.

    A hedge drawn as an area is as long as its width in the tables makes it (m2 ground per m).

    Parameters
    ----------
    feature
        For its unit.
    shape
        Metres.

    Returns
    -------
    float
        m2, m or a count.
    """
    dimension = shapely.get_dimensions(shape)
    if feature.measure == "count":
        return float(shapely.get_num_geometries(shape)) if dimension == 0 else 1.0
    if feature.measure == "m2":
        return float(shape.area)
    width = feature.ground.value
    if dimension < 2:
        return float(shape.length)
    return float(shape.area / width) if width > 0 else float(shape.length / 2)
