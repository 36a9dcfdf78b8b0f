"""Sharing held against linear programmes, proportional fairness, its quick form and added supply.

Run: python tests/benchmarks/sharing_check.py [--cases 600]

Random neighbourhoods of up to 14 plots with one to three needs of any kind (tests/worlds/
sharing_cases.py; the tests run a fixed part of them). Printed:

- overdrawn: cases in which what is claimed cannot be fed from within reach, by HiGHS, to a
  hundred-millionth; and the worst share of it that can;
- proportional fairness: levels that maximise the sum of homes x log(level), by scipy's SLSQP over
  the flows of cases of up to six plots: how far the totals lie apart;
- the quick form: totals and order against the exact answer;
- adding supply: the demo, every group, a fifth more of one need on one plot at a time: how often
  the group's homes fall, and how far; likewise added room.
"""

import argparse
import dataclasses
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.stats import spearmanr

sys.path.insert(0, str(Path(__file__).parents[1]))

from worlds.sharing_cases import flows_of, most_alike, random_case

from patchnet import load_knowledge, read_neighbourhood
from patchnet.assess import assess
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


def proportional(room, needs):
    """Total homes under proportional fairness; None where the solver gives up."""
    there = np.flatnonzero(room > 0)
    ceiling = np.min([one.larder(0).ceiling for one in needs], axis=0)
    there = there[ceiling[there] > 0]
    if not len(there):
        return 0.0
    parts, count = [], 0
    for one in needs:
        by_month, limits, months = flows_of(room, one)
        parts.append((by_month, limits, months, one, slice(count, count + by_month.shape[1])))
        count += by_month.shape[1]
    n = len(room)
    rules = []
    for by_month, limits, months, one, span in parts:
        given, most = limits[0]
        rules.append((span, -given.toarray(), most, None))
        if one.worst:
            rules += [
                (span, by_month[m * n : (m + 1) * n].toarray(), np.zeros(n), 1.0)
                for m in range(months)
            ]
        else:
            total = sum(by_month[m * n : (m + 1) * n] for m in range(months)).toarray()
            rules.append((span, total, np.zeros(n), float(months)))
            rules.append((span, -by_month.toarray(), np.tile(room, months), None))
    grow = np.zeros((n, len(there)))
    grow[there, np.arange(len(there))] = room[there]
    rows, right = [], []
    for span, matrix, limit, wants in rules:
        full = np.zeros((len(matrix), len(there) + count))
        full[:, len(there) + span.start : len(there) + span.stop] = matrix
        if wants is not None:
            full[:, : len(there)] = -wants * grow
        rows.append(full)
        right.append(limit)
    table, limit = np.vstack(rows), np.concatenate(right)
    start = np.r_[np.full(len(there), 1e-3), np.full(count, 1e-3)]
    weight = room[there]
    found = minimize(
        lambda v: -float(weight @ np.log(v[: len(there)])), start,
        jac=lambda v: np.r_[-weight / v[: len(there)], np.zeros(count)],
        bounds=[(1e-9, ceiling[at]) for at in there] + [(0, None)] * count,
        constraints={"type": "ineq", "fun": lambda v: table @ v + limit, "jac": lambda _: table},
        method="SLSQP", options={"maxiter": 400, "ftol": 1e-12},
    )  # fmt: skip
    return float(weight @ found.x[: len(there)]) if found.success else None


def check_cases(count):
    overdrawn, worst, exact, rough = 0, 1.0, [], []
    fair = []
    for seed in range(count):
        case = random_case(seed)
        held = levels(case.room, case.needs, case.whole)
        fed = [most_alike(case.room, held, one) for one in case.needs if one.floor == 0]
        overdrawn += min(fed, default=1.0) < 1 - 1e-8
        worst = min(worst, *fed, 1.0)
        exact.append(float(case.room @ held))
        rough.append(float(case.room @ quick(case.room, case.needs, case.whole)))
        small = random_case(10**6 + seed, most=6, floors=(0.0,))
        if seed < count // 4:
            total = proportional(small.room, small.needs)
            ours = float(small.room @ levels(small.room, small.needs, np.ones(len(small.room))))
            if total and ours:
                fair.append((len(small.needs), abs(total / ours - 1)))
    exact, rough = np.array(exact), np.array(rough)
    print(f"cases                                        {count:>8}")
    print(f"overdrawn                                    {overdrawn:>8}")
    print(f"least share that can be fed                  {worst:>12.9f}")
    for needs in (1, 2, 3):
        apart = np.array([far for number, far in fair if number == needs])
        if len(apart):
            print(
                f"proportional fairness, {needs} need(s), {len(apart)} cases: totals apart "
                f"median {np.median(apart):.1e}, 95 % {np.quantile(apart, 0.95):.1e}, "
                f"worst {apart.max():.1e}"
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
