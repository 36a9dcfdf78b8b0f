"""A city by tiles against the same map in one piece: processor time and memory.

Run: python tests/benchmarks/city_benchmark.py [--plots N] [--tile M] [--group KEY ...]
     [--importance]

The terraces of map_benchmark.py with houses, fences and roads. The peer is what somebody would do
who has the memory: patchnet's own `assess` of the whole file, in a process of its own, in the same
run. By tiles the halo of each is read and painted again: that is the price of not having all in
memory at once. Each animal is then answered on the whole, as it is in one piece. With --importance
both also work out what each plot is worth to the network, the peer as `export --importance` does
(which counts two things more, `traffic_` and `ways_`: they are left out for the peer too).
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

from map_benchmark import write_terraces

ENDING = """
import json, resource
own, others = (resource.getrusage(one) for one in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps({
    "cpu_s": own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime,
    "peak_mib": max(own.ru_maxrss, others.ru_maxrss) / 1024,
}))
"""
WHOLE = """
import sys, patchnet
from patchnet.network.importance import patch_importance
street = patchnet.read_neighbourhood(sys.argv[1])
answer = patchnet.assess(street, groups=sys.argv[5:] or None)
for one in answer.groups.values() if sys.argv[4] == "yes" else ():
    patch_importance(one.network, p_cut=answer.knowledge.setting("p_cut"))
"""
TILED = """
import sys, patchnet
if __name__ == "__main__":
    patchnet.assess_city(sys.argv[1], sys.argv[2], tile_m=int(sys.argv[3]), workers=1,
                         groups=sys.argv[5:] or None, importance=sys.argv[4] == "yes",
                         memory_gb=64)
"""


def measured(code, words):
    run = subprocess.run(
        [sys.executable, "-c", code + ENDING, *map(str, words)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return json.loads(run.stdout.splitlines()[-1])


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=2000)
    words.add_argument("--tile", type=int, default=400)
    words.add_argument("--group", action="append", default=[])
    words.add_argument("--importance", action="store_true")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "terraces.gpkg"
        write_terraces(asked.plots, file, walled=True)
        importance = "yes" if asked.importance else "no"
        given = (file, Path(folder) / "city", asked.tile, importance, *asked.group)
        whole, tiled = measured(WHOLE, given), measured(TILED, given)
    print(f"plots                        {asked.plots:>10,}")
    for name, one in (("in one piece", whole), ("by tiles", tiled)):
        print(f"{name:<28} {one['cpu_s']:>10.1f} s {one['peak_mib']:>10,.0f} MiB")
    print(f"ratio, tiles to one piece    {tiled['cpu_s'] / whole['cpu_s']:>10.2f}   "
          f"{tiled['peak_mib'] / whole['peak_mib']:>10.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
