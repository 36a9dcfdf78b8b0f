"""Sharing held against linear programmes, proportional fairness, its quick form and added supply.

Run: python tests/benchmarks/sharing_check.py [--cases 600]

Random neighbourhoods of up to 14 plots with one to three needs of any kind (tests/worlds/
sharing_cases.py; the tests run a fixed part of them). Printed:

- overdrawn: cases in which what is claimed cannot be fed from within reach, by HiGHS, to a
  hundred-millionth; and the worst share of it that can;
- proportional fairness (the most of the sum of homes x log(level)): a bound by HiGHS on how much
  larger that sum could be, as a share of all homes; where it is nought, both are the same levels;
- the quick form: totals and order against the exact answer;
- adding supply: the demo, every group, a fifth more of one need on one plot at a time: how often
  the group's homes fall, and how far; likewise added room.
"""

import argparse
import dataclasses
import sys
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

sys.path.insert(0, str(Path(__file__).parents[1]))

from worlds.sharing_cases import far_from_fair, most_alike, random_case

from patchnet import load_knowledge, read_neighbourhood
from patchnet.assess import assess
from patchnet.assess.filling import fill
from patchnet.assess.homes import demands_of
from patchnet.assess.portions import Stock, share_in_portions
from patchnet.assess.sharing import share_supplies

DEMO = Path(__file__).parents[2] / "data_demo"


def levels(room, needs, whole):
    return share_supplies(room[:, None], needs, whole=whole[:, None], sheets=False).quality[:, 0]


def quick(room, needs, whole):
    stocks = [
        Stock(one.reach, one.supply / one.amount, one.worst, one.floor, one.weight) for one in needs
    ]
    return share_in_portions(
        room[:, None], stocks, whole=whole[:, None], form="scarcest", lowest=0.01
    )[:, 0]


def fair(case):
    """How far filling alike is from proportional fairness: the best tangent, by HiGHS."""
    ceiling = np.min([one.larder(0).ceiling for one in case.needs], axis=0)
    held = fill(case.room, ceiling, [one.larder(0) for one in case.needs]).level
    if not (case.room * held).any():
        return None
    return far_from_fair(case.room, held, case.needs, ceiling)


def check_cases(count):
    overdrawn, worst, exact, rough = 0, 1.0, [], []
    apart = {1: [], 2: [], 3: []}
    for seed in range(count):
        case = random_case(seed)
        held = levels(case.room, case.needs, case.whole)
        fed = [most_alike(case.room, held, one) for one in case.needs if one.floor == 0]
        overdrawn += min(fed, default=1.0) < 1 - 1e-8
        worst = min(worst, *fed, 1.0)
        exact.append(float(case.room @ held))
        rough.append(float(case.room @ quick(case.room, case.needs, case.whole)))
        vital = random_case(10**6 + seed, floors=(0.0,))
        off = fair(vital)
        if off is not None:
            apart[len(vital.needs)].append(off)
    exact, rough = np.array(exact), np.array(rough)
    print(f"cases                                        {count:>8}")
    print(f"overdrawn                                    {overdrawn:>8}")
    print(f"least share that can be fed                  {worst:>12.9f}")
    for needs, bounds in apart.items():
        print(
            f"proportional fairness, {needs} need(s), {len(bounds)} cases: none is larger by "
            f"more than median {np.median(bounds):.1e}, worst {np.max(bounds):.1e}"
        )
    off = np.abs(rough[exact > 0] / exact[exact > 0] - 1)
    print(f"quick form, totals off: 95 % {np.quantile(off, 0.95):.4f}, worst {off.max():.4f}")
    print(f"quick form, order (Spearman)                 {spearmanr(exact, rough).statistic:>8.4f}")


def check_demo():
    knowledge = load_knowledge()
    answer = assess(read_neighbourhood(DEMO, knowledge=knowledge), knowledge=knowledge,
                    straight=True)  # fmt: skip
    rng = np.random.default_rng(3)
    changes = {"supply": [], "room": []}
    for one in answer.groups.values():
        demands = demands_of(one.group, knowledge, [answer.supply], one.reach)
        room = one.room.to_numpy()
        whole = np.minimum(1.0, one.room_within.to_numpy())
        before = float(room @ levels(room, demands, whole))
        for at in rng.choice(len(room), 6, replace=False):
            for kind, won in changes.items():
                more, needs = room.copy(), list(demands)
                if kind == "room":
                    more[at] += 1.0
                else:
                    need = int(rng.integers(len(demands)))
                    supply = demands[need].supply.copy()
                    supply[at] += demands[need].amount
                    needs[need] = dataclasses.replace(demands[need], supply=supply)
                anchor = one.reach.within(one.group.anchor_reach.value)
                after = float(more @ levels(more, needs, np.minimum(1.0, anchor @ more)))
                won.append((after - before) / max(before, 1e-9))
    for kind, won in changes.items():
        falls = np.array(won) < -1e-7
        print(
            f"a home's worth of {kind} added, {len(won)} trials: total falls in "
            f"{falls.mean():.1%}, worst {min(*won, 0):.2%}"
        )


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--cases", type=int, default=600)
    asked = words.parse_args()
    check_cases(asked.cases)
    check_demo()


if __name__ == "__main__":
    main()
