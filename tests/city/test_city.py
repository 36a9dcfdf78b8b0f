"""A city worked out in tiles is the city worked out whole, however it is cut or interrupted."""

import os
import signal

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from affine import Affine
from click.testing import CliRunner
from geopandas.testing import assert_geodataframe_equal
from worlds.small_city import write_city

from patchnet.assess import assess
from patchnet.assess.tables import break_table, plot_table
from patchnet.city import assess_city as steps
from patchnet.city.assess_city import assess_city
from patchnet.city.city_answer import read_city
from patchnet.city.memory import abreast
from patchnet.city.parts import Parts
from patchnet.city.sources import count_plots
from patchnet.commands.main import cli
from patchnet.core.errors import CannotRead, CannotWrite, DataFaults, WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.movement.land_cover import LandCover
from patchnet.read import read_neighbourhood

ANIMALS = ("mason_bee", "goldfinch", "sparrow", "wren", "slow_worm")
CELL = 1.0


@pytest.fixture(scope="module")
def knowledge():
    return load_knowledge()


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("city") / "city.gpkg"
    write_city(path)
    return path


@pytest.fixture(scope="module")
def whole(file, knowledge):
    hood = read_neighbourhood(file, knowledge=knowledge)
    return assess(hood, knowledge=knowledge, groups=ANIMALS, cell_m=CELL)


def in_tiles(file, folder, knowledge, side, **others):
    return assess_city(
        file, folder, tile_m=side, groups=ANIMALS, knowledge=knowledge, cell_m=CELL, workers=1,
        **others,
    )  # fmt: skip


@pytest.fixture(scope="module")
def city(file, knowledge, tmp_path_factory):
    return in_tiles(file, tmp_path_factory.mktemp("tiled") / "answer", knowledge, 70)


def plots_in(city):
    tables = [gpd.read_parquet(city.folder / name) for name in city.tiles["file"]]
    return pd.concat(tables).set_index("id")


def test_tiles_equal_the_whole(city, whole):
    """Sums to a billionth, homes to what sharing promises, parts the same."""
    assert len(city.tiles) > 5
    expected = plot_table(whole)
    found = plots_in(city).loc[expected.index]
    assert city.tiles["plots"].sum() == len(expected) == len(plots_in(city))
    for name in expected.columns.drop("geometry"):
        one, other = expected[name], found[name]
        if name.startswith("component_"):
            assert (
                (pd.crosstab(one, other) > 0).to_numpy().sum() == one.nunique() == other.nunique()
            )
        elif pd.api.types.is_numeric_dtype(one):
            np.testing.assert_allclose(other, one, rtol=1e-8, atol=1e-9, err_msg=name)
        else:
            assert other.astype(str).tolist() == one.astype(str).tolist(), name
    assert found.geometry.geom_equals(expected.geometry).all()
    totals = whole.table()
    for name in ("room", "homes", "homes_low", "homes_high", "linked_homes"):
        np.testing.assert_allclose(city.animals[name], totals[name], rtol=1e-8, err_msg=name)
    assert city.animals["parts"].tolist() == totals["parts"].tolist()
    for key, answer in whole.groups.items():
        numerator = city.animals.loc[key, "pc_numerator"]
        assert numerator == pytest.approx(answer.measures.pc_numerator, rel=1e-8), key


def test_ways_and_breaks_are_the_same_to_the_millimetre(city, whole):
    expected = break_table(whole)
    (path,) = (city.folder / "tiles").glob("breaks.*")
    found = gpd.read_parquet(path)
    assert len(expected) > 5
    assert {"wren", "slow_worm"} <= set(expected["group"])

    def by_ends(table):
        ends = [frozenset(pair) for pair in zip(table["from_plot"], table["to_plot"], strict=True)]
        return table.set_index(
            pd.Index(zip(table["group"], ends, strict=True), tupleize_cols=False)
        )

    one, other = by_ends(expected), by_ends(found)
    assert set(one.index) == set(other.index)
    other = other.loc[list(one.index)]
    for name in ("width_m", "cost_m"):
        assert (other[name] * 1000).round().tolist() == (one[name] * 1000).round().tolist()
    np.testing.assert_allclose(other["homes_won"], one["homes_won"], rtol=1e-7, atol=1e-12)
    assert (other["stepping_stones"] == one["stepping_stones"]).all()


