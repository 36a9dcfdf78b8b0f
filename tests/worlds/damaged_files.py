"""A small file of every kind that is read, and damage done to it by a seeded hand."""

import io
import json
import random
import sqlite3
import struct
import zipfile
from contextlib import closing, suppress
from pathlib import Path

import geopandas as gpd
import numpy as np
import osmium
import pyogrio
import rasterio
import shapely
from osmium.osm.mutable import Node, Way
from worlds.surveyed_street import EAST, NORTH

import patchnet
from patchnet.movement.ground_grid import lay_grid
from patchnet.movement.land_cover import read_land_cover
from patchnet.plan.read_facts import facts_in_file
from patchnet.survey.survey_layers import read_records

__all__ = ["READERS", "Originals", "damaged", "read_one"]

STEP = 0.0001  # degrees
NUMBERS = (b"1e308", b"-1", b"NaN", b"9" * 40, b"0", b"1e-320", b"-0.0", b"9007199254740993")
PIECES = (b"\0", b'"', b"'", b"\xff\xfe", b"\xef\xbb\xbf", b"\n\n", b";", b",,,", b"{", b"]",
          b"\xed\xa0\x80", b"=1+1", b"../..", b"<!ENTITY a 'b'>", b"\\u0000", b"\r")  # fmt: skip
CELLS = (None, "", "x" * 70_000, b"\0\1", 2**62, -1, 1e308, "\x00", "nan", "2026-13-45", b"GP\0\1")


