"""Small scheme cases made straight from records, and what they are worth by the definition.

The second route here (`worth_by_definition`) shares nothing with the code under test: routes by
networkx over the moves, homes in plain Python, the sum over pairs written out.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import networkx as nx
import numpy as np
import scipy.sparse as sp
import shapely

from patchnet.assess.lodging import Pool, rooms_of
from patchnet.assess.sharing import Demand, share_supplies
from patchnet.scheme.bound import SchemeBound
from patchnet.scheme.ceiling import ceiling_of
from patchnet.scheme.field import GroupField
from patchnet.scheme.filled import FilledState
from patchnet.scheme.group_fields import need_field, offer_of, taking_part
from patchnet.scheme.kernels import not_dominated
from patchnet.scheme.state import GroupState, State, Worth
from patchnet.scheme.together import SchemeRules

LEAST = 1e-4


def far(first, second):
    return float(np.hypot(*(np.asarray(first) - np.asarray(second))))


def apart_of(points):
    """Shape (n, n): distances."""
    points = np.asarray(points, dtype=float)
    across = points[:, None] - points[None]
    return np.hypot(across[..., 0], across[..., 1])


def moves_between(points, hop, d50):
    """Chance of each single move, by pair."""
    near = np.argwhere(apart_of(points) <= hop).tolist()
    return {(i, j): 0.5 ** (far(points[i], points[j]) / d50) for i, j in near if i != j}


def best_chances(moves, stops, count):
    """Chances of best routes between any two places that rest on `stops` only; plain Floyd."""
    chances = np.eye(count)
    for (i, j), chance in moves.items():
        chances[i, j] = chance
    for k in stops:
        chances = np.maximum(chances, np.outer(chances[:, k], chances[k]))
    return np.where(chances >= LEAST, chances, 0.0)


def make_field(points, plots, *, hop, d50, room, patch, needs=(), given=(), rooms=None, stops,
               anchor_reach=0.0, key="imp", weight=1.0, use=(1, 1, 1), dense=None):  # fmt: skip
    """A group's field over points, as `group_fields` makes it.

    Needs are tuples (reach, amount, worst, floor, supply of every place (n, M)); `given` what the
    planters supply of each, (sites, recipes, M); `rooms` and `stops` (sites, recipes). `use` is the
    share of places in use at low, usual and high (in planters all are); `dense` the area of every
    place and the most homes on a unit of it, or None: as close together as there are places.
    """
    count = len(points)
    moves = moves_between(points, hop, d50)
    stops = np.asarray(stops, dtype=bool)
    rooms = np.zeros(stops.shape) if rooms is None else np.asarray(rooms, dtype=float)
    room = np.r_[np.asarray(room, dtype=float), np.zeros(count - plots)]
    places = room[:, None] * np.array([1.0, *use])
    patch = np.r_[np.asarray(patch, dtype=bool), np.zeros(count - plots, dtype=bool)]
    apart = apart_of(points)
    anchor = sp.csr_array((apart <= anchor_reach).astype(float))
    pool = None if dense is None else Pool(anchor, dense[0], dense[1], 0.0)
    demands = [
        Demand(
            sp.csr_array((apart <= reach).astype(float)), np.asarray(supply, float)[:, :, None],
            amount, worst, floor, 1.0,
        )
        for reach, amount, worst, floor, supply in needs
    ]  # fmt: skip
    rooms_now = rooms_of(places[:, :, None], demands, anchor, pool)
    room = rooms_now.room[:, 0]
    shares = share_supplies(rooms_now.room, demands, whole=rooms_now.whole)
    met = [share[:, 0] for share in shares.met]
    fields = tuple(
        need_field(demand, share, taking_part(demands, met, room), np.asarray(stock, dtype=float))
        for demand, share, stock in zip(demands, met, given, strict=True)
    )
    near = [
        np.array([j for j in range(count) if (site, j) in moves and (j >= plots or patch[j])], "i4")
        for site in range(plots, count)
    ]
    field = GroupField(
        group=SimpleNamespace(key=key, weight=SimpleNamespace(value=weight)),
        plots=plots,
        places=places,
        pool=pool,
        today=room * shares.quality[:, 0],
        anchor=anchor,
        needs=fields,
        chances=best_chances(moves, np.flatnonzero(patch), count),
        patch=patch,
        neighbours=tuple(near),
        links=tuple(
            np.array([moves[plots + at, int(j)] for j in row]) for at, row in enumerate(near)
        ),
        offers=(),
    )
    offers = tuple(
        tuple(
            offer_of(
                field, site, [one.given[site, at] for one in fields],
                np.full(4, float(rooms[site, at])), stop=bool(stops[site, at]),
            )
            for at in range(stops.shape[1])
        )
        for site in range(stops.shape[0])
    )  # fmt: skip
    return replace(field, offers=offers)


def random_field(rng, points, plots, recipes, *, key):
    """Any group: all month rules, vital and helpful needs, homes in planters, scarce anchors."""
    count, sites = len(points), len(points) - plots
    hop = float(rng.uniform(15, 60))
    room = np.where(rng.random(plots) < 0.6, rng.uniform(0.05, 3, plots).round(2), 0.0)
    patch = (room > 0) | (rng.random(plots) < 0.3)
    needs, given = [], []
    for _ in range(int(rng.integers(0, 4))):
        months = int(rng.integers(1, 4))
        plenty = float(rng.choice([0.2, 0.6, 1.5]))
        supply = rng.uniform(0, plenty, (count, months)) * (rng.random((count, months)) < 0.6)
        supply[plots:] = 0.0
        needs.append(
            (float(rng.uniform(10, 120)), 1.0, bool(rng.random() < 0.5),
             float(rng.choice([0.0, 0.0, 0.2, 0.6])), supply)
        )  # fmt: skip
        stock = rng.uniform(0, 0.5, (sites, recipes, months))
        stock *= rng.random((sites, recipes, months)) < 0.8
        given.append(stock * (rng.random((sites, recipes, 1)) < 0.7))
    nests = rng.random() < 0.4
    own = rng.uniform(0.05, 0.8, (sites, recipes)) * (rng.random((sites, recipes)) < 0.5) * nests
    return make_field(
        points, plots, hop=hop, d50=float(rng.uniform(0.4, 2)) * hop, room=room, patch=patch,
        needs=needs, given=given, rooms=own, stops=rng.random((sites, recipes)) < 0.7,
        anchor_reach=float(rng.choice([0.0, 15.0, 50.0])), key=key,
        weight=float(rng.integers(1, 4)),
        use=np.sort(rng.random(3)) if rng.random() < 0.5 else (1, 1, 1),
        dense=(rng.uniform(0.1, 3, count), float(rng.choice([0.3, 1.0, 5.0])))
        if rng.random() < 0.5 else None,
    )  # fmt: skip


def make_rules(points, plots, recipes, *, planters, costs=None, budget=np.inf, spacing=0.0, **more):
    sites = tuple(
        SimpleNamespace(
            key=f"{at}",
            polygon=shapely.box(x - 0.5, y - 0.2, x + 0.5, y + 0.2),
            centre=shapely.Point(x, y),
            side="left" if y > 0 else "right",
            chainage_m=float(x),
            size=SimpleNamespace(plan_m2=0.4),
        )
        for at, (x, y) in enumerate(points[plots:])
    )
    return SchemeRules(
        sites=sites,
        costs=np.ones((len(sites), recipes)) if costs is None else costs,
        planters=planters,
        budget=budget,
        spacing_m=spacing,
        litres=np.full(len(sites), 4.0),
        **more,
    )


def random_case(seed, *, most_sites=18, most_planters=5):
    """A street with gardens on both sides and a gap somewhere; rules of any kind."""
    rng = np.random.default_rng(seed)
    plots, sites = int(rng.integers(4, 13)), int(rng.integers(5, most_sites + 1))
    recipes = int(rng.integers(1, 3))
    length = float(rng.uniform(60, 220))
    split = float(rng.uniform(0.2, 0.5)) * length
    x = rng.uniform(0, length - split, plots)
    x = np.where(x > (length - split) / 2, x + split, x)  # a break in the middle
    gardens = np.column_stack([x, rng.choice([-12.0, 12.0], plots)])
    along = np.column_stack([rng.uniform(0, length, sites), rng.choice([-4.0, 4.0], sites)])
    points = np.round(np.vstack([gardens, along]), 2)
    fields = [
        random_field(rng, points, plots, recipes, key=f"g{at}")
        for at in range(int(rng.integers(1, 4)))
    ]
    planters = int(rng.integers(1, most_planters + 1))
    costs = rng.uniform(0.5, 2, (sites, 1)).round(2) * np.ones((1, recipes))
    budget = float(rng.uniform(1, 1.5)) * planters if rng.random() < 0.4 else np.inf
    spacing = float(rng.choice([0.0, 2.0, 12.0]))
    rules = make_rules(
        points, plots, recipes, planters=planters, costs=costs, budget=max(budget, costs.min()),
        spacing=spacing,
    )  # fmt: skip
    return fields, rules


def filled_of(state):
    """Schemes filled exactly, on the routes of a state."""
    return FilledState(state)


def state_of(fields, rules):
    """The state, the ceilings and the bound of a case, as `plan_scheme` makes them."""
    ceilings = [ceiling_of(field, LEAST, rules.planters, rules.conflicts) for field in fields]
    state, worth = plain_state_of(fields)
    assert (worth.now == np.sqrt([ceiling.base for ceiling in ceilings])).all()
    return state, worth, SchemeBound(ceilings, worth, rules)


def plain_state_of(fields):
    """The state and its worth alone: the ceilings of a bound take as long as a search."""
    votes = np.array([field.group.weight.value for field in fields])
    now = np.sqrt([float(field.today @ field.chances @ field.today) for field in fields])
    worth = Worth(weight=votes / votes.sum(), now=now, first=0.5)
    return State([GroupState(field, LEAST) for field in fields], worth), worth


def homes_by_definition(field, picks):
    """Homes of every place with some planters there, one place after the other."""
    homes = []
    for i in range(len(field.room)):
        room, within = field.room[i], field.within[i]
        vital = helpful = 1.0
        for site, recipe in picks:
            place, offer = field.plots + site, field.offers[site][recipe]
            room += offer.room if place == i else 0.0
            within += offer.places[0] if field.anchor[i, place] else 0.0
        for at, need in enumerate(field.needs):
            got = list(need.access[i])
            for site, recipe in picks:
                share = field.offers[site][recipe].shares[at]
                if share is not None and need.reach[i, field.plots + site]:
                    got = [a + b for a, b in zip(got, share, strict=True)]
            met = [min(1.0, each / need.demand.amount) for each in got]
            share = min(met) if need.demand.worst else sum(met) / len(met)
            if need.demand.floor == 0:
                vital = min(vital, share)
            else:
                helpful *= need.demand.floor + (1 - need.demand.floor) * share
        homes.append(room * min(1.0, within, vital * helpful))
    return homes


def numerator_by_definition(field, moves, picks):
    """Sum over pairs a p a, p along networkx's shortest route over stops."""
    homes = homes_by_definition(field, picks)
    stops = set(np.flatnonzero(field.patch).tolist()) | {
        field.plots + site for site, recipe in picks if field.offers[site][recipe].stop
    }
    graph = nx.Graph()
    graph.add_nodes_from(stops)
    graph.add_weighted_edges_from(
        (i, j, -math.log(chance)) for (i, j), chance in moves.items() if i in stops and j in stops
    )
    total = 0.0
    for i, lengths in nx.all_pairs_dijkstra_path_length(graph):
        for j, length in lengths.items():
            chance = math.exp(-length)
            total += homes[i] * homes[j] * (chance if chance >= LEAST else 0.0)
    return total


