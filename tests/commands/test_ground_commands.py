"""Routes and gaps from the command line, on a court small enough to work out on paper.

Metres east and north of one corner; ground nobody mapped costs a hedgehog 2.5 a metre, a gap in a
fence 1, inside a patch moving is free. Cells of 1 m, ways through their centres:

- a and b are gardens of 20 x 20 m side by side; the closed fence between them (row 1) ends 10.2 m
  north of them and 14.2 m south. The way round its northern end goes up 10.5 m, across 1 m, and
  down 10.5 m: 22 m that cost 55.
- c lies 20 m east of b, inside a closed ring of fence (row 2): no way to it. With a gap in the
  ring it is 20 x 2.5 + 1 = 51 from b.
- d lies 60 m south of a: 150, more than one move of 100, so a break that one stop would close.
"""

import json
import math

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from affine import Affine
from shapely import affinity

import patchnet

EAST, NORTH = 400000, 300000
GARDENS = {
    "a": shapely.box(0, 0, 20, 20),
    "b": shapely.box(20, 0, 40, 20),
    "c": shapely.box(60, 0, 80, 20),
    "d": shapely.box(0, -80, 20, -60),
}
FENCES = [
    shapely.LineString([(20, -14.2), (20, 30.2)]),
    shapely.LineString(shapely.box(58, -2, 82, 22).exterior.coords),
]
HEDGEHOG = ("--group", "hedgehog")
CELL = ("--cell", "1")


def _there(shapes):
    return [affinity.translate(shape, EAST, NORTH) for shape in shapes]


def _court(path, gaps):
    plots = gpd.GeoDataFrame(
        {"id": list(GARDENS), "kind": "garden", "features": "lawn 200; shrub 60; log pile"},
        geometry=_there(GARDENS.values()),
        crs="EPSG:27700",
    )
    barriers = gpd.GeoDataFrame(
        {"kind": "fence", "gap": gaps}, geometry=_there(FENCES), crs="EPSG:27700"
    )
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    pyogrio.write_dataframe(barriers, path, layer="barriers", driver="GPKG", append=True)
    return path


@pytest.fixture(scope="module")
def court(tmp_path_factory):
    return _court(tmp_path_factory.mktemp("court") / "court.gpkg", ["no", "no"])


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """The same with a gap in the fence between a and b."""
    return _court(tmp_path_factory.mktemp("opened") / "opened.gpkg", ["yes", "no"])


@pytest.fixture
def facts(run):
    def call(command, *words):
        status, out, err = run(command, *words, *HEDGEHOG, *CELL, "--format", "json")
        assert status == 0, err
        return json.loads(out)

    return call


def _linked(homes, lengths):
    """Linked homes: root of the sum of a_i a_j 2^(-length / 200), d50 of a hedgehog 200 m."""
    names = list(homes)
    total = sum(
        homes[i] * homes[j] * 2 ** (-(0 if i == j else lengths[frozenset((i, j))]) / 200)
        for i in names
        for j in names
    )
    return math.sqrt(total)


def test_routes_facts(facts, court):
    """The court's one link, the walled-in garden, the break and its cheapest way."""
    found = facts("routes", court)
    assert found["patches"] == 4
    assert found["connected_groups"] == 3
    assert found["no_way"] == ["c"]
    assert found["too_dear"] == ["d"]
    (link,) = found["links"]
    assert (link["from_plot"], link["to_plot"]) == ("a", "b")
    assert link["cost_m"] == pytest.approx(55)
    assert link["length_m"] == pytest.approx(22)
    (gap,) = found["breaks"]
    assert {gap["from_plot"], gap["to_plot"]} == {"a", "d"}
    assert gap["cost_m"] == pytest.approx(150)
    assert gap["length_m"] == pytest.approx(60)
    assert gap["stepping_stones"] == 1
    (way,) = found["corridors"]
    assert way["cost_m"] == pytest.approx(150)
    assert set(way["plots"]) == {"a", "d"}
    assert "27700" in found["crs"]


def test_routes_text_says_the_same(run, court):
    status, out, err = run("routes", court, *HEDGEHOG, *CELL)
    assert status == 0, err
    lines = [line.split() for line in out.splitlines()]
    assert ["a", "b", "55", "22"] in lines
    assert any(line[2:5] == ["150", "60", "1"] for line in lines)
    assert "too far away): c." in " ".join(out.split())
    assert "own working assumptions" in out


def test_the_cheapest_way(run, facts, court):
    way = facts("routes", court, "--from", "a", "--to", "b")
    assert way["cost_m"] == pytest.approx(55)
    assert way["length_m"] == pytest.approx(22)
    assert way["plots"] == ["a", "b"]
    assert max(y for _, y in way["line"]) == NORTH + 30.5
    status, out, _ = run("routes", court, *HEDGEHOG, *CELL, "--from", "a", "--to", "b")
    assert status == 0
    assert "55 cost metres" in out
    assert "22 m" in out


