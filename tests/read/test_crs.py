"""Coordinate systems: what is kept, what is projected, and the usual mix-ups told."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.read import build_neighbourhood
from patchnet.read.axes import look_swapped

GEOD = pyproj.Geod(ellps="WGS84")


def errors(faults):
    return [fault for fault in faults if fault.severity == "error"]


def swapped(table):
    return table.set_geometry(
        gpd.GeoSeries(
            shapely.transform(table.geometry.to_numpy(), lambda xy: xy[:, ::-1]), crs=table.crs
        )
    )


def test_national_grid_is_kept(street, build):
    found = build(street.plots(2))
    assert found.plots.crs.to_epsg() == 27700
    assert found.source_crs == "EPSG:27700"
    assert list(found.plots["area_m2"]) == [600.0, 600.0]


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:3395", "EPSG:2263", "EPSG:54030"])
def test_others_go_to_the_utm_zone(street, build, crs):
    """52 N 1.3 W lies in zone 30 (6 W to 0): EPSG:32630. Mercator's metres are 1.6 too long."""
    known = crs if crs != "EPSG:54030" else "ESRI:54030"
    plots = street.plots(2).to_crs(known)
    found = build(plots, buildings=street.layer([street.square(0)]).to_crs(4326))
    assert found.plots.crs.to_epsg() == 32630
    assert found.buildings.crs == found.plots.crs
    assert found.plots["area_m2"].tolist() == pytest.approx([600, 600], rel=2e-3)


@pytest.mark.parametrize(
    ("lon", "lat"),
    [(2.9, 55.3), (-1.3, 51.8), (14.4, 50.1), (-70.6, -33.4), (5.99, 60.0), (179.9, -17)],
)
def test_areas_and_lengths_against_geod(street, build, lon, lat):
    """Projected plots against geodesics on the ellipsoid (pyproj.Geod, a second route).

    UTM's scale is 0.9996 on the middle meridian and below 1.0010 at the zone's edge (Snyder
    1987, USGS Professional Paper 1395, p. 58), so lengths agree to 0.001 and areas to 0.002.
    """
    step = 2e-4
    corners = [shapely.box(lon + i * step, lat, lon + (i + 1) * step, lat + step) for i in range(3)]
    plots = gpd.GeoDataFrame(
        {"id": ["a", "b", "c"], "kind": ["garden"] * 3}, geometry=corners, crs="EPSG:4326"
    )
    found = build(plots)
    assert found.plots.crs.to_epsg() // 100 == (326 if lat > 0 else 327)
    true_area = [abs(GEOD.geometry_area_perimeter(one)[0]) for one in corners]
    true_round = [GEOD.geometry_length(one) for one in corners]
    assert found.plots["area_m2"].tolist() == pytest.approx(true_area, rel=0.002)
    assert found.plots.length.tolist() == pytest.approx(true_round, rel=0.001)
    between = found.plots.geometry.iloc[0].centroid.distance(found.plots.geometry.iloc[2].centroid)
    a, c = corners[0].centroid, corners[2].centroid
    assert between == pytest.approx(GEOD.inv(a.x, a.y, c.x, c.y)[2], rel=0.001)
    # Every plot of one neighbourhood is measured in one and the same system.
    assert (np.diff(found.plots["area_m2"]) < 0.01).all()


def test_web_mercator_is_never_kept(build):
    """At 0.4 N its metres are nearly true, but a street elsewhere would not be: no exception."""
    place = shapely.box(9.45, 0.4, 9.4501, 0.4001)
    plots = gpd.GeoDataFrame({"id": ["a"], "kind": ["park"]}, geometry=[place], crs=4326)
    assert build(plots.to_crs(3857)).plots.crs.to_epsg() == 32632


def test_missing_crs(street, build, faults_of):
    plots = street.plots(2).set_crs(None, allow_override=True)
    (fault,) = errors(faults_of(plots))
    assert "does not say in which coordinate system" in fault.what
    assert "--crs" in fault.mend
    assert build(plots, crs="EPSG:27700").plots.crs.to_epsg() == 27700


def test_missing_crs_still_tells_the_other_faults(street, faults_of):
    plots = street.plots(2, features=["pnod", ""]).set_crs(None, allow_override=True)
    assert len(errors(faults_of(plots))) == 2


def test_a_drawings_own_grid_is_no_crs(street, build, faults_of):
    grid = pyproj.CRS.from_wkt(
        'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    )
    plots = street.plots(2).set_crs(grid, allow_override=True)
    (fault,) = errors(faults_of(plots))
    assert "does not say in which coordinate system" in fault.what
    assert build(plots, crs="EPSG:27700").plots.crs.to_epsg() == 27700


def test_no_such_crs(street, knowledge):
    with pytest.raises(WrongUse, match="EPSG:27700"):
        build_neighbourhood(street.plots(2), crs="EPSG:99999999", knowledge=knowledge)


def test_named_crs_does_not_replace_the_files_own(street, build):
    found = build(street.plots(2), crs="EPSG:4326")
    assert found.plots.crs.to_epsg() == 27700
    assert any("was not used" in fault.what for fault in found.faults)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.set_crs(4326, allow_override=True), "likely metres"),
        (lambda t: t.to_crs(4326).set_crs(27700, allow_override=True), "likely degrees"),
        (lambda t: swapped(t.to_crs(4258)), "with x and y swapped"),
        (lambda t: swapped(t.to_crs(25830)), "with x and y swapped"),
    ],
)
def test_mix_ups(street, faults_of, change, words):
    (fault,) = errors(faults_of(change(street.plots(2))))
    assert words in fault.what
    assert fault.mend