def test_another_cut_is_the_same(file, city, knowledge, tmp_path):
    """One tile for all, and the seams elsewhere."""
    other = assess_city(
        file, tmp_path / "one", tile_m=5000, groups=["wren", "slow_worm"], knowledge=knowledge,
        cell_m=CELL, workers=1,
    )  # fmt: skip
    assert len(other.tiles) == 1
    keys = list(other.animals.index)
    for name in ("homes", "linked_homes", "pc_numerator", "parts", "breaks"):
        np.testing.assert_allclose(other.animals[name], city.animals.loc[keys, name], rtol=1e-8)


def covered(path, file, *, numbers=(1, 2, 3)):
    """A raster of classes over the eastern half of the city, in degrees: strips across it."""
    west, south, east, north = gpd.read_file(file, layer="plots").to_crs(4326).total_bounds
    middle = (west + east) / 2
    array = np.resize(np.repeat(numbers, 7), (60, 80)).astype("uint8")
    wide, high = (east + 0.001 - middle) / 80, (north - south + 0.002) / 60
    place = Affine(wide, 0, middle, 0, -high, north + 0.001)
    with rasterio.open(
        path, "w", driver="GTiff", width=80, height=60, count=1, dtype="uint8", crs="EPSG:4326",
        transform=place,
    ) as raster:  # fmt: skip
        raster.write(array, 1)
    return LandCover(path, {1: 1.0, 2: 6.0, 3: float("inf")})


def test_with_the_users_own_land_cover_too(file, knowledge, tmp_path):
    """It lies over a part of the city, in another coordinate system: some tiles have none of it."""
    own = covered(tmp_path / "cover.tif", file)
    hood = read_neighbourhood(file, knowledge=knowledge)
    options = {"knowledge": knowledge, "groups": ["slow_worm", "hedgehog"], "cell_m": CELL}
    whole, plain = assess(hood, landcover=own, **options), assess(hood, **options)
    city = assess_city(file, tmp_path / "answer", tile_m=70, workers=1, landcover=own, **options)
    totals = whole.table()
    for name in ("homes", "linked_homes"):
        np.testing.assert_allclose(city.animals[name], totals[name], rtol=1e-8, err_msg=name)
    assert city.animals["parts"].tolist() == totals["parts"].tolist()
    assert not np.allclose(totals["linked_homes"], plain.table()["linked_homes"], rtol=1e-3)
    with pytest.raises(CannotWrite, match="another question"):
        assess_city(file, tmp_path / "answer", tile_m=70, workers=1, **options)
    other = LandCover(own.path, {**own.costs, 2: 7.0})
    with pytest.raises(CannotWrite, match="another question"):
        assess_city(file, tmp_path / "answer", tile_m=70, workers=1, landcover=other, **options)


def test_faults_of_a_land_cover_are_told_at_once(file, knowledge, tmp_path):
    options = {"knowledge": knowledge, "cell_m": 2.0, "tile_m": 70, "workers": 1}
    walks = {"groups": ["slow_worm"], **options}
    own = covered(tmp_path / "cover.tif", file, numbers=(1, 2, 9))
    with pytest.raises(DataFaults, match="no cost for these classes: 9") as told:
        assess_city(file, tmp_path / "a", landcover=own, **walks)
    assert len(told.value.faults) == 1  # not once a tile
    away = gpd.read_file(file, layer="plots")
    away.geometry = away.translate(80_000, 0)
    away.to_file(tmp_path / "away.gpkg", layer="plots")
    own = covered(tmp_path / "away.tif", tmp_path / "away.gpkg")
    with pytest.raises(DataFaults, match="no data where the plots are"):
        assess_city(file, tmp_path / "b", landcover=own, **walks)
    gone = LandCover(tmp_path / "nowhere.tif", own.costs)
    with pytest.raises(CannotRead, match="missing, damaged"):
        assess_city(file, tmp_path / "c", landcover=gone, **walks)
    # Who goes in straight lines does not look at it.
    assess_city(file, tmp_path / "d", landcover=gone, straight=True, groups=["wren"], **options)


# quick runs: one bird, in straight lines -----------------------------------------------------


def quick(file, folder, knowledge, **others):
    options = {"tile_m": 150, "groups": ["wren"], "workers": 1} | others
    return assess_city(file, folder, knowledge=knowledge, **options)


def content(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*") if path.is_file()
    }  # fmt: skip


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("small") / "small.gpkg"
    write_city(path, plots=30)
    return path


@pytest.fixture(scope="module")
def quietly_done(small, knowledge, tmp_path_factory):
    folder = tmp_path_factory.mktemp("quick") / "answer"
    quick(small, folder, knowledge)
    return content(folder)


