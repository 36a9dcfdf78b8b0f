"""Whether the search for a street's plan finds the best: every plan of small streets tried.

Run: python tests/calibration/street_brute.py [--streets 100] [--seed 0]

Three to five gardens in a row, three or four things, two at most on each, two animals drawn by lot.
Asked for: equal on at least 98 of 100.
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from worlds.small_streets import THINGS, few_things, in_one_draw, most_of_all, small_street

from patchnet.plan.street_rules import StreetRules
from patchnet.plan.street_search import StreetSearch

ANIMALS = ("newt", "wren", "bumblebee", "frog", "mason_bee")
SIZES = ((3, 4), (4, 3), (5, 2))  # plots and things: some hundred to some thousand plans
ALIKE = 1e-9


def one_street(seed):
    """The best worth of all plans, what the search found, and the own best sets together."""
    luck = np.random.default_rng(seed)
    plots, count = SIZES[seed % len(SIZES)]
    groups = luck.choice(ANIMALS, 2, replace=False)
    answer = small_street(seed, plots=plots, groups=groups)
    things = luck.choice(THINGS, count, replace=False)
    sets = few_things(answer, things=things, size=2)
    with in_one_draw(answer) as drawn:
        found = StreetSearch(drawn, sets, StreetRules(tuple(sets))).search()
    return most_of_all(answer, sets), float(found.worth[0]), float(found.own_worth[0])


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--streets", type=int, default=100)
    asked.add_argument("--seed", type=int, default=0)
    given = asked.parse_args()
    equal = below = 0
    for seed in range(given.seed, given.seed + given.streets):
        best, found, own = one_street(seed)
        equal += found >= best - ALIKE
        below += found < own - ALIKE
        if found < best - ALIKE:
            print(f"street {seed}: found {found:.6f}, best {best:.6f}", flush=True)
    print(f"equal on {equal} of {given.streets}; below the own sets on {below}")


if __name__ == "__main__":
    main()