def test_latitude_beyond_ninety(faults_of):
    """145 E 17 S written as latitude 145: no such latitude."""
    place = shapely.box(145.0, -17.0, 145.001, -16.999)
    plots = gpd.GeoDataFrame({"id": ["a"], "kind": ["park"]}, geometry=[place], crs=4326)
    assert not errors(faults_of(plots))
    (fault,) = errors(faults_of(swapped(plots)))
    assert "latitude and longitude are swapped" in fault.what


def test_plots_swapped_against_the_other_layers(street, faults_of):
    """51.8 N 1.3 W the wrong way round is a possible place, but not where the houses are."""
    plots, buildings = street.plots(2).to_crs(4326), street.layer([street.square(0)]).to_crs(4326)
    assert not errors(faults_of(plots, buildings=buildings))
    (fault,) = errors(faults_of(swapped(plots), buildings=buildings))
    assert "swapped" in fault.what


def test_outside_the_area_of_use_is_questioned(faults_of):
    plots = gpd.GeoDataFrame(
        {"id": ["a"], "kind": ["park"]},
        geometry=[shapely.box(9e5, 2e6, 900100, 2000100)],
        crs=27700,
    )
    assert any("lie outside" in fault.what for fault in faults_of(plots))


def test_layers_in_other_systems_are_projected_and_said(street, build):
    buildings = street.layer([street.square(0)]).to_crs(32630)
    found = build(street.plots(2), buildings=buildings)
    assert any("EPSG:32630" in fault.what and fault.where == "buildings" for fault in found.faults)
    assert found.buildings.geometry[0].hausdorff_distance(street.square(0)) < 0.01


def test_layer_far_away_is_questioned(street, build):
    far = street.layer([street.square(50_000)])
    found = build(street.plots(2), roads=far)
    assert any("away from the plots, by 49.96 km" in fault.what for fault in found.faults)


def test_far_too_wide_for_a_neighbourhood(street, build):
    plots = street.plots(2)
    plots.loc[1, "geometry"] = street.square(60_000)
    assert any("60 km" in fault.what for fault in build(plots).faults)


def test_height_coordinates_are_dropped(street, build):
    """A height says nothing of a plot's area; compound systems lose their vertical half."""
    plots = street.plots(2)
    deep = plots.set_geometry(
        gpd.GeoSeries(shapely.force_3d(plots.geometry.to_numpy(), 12.0), crs="EPSG:7405")
    )
    found = build(deep)
    assert not found.plots.has_z.any()
    assert found.plots.crs.to_epsg() == 27700
    assert list(found.plots["area_m2"]) == [600.0, 600.0]


def terrace(turn):
    """Ten gardens of 6 x 20 m in London, turned, as longitude and latitude (real place)."""
    shapes = [shapely.box(530000 + 6 * k, 180000, 530006 + 6 * k, 180020) for k in range(10)]
    turned = [shapely.affinity.rotate(shape, turn, origin=(530000, 180000)) for shape in shapes]
    return gpd.GeoSeries(turned, crs=27700).to_crs(4326)


@pytest.mark.parametrize("turn", [10, 30, 45, 80])
def test_swapped_axes_at_a_valid_place_are_seen_by_their_angles(turn, knowledge):
    """51.5 N 0.1 W swapped is 0.1 S 51.5 E, a place at sea.

    A square turned by 45 degrees and stretched by 1/cos(51.5) = 1.606 has corners of
    2 atan(1/1.606) = 63.8 degrees, far from 90; exchanged again they are square.
    """
    right = terrace(turn)
    plots = gpd.GeoDataFrame({"id": [str(k) for k in range(10)]}, geometry=right)
    with pytest.raises(DataFaults) as raised:
        build_neighbourhood(swapped(plots), knowledge=knowledge)
    assert any("swapped" in fault.what for fault in raised.value.faults)
    assert len(build_neighbourhood(plots, knowledge=knowledge).plots) == 10


def test_what_lies_square_to_the_axes_cannot_be_told(knowledge):
    """Boxes along the axes stay square either way: no false alarm."""
    boxes = gpd.GeoSeries([shapely.box(k / 1e4, 51.5, (k + 1) / 1e4, 51.5002) for k in range(9)])
    assert not look_swapped(boxes.to_numpy(), knowledge)
    assert not look_swapped(np.array([], dtype=object), knowledge)


@pytest.mark.parametrize(
    ("far", "crs"), [(1e300, 27700), (1e9, 32633), (1e17, 3857), (1e8, 27700), (88.0, 4326)]
)
def test_coordinates_that_no_zone_fits_are_a_fault(build, far, crs):
    step = 0.1 * far if crs != 4326 else 0.001
    table = gpd.GeoDataFrame(
        {"id": ["a"], "kind": ["garden"]},
        geometry=[shapely.box(far, far, far + step, far + step)],
        crs=crs,
    )
    with pytest.raises(DataFaults, match="no place on Earth") as caught:
        build(table)
    assert len(str(caught.value)) < 400