def test_a_smaller_cell_comes_nearer_to_the_truth(run, court):
    """Cells of 0.5 m: up 10.25, across 0.5, down 10.25: 21 m, 52.5. No cells: 20.4 m, 51."""
    pair = ("--from", "a", "--to", "b", "--format", "json")
    status, out, err = run("routes", court, *HEDGEHOG, "--cell", "0.5", *pair)
    assert status == 0, err
    assert json.loads(out)["cost_m"] == pytest.approx(52.5)
    assert json.loads(out)["length_m"] == pytest.approx(21)


def test_no_way_is_said_not_crashed(run, facts, court):
    way = facts("routes", court, "--from", "a", "--to", "c")
    assert way["cost_m"] is None
    assert way["resistance"] is None
    assert way["plots"] == []
    status, out, _ = run("routes", court, *HEDGEHOG, *CELL, "--from", "a", "--to", "c")
    assert status == 0
    assert "There is no way" in out


def test_one_more_gap_never_raises_the_resistance(facts, court, opened):
    """Rayleigh's monotonicity law (Doyle & Snell 1984, Random Walks and Electric Networks)."""
    pair = ("--from", "a", "--to", "b")
    closed_fence = facts("routes", court, *pair)["resistance"]
    with_gap = facts("routes", opened, *pair)["resistance"]
    assert 0 < with_gap < closed_fence


def test_gaps_in_order_and_what_they_win(facts, court):
    """The ring first: it links a garden that nothing linked. Then the fence: 55 becomes 1.

    Lengths: ab 55, then bc 51 and ac 106, then ab 1 and ac 52. Linked homes by the formula.
    """
    found = facts("gaps", court)
    knowledge = patchnet.load_knowledge()
    answer = patchnet.assess(
        patchnet.read_neighbourhood(court, knowledge=knowledge),
        knowledge=knowledge, groups=["hedgehog"], cell_m=1,
    )  # fmt: skip
    homes = answer.groups["hedgehog"].homes.to_dict()
    assert min(homes.values()) > 0
    far = {frozenset((i, "d")): math.inf for i in "abc"}
    now, one, two = (
        {frozenset("ab"): ab, frozenset("bc"): bc, frozenset("ac"): ab + bc, **far}
        for ab, bc in ((55, math.inf), (55, 51), (1, 51))
    )
    first, second = found["gaps"]
    assert found["linked_homes"] == pytest.approx(_linked(homes, now))
    assert first["homes_won"] == pytest.approx(_linked(homes, one) - _linked(homes, now))
    assert second["homes_won"] == pytest.approx(_linked(homes, two) - _linked(homes, one))
    assert [barrier["row"] for barrier in first["barriers"]] == [2]
    assert first["joins"] == ["b", "c"]
    assert first["cost_before_m"] is None
    assert first["cost_after_m"] == pytest.approx(51)
    assert first["x"] == EAST + 58
    assert second["barriers"] == [{"row": 1, "kind": "fence"}]
    assert second["plots"] == ["a", "b"]
    assert (second["cost_before_m"], second["cost_after_m"]) == pytest.approx((55, 1))
    assert second["x"] == EAST + 20
    assert NORTH <= second["y"] <= NORTH + 20
    assert second["today"] == "no"
    assert facts("gaps", court, "--most", "1")["gaps"] == [first]


def test_gaps_text(run, court):
    status, out, err = run("gaps", court, *HEDGEHOG, *CELL)
    assert status == 0, err
    said = " ".join(out.split())
    assert "2. Fence between a and b (row 1 of the barriers)" in said
    assert f"at {EAST + 20}.0 east" in said
    assert "55 without it, 1.0 with it" in said
    assert "no way without it, 51 with it" in said
    assert "closed today" in said
    assert "All of these together add" in said
    assert "13 by 13 cm" in said
    assert "settings/gap_side_m" in said
    assert "EPSG:27700" in said
    assert "owner's consent" in said
    assert "not for publishing" in said
    assert out.index("row 2 of") < out.index("row 1 of")
    assert max(map(len, out.splitlines())) <= 96


def test_gaps_between_two_plots(run, facts, court):
    found = facts("gaps", court, "--from", "a", "--to", "b")
    (step,) = found["steps"]
    assert (step["cost_before_m"], step["cost_after_m"]) == pytest.approx((55, 1))
    (gap,) = step["gaps"]
    assert gap["plots"] == ["a", "b"]
    assert gap["today"] == "no"
    status, out, _ = run("gaps", court, *HEDGEHOG, *CELL, "--from", "a", "--to", "b")
    assert status == 0
    assert "55 without it, 1.0 with it" in out
    assert "owner's consent" in out