def test_what_is_handed_over(quietly_done):
    names = set(quietly_done)
    assert "manifest.json" in names
    assert {name for name in names if not name.startswith("tiles/")} == {"manifest.json"}


@pytest.fixture
def killed(monkeypatch):
    """Kill a run when it is about to note that a piece of work is done; list all such pieces."""
    noted, finish = [], Parts.finish

    def at(piece):
        def watched(self, name, files, told):
            if len(noted) == piece:
                noted.append(name)
                raise KeyboardInterrupt
            noted.append(name)
            finish(self, name, files, told)

        noted.clear()
        monkeypatch.setattr(Parts, "finish", watched)
        return noted

    return at


def test_killed_half_way_and_resumed_gives_the_same_bytes(
    small, knowledge, quietly_done, tmp_path, killed
):
    """What was finished is not done twice, what was left half done is not believed."""
    folder, finished = tmp_path / "answer", []
    for piece in (0, 1, 2, 1, 1, 0):
        noted = killed(piece)
        with pytest.raises(KeyboardInterrupt):
            quick(small, folder, knowledge)
        assert noted[-1] not in finished
        finished += noted[:-1]
        with pytest.raises(CannotRead, match="holds no finished answer"):
            read_city(folder)
    noted = killed(-1)
    quick(small, folder, knowledge)
    assert not set(noted) & set(finished)
    assert content(folder) == quietly_done
    # Done: nothing is worked out any more.
    assert killed(0) == []
    assert quick(small, folder, knowledge).peak_gb == 0


def test_a_piece_that_was_changed_is_not_believed(small, knowledge, quietly_done, tmp_path, killed):
    folder = tmp_path / "answer"
    killed(5)
    with pytest.raises(KeyboardInterrupt):
        quick(small, folder, knowledge)
    (one, *__) = sorted((folder / ".work").glob("*.read.npz"))
    one.write_bytes(one.read_bytes()[:-50])
    noted = killed(-1)
    quick(small, folder, knowledge)
    assert one.name.removesuffix(".npz") in noted
    assert content(folder) == quietly_done
    # Nor a result of a finished answer.
    (one, *__) = sorted((folder / "tiles").glob("E*"))
    one.write_bytes(b"")
    quick(small, folder, knowledge)
    assert content(folder) == quietly_done


def test_on_a_cluster_that_loses_a_worker_the_bytes_are_the_same(
    small, knowledge, quietly_done, tmp_path
):
    from distributed import LocalCluster  # noqa: PLC0415 - it takes a second, and one test alone

    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=tmp_path
    ) as cluster:
        left = [cluster.workers[0].pid]

        def losing(done, doing, total):
            for one in done:
                while left:
                    os.kill(left.pop(), signal.SIGKILL)
                yield one

        address = cluster.scheduler_address
        quick(small, tmp_path / "answer", knowledge, scheduler=address, progress=losing)
    assert not left
    assert content(tmp_path / "answer") == quietly_done


def test_from_files_of_other_kinds(small, knowledge, quietly_done, tmp_path):
    """A folder with a GeoParquet of plots, in degrees, and FlatGeobufs beside it."""
    (tmp_path / "map").mkdir()
    plots = gpd.read_file(small, layer="plots").to_crs(4326)
    plots.to_parquet(tmp_path / "map" / "plots.parquet", row_group_size=7)
    for layer in ("buildings", "barriers"):
        pyogrio.write_dataframe(
            gpd.read_file(small, layer=layer),
            tmp_path / "map" / f"{layer}.fgb",
            driver="FlatGeobuf",
        )
    found = quick(tmp_path / "map", tmp_path / "answer", knowledge, crs=None)
    assert found.crs.startswith("EPSG:326")
    hood = read_neighbourhood(tmp_path / "map", knowledge=knowledge)
    whole = assess(hood, knowledge=knowledge, groups=["wren"])
    found = plots_in(found).loc[hood.plots.index]
    np.testing.assert_allclose(found["homes_wren"], whole.groups["wren"].homes, rtol=1e-8)
    assert found.geometry.geom_equals(hood.plots.geometry).all()