def without_dominated(field):
    """The field as `group_fields` makes it: only moves that are needed."""
    near, links = [], []
    for mine, chance in zip(field.neighbours, field.links, strict=True):
        order = np.argsort(-chance, kind="stable")
        keep = not_dominated(field.chances, field.patch, mine, chance, order)
        near.append(mine[keep])
        links.append(chance[keep])
    return replace(field, neighbours=tuple(near), links=tuple(links))


def chain_case(length, *, decoys, seed=0):
    """Two halves that only a chain joins; sites 0, 1 ... are the chain, the others decoys.

    Hops of 40 m. Between the halves lie `length` sites 36.67 m apart, or a little less for longer
    chains. Decoys feed a plot each a little.
    """
    rng = np.random.default_rng(seed)
    gap = {2: 110.0, 3: 150.0, 4: 190.0}[length]
    chain = [[gap * (at + 1) / (length + 1), 0.0] for at in range(length)]
    crowd = [[-5.0, 0.0], [gap + 5.0, 0.0]] if decoys else []
    ends = [[0.0, 0.0], [gap, 0.0]]
    spare = [[-20.0 - 3 * at, 12.0] for at in range(decoys)]
    points = np.array([*ends, *crowd, *chain, *spare])
    plots = 2 + len(crowd)
    stops = [[True]] * length + [[False]] * decoys
    needs, given = [], []
    if decoys:
        supply = np.r_[np.full(plots, 0.9), np.zeros(len(points) - plots)][:, None]
        needs = [(200.0 + gap, 1.0, True, 0.0, supply)]
        stock = np.r_[np.zeros(length), plots * rng.uniform(0.001, 0.002, decoys)]
        given = [stock[:, None, None]]
    field = make_field(
        points, plots, hop=40, d50=40 if not decoys else 400, room=np.ones(plots),
        patch=np.ones(plots, dtype=bool), needs=needs, given=given, stops=stops,
    )  # fmt: skip
    return [field], make_rules(points, plots, 1, planters=length)


