"""What numpy, shapely, GDAL and SQLite have to say reaches nobody's screen."""

import re
import sqlite3
import subprocess
import sys
from contextlib import closing

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

FOREIGN = re.compile(r"Warning|GDAL|OGR|sqlite|numpy|shapely|pandas|Traceback|site-packages|\.py\b")


def test_no_library_speaks(tmp_path):
    """A GeoPackage without its mark, a corner that is nowhere and an outline that crosses itself.

    GDAL warns of the first, shapely and numpy of the others.
    """
    outlines = [[[0, 0], [9, 0], [9, 9], [0, 0]], [[0, 0], [1e160, 9], [np.nan, 0], [0, 0]],
                [[20, 0], [29, 9], [29, 0], [20, 9], [20, 0]]]  # fmt: skip
    with np.errstate(all="ignore"):
        plots = gpd.GeoDataFrame(
            {"id": ["1", "2", "3"], "kind": "garden"},
            geometry=[shapely.Polygon(one) for one in outlines],
            crs="EPSG:27700",
        )
        path = tmp_path / "odd.gpkg"
        pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    with closing(sqlite3.connect(path)) as there:
        there.execute("PRAGMA application_id = 7")
        there.execute("PRAGMA user_version = 99999")
        there.commit()
    # As it is typed, with every warning asked for.
    for words in (["check", path], ["merge", path, "-o", tmp_path / "new.gpkg"]):
        done = subprocess.run(
            [sys.executable, "-W", "always", "-m", "patchnet", *map(str, words)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode in {0, 1, 2, 3}
        assert not FOREIGN.search(done.stdout + done.stderr), done.stderr
