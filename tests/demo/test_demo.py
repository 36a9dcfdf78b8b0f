"""The invented demo neighbourhood: rebuildable, a clean plan, and the stories it is to tell."""

import csv
import io
import json
import math
import random
import re
import subprocess
import sys
from collections import Counter
from itertools import combinations
from pathlib import Path

import networkx as nx
import pyproj
import pytest
import shapely
from shapely.geometry import shape

from patchnet.core.errors import CannotWrite
from patchnet.demo import files as demo
from patchnet.demo import habitat as demo_habitat
from patchnet.knowledge import load_knowledge, match_barrier_kind, match_feature, match_plot_kind
from patchnet.read import read_neighbourhood

COMMITTED = Path(__file__).resolve().parents[2] / "data_demo"
LAYERS = ("plots", "features", "barriers", "buildings", "roads", "footways", "street_objects")
AREAS = ("plots", "buildings", "footways")
# Metres to be measured in: UTM zone 31 north holds 2.9 E; its scale there is 0.9996.
TO_METRES = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32631", always_xy=True)


@pytest.fixture(scope="module")
def knowledge():
    return load_knowledge()


@pytest.fixture(scope="module")
def files():
    return demo.demo_files()


@pytest.fixture(scope="module")
def layers(files):
    return {name: json.loads(files[f"{name}.geojson"])["features"] for name in LAYERS}


@pytest.fixture(scope="module")
def rows(files):
    return {row["id"]: row for row in csv.DictReader(io.StringIO(files["features.csv"]))}


@pytest.fixture(scope="module")
def plots(layers):
    """Plot id -> (properties, polygon in metres)."""
    return {
        f["properties"]["id"]: (
            f["properties"],
            shapely.transform(shape(f["geometry"]), TO_METRES.transform, interleaved=False),
        )
        for f in layers["plots"]
    }


def items(text):
    """Take ``pond 3; tree_small 2?; no bulbs`` apart: (word, amount or None, sure, there)."""
    for item in filter(None, text.split("; ")):
        found = re.fullmatch(r"(no )?([a-z_ ]*[a-z])(?: ([\d.]+))?(\?)?", item)
        assert found, item
        absent, word, amount, doubt = found.groups()
        yield word, float(amount) if amount else None, doubt is None, absent is None


def test_rebuilds_byte_for_byte(tmp_path):
    paths = demo.write_demo(tmp_path / "made" / "here")
    assert {path.name for path in paths} | {"README.md"} == {p.name for p in COMMITTED.iterdir()}
    for path in paths:
        assert path.read_bytes() == (COMMITTED / path.name).read_bytes(), path.name


def test_rebuilds_from_the_command_line(tmp_path):
    command = [sys.executable, "-W", "error", "-m", "patchnet.demo.files"]
    subprocess.run([*command, tmp_path], check=True)
    assert {path.name: path.read_text(encoding="utf-8") for path in tmp_path.iterdir()} == (
        demo.demo_files()
    )
    wrong = subprocess.run(command, capture_output=True, text=True, check=False)
    assert wrong.returncode == 1
    assert wrong.stderr.startswith("usage:")


def test_another_seed_is_another_neighbourhood_on_the_same_plan(files):
    other = demo.demo_files(seed=demo.SEED + 1)
    assert other.keys() == files.keys()
    assert other["features.csv"] != files["features.csv"]
    assert other["plots.geojson"] != files["plots.geojson"]
    assert other["plots.geojson"].count("\n") == files["plots.geojson"].count("\n")


def test_making_it_leaves_the_global_random_numbers_alone():
    before = random.getstate()
    demo.demo_files()
    assert random.getstate() == before


def test_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(CannotWrite, match="cannot be made"):
        demo.write_demo(tmp_path / "file")
    assert (tmp_path / "file").read_text(encoding="utf-8") == "mine"


def test_tables_hold_what_the_files_hold(layers, rows):
    tables = demo.demo_layers()
    assert set(tables) == {*LAYERS, "survey"}
    for name in LAYERS:
        assert tables[name].crs.to_epsg() == 4326
        assert len(tables[name]) == len(layers[name])
    assert list(tables["plots"]["id"]) == [f["properties"]["id"] for f in layers["plots"]]
    assert tables["survey"].to_dict("records") == list(rows.values())


def test_lines_end_as_on_unix_and_each_feature_has_its_own(files, layers):
    for name in LAYERS:
        text = files[f"{name}.geojson"]
        assert "\r" not in text
        assert text.endswith("]}\n")
        assert text.count("\n") == len(layers[name]) + 2


