"""Whether all is met by simply splitting: bunch by bunch, against a product over all pairs.

Run: python tests/benchmarks/filling_benchmark.py [--plots N]

A neighbourhood of terraces (see map_benchmark), all usual animals, straight lines. The peer is what
a competent user would write: the reach as a matrix, dense where that is quicker, else sparse. Both
ways are taken at every question of one assessment, one after the other, and the answer is worked
out once with each of them. Prints seconds of processor, the ratio, and how many figures of the two
answers differ (it must be none).
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np
from map_benchmark import write_terraces

from patchnet import load_knowledge, read_neighbourhood
from patchnet.assess import assess
from patchnet.assess.filling import _Shelf

BUNCHES = _Shelf.split


class OverPairs:
    """Who reaches whom, and sums taken over all pairs."""

    def __init__(self, ways):
        self.matrix = ways.matrix

    def times(self, values):
        return np.asarray(self.matrix @ values)

    def transposed_times(self, values):
        return np.asarray(self.matrix.T @ values)


class Peer:
    """A shelf of it."""

    def __init__(self, shelf):
        self.ways, self.times, self.supply = OverPairs(shelf.ways), shelf.times, shelf.supply
        self.worst = shelf.worst


def answered(hood, knowledge, which, spent):
    """The answer by one of the two ways; both are timed at every question."""

    def split(shelf, room, share):
        said = []
        for at, asked in enumerate((Peer(shelf), shelf)):
            start = time.thread_time()
            said.append(BUNCHES(asked, room, share))
            spent[at] += time.thread_time() - start
        spent[2] += 1
        return said[which]

    _Shelf.split = split
    try:
        return assess(hood, knowledge=knowledge, straight=True)
    finally:
        _Shelf.split = BUNCHES


def different(one, other):
    """How many figures of two answers differ, to the last bit."""
    count = 0
    for key, group in one.groups.items():
        beside = other.groups[key]
        for name in ("room", "quality", "homes", "homes_low", "homes_high", "scarcest"):
            count += int((getattr(group, name) != getattr(beside, name)).sum())
        count += int(group.measures.eca != beside.measures.eca)
        for sheet, same in zip(group.needs, beside.needs, strict=True):
            count += int((sheet.met != same.met).sum())
        for stop, same in zip(group.shortage, beside.shortage, strict=True):
            count += (stop is None) != (same is None) or (
                stop is not None and (stop.need, stop.met, stop.sharers, stop.suppliers)
                != (same.need, same.met, same.sharers, same.suppliers)
            )  # fmt: skip
    return count


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=1000)
    asked = words.parse_args()
    knowledge = load_knowledge()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "terraces.gpkg"
        write_terraces(asked.plots, file, walled=False)
        hood = read_neighbourhood(file, knowledge=knowledge)
    spent = [0.0, 0.0, 0]
    pairs, bunches = (answered(hood, knowledge, which, spent) for which in (0, 1))
    print(f"plots                         {asked.plots:>10,}")
    print(f"questions                     {spent[2]:>10,}")
    print(f"over all pairs                {spent[0]:>10.2f} s")
    print(f"bunch by bunch                {spent[1]:>10.2f} s")
    print(f"ratio                         {spent[0] / spent[1]:>10.1f}")
    print(f"figures that differ           {different(pairs, bunches):>10,}")


if __name__ == "__main__":
    main()
