"""Every file that is written comes out the same byte for byte, whenever and by whichever process.

Two processes with another seed of Python's hashes write everything there is, seconds apart and
in time zones that never have the same day.
"""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
import zipfile
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import shapely

EAST, NORTH = 450_000.0, 210_000.0
CREDIT = "Map: the volunteers of the Row"
COMMANDS = """
merge {street} {sheet} --same-street -o out/merged.gpkg
merge {map} {sheet} --same-street -o out/from_geojson.gpkg
consent {crowd} c1 yes -o dated/agreed.gpkg
export {street} --straight -o out/export.gpkg
export dated/agreed.gpkg --straight --for public -o out/public.gpkg
export {street} --straight -o out/export.geojson
export {street} --straight -o out/export.csv
export {street} --straight --group wren -o out/wren.graphml
routes {street} --group hedgehog -o out/routes.gpkg --ground out/cost.tif --current out/flow.tif
routes {street} --group hedgehog -o out/routes.geojson
map {street} --straight --group wren --additions -o out/map.html
survey out/merged.gpkg -o out/round
progress out/merged.gpkg -o out/progress.html
compare {street} out/merged.gpkg --straight --group wren --page out/change.html
advise {street} a1 --group wren --group hedgehog --group newt --card out/card.html
advise {street} --straight --group newt --cards out/cards
together {street} --group newt --plots a1,b1 --jobs 2 -o out/plan.json --page out/together.html
base --parcels {map} -o out/base.gpkg
city {street} --straight --group wren --workers 1 -o out/city
scheme {street} --road Row --planters 1 --group mason_bee -o out/scheme
"""
RUN = """
import sys
from patchnet.commands.main import _run
for line in sys.stdin.read().splitlines():
    status = _run(line.split())
    if line and status not in (0, 1):
        sys.exit(f"{line}: {status}")
"""
KINDS = {
    ".gpkg": b"SQLite format 3", ".geojson": b"{", ".json": b"{", ".graphml": b"<", ".csv": b"",
    ".xlsx": b"PK", ".tif": b"II", ".html": b"<!", ".parquet": b"PAR1",
}  # fmt: skip


def placed(shape):
    return shapely.affinity.translate(shape, EAST, NORTH)


def street(path):
    """A road with a footway on either side, and a garden of 20 x 20 m at each of its corners."""
    plots = gpd.GeoDataFrame(
        {
            "id": ["a1", "a2", "b1", "b2"],
            "kind": "garden_front",
            "features": ["bee_hotel 2; flower_border 4; hedge_native 9", "bee_hotel 2; pond 6",
                         "lawn_short 60; dead_wood_pile 2", "bee_hotel 1; lawn_short 80"],
            "seen": "all",
        },
        geometry=[
            placed(shapely.box(x, y, x + 20, y + 17))
            for x, y in ((0, 7.5), (40, 7.5), (0, -25), (40, -25))
        ],
        crs="EPSG:27700",
    )  # fmt: skip
    roads = gpd.GeoDataFrame(
        {"name": ["Row"], "width_m": [6.0], "speed_mph": ["20"]},
        geometry=[placed(shapely.LineString([(0, 0), (60, 0)]))],
        crs="EPSG:27700",
    )
    ways = gpd.GeoDataFrame(
        {"name": ["", ""]},
        geometry=[placed(shapely.box(0, 3, 60, 7)), placed(shapely.box(0, -7, 60, -3))],
        crs="EPSG:27700",
    )
    fences = gpd.GeoDataFrame(
        {"kind": ["fence"], "gap": ["yes"]},
        geometry=[placed(shapely.LineString([(20, 8), (20, 24)]))],
        crs="EPSG:27700",
    )
    for name, table in (
        ("plots", plots), ("roads", roads), ("footways", ways), ("barriers", fences),
    ):  # fmt: skip
        pyogrio.write_dataframe(
            table, path, layer=name, driver="GPKG", append=path.exists(),
            layer_metadata={"credits": CREDIT},
        )  # fmt: skip
    return plots


