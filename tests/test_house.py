"""How the house stands: order of the rooms, style, types, public surface, one test command."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import patchnet

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "patchnet"
ROOMS = (
    "core",
    "knowledge",
    "read",
    "demo",
    "survey",
    "sun",
    "street",
    "movement",
    "base",
    "network",
    "assess",
    "plan",
    "scheme",
    "city",
    "pages",
    "commands",
    "locale",
)
HALL = {"core"}
MODULES = sorted(PACKAGE.rglob("*.py"))


def imported_rooms(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = [node.module]
        for name in names:
            parts = name.split(".")
            if parts[0] == "patchnet" and len(parts) > 1:
                yield parts[1]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_rooms_import_only_from_rooms_before_them(path):
    place = path.relative_to(PACKAGE).parts
    if len(place) == 1:
        if place[0] not in {"__init__.py", "__main__.py"}:
            assert set(imported_rooms(path)) <= HALL
        return
    before = set(ROOMS[: ROOMS.index(place[0]) + 1]) | HALL
    assert set(imported_rooms(path)) <= before


def test_lint():
    run = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "patchnet", "tests"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout


def test_format():
    run = subprocess.run(
        [sys.executable, "-m", "ruff", "format", "--check", "patchnet", "tests"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout


def test_types():
    run = subprocess.run(
        [sys.executable, "-m", "mypy", f"--cache-dir={os.devnull}"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout


def test_public_surface():
    """Everything promised is there, and nothing else is public by accident."""
    for name in patchnet.__all__:
        assert getattr(patchnet, name).__doc__
    assert sorted(patchnet.__all__) == patchnet.__all__


def test_typed():
    assert (PACKAGE / "py.typed").exists()


def test_importing_changes_nothing_global():
    code = (
        "import warnings, sys; before = list(warnings.filters); import patchnet; "
        "assert 'numba' not in sys.modules, 'numba imported'; "
        "import numpy; assert numpy.geterr()['divide'] == 'warn'"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr


def test_one_test_command():
    """The README's test command and the one that continuous integration runs are the same."""
    line = next(
        line for line in (ROOT / "README.md").read_text().splitlines() if "-m pytest" in line
    )
    assert line in (ROOT / ".ci" / "run").read_text().splitlines()


def test_nothing_left_open():
    word = re.compile(r"\b(TODO|FIXME|XXX)\b|NotImplementedError|no cover")
    open_places = [str(path) for path in MODULES if word.search(path.read_text(encoding="utf-8"))]
    assert open_places == []


def test_top_level_is_the_agreed_one():
    run = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if run.returncode:
        pytest.fail("not a git checkout")
    top = {line.split("/")[0] for line in run.stdout.splitlines()}
    fixed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "patchnet",
        "data_demo",
        "notebooks",
        "tests",
    }
    assert {name for name in top if not name.startswith(".")} <= fixed
