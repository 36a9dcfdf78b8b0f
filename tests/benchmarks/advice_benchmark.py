"""Judging additions by what they touch, against assessing the neighbourhood again for each.

Run: python tests/benchmarks/advice_benchmark.py [--plots N] [--apart]

A neighbourhood of terraces (see map_benchmark), everything known, all wildlife groups, straight
lines. Plots that touch are the kinder case for the peers: routes between them come for nothing.
`--apart` leaves half a metre between them. In one run:

- one plot: all sets of up to three of 25 features, all groups;
- all plots: 25 single features on each. Every tenth plot is timed, and the time for all of them
  is ten times that;
- the peers, a few candidates of the same: `assess` again from the changed answers, and only
  sharing and network again (neither distances, balance sheets nor breaks).

Prints seconds a trial (a candidate, all groups), the ratios, and by how much the linked homes
of any group differ between the routes at most.
"""

import argparse
import dataclasses
import itertools
import tempfile
import time
from pathlib import Path

import numpy as np
import pyogrio
from map_benchmark import terraces

from patchnet import load_knowledge, read_neighbourhood
from patchnet.assess import assess
from patchnet.assess.unknown import draw_in_unknown
from patchnet.assess.what_if import Trials

CANDIDATES = 25
AGAIN = 6  # candidates for which everything is done again
EVERY = 10  # of so many plots one is timed


def read_terraces(plots, knowledge, *, apart):
    """The neighbourhood with every unknown answer filled in as it would be drawn in."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "terraces.gpkg"
        shapes = terraces(plots)
        if apart:
            shapes["geometry"] = shapes.geometry.buffer(-0.25, join_style="mitre")
        pyogrio.write_dataframe(shapes, file, layer="plots", driver="GPKG")
        place = read_neighbourhood(file, knowledge=knowledge)
    return with_amounts(place, draw_in_unknown(place, knowledge).expected)


def with_amounts(place, amount):
    return dataclasses.replace(place, answers=dataclasses.replace(place.answers, amount=amount))


def timed(work):
    start = time.perf_counter()
    result = work()
    return result, time.perf_counter() - start


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=500)
    words.add_argument("--apart", action="store_true")
    asked = words.parse_args()
    knowledge = load_knowledge()
    place = read_terraces(asked.plots, knowledge, apart=asked.apart)
    options = {"knowledge": knowledge, "straight": True}
    assessment, first_assess = timed(lambda: assess(place, **options))
    features = [key for key, one in knowledge.features.items() if one.addable][:CANDIDATES]
    singles = [{key: knowledge.features[key].typical.value} for key in features]
    sets = [
        {key: amount for one in chosen for key, amount in one.items()}
        for size in (1, 2, 3)
        for chosen in itertools.combinations(singles, size)
    ]
    plots = place.plots.index
    here = plots[len(plots) // 2]

    Trials(assessment).at(here).linked_homes(singles)  # compiled once, kept on disk
    trials = Trials(assessment)
    _, first = timed(lambda: trials.at(here).linked_homes(sets))
    judged, second = timed(lambda: trials.at(here).linked_homes(sets))
    _, one_tenth = timed(lambda: [trials.at(plot).linked_homes(singles) for plot in plots[::EVERY]])
    each = one_tenth / len(plots[::EVERY]) / len(singles)

    chosen = np.random.default_rng(5).choice(len(sets), AGAIN, replace=False).tolist()

    def again(number):
        amount = place.answers.amount.copy()
        for key, more in sets[number].items():
            amount[plots.get_loc(here), place.answers.features.index(key)] += more
        anew = assess(with_amounts(place, amount), **options)
        return [answer.measures.eca for answer in anew.groups.values()]

    anew, whole = timed(lambda: [again(number) for number in chosen])
    network, part = timed(lambda: [trials.full_linked_homes({here: sets[k]}) for k in chosen])
    whole, part = whole / AGAIN, part / AGAIN
    apart = max(np.abs(judged[chosen] / other - 1).max() for other in (anew, network))

    of_sets = second / len(sets)
    every = each * len(singles) * len(plots)
    print(f"plots, touching: {not asked.apart!s:<5}                      {len(plots):>10,}")
    print(f"groups                                      {len(trials.groups):>10,}")
    print(f"assess once                                 {first_assess:>10.2f} s")
    print(f"one plot, {len(sets):,} sets, nothing ready yet      {first:>10.2f} s")
    print(f"one plot, {len(sets):,} sets, asked again            {second:>10.2f} s")
    print(f"all plots, {len(singles)} features each (1 in {EVERY} timed)  {every:>10.1f} s")
    print(f"a trial: among the sets of one plot         {of_sets * 1e3:>10.2f} ms")
    print(f"a trial: single features on all plots       {each * 1e3:>10.2f} ms")
    print(f"assess again ({AGAIN} sampled)                    {whole * 1e3:>10.0f} ms")
    print(f"sharing and network again ({AGAIN} sampled)       {part * 1e3:>10.0f} ms")
    print(f"ratio, assess again : sets of one plot      {whole / of_sets:>10.0f}")
    print(f"ratio, assess again : all plots             {whole / each:>10.0f}")
    print(f"ratio, network again : sets of one plot     {part / of_sets:>10.0f}")
    print(f"ratio, network again : all plots            {part / each:>10.0f}")
    print(f"largest relative difference                 {apart:>10.1e}")


if __name__ == "__main__":
    main()