def crowd(path):
    """Twelve gardens along a road: enough households for something public."""
    plots = gpd.GeoDataFrame(
        {
            "id": [f"c{at}" for at in range(12)],
            "kind": "garden_front",
            "features": [
                "lawn_short 60; pond 4" if at % 3 else "lawn_short 80" for at in range(12)
            ],
            "seen": "all",
        },
        geometry=[placed(shapely.box(20 * at, 7.5, 20 * at + 20, 24)) for at in range(12)],
        crs="EPSG:27700",
    )
    roads = gpd.GeoDataFrame(
        {"name": ["Row"]},
        geometry=[placed(shapely.LineString([(0, 0), (240, 0)]))],
        crs="EPSG:27700",
    )
    for name, table in (("plots", plots), ("roads", roads)):
        pyogrio.write_dataframe(
            table, path, layer=name, driver="GPKG", append=path.exists(),
            layer_metadata={"credits": "Map: the volunteers of the Row"},
        )  # fmt: skip


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Two folders, each with every file, written by processes that began 2.1 s apart.

    Each works on a street of its own: an export is noted down in the street that it is made from.
    """
    base = tmp_path_factory.mktemp("in")
    paths = {
        "street": base / "street.gpkg",
        "map": base / "plots.geojson",
        "crowd": base / "crowd.gpkg",
        "sheet": base / "sheet.csv",
    }
    plots = street(paths["street"])
    crowd(paths["crowd"])
    plots.assign(tags=[["b", "a"], ["c"], [], ["d", "c"]]).to_crs(4326).to_file(paths["map"])
    mapped = json.loads(paths["map"].read_text()) | {"credits": [CREDIT]}
    paths["map"].write_text(json.dumps(mapped))
    paths["sheet"].write_text(
        "plot,feature,answer,amount,surveyor,date\na1,pond,there,2,Ann,2026-05-02\n"
        "a2,shrub,not there,,Ann,2026-05-02\n"
    )
    given = {name: f"in/{path.name}" for name, path in paths.items()}
    folders, running = [], []
    for seed, zone in (("1", "UTC-12"), ("2", "UTC+12")):  # at any hour on two days of the calendar
        folder = tmp_path_factory.mktemp(f"run{seed}")
        (folder / "out").mkdir()
        shutil.copytree(base, folder / "in")
        (folder / "dated").mkdir()  # an answer about consent is kept with its minute
        with (folder / "said.txt").open("w") as said:
            run = subprocess.Popen(
                [sys.executable, "-W", "error", "-c", RUN], cwd=folder, text=True,
                stdin=subprocess.PIPE, stdout=said, stderr=subprocess.STDOUT,
                env=os.environ | {"PYTHONHASHSEED": seed, "TZ": zone},
            )  # fmt: skip
        run.stdin.write(COMMANDS.strip().format(**given))
        run.stdin.close()
        folders.append(folder)
        running.append(run)
        time.sleep(2.1)  # a zip file tells times to two seconds
    ended = [run.wait() for run in running]
    assert ended == [0, 0], (folders[0] / "said.txt").read_text()
    return folders


def files(folder):
    out = folder / "out"
    return {str(path.relative_to(out)): path for path in sorted(out.rglob("*")) if path.is_file()}


def test_everything_was_written(written):
    for one, other in pairwise(map(files, written)):
        assert one.keys() == other.keys()
    for name, path in files(written[0]).items():
        assert (
            path.read_bytes().lstrip(b"\xef\xbb\xbf").startswith(KINDS.get(Path(name).suffix, b""))
        )
    assert {Path(name).suffix for name in files(written[0])} >= KINDS.keys()
    asked = [Path(word) for word in COMMANDS.split() if word.startswith("out/")]
    assert [path for path in asked if not (written[0] / path).exists()] == []


@pytest.mark.parametrize("kind", [*KINDS, ".json"])
def test_the_same_bytes(written, kind):
    one, other = (files(folder) for folder in written)
    different = [
        name
        for name, path in one.items()
        if path.suffix == kind and path.read_bytes() != other[name].read_bytes()
    ]
    assert different == []


def test_what_is_noted_down_in_a_street_is_the_same(written):
    """Which files were made of it, for whom, and on which day (UTC)."""
    one, other = (folder / "in" / "street.gpkg" for folder in written)
    assert one.read_bytes() == other.read_bytes()
    with closing(sqlite3.connect(one)) as there:
        made = [file for (file,) in there.execute("SELECT file FROM written")]
    assert "../out/export.gpkg" in made


def test_every_file_says_whose_data_it_is_made_of(written):
    """Every page, print, table and raster carries the line that came with the map."""
    without = [
        name
        for name, path in files(written[0]).items()
        if path.suffix != ".json" and CREDIT.encode() not in content(path)
    ]
    assert without == []


def content(path):
    """The bytes of a file; those of a workbook unpacked."""
    if path.suffix != ".xlsx":
        return path.read_bytes()
    with zipfile.ZipFile(path) as packed:
        return b"".join(map(packed.read, packed.namelist()))
