"""Where the gaps in barriers are: where they are mapped, else assumed in the middle."""

import math

import numpy as np
import pytest
from shapely import LineString, Point, box

from patchnet.movement.ground_links import ground_links
from patchnet.movement.surface import cost_surface

PLOTS = {"a": (box(0, 0, 10, 20), "garden"), "b": (box(20, 0, 30, 20), "garden")}
FENCE = LineString([(15, -40), (15, 60)])


def link_cost(scene, know, *barriers, cell=0.5, features=()):
    """Cost of the link between two gardens of 10 x 20 m with 10 m between them."""
    ground = scene(PLOTS, barriers=barriers, features=features)
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=cell)
    return ground_links(surface).cost[0], surface


def test_a_mapped_gap_takes_the_place_of_the_assumed_one(scene, know):
    """The fence (x = 15, y = -40 to 99) is marked as having a gap: assumed at y = 29.5.

    From a's corner cell (9.5, 19.5) to (14.5, 29.5) are 5 diagonal and 5 straight steps over
    ground of 2.5 a metre, of which half a diagonal lies in a: 2.5 (5 + 4.5 sqrt 2). As much on
    the other side, and through the gap 2.5 + 1: 28.5 + 22.5 sqrt 2 = 60.32 in all. With a gap
    mapped at y = 10.5 the straight way costs 26, and the assumed one is closed; with both
    mapped both are open.
    """
    fence = LineString([(15, -40), (15, 99)])
    new, old = (Point(15, 10.5), "fence_gap"), (Point(15, 29.5), "fence_gap")
    for mapped, cost, rows in (
        ((), 28.5 + 22.5 * math.sqrt(2), [29.5]),
        ((new,), 26, [10.5]),
        ((new, old), 26, [29.5, 10.5]),
    ):
        found, surface = link_cost(scene, know, (fence, "fence", "yes"), features=mapped, cell=1)
        assert found == pytest.approx(cost)
        open_cells = surface.steps.key[surface.steps.gap] // 4 // surface.cost.shape[1]
        assert (surface.grid.north - open_cells - 0.5).tolist() == rows


def test_a_gap_mapped_on_a_fence_drawn_twice_is_in_both(scene, know):
    """Both are marked as having a gap; it is mapped once, and neither has another."""
    twin = LineString([(15.1, -40), (15.1, 60)])
    other = LineString([(15.1, 18), (40, 18)])  # ends at the gap: its own gap stays
    cost, surface = link_cost(
        scene, know, (FENCE, "fence", "yes"), (twin, "fence", "yes"), (other, "wall", "yes"),
        features=((Point(15.4, 18), "fence_gap"),),
    )  # fmt: skip
    assert cost == pytest.approx(26)
    gap = np.flatnonzero(surface.steps.gap)
    start, barrier = surface.steps.start, surface.steps.barrier
    assert sorted(barrier[start[at] : start[at + 1]].tolist() for at in gap)[:1] == [[0, 1]]
    assert sum(0 in barrier[start[at] : start[at + 1]] for at in gap) == 1
    assert sum(2 in barrier[start[at] : start[at + 1]] for at in gap) == 1
