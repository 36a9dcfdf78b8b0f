"""How long patchnet takes to start, as ratios to importing pandas, geopandas and scipy.

    python tests/benchmarks/import_benchmark.py [ROUNDS]

The peer is what anybody who works with such data imports anyway. All commands are run one after
the other, again and again, so that other work on the machine falls on all alike; each is run once
before, so that bytecode is there. Processor time of the child and its wall time, least and median.
"""

import os
import statistics
import subprocess
import sys
import time

PEER = "pandas + geopandas + scipy"
COMMANDS = {
    PEER: ["-c", "import pandas, geopandas, scipy"],
    "patchnet --help": ["-m", "patchnet", "--help"],
    "import patchnet": ["-c", "import patchnet"],
    "the names read_neighbourhood and assess": [
        "-c", "import patchnet; patchnet.read_neighbourhood, patchnet.assess",
    ],
    "patchnet plot --help": ["-m", "patchnet", "plot", "--help"],
    "patchnet map --help": ["-m", "patchnet", "map", "--help"],
}  # fmt: skip


def timed(arguments: list[str]) -> tuple[float, float]:
    """Wall time and processor time of one run, seconds."""
    before, began = os.times(), time.perf_counter()
    subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True)
    after, ended = os.times(), time.perf_counter()
    cpu = after.children_user + after.children_system
    cpu -= before.children_user + before.children_system
    return ended - began, cpu


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 11
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in COMMANDS}
    for arguments in COMMANDS.values():
        timed(arguments)
    for _ in range(rounds):
        for name, arguments in COMMANDS.items():
            taken[name].append(timed(arguments))
    print(f"{rounds} rounds: processor time (s), least and median; ratio to {PEER}")
    peer = [cpu for _, cpu in taken[PEER]]
    for name, times in taken.items():
        cpu = [each for _, each in times]
        wall = min(each for each, _ in times)
        ratio = min(cpu) / min(peer)
        middle = statistics.median(cpu) / statistics.median(peer)
        seconds = f"{min(cpu):5.2f} {statistics.median(cpu):5.2f}"
        print(f"{name:42} {seconds}   x {ratio:4.2f} {middle:4.2f}   (wall, least {wall:.2f} s)")


if __name__ == "__main__":
    main()
