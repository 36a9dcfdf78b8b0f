"""Choosing planters along a street: the project's evaluator against scipy's shortest paths.

Run: python tests/benchmarks/scheme_benchmark.py [--plots N] [--sites N] [--planters K] [--cases N]

Terraces of 6 x 20 m plots (see map_benchmark) a metre apart, two thirds of them without a flower,
on both sides of one street; candidate sites along both kerbs; three groups. In one run:

- a plain greedy run by `greedy_scheme`: every candidate judged in every round, homes and routes;
- its peer: for every candidate in each round scipy's `dijkstra` again from every patch over the
  links, and the sum over pairs. A few candidates are timed, the rest is extrapolated from their
  mean, and the peer is spared working out homes;
- the whole search with its bound: preparing, search, certificate for every size; and the most
  memory the process ever held;
- random small cases against brute force: how many are equal, and the worst gap.
"""

import argparse
import importlib.util
import resource
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy.sparse as sp
import shapely
from scipy.sparse.csgraph import dijkstra

from patchnet import load_knowledge
from patchnet.assess import assess
from patchnet.read.neighbourhood import Answers, Neighbourhood
from patchnet.scheme.bound import SchemeBound
from patchnet.scheme.ceiling import ceiling_of
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.search import every_scheme, greedy_scheme, search_schemes
from patchnet.scheme.state import GroupState, State, Worth
from patchnet.scheme.together import SchemeRules

GROUPS = ("mason_bee", "hoverfly", "butterfly")
SAMPLE = 1  # candidates for which scipy's routes are timed, of each group


def timed(work):
    start = time.perf_counter()
    result = work()
    return result, time.perf_counter() - start