def test_a_gap_that_is_there_need_not_be_made(facts, opened):
    """Only the ring is left."""
    (gap,) = facts("gaps", opened)["gaps"]
    assert [barrier["row"] for barrier in gap["barriers"]] == [2]


def test_rasters_reopen_where_they_belong(run, court, tmp_path):
    """By rasterio: CRS, whole-metre corner, cells of 1 m; unmapped ground 2.5; closed fence -1.

    No current flows inside the ring; some flows round both ends of the fence.
    """
    words = ("--from", "a", "--to", "b", "--ground", "cost.tif", "--current", "flow.tif")
    status, _, err = run("routes", court, *HEDGEHOG, *CELL, *words)
    assert status == 0, err
    with rasterio.open("cost.tif") as cost, rasterio.open("flow.tif") as flow:
        for raster in (cost, flow):
            assert raster.crs.to_epsg() == 27700
            assert (raster.transform.a, raster.transform.e) == (1, -1)
            assert raster.transform.c % 1 == raster.transform.f % 1 == 0
            assert raster.shape == cost.shape
            assert raster.bounds.left < EAST < EAST + 80 < raster.bounds.right
        assert cost.descriptions == ("cost per metre", "plot", "barrier")

        def at(raster, x, y, band=1):
            return float(next(raster.sample([(EAST + x, NORTH + y)], indexes=band))[0])

        assert at(cost, 50.5, 10.5) == 2.5
        assert [at(cost, x, 10.5, 2) for x in (5.5, 25.5, 50.5, 65.5)] == [1, 2, -1, 3]
        assert at(cost, 19.5, 10.5, 3) == -1
        assert at(cost, 50.5, 10.5, 3) == 0
        assert at(flow, 59.5, 10.5) == 0
        assert at(flow, 70.5, 10.5) == 0
        assert at(flow, 19.5, 30.5) > 0
        assert at(flow, 19.5, -14.5) > 0
        assert 0 < np.nanmax(flow.read(1)) <= 1.0001


def test_current_between_all(run, court):
    status, _, err = run("routes", court, *HEDGEHOG, *CELL, "--current", "flow.tif")
    assert status == 0, err
    with rasterio.open("flow.tif") as flow:
        assert flow.read(1).max() > 0


def test_too_many_cells_for_the_current_are_refused(run, court, tmp_path):
    """Nothing is said or written first; a larger cell is advised."""
    status, out, err = run("routes", court, *HEDGEHOG, "--cell", "0.2", "--current", "flow.tif")
    assert status == 2
    assert "larger --cell" in err
    assert out == ""
    assert list(tmp_path.iterdir()) == []


def test_lines_reopen_in_a_gis(run, court, tmp_path):
    status, _, err = run("routes", court, *HEDGEHOG, *CELL, "-o", "routes.gpkg")
    assert status == 0, err
    layers = {name for name, _ in pyogrio.list_layers("routes.gpkg")}
    assert layers == {"links", "breaks", "corridors", "bands"}
    links = gpd.read_file("routes.gpkg", layer="links")
    assert links.crs.to_epsg() == 27700
    assert links["cost_m"].tolist() == pytest.approx([55])
    band = gpd.read_file("routes.gpkg", layer="bands")
    way = gpd.read_file("routes.gpkg", layer="corridors")
    between = way.geometry[0].intersection(
        affinity.translate(shapely.box(0, -60, 20, 0), EAST, NORTH)
    )
    assert band.geometry[0].buffer(0.01).covers(between)
    assert (
        run("routes", court, *HEDGEHOG, *CELL, "--from", "a", "--to", "b", "-o", "w.geojson")[0]
        == 0
    )
    (way,) = json.loads((tmp_path / "w.geojson").read_text())["features"]
    assert way["properties"]["cost_m"] == pytest.approx(55)


def test_export_carries_ways_and_costs(run, court):
    """Walked: the line of 22 m that costs 55, p = 2^(-55/200). Breaks carry their cost."""
    assert run("export", court, *HEDGEHOG, *CELL, "-o", "out.gpkg")[0] == 0
    links = gpd.read_file("out.gpkg", layer="links")
    assert links["length_m"].tolist() == pytest.approx([22])
    assert links["cost_m"].tolist() == pytest.approx([55])
    assert links["p"].tolist() == pytest.approx([2 ** (-55 / 200)])
    assert links.geometry[0].bounds[3] == NORTH + 30.5
    breaks = gpd.read_file("out.gpkg", layer="breaks")
    assert breaks["cost_m"].tolist() == pytest.approx([150])
    assert breaks["width_m"].tolist() == pytest.approx([60])