def planted_case(*, animals=8, pairs=12, planters=8, seed=0):
    """A street of some 400 sites where the last animal's one chain of four wins most by far.

    Every other animal lives on `pairs` pairs of islands, 75 m apart with hops of 30 m, between
    which two ways of two sites lead; the last one in two towns of 20 homes, 190 m apart with hops
    of 40 m, between which one way of four sites leads. No single site wins anything. Chances
    halve every 400 m. So the best scheme of eight is the chain of four and two short ways, of two
    animals each (one alone of one animal wins more than two of the same: logs are concave).

    Returns the fields, the rules and the scheme by hand.
    """
    rng = np.random.default_rng(seed)
    plots, owner, sites, maker = [], [], [], []
    for animal in range(animals - 1):
        for pair in range(pairs):
            x, y = 300.0 * pair, 1000.0 * animal
            plots += [[x, y], [x + 75, y]]
            owner += [animal] * 2
            for way in (-4.0, 4.0):
                sites += [[x + 25, y + way], [x + 50, y + way]]
                maker += [animal] * 2
    last = animals - 1
    towns = [[x - 3 * at, 1000.0 * last] for at in range(20) for x in (0.0,)]
    towns += [[190.0 + 3 * at, 1000.0 * last] for at in range(20)]
    plots += towns
    owner += [last] * len(towns)
    chain = [[38.0 * at, 1000.0 * last] for at in range(1, 5)]
    sites += chain
    maker += [last] * 4
    spare = [[-400.0 - 20 * at, 1000.0 * last] for at in range(400 - len(sites))]
    sites += spare
    maker += [last] * len(spare)
    order = rng.permutation(len(sites))
    points = np.array([*plots, *np.array(sites)[order]])
    of_site, count = np.array(maker)[order], len(plots)
    fields = [
        make_field(
            points, count, hop=40 if animal == last else 30, d50=400,
            room=np.where(np.array(owner) == animal, 1.0, 0.0),
            patch=np.array(owner) == animal, stops=(of_site == animal)[:, None], key=f"g{animal}",
        )
        for animal in range(animals)
    ]  # fmt: skip
    rules = make_rules(points, count, 1, planters=planters)
    place = {old: new for new, old in enumerate(order.tolist())}
    start = sites.index(chain[0])
    by_hand = [place[start + at] for at in range(4)]
    for animal in range((planters - 4) // 2):
        first = animal * pairs * 4
        by_hand += [place[first], place[first + 1]]
    return fields, rules, [(site, 0) for site in by_hand]
