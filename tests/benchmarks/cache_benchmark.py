"""What a question costs the first time and again, as whole commands.

Run: python tests/benchmarks/cache_benchmark.py [--plots N]

Terraces with houses, roads and fences (see map_benchmark), all animals, over the ground, without
draws. Each line is one command in a process of its own, with the cache as the commands before left
it. As a general-purpose peer in the same run: a process that does no more than import pandas,
geopandas and scipy's sparse matrices and graphs, and one that besides reads the layer of plots.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from map_benchmark import write_terraces

IMPORTS = "import pandas, geopandas, scipy.sparse.csgraph"


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=1000)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file, home = Path(folder) / "terraces.gpkg", Path(folder) / "home"
        write_terraces(asked.plots, file, walled=True)
        here = {k: v for k, v in os.environ.items() if not k.startswith("PATCHNET_")}
        here["XDG_STATE_HOME"] = str(home)
        plot, other = f"P{asked.plots // 2:05d}", f"P{asked.plots // 3:05d}"

        def seconds(*command):
            start = time.perf_counter()
            subprocess.run(
                [sys.executable, *command], check=True, env=here, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )  # fmt: skip
            return time.perf_counter() - start

        def patchnet(name, *others):
            return seconds("-m", "patchnet", name, file, *others, "--draws", "0")

        read = f"{IMPORTS}; geopandas.read_file({str(file)!r}, layer='plots')"
        seconds("-c", read)  # the system has the files at hand
        peers = seconds("-c", IMPORTS), seconds("-c", read)
        told = {
            "plot, the first time": patchnet("plot", plot),
            "plot, again": patchnet("plot", plot),
            "plot, another plot": patchnet("plot", other),
            "advise, the first time (the street is kept)": patchnet("advise", plot),
            "advise, again": patchnet("advise", plot),
            "advise --all, again": patchnet("advise", plot, "--all"),
            "advise --card, again": patchnet("advise", plot, "--card", f"{folder}/card.html"),
            "advise, another plot": patchnet("advise", other),
            "advise --no-cache": patchnet("advise", plot, "--no-cache"),
        }
        kept = sum(one.stat().st_size for one in (Path(folder) / "terraces-cache").iterdir())
        print(f"plots                                        {asked.plots:>8,}")
        print(f"pandas + geopandas + scipy imported          {peers[0]:>8.2f} s")
        print(f"and the layer of plots read                  {peers[1]:>8.2f} s")
        for name, spent in told.items():
            print(f"{name:<44} {spent:>8.2f} s   x {spent / peers[0]:.1f} of the imports")
        print(f"what is kept                                 {kept / 1e6:>8.1f} MB")


if __name__ == "__main__":
    main()
