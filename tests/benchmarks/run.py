"""Every benchmark, one after the other, into one JSON and one Markdown file.

Run: python tests/benchmarks/run.py [--only NAME ...] [--small] [-o FOLDER]

Each is a process of its own: its processor seconds and its peak memory are told by the system's own
accounts, its ratios by what it prints. The whole map command is run at four sizes, and how its cost
grows is fitted over them: the exponent k of plots ** k, with its standard error; and on a town of
16,000 plots, to tell what a pair of plots in reach of each other takes there. Which machine and
which versions it was stands on top. About an hour on two cores; `--small` takes minutes and says
less.
"""

import argparse
import json
import math
import os
import platform
import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path

import numpy as np
from map_benchmark import A_MILLION, PROCESSOR

HERE = Path(__file__).parent
LIBRARIES = ("numpy", "scipy", "numba", "pandas", "geopandas", "shapely", "networkx", "rasterio")
# What is run, and how it is made small.
SCRIPTS = {
    "import": ("import_benchmark.py", (), ()),
    "network": ("network_benchmark.py", (), ("--plots", "2000")),
    "ground": ("ground_benchmark.py", (), ("--small",)),
    "sharing": ("sharing_check.py", (), ("--cases", "50")),
    "city": ("city_benchmark.py", (), ("--plots", "200", "--group", "wren")),
    "workers": ("workers_benchmark.py", (), ("--plots", "200", "--workers", "2")),
    "reach": ("reach_benchmark.py", (), ("--plots", "1000", "--reach", "150")),
    "filling": ("filling_benchmark.py", (), ("--plots", "120")),
    "flow": ("flow_benchmark.py", (), ("--plots", "120")),
    "sun": ("sun_benchmark.py", (), ("--plots", "100")),
    "base": ("base_benchmark.py", (), ("--houses", "500", "--towns", "20")),
    "merge": ("merge_benchmark.py", (), ()),
    "survey": ("survey_benchmark.py", (), ("--plots", "100", "--pack", "100")),
    "cache": ("cache_benchmark.py", (), ("--plots", "60")),
    "advice": ("advice_benchmark.py", (), ("--plots", "100")),
    "scheme": (
        "scheme_benchmark.py",
        (),
        ("--plots", "200", "--sites", "60", "--planters", "5", "--cases", "10"),
    ),
    "page": ("page_benchmark.py", (), ("--plots", "100")),
}
MAP = "map_benchmark.py"
SIZES = (500, 1000, 2000, 4000)
TOWN = ("--plots", "16000", "--once", "--longest-m", "150")  # an overview, in tiles
SMALL_SIZES = (60, 120, 240)
_KB = 1024.0  # the system counts peak memory in these


def measured(script, arguments):
    """Run one script: what it printed, and what it cost."""
    start = time.perf_counter()
    with tempfile.TemporaryFile() as printed:
        one = subprocess.Popen(
            [sys.executable, str(HERE / script), *arguments], stdout=printed, stderr=sys.stderr
        )
        _, status, usage = os.wait4(one.pid, 0)
        one.returncode = os.waitstatus_to_exitcode(status)
        printed.seek(0)
        words = printed.read().decode("utf-8")
    if one.returncode:
        raise SystemExit(f"{script} ended with {one.returncode}:\n{words}")
    return {
        "script": script,
        "arguments": list(arguments),
        "wall_s": round(time.perf_counter() - start, 2),
        "processor_s": round(usage.ru_utime + usage.ru_stime, 2),
        "peak_mb": round(usage.ru_maxrss / _KB, 1),
        "printed": words.rstrip().splitlines(),
    }


def seconds_told(one, line):
    """The seconds on a line that a script printed: its own, without its peers'."""
    (found,) = (words for words in one["printed"] if words.startswith(line))
    return float(found.removeprefix(line).removesuffix(" s"))


def growth(sizes, costs):
    """Fit cost = c * size ** k: k, and its standard error, infinite with fewer than three sizes."""
    x, y = np.log(sizes), np.log(costs)
    slope, start = np.polyfit(x, y, 1)
    spare = len(sizes) - 2
    if spare < 1:
        return float(slope), math.inf
    left = y - (slope * x + start)
    spread = float(((x - x.mean()) ** 2).sum())
    return float(slope), math.sqrt(float((left**2).sum()) / spare / spread)


def machine():
    """What it was run on."""
    return {
        "machine": platform.machine(),
        "cores": os.cpu_count(),
        "system": platform.system(),
        "python": platform.python_version(),
        **{name: version(name) for name in ("patchnet", *LIBRARIES)},
    }


def as_markdown(about, results, grown):
    """The same as one page to read."""
    lines = ["# Benchmarks", "", ", ".join(f"{name} {value}" for name, value in about.items()), ""]
    for name, one in results.items():
        called = " ".join((one["script"], *one["arguments"]))
        cost = f"{one['processor_s']:g} s of processor, {one['peak_mb']:g} MB at most"
        lines += [f"## {name}", "", f"`{called}`: {cost}", "", "```", *one["printed"], "```", ""]
    if grown:
        sizes = ", ".join(f"{size:,}: {cost:g} s" for size, cost in grown["cost"].items())
        power = f"{grown['power']:.2f} (standard error {grown['error']:.2f})"
        words = f"Processor seconds at so many plots: {sizes}. Plots to the power of {power}."
        pairs = ", ".join(f"{size:,}: {cost:g} s" for size, cost in grown["a_million"].items())
        words += f" A million pairs of plots in reach of each other: {pairs}."
        lines += ["## How the map command grows", "", words, ""]
    return "\n".join(lines)


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--only", nargs="+", choices=[*SCRIPTS, "map"], metavar="NAME")
    words.add_argument("--small", action="store_true")
    words.add_argument("-o", "--output", type=Path, default=Path())
    asked = words.parse_args()
    chosen = asked.only or [*SCRIPTS, "map"]
    results, grown = {}, {}
    for name in chosen:
        if name != "map":
            script, whole, small = SCRIPTS[name]
            results[name] = measured(script, small if asked.small else whole)
            continue
        costs, a_million = {}, {}
        for size in SMALL_SIZES if asked.small else SIZES:
            one = measured(MAP, ("--plots", str(size)))
            results[f"map, {size} plots"], costs[size] = one, seconds_told(one, PROCESSOR)
            a_million[size] = seconds_told(one, A_MILLION)
        if not asked.small:
            one = results["map, a town"] = measured(MAP, TOWN)
            a_million[int(TOWN[1])] = seconds_told(one, A_MILLION)
        power, error = growth(list(costs), list(costs.values()))
        grown = {"cost": costs, "power": power, "error": error, "a_million": a_million}
    about = machine()
    told = {"about": about, "results": results, "growth": grown}
    asked.output.mkdir(parents=True, exist_ok=True)
    (asked.output / "benchmarks.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    (asked.output / "benchmarks.md").write_text(as_markdown(about, results, grown), "utf-8")


if __name__ == "__main__":
    main()
