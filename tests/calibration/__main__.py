"""Hold the figures against what others have counted, and the advice against what others put first.

Run: python tests/calibration [--only densities|precedence] [--draws N] [PLACE ...]

Densities: homes on a hectare against densities.csv (published counts; its notes give the sources).
A density on the whole fabric is put on a hectare of plots by settings/plots_share. The ceiling
holds the upper end, so it is the lower end that tests the amounts, on places not used to fit.

Precedence: on each plot every single thing that fits is ranked; its mean place over all plots is
held against the tier that synopses, handbooks and trials give it (tiers.csv). On base maps every
garden has nearly the same, by the rule; so unless places are named these are left out here.
"""

import argparse
import csv
import sys
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

sys.path.insert(0, str(Path(__file__).parent))
from places import FITTED, PLACES, neighbourhood_of

import patchnet
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.what_if import Trials
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import amounts_at, common_currency
from patchnet.plan.space import space_of
from patchnet.plan.waiting import in_time

VARIED = ("demo", "terrace", "bubenec")  # places where plots differ
ROOM_M2 = 2.0  # ground from which on a plot counts as one with room for planting
MOST = 24  # plots looked at in each place
SMALL_PLACE_HA = 0.5


def tiers():
    with (Path(__file__).parent / "tiers.csv").open(encoding="utf-8") as file:
        return {row["feature"]: int(row["tier"]) for row in csv.DictReader(file)}


def assumed():
    """Features whose tier nobody published: they have no say in the agreement."""
    with (Path(__file__).parent / "tiers.csv").open(encoding="utf-8") as file:
        return {row["feature"] for row in csv.DictReader(file) if row["basis"] == "assumption"}


def densities(place, assessment, knowledge):
    """Rows: group, homes a hectare of plots, low, typical, high, words."""
    hectares = float(assessment.neighbourhood.plots["area_m2"].sum()) / 10_000
    rows = []
    for key, answer in assessment.groups.items():
        counted = knowledge.densities.get(key)
        if counted is None:
            continue
        scale = 1 / knowledge.setting("plots_share") if counted.base == "fabric" else 1.0
        low, usual, high = (
            scale * one for one in (counted.homes.low, counted.homes.value, counted.homes.high)
        )
        held = float(answer.homes.sum()) / hectares
        words = "below" if held < low else "above" if held > high else ""
        rows.append((place, key, held, low, usual, high, words))
    return hectares, rows


def fitting(assessment, plot):
    """Single things that fit a plot as (feature, change), and its free ground, m2."""
    knowledge, hood = assessment.knowledge, assessment.neighbourhood
    space = space_of(hood, plot, PlotFacts(), knowledge, amounts=amounts_at(assessment, plot))
    kind = str(hood.plots["kind"].loc[plot])
    offered, _ = candidates_for(knowledge, PlotFacts(), space, kind=kind)
    fits = [
        (one.feature, result[1])
        for one in offered
        if (result := fitted([one], space, knowledge, PlotFacts())) is not None
    ]
    return fits, space.ground_m2


def precedence(assessment, plots, draws):
    """Orders of single things on some plots, the best first, and whether each has room.

    By what each wins with the figures in use, or by its mean share of the best over draws.
    """
    asked = {plot: fitting(assessment, plot) for plot in plots}
    asked = {plot: one for plot, one in asked.items() if one[0]}
    changes = {plot: [change for _, change in fits] for plot, (fits, _) in asked.items()}
    if draws:
        shares = list(over_draws(shares_of, changes, draws_of(assessment, draws)))
    else:
        shares = [shares_of(changes, assessment)]
    found = []
    for plot, (fits, ground) in asked.items():
        order = np.argsort(-np.mean([one[plot] for one in shares], axis=0), kind="stable")
        found.append(([fits[at][0] for at in order.tolist()], ground >= ROOM_M2))
    return found