def test_straight_keeps_the_old_lengths(run, court):
    """Edge-to-edge distances by shapely; nothing on the ground counts."""
    assert run("export", court, *HEDGEHOG, "--straight", "--all-links", "-o", "out.gpkg")[0] == 0
    links = gpd.read_file("out.gpkg", layer="links")
    assert len(links) == 6  # all pairs lie within one move of 100 m
    for row in links.itertuples():
        straight = GARDENS[row.from_plot].distance(GARDENS[row.to_plot])
        assert row.length_m == pytest.approx(straight, abs=5e-4)
        assert row.cost_m == row.length_m
        assert row.p == pytest.approx(2 ** (-straight / 200), abs=1e-5)


@pytest.fixture
def own_cover(tmp_path):
    """Land cover of class 7 all over the court."""
    with rasterio.open(
        tmp_path / "town.tif", "w", driver="GTiff", width=80, height=80, count=1, dtype="uint8",
        crs="EPSG:27700", transform=Affine(5, 0, EAST - 150, 0, -5, NORTH + 200),
    ) as raster:  # fmt: skip
        raster.write(np.full((80, 80), 7, np.uint8), 1)
    (tmp_path / "costs.csv").write_text("class,cost\n7,5\n")
    return "town.tif", "costs.csv"


def test_own_land_cover(facts, own_cover, court):
    """Five a metre all over: the 22 m round the fence cost 110."""
    raster, costs = own_cover
    pair = ("--from", "a", "--to", "b")
    way = facts("routes", court, *pair, "--landcover", raster, "--landcover-costs", costs)
    assert way["cost_m"] == pytest.approx(110)


def test_own_land_cover_wrongly_given(run, own_cover, court, tmp_path):
    raster, costs = own_cover
    here = ("routes", court, *HEDGEHOG, *CELL)
    assert run(*here, "--landcover", raster)[0] == 2
    assert run(*here, "--landcover-costs", costs)[0] == 2
    assert run(*here, "--landcover", raster, "--landcover-costs", "nowhere.csv")[0] == 3
    assert run(*here, "--landcover", "nowhere.tif", "--landcover-costs", costs)[0] == 3
    (tmp_path / "bad.csv").write_text("class,cost\n7,cheap\n")
    status, _, err = run(*here, "--landcover", raster, "--landcover-costs", "bad.csv")
    assert status == 1
    assert "cheap" in err
    (tmp_path / "few.csv").write_text("class,cost\n8,5\n")
    assert run(*here, "--landcover", raster, "--landcover-costs", "few.csv")[0] == 1
    status, _, err = run("plot", court, "a", "--straight", "--landcover", raster,
                         "--landcover-costs", costs)  # fmt: skip
    assert status == 2
    assert "--straight" in err


@pytest.mark.parametrize("command", ["routes", "gaps"])
@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--group"),
        (("--group", "wren"), "hedgehog, frog, newt"),
        (("--group", "hedgehgo"), "hedgehog"),
        ((*HEDGEHOG, "--from", "a"), "--to"),
        ((*HEDGEHOG, "--from", "a", "--to", "a"), "two plots"),
        ((*HEDGEHOG, "--from", "a", "--to", "zz"), "no plot 'zz'"),
        ((*HEDGEHOG, "--cell", "0"), "--cell"),
        ((*HEDGEHOG, "--cell", "0.001"), "would fit"),
        ((*HEDGEHOG, "--straight"), "--straight"),
    ],
)
def test_wrong_use(run, court, command, words, said):
    status, out, err = run(command, court, *words)
    assert status == 2
    assert said in err
    assert out == ""


def test_wrong_output_is_said_before_any_work(run, court, tmp_path):
    here = ("routes", court, *HEDGEHOG)
    assert run(*here, "-o", "out.graphml")[0] == 2
    assert run(*here, "-o", "out.xyz")[0] == 2
    assert run(*here, "--ground", "cost.png")[0] == 2
    (tmp_path / "cost.tif").write_text("mine")
    assert run(*here, "--ground", "cost.tif")[0] == 3
    assert (tmp_path / "cost.tif").read_text() == "mine"
    assert run("gaps", court, *HEDGEHOG, "--most", "0")[0] == 2


def test_plot_answers_straight_or_over_the_ground(run, court):
    """Nothing in c reaches a over the ground; in a straight line it is 40 m away."""
    status, over, _ = run("plot", court, "a", *HEDGEHOG, "--format", "json")
    assert status == 0
    status, straight, _ = run("plot", court, "a", *HEDGEHOG, "--format", "json", "--straight")
    assert status == 0
    within = [
        {giver["plot"] for need in json.loads(text)["groups"][0]["needs"]
         for giver in need["givers"]}
        for text in (over, straight)
    ]  # fmt: skip
    assert "c" not in within[0]
    assert "c" in within[1]


@pytest.mark.parametrize("command", ["routes", "gaps"])
def test_help_has_examples_and_asks_for_discretion(run, command):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert f"patchnet {command} street.gpkg --group hedgehog" in out
    assert "not for publishing" in " ".join(out.split())