def test_how_many_of_what(plots, rows):
    kinds = Counter(properties["kind"] for properties, _ in plots.values())
    assert 110 <= len(plots) <= 130
    assert kinds["planter"] >= 10
    assert kinds["balcony"] in {3, 4}
    backs = [i for i, (properties, _) in plots.items() if properties["kind"] == "garden_back"]
    unseen = [i for i in backs if rows[i]["seen"] == "none"]
    assert 0.28 <= len(unseen) / len(backs) <= 0.38
    assert {rows[i]["seen"] for i in backs} == {"all", "part", "none"}
    assert rows.keys() == plots.keys()
    assert len({p["street"] for p, _ in plots.values() if p["kind"] == "garden_back"}) == 2


def test_plots_and_survey_agree_on_what_was_seen(plots, rows):
    for ident, (properties, _) in plots.items():
        assert properties["seen"] == rows[ident]["seen"]
        if properties["seen"] == "none":
            assert rows[ident]["features"] == ""


@pytest.mark.parametrize("seed", [demo.SEED, 2, 3])
def test_plan_is_clean(seed):
    """Valid outlines, none over another, rings anticlockwise and closed (RFC 7946 3.1.6)."""
    files = demo.demo_files(seed=seed)
    shapes = {}
    for name in AREAS:
        for feature in json.loads(files[f"{name}.geojson"])["features"]:
            if feature["geometry"]["type"] == "LineString":
                assert name == "footways"  # one stretch that nobody measured
                continue
            (ring,) = feature["geometry"]["coordinates"]
            assert ring[0] == ring[-1]
            assert shapely.LinearRing(ring).is_ccw
            polygon = shape(feature["geometry"])
            assert polygon.is_valid
            shapes.setdefault(name, []).append(
                (
                    feature["properties"],
                    shapely.transform(polygon, TO_METRES.transform, interleaved=False),
                )
            )
    for (one, a), (two, b) in combinations(shapes["plots"], 2):
        assert a.intersection(b).area < 1e-6, (one, two)
    for (plot, a), (building, b) in ((p, q) for p in shapes["plots"] for q in shapes["buildings"]):
        # Seven decimals of a degree are 1 cm: a wall of 10 m may cross a plot by 0.1 m2.
        assert a.intersection(b).area < 0.1, (plot, building)
    for properties, polygon in shapes["plots"]:
        low, high = {"planter": (0.5, 1.6), "balcony": (3, 6)}.get(properties["kind"], (8, 3000))
        assert low <= polygon.area <= high, properties
        # A sliver is long and thin; a verge, 30 m by 1.5 m, is the thinnest thing wanted here.
        assert polygon.area / polygon.length**2 > 0.008, properties


def test_positions_are_on_open_sea_with_seven_decimals(files, layers):
    for features in layers.values():
        for feature in features:
            west, south, east, north = shape(feature["geometry"]).bounds
            assert 2.89 < west <= east < 2.91
            assert 55.29 < south <= north < 55.31
    assert not re.search(r"\.\d{8}", "".join(files.values()))


def test_metres_per_degree_against_geod():
    """A thousandth of a degree each way, measured on the WGS 84 ellipsoid by pyproj.Geod."""
    geod = pyproj.Geod(ellps="WGS84")
    lon, lat = demo.ORIGIN
    east = geod.line_length([lon - 5e-4, lon + 5e-4], [lat, lat])
    north = geod.line_length([lon, lon], [lat - 5e-4, lat + 5e-4])
    assert demo.METRES_PER_DEGREE[0] / 1000 == pytest.approx(east, rel=1e-6)
    assert demo.METRES_PER_DEGREE[1] / 1000 == pytest.approx(north, rel=1e-6)


def test_neighbouring_gardens_share_their_corners(layers, plots):
    """Numbers 17 and 19 have one party line; it is the same points in both, not nearly so."""
    rings = {
        f["properties"]["id"]: {tuple(p) for p in f["geometry"]["coordinates"][0]}
        for f in layers["plots"]
    }
    for one, two in (("W17B", "W19B"), ("M01B", "M03B"), ("W01F", "W03F"), ("A1", "A2")):
        assert len(rings[one] & rings[two]) >= 2
        assert plots[one][1].distance(plots[two][1]) == 0
    assert plots["W17B"][1].intersection(plots["W19B"][1]).length > 10