def test_a_survey_in_the_file_is_read_by_the_plots_it_speaks_of(small, knowledge, tmp_path):
    path = tmp_path / "surveyed.gpkg"
    path.write_bytes(small.read_bytes())
    said = pd.DataFrame({"plot": ["P3", "p7", "P20", "P99"], "features": ["pond 4"] * 4})
    pyogrio.write_dataframe(said, path, layer="survey", driver="GPKG", append=True)
    found = quick(path, tmp_path / "answer", knowledge)
    hood = read_neighbourhood(path, knowledge=knowledge)
    listed = plots_in(found)["features"]
    assert {one for one in listed.index if "pond 4" in listed[one]} == {"P3", "P7", "P20"}
    whole = assess(hood, knowledge=knowledge, groups=["wren"])
    assert found.animals.loc["wren", "homes"] == pytest.approx(whole.groups["wren"].homes.sum())
    assert any("P99" in str(fault) for fault in found.faults)


# what is refused -----------------------------------------------------------------------------


def test_errors_of_all_tiles_are_told_at_once(tmp_path, knowledge):
    path = tmp_path / "bad.gpkg"
    table = write_city(path)
    table.loc[[0, 40], "kind"] = ["gardn", "meadw"]
    pyogrio.write_dataframe(table, path, layer="plots", driver="GPKG")
    with pytest.raises(DataFaults) as told:
        quick(path, tmp_path / "answer", knowledge)
    assert {fault.ident for fault in told.value.faults if fault.severity == "error"} == {
        table["id"][0], table["id"][40],
    }  # fmt: skip


def test_two_plots_of_one_id_in_different_tiles(tmp_path, knowledge):
    path = tmp_path / "twice.gpkg"
    table = write_city(path)
    table.loc[0, "id"] = table.loc[40, "id"]
    pyogrio.write_dataframe(table, path, layer="plots", driver="GPKG")
    with pytest.raises(DataFaults, match="Several plots have the id"):
        quick(path, tmp_path / "answer", knowledge)


def test_what_does_not_fit_is_refused_before_it_begins(small, knowledge, tmp_path, monkeypatch):
    with pytest.raises(WrongUse, match="a smaller --tile"):
        quick(small, tmp_path / "answer", knowledge, memory_gb=0.1)
    monkeypatch.setattr(steps, "tile_bytes", lambda asked, cell: dict.fromkeys(
        (tile.name for tile in asked.tiles.tiles), 0.0
    ))  # fmt: skip
    with pytest.raises(WrongUse, match=r"wren 0\.4 GB.*leave them out"):
        quick(small, tmp_path / "answer", knowledge, memory_gb=0.1)