def make_town(count, knowledge, *, seed=7):
    """Terraces along a street of 16 m; every answer known, habitat sparse and in clumps."""
    rng = np.random.default_rng(seed)
    per_row = max(10, round((count / 3) ** 0.5 * 2))
    at = np.arange(count)
    row, column = at // per_row, at % per_row
    left = column * 7.0 + (column // 20) * 30.0
    low = row * 21.0 + ((row + 1) // 2) * 26.0
    index = pd.Index([f"P{k:05d}" for k in at], name="plot")
    plots = gpd.GeoDataFrame(
        {"kind": "garden_back", "label": list(index), "street": "", "area_m2": 120.0},
        geometry=shapely.box(left, low, left + 6, low + 20),
        index=index,
        crs="EPSG:27700",
    )
    features = tuple(knowledge.features)
    amount = np.zeros((count, len(features)))
    usual = {"lawn_short": 40, "flower_border": 4, "shrub": 6, "long_grass": 6, "bee_hotel": 1,
             "ivy_mature": 4, "tree_fruit": 1, "bare_soil": 1}  # fmt: skip
    for key, most in usual.items():
        if key in features:
            there = rng.random(count) < (0.8 if key == "lawn_short" else 0.12)
            amount[:, features.index(key)] = there * most * rng.uniform(0.3, 1.5, count)
    there = amount > 0
    nothing = gpd.GeoDataFrame({"name": []}, geometry=[], crs="EPSG:27700")
    return Neighbourhood(
        name="terraces",
        plots=plots,
        answers=Answers(index, features, amount, there, np.ones_like(there)),
        features=nothing, barriers=nothing, buildings=nothing, roads=nothing, footways=nothing,
    )  # fmt: skip


def make_sites(town, count, knowledge):
    """Candidates every metre or two along both kerbs of the street in the middle."""
    box = town.plots.total_bounds
    tops = np.unique(town.plots.geometry.bounds["maxy"])
    middle = tops[np.argsort(abs(tops - (box[1] + box[3]) / 2))]
    low = next(y for y in middle if not town.plots.geometry.intersects(
        shapely.box(box[0], y + 1, box[2], y + 20)).any())  # fmt: skip
    size = next(iter(knowledge.planter_sizes.values()))
    each = -(-count // 2)
    x = np.linspace(box[0] + 2, box[2] - 2, each)
    return tuple(
        SimpleNamespace(
            key=f"{side[0].upper()}{k:03d}", side=side, chainage_m=float(along), verdict="fits",
            polygon=shapely.box(along - size.length_m / 2, y, along + size.length_m / 2,
                                y + size.width_m),
            centre=shapely.Point(along, y), size=size, findings=(),
        )
        for side, y in (("left", low + 22.0), ("right", low + 4.0))
        for k, along in enumerate(x)
    )[:count]  # fmt: skip


def prepare(town, sites, planters, knowledge):
    """Fields, ceilings, rules and state, as `plan_scheme` makes them."""
    assessment = assess(town, knowledge=knowledge, groups=GROUPS, straight=True)
    recipes = tuple(knowledge.recipes.values())
    ids = [f"site-{at}" for at in range(len(sites))]
    fields = group_fields(assessment, sites, ids, recipes, list(GROUPS))
    rules = SchemeRules(
        sites=sites, costs=np.ones((len(sites), len(recipes))), planters=planters, budget=np.inf,
        spacing_m=2.0, litres=np.ones(len(sites)),
    )  # fmt: skip
    return fields, rules


def begin(fields, rules, least):
    ceilings = [ceiling_of(field, least, rules.planters, rules.conflicts) for field in fields]
    now = np.sqrt([ceiling.base for ceiling in ceilings])
    worth = Worth(np.full(len(fields), 1 / len(fields)), now, first=0.5)
    state = State([GroupState(field, least) for field in fields], worth)
    return state, SchemeBound(ceilings, worth, rules)


def peer_second(field, least):
    """Seconds that scipy takes for one candidate of one group: every route anew."""
    near = field.chances[: field.plots, : field.plots].copy()
    stops = np.flatnonzero(field.patch)
    hop = 0.5 ** (field.group.hop.value / field.group.d50.value)
    spent = []
    for site in np.linspace(0, len(field.offers) - 1, SAMPLE).astype(int):
        rows, cols = np.nonzero(np.triu(near[np.ix_(stops, stops)] >= hop, 1))
        lengths = -np.log(near[stops[rows], stops[cols]])
        place = field.plots + site
        to = np.flatnonzero(field.chances[place][stops] >= hop)
        count = len(stops)
        graph = sp.csr_array(
            (np.r_[lengths, -np.log(field.chances[place][stops[to]])] + 1e-12,
             (np.r_[rows, np.full(len(to), count)], np.r_[cols, to])),
            shape=(count + 1, count + 1),
        )  # fmt: skip
        homes = np.r_[field.homes[stops], 0.0]

        def work(graph=graph, homes=homes):
            ways = dijkstra(graph, directed=False, limit=-np.log(least))
            return homes @ np.exp(-ways) @ homes

        spent.append(timed(work)[1])
    return float(np.mean(spent)), len(rows)


def small_cases(count):
    """How many random small cases equal brute force, and the worst gap."""
    file = Path(__file__).parents[1] / "worlds" / "scheme_cases.py"
    spec = importlib.util.spec_from_file_location("scheme_cases", file)
    cases = importlib.util.module_from_spec(spec)
    sys.modules["scheme_cases"] = cases
    spec.loader.exec_module(cases)
    equal, worst, beaten, greedy = 0, 0.0, 0, 0.0
    for seed in range(count):
        fields, rules = cases.random_case(seed)
        state, _, bound = cases.state_of(fields, rules)
        brute = every_scheme(state, (), rules, most=10**9)
        found = search_schemes(state.go_to(()), (), rules)
        plain = greedy_scheme(state.go_to(()), (), rules)
        best = max(brute.value.values())
        gap = (best - max(found.value.values())) / best if best > 0 else 0.0
        equal += gap < 1e-9
        worst = max(worst, gap)
        if best > 0:
            greedy = max(greedy, (best - max(plain.value.values())) / best)
        # The bound is one of supplies shared exactly; the search itself ranks by portions.
        filled = cases.filled_of(state)
        for size, picks in brute.picks.items():
            limit = bound.of_size(size, filled.linked(picks))
            beaten += limit < filled.value(picks) - 1e-12
    print(
        f"small cases: {equal} of {count} equal brute force, worst gap {worst:.2%}; plain greedy's "
        f"worst {greedy:.0%}; bound beaten {beaten} times"
    )


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=2000)
    words.add_argument("--sites", type=int, default=500)
    words.add_argument("--planters", type=int, default=20)
    words.add_argument("--cases", type=int, default=100)
    asked = words.parse_args()
    knowledge = load_knowledge()
    least = knowledge.setting("p_cut")
    # Compile first: once on a machine, kept on disk.
    tiny = make_town(60, knowledge)
    few, few_rules = prepare(tiny, make_sites(tiny, 10, knowledge), 3, knowledge)
    state, bound = begin(few, few_rules, least)
    search_schemes(state, (), few_rules)
    bound.of_size(2, state.linked)

    town = make_town(asked.plots, knowledge)
    sites = make_sites(town, asked.sites, knowledge)
    (fields, rules), preparing = timed(lambda: prepare(town, sites, asked.planters, knowledge))
    (state, bound), ceilings = timed(lambda: begin(fields, rules, least))
    print(f"{asked.plots} plots, {len(sites)} sites, K = {asked.planters}, {', '.join(GROUPS)}")
    for field in fields:
        print(
            f"  {field.group.key}: {int(field.patch.sum())} patches, "
            f"{int((field.homes > 0).sum())} with homes"
        )
    print(f"preparing {preparing:.1f} s, ceilings {ceilings:.1f} s")
    greedy, spent = timed(lambda: greedy_scheme(state.go_to(()), (), rules))
    rounds = max(greedy.value)
    peers = [peer_second(field, least) for field in fields]
    judged = rounds * len(sites)
    peer = judged * sum(second for second, _ in peers)
    print(
        f"plain greedy {spent:.2f} s ({rounds} rounds, {len(knowledge.recipes)} recipes a site); "
        f"scipy for one candidate: {', '.join(f'{s:.2f} s, {links} links' for s, links in peers)}; "
        f"{judged} of them, extrapolated: {peer:.0f} s; {peer / spent:.0f} x"
    )
    before = time.process_time()
    found, searching = timed(lambda: search_schemes(state.go_to(()), (), rules))

    def certify():
        return [
            bound.of_size(size, state.go_to(found.picks[size]).linked)
            for size in sorted(found.picks)
        ]

    limits, certifying = timed(certify)
    for size, limit in zip(sorted(found.picks), limits, strict=True):
        value = found.value[size]
        over = f"{limit / value - 1:.1%}" if value > 0 else "-"
        print(f"  {size:2d} planters: {value:.5f}, at most {over} better; greedy "
              f"{greedy.value.get(size, 0):.5f}")  # fmt: skip
    total = preparing + ceilings + searching + certifying
    cpu = time.process_time() - before
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"search {searching:.1f} s ({found.judged} schemes), certificate {certifying:.1f} s; "
        f"in all {total:.1f} s (search and certificate: {cpu:.1f} s of processor); "
        f"most memory {memory:.2f} GB"
    )
    small_cases(asked.cases)


if __name__ == "__main__":
    main()