def shares_of(changes, assessment):
    """What each change wins of the best of its plot, by plot."""
    trials, currency = Trials(assessment, compiled=True), common_currency(assessment)
    found = {}
    for plot, each in changes.items():
        there = amounts_at(assessment, plot)
        possible = [
            {
                key: max(more, -there[key])
                for key, more in in_time(one, assessment.knowledge).items()
            }
            for one in each
        ]
        worth = currency.worth(trials.at(plot).ranked(possible))
        found[plot] = worth / max(worth.max(), 1e-12)
    return found


def table(rows):
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    for row in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)))


def tell_densities(found):
    print("\nHOMES A HECTARE OF PLOTS, AGAINST WHAT WAS COUNTED")
    rows = [("place", "animal", "homes", "low", "typical", "high", "")]
    outside = 0
    for place, (hectares, lines) in found.items():
        for _, key, held, low, usual, high, words in lines:
            small = hectares < SMALL_PLACE_HA and low * hectares < 1
            outside += bool(words) and not small
            note = f"{words}{' (small place)' if small and words else ''}"
            rows.append((place, key, *(f"{one:.3g}" for one in (held, low, usual, high)), note))
    table(rows)
    print(f"{outside} outside; fitted on: {', '.join(FITTED)}")
    return outside


def tell_precedence(found, tier):
    print("\nWHAT IS PUT FIRST, AGAINST THE TIERS OF SYNOPSES AND HANDBOOKS")
    rows = [("place", "plots", "with room", "first in tier 1-2", "feeder in 3", "agreement")]
    every = [one for orders in found.values() for one in orders]
    for place, orders in [*found.items(), ("all", every)]:
        firsts = [order[0] for order, room in orders if room]
        good = sum(tier[key] <= 2 for key in firsts)
        feeder = sum("bird_feeder" in order[:3] for order, _ in orders)
        share = f"{good} ({good / max(len(firsts), 1):.0%})"
        value = agreement(orders, tier)[0]
        rows.append((place, str(len(orders)), str(len(firsts)), share, str(feeder), f"{value:.2f}"))
    table(rows)
    value, places = agreement(every, tier)
    first = Counter(order[0] for order, _ in every)
    print("\nthing, tier, mean place (0 first, 1 last), times first")
    table(
        [
            (key, str(tier[key]), f"{place:.2f}", str(first[key] or ""))
            for key, place in sorted(places.items(), key=lambda one: one[1])
        ]
    )
    return value


def agreement(orders, tier):
    """Rank correlation of mean place with tier, over things offered on three plots or more."""
    places = {}
    for order, _ in orders:
        for at, key in enumerate(order):
            places.setdefault(key, []).append(at / max(len(order) - 1, 1))
    mean = {key: float(np.mean(each)) for key, each in places.items() if len(each) >= 3}
    told = [key for key in mean if key not in assumed()]
    if len(told) < 3:
        return float("nan"), mean
    value = spearmanr([mean[key] for key in told], [tier[key] for key in told]).statistic
    return float(value), mean


def main():
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("places", nargs="*", help=f"of {', '.join(PLACES)}; all where none is named")
    ask.add_argument("--only", choices=("densities", "precedence"))
    ask.add_argument("--draws", type=int, default=0, help="rank by the mean share over draws")
    said = ask.parse_args()
    knowledge, tier = patchnet.load_knowledge(), tiers()
    dense, orders = {}, {}
    for place in said.places or PLACES:
        hood = neighbourhood_of(place, knowledge)
        answer = patchnet.assess(hood, knowledge=knowledge, straight=True)
        dense[place] = densities(place, answer, knowledge)
        if said.only != "densities" and (said.places or place in VARIED):
            step = max(1, len(hood.plots) // MOST)
            orders[place] = precedence(answer, list(hood.plots.index)[::step], said.draws)
    if said.only != "precedence":
        tell_densities(dense)
    if orders:
        tell_precedence(orders, tier)


if __name__ == "__main__":
    main()
