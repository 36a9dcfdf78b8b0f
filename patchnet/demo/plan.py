"""The plan of the invented demo neighbourhood: where its plots, houses and fences lie."""

import random
from itertools import pairwise

from patchnet.demo.drawing import Barrier, Plan, Plot, Point, Shape, Street, between, noded
from patchnet.demo.rows import terrace_row, villa_row
from patchnet.demo.scenario import (
    ALLEY,
    ALLOTMENTS,
    BALCONIES,
    FLATS,
    NORTH_DEPTH,
    NORTH_HOUSES,
    OUTSIDE,
    PARK,
    PLANTERS,
    SOUTH_DEPTH,
    SOUTH_HOUSES,
    SOUTH_STEPS,
    TERRACE,
    TERRACE_LINE,
    TERRACE_STREET,
    VERGES,
    VILLA,
    VILLA_LINE,
    VILLA_STREET,
)
from patchnet.demo.street import draw_streets

__all__ = ["draw_plan"]


def _common_ground(plan: Plan, terrace: Street, villa: Street, north: float) -> None:
    """Streets, alleys, shop, flats, chapel, school, works, allotments."""
    draw_streets(plan, terrace, villa)
    front = TERRACE["front"]
    at, by = terrace.at, villa.at

    def block(a: float, b: float, near: float, far: float) -> tuple[Point, ...]:
        return terrace.strip(a, b, near, far)

    alley = [6.0 + (north - 6.0) * i / 12 for i in range(13)]
    span = NORTH_DEPTH[1] - NORTH_DEPTH[0]
    inner = [NORTH_DEPTH[0] + span * i / 12 for i in range(13)]
    plan.footways.append(
        Shape(
            "Cinder Alley",
            (
                *(at(s, d) for s, d in zip(alley, inner, strict=True)),
                *(at(s, d + ALLEY) for s, d in reversed(list(zip(alley, inner, strict=True)))),
            ),
        )
    )
    # Allotments north of the alley, behind the westernmost houses.
    for i, (a, b) in enumerate(pairwise(ALLOTMENTS)):
        bed = (at(a, 38.4 - i / 5), at(b, 38.2 - i / 5), at(b, 56.0 + i), at(a, 55.0 + i))
        plan.plots.append(Plot(f"A{i + 1}", "allotment", f"Allotment {i + 1}", "Cinder Alley", bed))
        plan.barriers.append(Barrier("hedge", "yes", 1.6, bed[2:]))
    plan.buildings += [
        Shape("Garages", block(62.0, 86.0, 44.0, 49.5)),
        Shape("Garages", block(92.0, 116.0, 42.0, 47.5)),
        Shape("Rope works", block(66.0, 118.0, -44.0, -62.0)),
        Shape("Corner shop", block(128.0, 152.0, -front, -15.0)),
        Shape("Chapel", block(146.0, 157.0, front + 0.8, 18.0)),
        Shape("School", (at(40.0, -62.0), at(12.0, -62.0), at(12.0, -73.0), at(40.0, -73.0))),
        Shape(
            "Ropewalk Flats",
            (by(FLATS[0], 9.2), by(FLATS[1], 9.2), by(FLATS[1], 20.0), by(FLATS[0], 20.0)),
        ),
    ]
    yard = (
        at(128.0, -15.0),
        at(140.0, -15.0),
        at(152.0, -15.0),
        at(151.0, -26.0),
        at(128.0, -27.0),
    )
    plan.plots.append(Plot("S1", "yard", "Shop yard", TERRACE_STREET, yard))
    plan.barriers.append(Barrier("wall", "", 2.0, (yard[3], yard[4], yard[0])))
    for i, share in enumerate(BALCONIES):
        wall, edge = (between(by(FLATS[0], d), by(FLATS[1], d)) for d in (9.2, 7.8))
        slab = (wall(share), wall(share + 0.14), edge(share + 0.14), edge(share))
        plan.plots.append(Plot(f"B{i + 1}", "balcony", f"Flat {i + 1} balcony", VILLA_STREET, slab))
    bounds = [112.0 + 9.0 * i for i in range(4)]
    chapel = (
        at(131.5, front),
        at(146.0, front),
        at(146.0, front + 0.8),
        at(146.0, 18.0),
        at(157.0, 18.0),
        *(by(s, VILLA["front"]) for s in bounds[1:]),
        at(147.0, 55.5),
        at(130.5, 47.0),
        at(131.0, 26.0),
    )
    plan.plots.append(Plot("C1", "churchyard", "Chapel garden", VILLA_STREET, chapel))
    plan.barriers += [
        Barrier("wall", "yes", 1.2, chapel[:2]),
        Barrier("wall", "no", 1.6, (chapel[-1], chapel[-2], chapel[-3], chapel[-4])),
        Barrier("railing", "yes", 1.1, chapel[5:8]),
    ]
    school = (
        *block(8.0, 42.0, -36.5, -62.0)[:4],
        at(43.5, -48.0),
        at(41.0, -62.0),
        at(40.0, -62.0),
        at(12.0, -62.0),
        at(5.0, -61.0),
    )
    plan.plots.append(Plot("G1", "school_ground", "School ground", "Back Path", school))
    plan.barriers.append(Barrier("fence", "no", 2.0, (*school, school[0])))
    plan.footways.append(Shape("Back Path", block(7.0, 62.0, -34.9, -36.5)))
    # Houses that nobody surveyed: they stand on the map without a plot.
    for a in OUTSIDE:
        outside = (by(a, 12.6), by(a + 13.0, 12.6), by(a + 13.0, 21.2), by(a, 21.2))
        plan.buildings.append(Shape("", outside))
    for i, (a, b, side) in enumerate(VERGES):
        ring = villa.strip(a, b, side * VILLA["kerb"], side * VILLA["verge"])
        plan.plots.append(Plot(f"V{i + 1}", "verge", f"Verge {i + 1}", VILLA_STREET, ring))
    for i, (which, a, offset, length, depth) in enumerate(PLANTERS):
        street, name = (terrace, TERRACE_STREET) if which == "t" else (villa, VILLA_STREET)
        ring = street.strip(a, a + length, offset - depth / 2, offset + depth / 2)
        plan.plots.append(Plot(f"P{i + 1:02d}", "planter", f"Planter {i + 1}", name, ring))