def test_a_folder_of_somebody_elses_stays(small, knowledge, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(CannotWrite, match="holds something else"):
        quick(small, tmp_path, knowledge)
    with pytest.raises(CannotRead, match="piece by piece"):
        quick(tmp_path / "mine.txt", tmp_path / "answer", knowledge)


def test_another_question_needs_another_folder_or_a_word(small, knowledge, tmp_path):
    result = CliRunner().invoke(
        cli, ["city", str(small), "-o", str(tmp_path / "a"), "--tile", "5000", "--straight",
              "--group", "wren", "--workers", "1", "--memory", "900MB"],
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert str(tmp_path / "a" / "index.html") in result.output
    page = (tmp_path / "a" / "index.html").read_text(encoding="utf-8")
    assert 'href="tiles/E450000N210000.parquet"' in page
    assert 'href="tiles/E450000N210000.html"' in page
    street = (tmp_path / "a" / "tiles" / "E450000N210000.html").read_text(encoding="utf-8")
    assert street.count("<title>P") == 30  # each plot is drawn
    assert "Sorrel Row" in street
    with pytest.raises(CannotWrite, match="another question"):
        quick(small, tmp_path / "a", knowledge)
    found = quick(small, tmp_path / "a", knowledge, overwrite=True)
    assert len(found.tiles) > 1
    assert not list((tmp_path / "a").rglob("*.html"))
    result = CliRunner().invoke(cli, ["city", str(small), "-o", "b", "--memory", "4 elephants"])
    assert result.exit_code == 2
    assert "like 4GB" in result.output


def test_as_many_side_by_side_as_fit():
    """3 + 2 GB and a third process of 0.35 GB fit into 5.5 GB; a third piece of work does not."""
    sizes = [2e9, 3e9, 1e9]
    assert [abreast(sizes, allowed, 9) for allowed in (1e9, 5.3e9, 5.5e9, 7e9)] == [1, 1, 2, 3]
    assert abreast(sizes, 7e9, 2) == 2


# a town's map ---------------------------------------------------------------------------------

SETTINGS = "key,value,unit,low,high,class,source,note\n"


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    """Tables by which 30 plots are a town."""
    folder = tmp_path_factory.mktemp("few")
    row = "map_overview_plots,29,plots,29,29,assumption,patchnet,\n"
    (folder / "settings.csv").write_text(SETTINGS + row)
    return folder


def drawn(*words):
    return CliRunner().invoke(cli, ["map", *map(str, words)])


def test_the_map_of_a_town_is_an_overview_with_a_page_a_neighbourhood(small, few, tmp_path):
    page = tmp_path / "town.html"
    asked = (small, "-o", page, "--group", "wren", "--straight", "--knowledge", few)
    done = drawn(*asked)
    assert done.exit_code == 0, done.output
    folder = tmp_path / "town"
    assert sorted(one.name for one in tmp_path.iterdir()) == ["town", "town.html"]
    tiles = read_city(folder).tiles
    text = page.read_text()
    for name in tiles["file"]:
        of_tile = (folder / name).with_suffix(".html")
        assert f'href="town/tiles/{of_tile.name}"' in text
        assert 'href="../../town.html"' in of_tile.read_text()
        assert f'href="town/{name}"' in text
    # What is asked again is not worked out again.
    before = {one: one.stat().st_mtime_ns for one in folder.rglob("*.parquet")}
    assert drawn(*asked, "--overwrite").exit_code == 0
    assert {one: one.stat().st_mtime_ns for one in folder.rglob("*.parquet")} == before


def test_a_town_in_a_folder_of_other_files_is_the_same_town(small, few, tmp_path):
    """GeoJSON cannot be read piece by piece, and its features may be a table of their own."""
    town = tmp_path / "in_files"
    town.mkdir()
    for name in ("plots", "barriers", "buildings", "roads"):
        layer = gpd.read_file(small, layer=name)
        if name == "plots":
            layer[["id", "features"]].to_csv(tmp_path / "seen.csv", index=False)
            layer = layer.drop(columns="features")
        # In metres, as the GeoPackage: else corners are rounded, which is another place
        layer.to_file(town / f"{name}.geojson", RFC7946="NO", COORDINATE_PRECISION=15)
    asked = ("--group", "wren", "--straight", "--knowledge", few)
    assert drawn(small, "-o", tmp_path / "one.html", *asked).exit_code == 0
    done = drawn(town, "--features", tmp_path / "seen.csv", "-o", tmp_path / "two.html", *asked)
    assert done.exit_code == 0, done.output
    one, two = (read_city(tmp_path / name) for name in ("one", "two"))
    assert list(one.tiles["file"]) == list(two.tiles["file"])
    for name in one.tiles["file"]:
        first, second = (gpd.read_parquet(tmp_path / folder / name) for folder in ("one", "two"))
        assert_geodataframe_equal(first, second)
    assert len(list(town.iterdir())) == 4  # nothing was put beside the files


def test_a_page_without_an_ending_has_its_folder_under_another_name(small, few, tmp_path):
    asked = (small, "-o", tmp_path / "town", "--group", "wren", "--straight", "--knowledge", few)
    assert drawn(*asked).exit_code == 0
    assert 'href="town_tiles/tiles/' in (tmp_path / "town").read_text()


def test_up_to_the_limit_a_map_is_one_page(small, tmp_path):
    page = tmp_path / "street.html"
    assert drawn(small, "-o", page, "--group", "wren", "--straight", "--draws", 0).exit_code == 0
    assert [one.name for one in tmp_path.iterdir()] == ["street.html"]


def test_what_an_overview_cannot_show_is_refused(small, few, tmp_path):
    page = tmp_path / "town.html"
    done = drawn(small, "-o", page, "--knowledge", few, "--public", "--sun")
    assert isinstance(done.exception, WrongUse)
    assert "more than 29 plots" in str(done.exception)
    assert "--public, --sun" in str(done.exception)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("ending", ["gpkg", "fgb", "parquet"])
def test_plots_are_counted_without_being_read(small, tmp_path, ending):
    plots = gpd.read_file(small, layer="plots")
    path = tmp_path / f"plots.{ending}"
    if ending == "parquet":
        plots.to_parquet(path)
    else:
        plots.to_file(path, layer="plots")
    assert count_plots(path) == len(plots)


def test_what_cannot_be_counted_is_left_to_whoever_reads_it(tmp_path):
    broken = tmp_path / "broken.gpkg"
    broken.write_bytes(b"no database")
    assert count_plots(broken) == count_plots(tmp_path / "plots.geojson") == 0
