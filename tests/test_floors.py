"""The lowest versions that pyproject.toml allows are those that were proven, and all are imported.

`python tests/floors/run.py --keep` proves them and writes `tests/floors/proven.csv`.
"""

import ast
import csv
import re
import sys
import tomllib
from importlib.metadata import packages_distributions, version
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ASKED = [
    Requirement(one)
    for one in (*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["parquet"])
]
CLUSTER = [Requirement(one) for one in PROJECT["optional-dependencies"]["cluster"]]


def floor(asked):
    (lowest,) = [one.version for one in asked.specifier if one.operator == ">="]
    return Version(lowest)


def test_what_is_allowed_was_proven():
    """On the oldest Python the floor itself; on others nothing below it."""
    with (ROOT / "tests" / "floors" / "proven.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    oldest = re.search(r">=(3\.\d+)", PROJECT["requires-python"])[1]
    proven = {
        (row["python"], canonicalize_name(row["package"])): Version(row["version"]) for row in rows
    }
    pythons = {python for python, _ in proven}
    assert oldest in pythons
    for asked in ASKED:
        name = canonicalize_name(asked.name)
        # Of a version such as 1.9.3 a packager may number his own parts (1.9.3.0).
        lowest = proven[(oldest, name)]
        assert lowest.release[: len(floor(asked).release)] == floor(asked).release, name
        assert all(proven[(python, name)] >= floor(asked) for python in pythons)


def test_what_is_installed_here_is_allowed():
    assert [
        one.name for one in ASKED if not one.specifier.contains(version(one.name), prereleases=True)
    ] == []


def test_all_that_is_imported_is_a_dependency():
    """And nothing is a dependency that is not imported, but for what is named here."""
    imported = set()
    for path in (ROOT / "patchnet").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {one.name.partition(".")[0] for one in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                imported.add(str(node.module).partition(".")[0])
    own = {"patchnet", *sys.stdlib_module_names}
    whose = packages_distributions()
    needed = {canonicalize_name(whose[name][0]) for name in imported - own if name in whose}
    asked = {canonicalize_name(one.name) for one in ASKED}
    come_with = {"affine", "llvmlite", "branca"}  # of rasterio, numba and folium
    # The cluster's library is an extra whose floor is stated, not proven.
    extra = {canonicalize_name(one.name) for one in CLUSTER}
    assert needed - asked - extra - come_with == set()
    # Read by pandas and geopandas, or as files.
    assert asked - needed <= {"pyarrow", "xstatic-leaflet", "tqdm", "openpyxl"}
