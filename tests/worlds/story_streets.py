"""Streets of every sort, with the shipped tables, for what a page says first."""

import dataclasses

import geopandas as gpd
import shapely

from patchnet.assess import assess
from patchnet.knowledge import load_knowledge
from patchnet.read.build import build_neighbourhood

__all__ = ["KNOW", "SURE", "answered", "emptied", "halves", "row_street"]

KNOW = load_knowledge()
SURE = "no tree_hole; no soil_wood; no old_roof_wall"  # nothing is drawn in that nobody can see


def row_street(features, *, side=12.0, step=None, seen=True, streets=None, labels=None, kinds=None):
    """Square gardens in a row from west to east; features one text a plot."""
    count = len(features)
    step = side if step is None else step
    columns = {
        "id": [str(at + 1) for at in range(count)],
        "kind": kinds or ["garden_back"] * count,
        "features": features,
        "seen": ["all" if seen else ""] * count,
    }
    if streets is not None:
        columns["street"] = streets
    if labels is not None:
        columns["label"] = labels
    shapes = [
        shapely.box(400_000 + step * at, 300_000, 400_000 + step * at + side, 300_000 + side)
        for at in range(count)
    ]
    return build_neighbourhood(
        gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:27700"), knowledge=KNOW
    )


def answered(neighbourhood, groups):
    return assess(neighbourhood, knowledge=KNOW, groups=list(groups), straight=True)


def emptied(assessment):
    """The same answer of no plots at all."""
    hood = assessment.neighbourhood
    none = dataclasses.replace(
        hood,
        plots=hood.plots.iloc[:0],
        answers=dataclasses.replace(
            hood.answers,
            plots=hood.answers.plots[:0],
            amount=hood.answers.amount[:0],
            sized=hood.answers.sized[:0],
            sure=hood.answers.sure[:0],
        ),
    )
    return answered(none, assessment.groups)


def halves(*, streets=True):
    """Green ends of a street 25 plots long, and a paved middle wider than a wren's move."""
    green = f"shrub 60; long_grass 40; {SURE}"
    paved = f"paving 130; {SURE}"
    features = [green] * 8 + [paved] * 9 + [green] * 8
    return row_street(
        features,
        streets=["Elm Road"] * 25 if streets else None,
        labels=[f"{at + 1} back" for at in range(25)],
    )