class Originals:
    """One good file of every kind in a folder.

    Parameters
    ----------
    folder
        Where they are written.
    street
        A `SurveyStreet` with a survey merged into it.
    knowledge
        The tables.
    """

    def __init__(self, folder, street, knowledge):
        self.folder, self.street, self.knowledge = folder, street, knowledge
        self.hood = patchnet.read_neighbourhood(street.path, knowledge=knowledge)
        self.grid = lay_grid(self.hood.plots, knowledge, 2.0)
        self.content = {}
        self._maps()
        self._extracts()
        self._rasters()
        self._tables()
        self._returns()

    def _keep(self, key, *names):
        """Hold the files of one reader: the first is the one that is damaged."""
        self.content[key] = {name: (self.folder / name).read_bytes() for name in names}

    def _maps(self):
        plots = pyogrio.read_dataframe(self.street.path, layer="plots")
        plots = plots.assign(features="pond 4; lawn_short 12; tree 2?")[
            ["id", "kind", "features", "geometry"]
        ]
        (self.folder / "store.gpkg").write_bytes(self.street.path.read_bytes())
        self._keep("store", "store.gpkg")
        pyogrio.write_dataframe(plots, self.folder / "s.gpkg", layer="plots")
        pyogrio.write_dataframe(plots.to_crs(4326), self.folder / "s.geojson")
        pyogrio.write_dataframe(plots, self.folder / "s.fgb")
        plots.to_parquet(self.folder / "s.parquet")
        pyogrio.write_dataframe(plots, self.folder / "plots.shp")
        ends = ("shp", "dbf", "shx", "prj", "cpg")
        for end in ("shp", "dbf", "shx"):
            names = [f"plots.{one}" for one in ends if one != end]
            self._keep(end, f"plots.{end}", *names)
        with zipfile.ZipFile(self.folder / "s.zip", "w", zipfile.ZIP_DEFLATED) as packed:
            for path in sorted(self.folder.glob("plots.*")):
                packed.write(path, path.name)
        for end in ("gpkg", "geojson", "fgb", "parquet", "zip"):
            self._keep(end, f"s.{end}")
        world = plots.to_crs(4326)
        pyogrio.write_dataframe(world, self.folder / "p.gml", driver="GML")
        pyogrio.write_dataframe(world, self.folder / "p.kml", driver="KML")
        houses = plots.assign(geometry=plots.geometry.buffer(-8)).to_crs(4326)
        road = [(EAST - 5, NORTH + 37.5), (EAST + 165, NORTH + 37.5)]
        roads = gpd.GeoDataFrame(
            {"name": ["Alder Row"]}, geometry=[shapely.LineString(road)], crs="EPSG:27700"
        )
        pyogrio.write_dataframe(houses[["geometry"]], self.folder / "houses.geojson")
        pyogrio.write_dataframe(roads.to_crs(4326), self.folder / "roads.geojson")
        self._keep("gml", "p.gml", "roads.geojson")
        self._keep("kml", "p.kml", "roads.geojson")
        self._keep("houses", "houses.geojson", "roads.geojson", "s.geojson")
        self._keep("earlier", "store.gpkg", "roads.geojson", "s.geojson")

    def _extracts(self):
        nodes, ways = [], []

        def node(x, y, **tags):
            nodes.append(Node(id=len(nodes) + 1, location=(x, y), tags=tags, version=1))
            return len(nodes)

        ends = [node(-1.0 - STEP, 52.0), node(-1.0 + 12 * STEP, 52.0)]
        tags = {"highway": "residential", "name": "Elm Road"}
        ways.append(Way(id=1, nodes=ends, tags=tags, version=1))
        for at in range(6):
            left, low = -1.0 + 2 * STEP * at, 52.0 + STEP
            ring = [
                node(left + a * STEP, low + b * STEP) for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))
            ]
            tags = {"building": "house", "addr:street": "Elm Road", "addr:housenumber": str(at + 1)}
            ways.append(Way(id=at + 2, nodes=[*ring, ring[0]], tags=tags, version=1))
        for name in ("t.osm.pbf", "t.osm"):
            with osmium.SimpleWriter(str(self.folder / name), overwrite=True) as out:
                for one in nodes:
                    out.add_node(one)
                for one in ways:
                    out.add_way(one)
        self._keep("osm", "t.osm")
        self._keep("pbf", "t.osm.pbf")
        self._keep("street", "t.osm.pbf")

    def _rasters(self):
        west, _, _, north = self.hood.plots.total_bounds
        place = rasterio.Affine(4, 0, west - 80, 0, -4, north + 80)
        size = {"width": 90, "height": 70, "count": 1, "crs": "EPSG:27700", "transform": place}
        for name, kind in (("cover.tif", "uint8"), ("dsm.tif", "float32")):
            with rasterio.open(
                self.folder / name, "w", driver="GTiff", dtype=kind, compress="deflate", **size
            ) as raster:
                raster.write(np.arange(6300).reshape(1, 70, 90).astype(kind) % 3 + 1)
        self._keep("cover", "cover.tif")
        self._keep("heights", "dsm.tif")

    def _tables(self):
        rows = ["plot,feature,amount", "1,pond,4", "2,lawn_short,12", "3,tree,2"]
        self._table("features", rows)
        self._table("costs", ["class,cost", "1,1.5", "2,closed", "3,4"])
        self._table("tape", ["place,footway_m,things", "L012.0,3.45,gully 1.2", "R004.0,2.9,none"])
        self._table("keepers", ["name,litres,plot", "the Okoros,120,1", "Ann,40,2"])
        (self.folder / "settings.csv").write_bytes(
            (Path(patchnet.__file__).parent / "knowledge/tables/settings.csv").read_bytes()
        )
        self._keep("overlay", "settings.csv")
        (self.folder / "facts.toml").write_text('light = "part"\nfree_m2 = 12\nsoil = "clay"\n')
        self._keep("facts", "facts.toml")
        house = {"plots": ["1"], "answer": "yes", "jobs": [{"plot": "1", "feature": "pond"}]}
        plan = {"kind": "patchnet street plan", "houses": [house]}
        (self.folder / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
        self._keep("plan.json", "plan.json")

    def _table(self, key, rows):
        from openpyxl import Workbook  # noqa: PLC0415 - slow, and for this alone

        (self.folder / f"{key}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
        book = Workbook()
        for row in rows:
            book.active.append(row.split(","))
        book.save(self.folder / f"{key}.xlsx")
        for end in ("csv", "xlsx"):
            self._keep(f"{key}.{end}", f"{key}.{end}")

    def _returns(self):
        said = [(str(at), "pond", "there", 2, "a note", "p.jpg") for at in range(1, 9)]
        shape = {"type": "Polygon", "coordinates": [[[-1, 52], [-1, 52.1], [-1.1, 52], [-1, 52]]]}
        self.street.hand_in(
            "r", said, drawn=[{"plot": "1", "feature": "pond", "geometry": shape}],
            consent=[{"plot": "1", "consent": "yes", "when": "2026-05-02T10:00:00+01:00"}],
        )  # fmt: skip
        path = self.street.files.pop()
        (self.folder / path.name).write_bytes(path.read_bytes())
        self._keep("return.json", path.name)
        rows = [f"{at},pond,there,2,Ann,2026-05-02" for at in range(1, 9)]
        self._table("return", ["plot,feature,answer,amount,surveyor,date", *rows])


def _base(*others, **more):
    def read(made, paths):
        inputs = [paths[0], *(path for path in paths[1:] if path.name in others)]
        patchnet.make_base(inputs, knowledge=made.knowledge, **more)

    return read


def _check(made, paths):
    patchnet.check_file(paths[0], knowledge=made.knowledge)


def _shape(made, paths):
    patchnet.check_file(paths[0].with_name("plots.shp"), knowledge=made.knowledge)


def _store(made, paths):
    patchnet.verify_street(paths[0], knowledge=made.knowledge)
    patchnet.read_journal(paths[0])
    read_records(paths[0])


def _earlier(made, paths):
    patchnet.make_base(paths[1:], earlier=paths[0], knowledge=made.knowledge)
    target = paths[0].with_name("new.gpkg")
    patchnet.keep_survey(paths[0], _copied(made.street.path, target), knowledge=made.knowledge)


def _copied(source, target):
    target.write_bytes(source.read_bytes())
    return target


def _features(made, paths):
    patchnet.read_neighbourhood(made.street.path, features=paths[0], knowledge=made.knowledge)


def _return(made, paths):
    patchnet.merge_survey(made.street.path, paths[0], same_street=True, knowledge=made.knowledge)


def _cover(made, paths):
    read_land_cover(patchnet.LandCover(paths[0], {1: 1.0, 2: 2.0, 3: 3.0}), made.grid)


def _facts(made, paths):
    patchnet.read_facts(facts_in_file(paths[0]), made.knowledge, where="facts.toml")


READERS = {
    **dict.fromkeys(("gpkg", "geojson", "fgb", "parquet", "zip"), _check),
    **dict.fromkeys(("shp", "dbf", "shx"), _shape),
    "store": _store,
    "earlier": _earlier,
    "gml": _base("roads.geojson"),
    "kml": _base("roads.geojson"),
    "houses": _base("roads.geojson", "s.geojson"),
    "osm": _base(),
    "pbf": _base(),
    "street": _base(street=["Elm Road"]),
    "cover": _cover,
    "heights": lambda made, paths: patchnet.read_surface_heights(
        paths[0], made.hood.plots, made.knowledge
    ),
    **dict.fromkeys(("features.csv", "features.xlsx"), _features),
    **dict.fromkeys(
        ("costs.csv", "costs.xlsx"), lambda made, paths: patchnet.read_class_costs(paths[0])
    ),
    **dict.fromkeys(
        ("keepers.csv", "keepers.xlsx"),
        lambda made, paths: patchnet.read_keepers(paths[0], made.hood),
    ),
    **dict.fromkeys(
        ("tape.csv", "tape.xlsx"), lambda made, paths: patchnet.read_measured(paths[0])
    ),
    "overlay": lambda made, paths: patchnet.load_knowledge(paths[0].parent),
    "facts": _facts,
    "plan.json": lambda made, paths: patchnet.read_street_plan(paths[0]),
    **dict.fromkeys(("return.json", "return.csv", "return.xlsx"), _return),
}
"""What reads each kind of file, from the original files and the paths of a damaged set."""


def read_one(made, key, seed, folder):
    """Damage the file of a reader in an empty folder and read it; return what was damaged."""
    rng = random.Random(f"{key} {seed}")  # noqa: S311 - which bytes to spoil is no secret
    paths = []
    for at, (name, raw) in enumerate(made.content[key].items()):
        path = folder / name
        path.write_bytes(raw)
        if not at:
            damaged(path, rng)
        paths.append(path)
    READERS[key](made, paths)


def damaged(path, rng):
    """Damage a file in one of many ways."""
    raw = path.read_bytes()
    if raw.startswith(b"SQLite format 3") and rng.random() < 0.5:
        with suppress(sqlite3.Error):
            _spoil_database(path, rng)
            return
    elif raw.startswith(b"PK") and rng.random() < 0.6:
        path.write_bytes(_spoil_packed(raw, rng))
        return
    path.write_bytes(_spoil(raw, rng))


def _spoil(raw, rng):  # noqa: C901 - a list of ways
    spoilt = bytearray(raw)
    at = rng.randrange(len(raw))
    end = min(len(raw), at + rng.choice([1, 7, 64, 900]))
    way = rng.randrange(9)
    if way == 0:
        return raw[:at]
    if way == 1:
        for _ in range(rng.choice([1, 8, 60])):
            spoilt[rng.randrange(len(raw))] = rng.randrange(256)
    elif way == 2:
        spoilt[at:end] = bytes(end - at)
    elif way == 3:
        del spoilt[at:end]
    elif way == 4:
        spoilt[at:at] = raw[at:end] * rng.choice([1, 2, 50])
    elif way == 5:
        spoilt[at:at] = rng.choice(PIECES) * rng.choice([1, 1, 1000])
    elif way == 6:
        return raw + rng.choice([raw, rng.choice(PIECES), rng.randbytes(500)])
    elif way == 7:
        spoilt[at : at + 8] = struct.pack(rng.choice("<>") + "d", rng.choice([np.nan, 1e300, -1.0]))
    else:
        places = [at for at in range(len(raw)) if raw[at : at + 1].isdigit()]
        if places:
            at = rng.choice(places)
            spoilt[at : at + 1] = rng.choice(NUMBERS)
    return bytes(spoilt)


def _spoil_packed(raw, rng):
    """Damage one file inside a zip or workbook, and pack it again."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        inside = {name: packed.read(name) for name in packed.namelist()}
    chosen = rng.choice(sorted(inside))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in inside.items():
            packed.writestr(name, _spoil(content, rng) if name == chosen and content else content)
    return out.getvalue()


def _spoil_database(path, rng):
    """Put something strange into a cell or the plan of a GeoPackage, as another program might."""
    with closing(sqlite3.connect(path)) as there:
        tables = there.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        names = [name for (name,) in tables if not name.startswith(("sqlite_", "rtree_"))]
        table = rng.choice(names)
        columns = [row[1] for row in there.execute(f'PRAGMA table_info("{table}")')]
        there.create_function("ST_IsEmpty", 1, lambda _: None, deterministic=True)
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            there.create_function(name, 1, lambda _: None, deterministic=True)
        column = rng.choice(columns)
        change = rng.randrange(4)
        if change < 2:
            rows = there.execute(f'SELECT rowid FROM "{table}"').fetchall()  # noqa: S608
            chosen = rng.choice(rows)[0] if rows else 0
            there.execute(
                f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?',  # noqa: S608
                (rng.choice(CELLS), chosen),
            )
        elif change == 2:
            there.execute(f'DROP TABLE "{table}"')
        else:
            there.execute(f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO "strange {column}"')
        there.commit()