def _park(plan: Plan) -> None:
    """The small park at the west end, drawn by hand, with the features mapped in it."""
    upper = ((49.0, 88.2), (30.0, 87.0), (14.0, 84.0), (0.9, 80.5))
    lower = ((49.0, 86.0), (30.0, 84.8), (24.5, 83.8), (22.4, 83.4), (14.0, 81.8), (1.0, 78.3))
    north = ((0.2, 98.0), (5.0, 132.0), (12.0, 150.0), (30.0, 152.0), (45.0, 146.0), (46.5, 112.0))
    pond = (lower[3], lower[4], lower[5], (2.0, 62.0), (4.0, 34.0), (18.0, 33.0), (20.0, 60.0))
    lawn = (lower[0], lower[1], lower[2], (22.2, 60.0), (20.2, 32.8), (42.0, 30.0), (46.0, 52.0))
    plan.plots += [
        Plot("K1", "park", "Green, meadow", PARK, (*upper, *north)),
        Plot("K2", "park", "Green, pond corner", PARK, pond),
        Plot("K3", "park", "Green, play lawn", PARK, lawn),
    ]
    plan.footways += [
        Shape("Green path", (*upper, *reversed(lower))),
        Shape("Green path", (lower[3], pond[6], pond[5], lawn[4], lawn[3], lower[2])),
    ]
    plan.barriers += [
        Barrier("railing", "yes", 1.1, (upper[0], north[5], north[4])),
        Barrier("railing", "yes", 1.1, (lower[0], lawn[6], lawn[5], pond[5])),
        Barrier("hedge", "yes", 1.5, (upper[3], *north[:4], north[4])),
    ]
    water = ((6, 52), (9, 49), (13, 49), (16, 52), (16.5, 57), (14, 61), (10, 62), (6.5, 58))
    reeds = ((6.5, 58), (10, 62), (9.5, 65), (6.5, 63.5))
    nettles = ((38, 139), (43, 138), (42.5, 142), (38.5, 143))
    plan.mapped += [
        ("pond", Shape("K2", tuple((float(x), float(y)) for x, y in water))),
        ("bog", Shape("K2", tuple((float(x), float(y)) for x, y in reeds))),
        ("nettle_patch", Shape("K1", tuple((float(x), float(y)) for x, y in nettles))),
        ("hedge_native", Shape("K1", ((3.0, 100.0), (7.2, 131.0), (13.5, 147.8), (29.5, 149.6)))),
        *(
            ("tree_large", Shape("K1", (point,)))
            for point in ((10.0, 116.0), (17.0, 138.0), (35.0, 128.0), (42.0, 104.0))
        ),
        *(("tree_small", Shape("K2", (point,))) for point in ((5.5, 70.0), (12.0, 41.0))),
        ("tree_large", Shape("K3", ((39.0, 44.0),))),
    ]


def draw_plan(rng: random.Random) -> Plan:
    """Draw the plan; `rng` gives the widths of the houses and which walls have gaps."""
    plan = Plan()
    terrace, villa = Street(*TERRACE_LINE), Street(*VILLA_LINE)
    north, south = 6.0 + 121.0, 6.0 + 115.5
    terrace_row(
        plan,
        rng,
        terrace,
        side=1,
        houses=NORTH_HOUSES,
        span=(6.0, north),
        depth=NORTH_DEPTH,
        steps={},
    )
    terrace_row(
        plan,
        rng,
        terrace,
        side=-1,
        houses=SOUTH_HOUSES,
        span=(6.0, south),
        depth=SOUTH_DEPTH,
        steps=SOUTH_STEPS,
    )
    villa_row(plan, rng, villa)
    _common_ground(plan, terrace, villa, north)
    _park(plan)
    corners = sorted({point for plot in plan.plots for point in plot.ring})
    plan.plots = [
        Plot(p.ident, p.kind, p.label, p.street, noded(p.ring, corners)) for p in plan.plots
    ]
    return plan
