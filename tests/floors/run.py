"""Prove the floors of pyproject.toml, and the built wheel, by one command.

    python tests/floors/run.py                         every Python that can be had, lowest versions
    python tests/floors/run.py --python 3.13 --newest  the newest versions
    python tests/floors/run.py --keep                  also write what was proven to proven.csv

For each Python: the lowest versions that `pyproject.toml` allows are resolved (`uv pip compile
--resolution lowest-direct`; uv comes from PyPI into a venv of its own if it is not installed), the
wheel is built and installed with them into a fresh venv, what was installed is printed, and
`smoke.py` does a little of everything with it. There the source tree is away; where the system
allows it (`unshare`, Linux) the venv and HOME are mounted read-only and there is no network;
elsewhere a connection raises an error.

`tests/test_floors.py` compares `proven.csv` with `pyproject.toml` at each test run.
"""

import argparse
import csv
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
PROVEN = HERE / "proven.csv"
ASK = """
import json, sys
from importlib.metadata import version
print(json.dumps({name: version(name) for name in sys.argv[1:]}))
"""
# The venv and HOME read-only, nothing mounted outside, no network.
ALONE = """
set -e
mount --bind "$VENV" "$VENV"; mount -o remount,ro,bind "$VENV"
mount --bind "$HOME" "$HOME"; mount -o remount,ro,bind "$HOME"
exec "$VENV/bin/python" -I "$SMOKE"
"""


def direct():
    """Return the dependencies that pyproject.toml names, and those of the extra for parquet."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["parquet"]]
    return [re.match(r"[A-Za-z0-9_.-]+", one)[0] for one in asked]


def found_python(version):
    """Return the path of a Python of this version, or None."""
    there = shutil.which(f"python{version}")
    at_home = sorted(Path.home().glob(f".pyenv/versions/{version}.*/bin/python"))
    for path in (*map(str, at_home), there):
        if path:
            asked = subprocess.run([path, "-V"], capture_output=True, text=True, check=False)
            if f"Python {version}." in asked.stdout:
                return path
    return None


def run(*words, **options):
    """Run a command; its failure ends the run."""
    return subprocess.run(list(map(str, words)), check=True, **options)


def uv_in(folder):
    """Return the path of uv, installed into a venv of its own if need be."""
    there = shutil.which("uv")
    if there:
        return there
    run(sys.executable, "-m", "venv", folder / "uv")
    run(folder / "uv" / "bin" / "pip", "install", "-q", "uv")
    return folder / "uv" / "bin" / "uv"


def prove(version, python, uv, folder, *, newest):
    """Install and try one set of versions; return them and whether all went well."""
    pins, venv = folder / f"pins-{version}.txt", folder / f"venv-{version}"
    run(
        uv, "pip", "compile", "-q", "--resolution", "highest" if newest else "lowest-direct",
        "--python", python, "--only-binary", ":all:", "--no-binary", "xstatic-leaflet", "--extra",
        "parquet", "--no-annotate", "--no-header", "-o", pins, ROOT / "pyproject.toml",
    )  # fmt: skip
    run(uv, "venv", "-q", "--python", python, venv)
    (wheel,) = folder.glob("*.whl")
    run(uv, "pip", "install", "-q", "--python", venv / "bin" / "python", "-r", pins)
    run(uv, "pip", "install", "-q", "--no-deps", "--python", venv / "bin" / "python", wheel)
    said = run(
        venv / "bin" / "python", "-I", "-c", ASK, *direct(), capture_output=True, text=True
    ).stdout
    installed = json.loads(said)
    print(f"Python {version} ({python}), {'newest' if newest else 'lowest'} versions:")
    print(", ".join(f"{name} {number}" for name, number in installed.items()), flush=True)
    # Compiled before the venv is closed to writing, as an installer does.
    run(venv / "bin" / "python", "-I", "-m", "compileall", "-q", venv, stdout=subprocess.DEVNULL)
    place, home = folder / f"work-{version}", folder / f"home-{version}"
    place.mkdir()
    home.mkdir()
    shutil.copy(HERE / "smoke.py", place)
    around = {
        "PATH": os.environ["PATH"], "HOME": str(home), "VENV": str(venv), "TMPDIR": str(place),
        "SMOKE": str(place / "smoke.py"), "LC_ALL": "C.UTF-8", "PATCHNET_DRAWS": "10",
    }  # fmt: skip
    alone = ["unshare", "-rnm"]
    can = shutil.which("unshare") and not subprocess.run([*alone, "true"], check=False).returncode
    words = [*alone, "sh", "-c", ALONE] if can else [venv / "bin" / "python", "-I", "smoke.py"]
    if not can:
        print("'unshare' is not allowed here: HOME and the venv can be written to.")
    done = subprocess.run(list(map(str, words)), cwd=place, env=around, check=False)
    return installed, done.returncode == 0


def main():
    """Prove what is asked for and print which Pythons were run."""
    parser = argparse.ArgumentParser(description="Prove the floors of pyproject.toml.")
    parser.add_argument("--python", nargs="+", default=PYTHONS)
    parser.add_argument("--newest", action="store_true")
    parser.add_argument("--keep", action="store_true")
    asked = parser.parse_args()
    ended, rows = {}, []
    with tempfile.TemporaryDirectory() as there:
        folder = Path(there)
        uv = uv_in(folder)
        source = folder / "source"
        shutil.copytree(
            ROOT, source,
            ignore=shutil.ignore_patterns(
                ".venv", ".git", "tests", "notebooks", "build", "*.egg-info"
            ),
        )  # fmt: skip
        run(uv, "build", "-q", "--wheel", "-o", folder, source)
        shutil.rmtree(source)
        for version in asked.python:
            python = found_python(version)
            if python is None:
                ended[version] = "not found"
                continue
            installed, well = prove(version, python, uv, folder, newest=asked.newest)
            ended[version] = "well" if well else "WRONG"
            rows += [(version, name, number) for name, number in sorted(installed.items()) if well]
    print(", ".join(f"Python {version}: {how}" for version, how in ended.items()))
    if asked.keep and "WRONG" not in ended.values() and not asked.newest:
        with PROVEN.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(
                [("python", "package", "version"), *rows]
            )
    sys.exit("WRONG" in ended.values())


if __name__ == "__main__":
    main()