def test_words_are_known_and_amounts_possible(plots, rows, knowledge):
    """Every word has a key; counts are whole; what is on the ground fits on the plot."""
    for ident, row in rows.items():
        ground = 0.0
        keys = []
        for word, amount, _, there in items(row["features"]):
            key = match_feature(word, knowledge)
            assert key, (ident, word)
            keys.append(key)
            feature = knowledge.features[key]
            if amount is not None:
                assert there
                assert amount > 0
                assert feature.measure != "count" or amount == int(amount), (ident, word)
                ground += amount * feature.ground.value
        assert len(keys) == len(set(keys)), ident
        assert ground <= plots[ident][1].area, ident


def test_kinds_are_known(layers, knowledge):
    for feature in layers["plots"]:
        assert match_plot_kind(feature["properties"]["kind"], knowledge)
    for feature in layers["features"]:
        assert feature["properties"]["feature"] in knowledge.features
    for feature in layers["barriers"]:
        assert match_barrier_kind(feature["properties"]["kind"], knowledge)
    assert {f["properties"]["kind"] for f in layers["barriers"]} == {
        "fence", "hedge", "railing", "wall",
    }  # fmt: skip


def test_every_line_of_a_recipe_is_read(knowledge):
    for name, recipe in demo_habitat.RECIPES.items():
        lines = [line.strip() for line in recipe.split(";") if line.strip()]
        for line in lines:
            found = demo_habitat._LINE.fullmatch(line)
            assert found, (name, line)
            feature = knowledge.features[found.group(1)]
            assert (feature.measure == "count") == (feature.key in demo_habitat.COUNTED)
    for feature, word in demo_habitat.PLAIN.items():
        assert feature in knowledge.features, word


def test_all_answers_occur(rows, layers):
    said = [item for row in rows.values() for item in items(row["features"])]
    assert {there for *_, there in said} == {True, False}
    assert {sure for _, _, sure, _ in said} == {True, False}
    assert any(amount is None and there for _, amount, _, there in said)
    assert {row["seen"] for row in rows.values()} == {"all", "part", "none"}
    gaps = Counter(f["properties"]["gap"] for f in layers["barriers"])
    assert set(gaps) == {"yes", "no", ""}
    assert min(gaps.values()) >= 15


def test_mapped_features_lie_on_their_plot(layers, plots):
    for feature in layers["features"]:
        geometry = shapely.transform(
            shape(feature["geometry"]), TO_METRES.transform, interleaved=False
        )
        assert plots[feature["properties"]["plot"]][1].contains(geometry), feature


def test_park_features_are_stated_once(layers, rows, knowledge):
    mapped = {(f["properties"]["plot"], f["properties"]["feature"]) for f in layers["features"]}
    for plot, feature in mapped:
        listed = {match_feature(word, knowledge) for word, *_ in items(rows[plot]["features"])}
        assert feature not in listed


def crossing(plots, rows, knowledge, hop, *, extra=()):
    """Whether cover-loving animals get from the park to the chapel in moves of `hop` metres.

    A plot counts when something leafy stands on it, or may stand there because it was not
    wholly seen.
    """
    leafy = {
        "shrub", "hedge_native", "hedge_evergreen", "climber", "ivy_mature", "tree_small",
        "tree_large", "fruit_tree", "long_grass", "flower_border", "planter",
    }  # fmt: skip
    stops = [
        ident
        for ident, row in rows.items()
        if row["seen"] != "all"
        or plots[ident][0]["kind"] == "planter"
        or ident in extra
        or any(match_feature(word, knowledge) in leafy for word, *_ in items(row["features"]))
    ]
    graph = nx.Graph()
    graph.add_nodes_from(stops)
    for one, two in combinations(stops, 2):
        if plots[one][1].distance(plots[two][1]) <= hop:
            graph.add_edge(one, two)
    return nx.has_path(graph, "K1", "C1")


@pytest.mark.parametrize("group", ["wren", "sparrow", "moth"])
def test_paved_stretch_breaks_the_network(plots, rows, knowledge, group):
    assert not crossing(plots, rows, knowledge, knowledge.groups[group].hop.value)


@pytest.mark.parametrize("group", ["blackbird", "bumblebee"])
def test_wide_movers_cross_the_paved_stretch(plots, rows, knowledge, group):
    assert crossing(plots, rows, knowledge, knowledge.groups[group].hop.value)


