"""A real neighbourhood: the 'bubenec' set that the momepy package ships (Prague).

Plots: (c) CUZK, the Czech land registry; buildings and streets: (c) OpenStreetMap contributors,
ODbL. The set tells nothing of what is on the plots, so features are given by a stated rule: the
numbers of the plots, counted from 0, that 2 divides have a lawn on half their ground, 3 a tree,
5 a pond of 4 m2, 7 nobody has seen; everything else was looked for everywhere.
"""

import geopandas as gpd
import momepy
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

from patchnet.core.errors import DataFaults
from patchnet.read import build_neighbourhood, check_file

PATH = momepy.datasets.get_path("bubenec")
COPYRIGHT = "\N{COPYRIGHT SIGN}"
LAND_REGISTRY = "\N{LATIN CAPITAL LETTER C WITH CARON}\N{LATIN CAPITAL LETTER U WITH ACUTE}ZK"
CREDITS = (
    f"Plots {COPYRIGHT} {LAND_REGISTRY}",
    f"Buildings, streets {COPYRIGHT} OpenStreetMap contributors, ODbL",
)


def read(layer):
    return gpd.read_file(PATH, layer=layer)


def rule(plots):
    """Give the features of the stated rule, as a table keyed by plot id."""
    area = plots.to_crs(32633).area
    rows = []
    for at, (ident, m2) in enumerate(zip(plots["ID"], area, strict=True)):
        words = [
            f"lawn {m2 / 2:.1f}" if at % 2 == 0 else "",
            "tree 1" if at % 3 == 0 else "",
            "pond 4" if at % 5 == 0 and m2 > 8 else "",
        ]
        seen = "none" if at % 7 == 0 else "all"
        listed = "" if seen == "none" else "; ".join(word for word in words if word)
        rows.append((ident, seen, listed))
    return pd.DataFrame(rows, columns=["ID", "seen", "features"])


@pytest.fixture(scope="module")
def plots():
    return read("plots")


def test_check_of_the_file_as_it_is(knowledge):
    report = check_file(PATH, knowledge=knowledge)
    assert report.counts["plots"] == len(read("plots"))
    assert report.counts["buildings"] == 144
    assert report.counts["roads"] == 35  # its layer is called streets
    assert all(fault.mend for fault in report.faults)


def test_build(plots, knowledge, build):
    table = rule(plots)
    found = build(
        plots, features=table, buildings=read("buildings"), roads=read("streets"),
        credits=CREDITS, name="Bubene\N{LATIN SMALL LETTER C WITH CARON}",
    )  # fmt: skip
    assert found.credits == CREDITS
    assert found.plots.crs.to_epsg() == 32633  # Web Mercator's metres are not metres
    assert found.source_crs == "EPSG:3857"
    assert list(found.plots.index) == plots["ID"].tolist()
    assert found.plots.geometry.is_valid.all()
    assert len(found.buildings) == 144
    assert len(found.roads) == 35
    known = found.answers.table()
    unseen = np.arange(len(plots)) % 7 == 0
    assert known[unseen].isna().to_numpy().all()
    seeable = [not knowledge.features[key].unseen for key in known]
    assert known.loc[~unseen, seeable].notna().to_numpy().all()
    at = np.arange(len(plots))
    assert ((known["tree_small"] > 0) == (~unseen & (at % 3 == 0))).all()
    lawn = known["lawn_short"][~unseen & (at % 2 == 0)]
    assert (lawn / found.plots["area_m2"].loc[lawn.index]).to_numpy() == pytest.approx(
        0.5, abs=0.01
    )


def test_areas_against_geod(plots, build):
    """Geodesic areas on the ellipsoid; UTM's scale error is below 0.001, of areas 0.002."""
    found = build(plots)
    geod = pyproj.Geod(ellps="WGS84")
    world = found.plots.to_crs(4326).geometry
    true = np.array([abs(geod.geometry_area_perimeter(shape)[0]) for shape in world])
    assert found.plots["area_m2"].to_numpy() == pytest.approx(true, rel=0.002)
    # Web Mercator at 50.1 N: 1 / cos(lat) squared = 2.43 times too large.
    assert plots.area.sum() / true.sum() == pytest.approx(2.43, abs=0.01)


def test_rows_in_another_order_give_the_same_answers(plots, knowledge):
    table = rule(plots)
    one = build_neighbourhood(plots, features=table, knowledge=knowledge)
    mixed = plots.sample(frac=1, random_state=3)
    other = build_neighbourhood(
        mixed, features=table.sample(frac=1, random_state=4), knowledge=knowledge
    )
    assert list(other.plots.index) == mixed["ID"].tolist()
    back = other.plots.loc[one.plots.index]
    assert (back["area_m2"] == one.plots["area_m2"]).all()
    pd.testing.assert_frame_equal(other.answers.table().loc[one.plots.index], one.answers.table())


def test_mapped_trees_land_on_their_plots(plots, build):
    """A tree drawn on each plot's representative point is one tree on each plot."""
    points = gpd.GeoDataFrame(
        {"feature": ["tree"] * len(plots)},
        geometry=shapely.point_on_surface(plots.geometry.to_numpy()),
        crs=plots.crs,
    )
    found = build(plots, features=points)
    trees = found.answers.table()["tree_small"]
    assert trees.sum() == len(plots)
    overlapping = shapely.STRtree(plots.geometry.to_numpy()).query(
        points.geometry.to_numpy(), predicate="intersects"
    )
    if len(overlapping[0]) == len(plots):  # no representative point lies on two plots
        assert (trees == 1).all()


def test_one_row_spoilt_is_the_one_that_is_told(plots, knowledge):
    spoilt = plots.copy()
    spoilt.loc[100, "geometry"] = None
    with pytest.raises(DataFaults) as raised:
        build_neighbourhood(spoilt, knowledge=knowledge)
    (fault,) = (fault for fault in raised.value.faults if fault.severity == "error")
    assert (fault.row, fault.ident) == (101, plots["ID"][100])


def test_layers_are_there():
    assert {name for name, _ in pyogrio.list_layers(PATH)} >= {"plots", "buildings", "streets"}
