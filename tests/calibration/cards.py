"""What the cards of a whole place come to: words, things without a place, variety of planting.

Run: python tests/calibration/cards.py [--place demo] [--every 1] [--words 300]

Every plot's plan with the figures in use: how many words the plan on screen has (asked for: at most
300), how often each thing is proposed, which proposed things lack at their place what they want,
and how alike neighbours' planting is (kinds shared with the nearest plot that plants, and the kind
that most plots are told; asked for: none in more than a third of the plots, but for those that are
meant to be a thread).
"""

import argparse
import dataclasses
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parent))
from places import PLACES, neighbourhood_of

import patchnet
from patchnet.knowledge import load_knowledge
from patchnet.pages.terminal.short_plan import short_plan
from patchnet.plan.plan_plot import Adviser
from patchnet.sun.at_plot import plot_sun

_MONTH = 10


def plans_of(place, knowledge, every):
    """Each plot's plan with its places."""
    hood = neighbourhood_of(place, knowledge)
    adviser = Adviser(patchnet.assess(hood, straight=True))
    for plot in list(map(str, hood.plots.index))[::every]:
        light = plot_sun(hood, plot, knowledge=knowledge).cls
        plan = adviser.plan(plot, month=_MONTH, light=light)
        yield dataclasses.replace(plan, places=adviser.places(plan))


def alike(plans):
    """Share of the kinds of each plot that its nearest planted neighbour has too."""
    planted = {one.plot: {line.plant for line in one.planting.lines} for one in plans}
    planted = {plot: kinds for plot, kinds in planted.items() if kinds}
    shapes = plans[0].assessment.neighbourhood.plots.geometry
    found = []
    for plot, kinds in planted.items():
        others = [other for other in planted if other != plot]
        if others:
            away = shapely.distance(shapes[plot], shapes[others].to_numpy())
            found.append(len(kinds & planted[others[int(np.argmin(away))]]) / len(kinds))
    return planted, found


def main():
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("--place", choices=PLACES, default="demo")
    asked.add_argument("--every", type=int, default=1, help="only every so many plots")
    asked.add_argument("--words", type=int, default=300)
    given = asked.parse_args()
    knowledge = load_knowledge()
    plans, words, things, lacking, nowhere = [], {}, Counter(), Counter(), Counter()
    for plan in plans_of(given.place, knowledge, given.every):
        plans.append(plan)
        words[plan.plot] = len(short_plan(plan, knowledge).split())
        for one in plan.places.placed:
            things[one.thing] += 1
            lacking.update(f"{one.thing}: {lack}" for lack in one.lacks)
            nowhere[one.thing] += one.geometry is None
    over = {plot: count for plot, count in words.items() if count > given.words}
    print(f"{len(plans)} plots; words: median {np.median([*words.values()]):.0f}, ", end="")
    print(f"most {max(words.values())} ({max(words, key=words.get)}); over: {over}")
    print("proposed:", ", ".join(f"{key} {n}" for key, n in things.most_common()))
    print("lacking at its place:", ", ".join(f"{key} {n}" for key, n in lacking.most_common()))
    print("no place on the map:", ", ".join(f"{k} {n}" for k, n in nowhere.most_common() if n))
    planted, shared = alike(plans)
    kinds = Counter(kind for each in planted.values() for kind in each)
    thread = knowledge.plant_lists.get("thread", {})
    top = [f"{kind} {n}{' (thread)' * (kind in thread)}" for kind, n in kinds.most_common(6)]
    print(
        f"{len(planted)} plots plant {len(kinds)} kinds; shared with the nearest that plants: "
        f"median {np.median(shared):.0%}, most {max(shared):.0%}; of most plots: {', '.join(top)}"
    )


if __name__ == "__main__":
    main()