@pytest.mark.parametrize(
    ("group", "stops"),
    [("wren", ["W21F", "W27F"]), ("sparrow", ["W22F"]), ("moth", ["W22F"])],
)
def test_few_stops_would_close_the_break(plots, rows, knowledge, group, stops):
    """The chain of planters stops 53 m short: hops of 25, 40 and 50 m need 2, 1 and 1 stops.

    A gap of 53 m takes ceil(53 / hop) moves, one stop fewer than moves.
    """
    hop = knowledge.groups[group].hop.value
    gap = plots["P03"][1].distance(plots["W33F"][1])
    assert 50 < gap < 55
    assert len(stops) == math.ceil(gap / hop) - 1
    assert crossing(plots, rows, knowledge, hop, extra=stops)
    assert not crossing(plots, rows, knowledge, hop, extra=stops[1:])


def test_corner_has_hardly_a_flower_in_march_or_october(rows, knowledge):
    """South-east: what grows there gives at most a tenth of what it gives in June."""
    bloom = list(knowledge.resources).index("bloom")
    at = {key: i for i, key in enumerate(knowledge.features)}
    months = sum(
        knowledge.supply_array[at[match_feature(word, knowledge)], bloom]
        * (amount or knowledge.features[match_feature(word, knowledge)].typical.value)
        for ident in ("M01B", "M01F", "M03B", "M03F", "M05B", "M05F", "V1", "V3")
        for word, amount, _, there in items(rows[ident]["features"])
        if there
    )
    assert months[5] > 20
    assert max(months[2], months[9]) < months[5] / 10


def test_one_gap_in_the_closed_fence_row(layers, plots):
    """Between the back gardens of numbers 9 to 23 no fence has a gap, save one."""
    backs = shapely.union_all([plots[f"M{n:02d}B"][1] for n in range(11, 24, 2)])
    gaps = Counter()
    for feature in layers["barriers"]:
        line = shapely.transform(shape(feature["geometry"]), TO_METRES.transform, interleaved=False)
        if feature["properties"]["kind"] == "fence" and backs.buffer(0.05).contains(line):
            gaps[feature["properties"]["gap"]] += 1
    assert gaps["yes"] == 1
    assert gaps["no"] >= 10
    assert set(gaps) == {"yes", "no"}


def test_reads_without_fault_or_warning(files, layers, rows, knowledge):
    read = read_neighbourhood(COMMITTED, knowledge=knowledge)
    assert read.faults == ()
    assert sorted(read.plots.index) == sorted(rows)
    assert read.plots.crs.is_projected
    for name in ("barriers", "buildings", "roads", "footways", "street_objects"):
        assert len(getattr(read, name)) == len(layers[name])
    assert read.answers.answer("K2", "pond") == "there"  # mapped, with its own outline
    assert read.answers.answer("W01B", "old_roof_wall") == "there"
    assert read.answers.answer("W03B", "pond") == "not there"  # said: no pond
    assert read.answers.answer("W17B", "pond") == "not there"  # all seen, not listed
    assert read.answers.answer("W09B", "pond") == "not known"  # nobody could look in
    assert read.answers.answer("P05", "planter") == "there"  # a planter is one


def test_most_buildings_have_a_height(layers):
    """Storeys times the storey height of 3 m, or what was measured; two houses have neither."""
    read = read_neighbourhood(COMMITTED, knowledge=load_knowledge()).buildings
    height = dict(zip(read["name"], read["height_m"], strict=True))
    assert height["1 Wickthorn Street"] == 6
    assert height["9 Wickthorn Street"] == 9  # a loft
    assert height["Ropewalk Flats"] == 12
    assert height["Garages"] == 2.4
    assert list(read.loc[read["height_m"].isna(), "name"]) == ["", ""]
    assert not any(
        f["properties"]["storeys"] and f["properties"]["height"] for f in layers["buildings"]
    )


def test_plots_have_the_size_they_were_drawn_with(plots):
    """Park meadow by the surveyor's formula on its ten corners in metres, worked by hand.

    Corners (49, 88.2) (46.5, 112) (45, 146) (30, 152) (12, 150) (5, 132) (0.2, 98) (0.9, 80.5)
    (14, 84) (30, 87): sum of x_i y_(i+1) - x_(i+1) y_i =
    1386.7 + 1749 + 2460 + 2676 + 834 + 463.6 - 72.1 - 1051.4 - 1302 - 1617 = 5526.8, half of it
    2763.4 m2. UTM's scale of 0.9996 takes 0.08 % off it.
    """
    assert plots["K1"][1].area == pytest.approx(2763.4 * 0.9996**2, rel=2e-4)
