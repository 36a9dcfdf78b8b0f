"""Looking no further than a corridor can reach changes nothing of it."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, box

from patchnet.movement.corridors import corridor
from patchnet.movement.surface import cost_surface
from patchnet.movement.window import cut_out, window_between

FIELDS = ("cost", "length_m", "plots", "share")


def rough(scene, know, seed):
    """Two gardens on ground of random costs, houses and fences; in cells of 0.75 m."""
    rng = np.random.default_rng(seed)
    plots = {
        "a": (box(0, 0, 9, 14), "garden"),
        "m": (box(15, -4, 20, 12), "park"),
        "b": (box(26, 5, 33, 19), "garden"),
    }
    houses = [
        box(x, y, x + 4, y + 3)
        for x, y in zip(rng.uniform(9, 24, 6), rng.uniform(-10, 25, 6), strict=True)
    ]
    fences = [
        (LineString(rng.uniform((5, -15), (30, 30), (3, 2))), "fence", gap)
        for gap in ("no", "yes", "not_known")
    ]
    ground = scene(plots, barriers=fences, buildings=houses)
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=0.75)
    ragged = surface.cost * rng.uniform(1, 4, surface.cost.shape).astype(np.float32)
    return replace(surface, cost=ragged)


@pytest.mark.parametrize("seed", range(6))
def test_a_corridor_is_the_same_to_the_last_bit(scene, know, seed):
    """With what it costs known exactly, somewhat more, and wrongly (less than it costs)."""
    surface = rough(scene, know, seed)
    whole = corridor(surface, "a", "b", know)
    assert np.isfinite(whole.cost)
    for compiled in (True, False) if seed == 0 else (None,):
        for known in (whole.cost, whole.cost * 1.3, whole.cost * 0.7, np.inf):
            found = corridor(surface, "a", "b", know, at_most=known, compiled=compiled)
            assert all(getattr(found, name) == getattr(whole, name) for name in FIELDS)
            assert found.line.wkb == whole.line.wkb
            np.testing.assert_array_equal(found.band, whole.band)


def test_the_window_is_small(scene, know):
    """Gardens from x = 0 to 20 and from 30 to 60, ways of at most 27.5 on ground of 1 or more.

    27.5 cells and 2 spare: 29 columns off b's first (30) is column 1, 29 off a's last (19) is
    column 48. A row k off one garden is k off the other: 14 rows on each side.
    """
    plots = {"a": (box(0, 0, 20, 20), "park"), "b": (box(30, 0, 60, 20), "garden")}
    surface = cost_surface(scene(plots), know.groups["hedgehog"], know, cell_m=1)
    assert surface.cost.min() == 1
    rows, columns = window_between(surface, (1, 2), 27.5)
    west, north = surface.grid.west, surface.grid.north
    assert (west + columns.start, west + columns.stop) == (1, 49)
    assert (north - rows.stop, north - rows.start) == (0 - 14, 20 + 14)


def test_a_part_of_the_ground_keeps_its_steps(scene, know):
    """Each step kept joins the same two places over the same barriers as before."""
    surface = rough(scene, know, 1)
    window = (slice(20, 60), slice(25, 70))
    part = cut_out(surface, window)

    def told(of, row, column):
        cell, direction = np.divmod(of.steps.key, 4)
        y, x = np.divmod(cell, of.cost.shape[1])
        start = of.steps.start
        return {
            (int(y[k] + row), int(x[k] + column), int(direction[k])): (
                of.steps.extra[k],
                of.steps.barrier[start[k] : start[k + 1]].tolist(),
            )
            for k in range(len(cell))
        }

    every, kept = told(surface, 0, 0), told(part, 20, 25)
    assert kept.items() <= every.items()
    to = ((0, 1), (1, 0), (1, 1), (1, -1))
    for y, x, d in every:
        inside = all(
            20 <= y + down < 60 and 25 <= x + right < 70 for down, right in ((0, 0), to[d])
        )
        assert inside == ((y, x, d) in kept)
    assert part.grid.west == surface.grid.west + 25 * 0.75
    np.testing.assert_array_equal(part.cost, surface.cost[window])
