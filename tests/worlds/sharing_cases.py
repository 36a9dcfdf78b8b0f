"""Neighbourhoods of homes and supplies, and what a linear programme says of them.

The second route here shares nothing with the code under test: HiGHS (in scipy.optimize), with one
variable for each pair, need and month.
"""

from types import SimpleNamespace

import numpy as np
import scipy.sparse as sp
from scipy.optimize import linprog

from patchnet.assess.sharing import Demand

ROW = np.array([[1.0, 1, 0], [1, 1, 1], [0, 1, 1]])


def need(reach, supply, *, floor=0.0, worst=True, amount=1.0, weight=1.0):
    """One need of n plots under one reading: `supply` (n,) or (n, M)."""
    reach = np.asarray(reach, dtype=float)
    stock = np.asarray(supply, dtype=float).reshape(len(reach), -1, 1)
    return Demand(sp.csr_array(reach), stock, amount, worst, floor, weight)


def random_case(seed, *, most=14, floors=(0.0, 0.0, 0.3)):
    """Plots at random places; one to three needs of any kind, plenty or scarce, by month."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, most + 1))
    place = rng.uniform(0, 100, (n, 2))
    apart = np.hypot(*(place[:, None] - place[None]).T)
    room = rng.uniform(0, 3, n) * (rng.random(n) < 0.7) * rng.choice([1.0, 1e-3], n)
    needs = []
    for _ in range(int(rng.integers(1, 4))):
        months = int(rng.integers(1, 4))
        supply = rng.uniform(0, rng.choice([0.3, 1.0, 4.0]), (n, months))
        supply *= rng.random((n, months)) < 0.6
        if months > 1 and rng.random() < 0.3:
            supply[:, 1] = supply[:, 0]
        needs.append(
            need(
                apart <= rng.uniform(5, 90), supply, floor=float(rng.choice(floors)),
                worst=bool(rng.random() < 0.5),
            )
        )  # fmt: skip
    return SimpleNamespace(room=room, needs=needs, whole=np.minimum(1.0, rng.uniform(0.5, 3, n)))


def flows_of(homes, one):
    """Rows of a programme whose variables are what flows from supplier to home in each month.

    Returns
    -------
    tuple
        Pairs as (home, supplier, month); the matrix that sums what homes eat, in whole needs a
        home (n, pairs); limits as (matrix, most).
    """
    reach, supply = one.reach.toarray(), one.supply[:, :, 0] / one.amount
    months = supply.shape[1]
    pairs = [(i, j, m) for i, j in np.argwhere(reach > 0) for m in range(months)]
    count = len(pairs)
    at = np.arange(count)
    i, j, m = np.array(pairs, dtype=int).reshape(-1, 3).T
    n = len(homes)
    by_month = sp.csr_array((np.ones(count), (m * n + i, at)), shape=(months * n, count))
    given = sp.csr_array((np.ones(count), (m * n + j, at)), shape=(months * n, count))
    return by_month, [(given, supply.T.ravel())], months


def most_alike(homes, levels, one, fixed=None):
    """The largest t up to 1 such that t times `levels` of all homes can be fed; by HiGHS.

    Where `fixed` is True homes take their level as it is.
    """
    fixed = np.zeros(len(homes), dtype=bool) if fixed is None else fixed
    by_month, limits, months = flows_of(homes, one)
    n, count = len(homes), by_month.shape[1]
    wants = homes * levels
    grow, still = np.where(fixed, 0.0, wants), np.where(fixed, wants, 0.0)
    given, most = limits[0]
    if one.worst:
        eats, column = by_month, np.tile(grow, months)
        right = np.tile(still, months)
        upper, limit = [given], [most]
    else:
        eats = sum(by_month[m * n : (m + 1) * n] for m in range(months))
        column, right = grow * months, still * months
        upper, limit = [given, by_month], [most, np.tile(homes, months)]
    equal = sp.hstack([eats, sp.csr_array(-column[:, None])])
    above = sp.hstack([sp.vstack(upper), sp.csr_array((sum(len(x) for x in limit), 1))])
    found = linprog(
        np.r_[np.zeros(count), -1.0],
        A_ub=above, b_ub=np.concatenate(limit), A_eq=equal, b_eq=right,
        bounds=[(0, None)] * count + [(0, 1)], method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )  # fmt: skip
    return -np.inf if found.x is None else float(found.x[-1])


def far_from_fair(homes, levels, needs, ceiling):
    """How far levels are from maximising the sum of homes x log(level); by HiGHS.

    The sum is concave, so no levels that can be fed beat these by more than its tangent allows:
    max over y of (sum of homes x y / level) / (sum of homes) - 1. It is 0 at the maximum.
    """
    there = np.flatnonzero((homes > 0) & (levels > 0))
    n, right, equal, flows = len(homes), [], [], 0
    grow = np.zeros((n, len(there)))
    grow[there, np.arange(len(there))] = homes[there]
    parts = [(flows_of(homes, one), one) for one in needs]
    blocks_eat, blocks_upper = [], []
    for (by_month, limits, months), one in parts:
        given, most = limits[0]
        if one.worst:
            eats, wants, upper, limit = by_month, np.tile(grow, (months, 1)), given, most
        else:
            eats = sum(by_month[m * n : (m + 1) * n] for m in range(months))
            wants, upper = months * grow, sp.vstack([given, by_month])
            limit = np.r_[most, np.tile(homes, months)]
        equal.append(-wants)
        blocks_eat.append(eats)
        blocks_upper.append(upper)
        right.append(limit)
        flows += by_month.shape[1]
    eat = sp.hstack([sp.csr_array(np.vstack(equal)), sp.block_diag(blocks_eat)])
    upper = sp.block_diag(blocks_upper)
    above = sp.hstack([sp.csr_array((upper.shape[0], len(there))), upper])
    gains = homes[there] / levels[there] / homes[there].sum()
    found = linprog(
        np.r_[-gains, np.zeros(flows)],
        A_ub=above, b_ub=np.concatenate(right), A_eq=eat, b_eq=np.zeros(eat.shape[0]),
        bounds=[(0, ceiling[at]) for at in there] + [(0, None)] * flows, method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )  # fmt: skip
    return -float(found.fun) - 1


def most_left(homes, levels, one, at):
    """The most that can lie unused within reach of a home while all levels are fed; by HiGHS.

    For a need of the worst month: in the month in which that is least.
    """
    by_month, limits, months = flows_of(homes, one)
    given, most = limits[0]
    n, count = len(homes), by_month.shape[1]
    left = []
    for month in range(months):
        rows = month * n + np.flatnonzero(one.reach.toarray()[at])
        used = np.asarray(given[rows].sum(axis=0)).ravel()
        found = linprog(
            used, A_ub=given, b_ub=most, A_eq=by_month,
            b_eq=np.tile(homes * levels, months), bounds=[(0, None)] * count, method="highs",
        )  # fmt: skip
        left.append(most[rows].sum() - (np.inf if found.fun is None else float(found.fun)))
    return min(left)
