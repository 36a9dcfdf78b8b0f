"""Cells for plots that have no open ground of their own: built over, or smaller than a cell."""

import numpy as np
import pytest
from shapely import LineString, Point, box

from patchnet.movement.ground_links import ground_links
from patchnet.movement.surface import cost_surface

GARDEN = {"a": (box(0, 0, 10, 20), "garden")}


@pytest.fixture
def surface_of(scene, know):
    def make(plots, *barriers, **kwargs):
        ground = scene(GARDEN | plots, barriers=barriers, **kwargs)
        return cost_surface(ground, know.groups["hedgehog"], know, cell_m=1)

    return make


def places(surface, plot):
    """Middles of the cells of a plot."""
    row, column = np.nonzero(surface.labels == surface.plot_label(plot))
    x = surface.grid.west + column + 0.5
    y = surface.grid.north - row - 0.5
    return list(zip(x.tolist(), y.tolist(), strict=True))


HUT = box(20, 0, 22, 2)


def test_a_plot_that_is_all_house_takes_the_ground_beside_it(surface_of):
    """Its own four cells are closed; the nearest open centres are sqrt(2.5) m off its middle."""
    surface = surface_of({"hut": (HUT, "garden")}, buildings=[HUT])
    (beside,) = [cell for cell in places(surface, "hut") if not HUT.covers(Point(cell))]
    assert (beside[0] - 21) ** 2 + (beside[1] - 1) ** 2 == pytest.approx(2.5)
    assert ground_links(surface).isolated == ()
    assert surface.faults == ()


def test_but_not_the_ground_outside_its_own_closed_fence(surface_of):
    """With a fence round it and no gap it keeps its four closed cells and is named."""
    ring = LineString(HUT.exterior)
    surface = surface_of({"hut": (HUT, "garden")}, (ring, "fence", "no"), buildings=[HUT])
    assert len(places(surface, "hut")) == 4
    assert np.isinf(surface.cost[surface.labels == 2]).all()
    assert ground_links(surface).isolated == ("a", "hut")
    (fault,) = surface.faults
    assert (fault.severity, fault.where) == ("warning", "plots")
    assert fault.what.endswith("no open ground is theirs: hut.")


@pytest.mark.parametrize("gap", ["yes", "not_known"])
def test_a_fence_with_a_gap_does_not_shut_it_off(surface_of, gap):
    ring = LineString(HUT.exterior)
    surface = surface_of({"hut": (HUT, "garden")}, (ring, "fence", gap), buildings=[HUT])
    assert ground_links(surface).isolated == ()


@pytest.mark.parametrize("order", [("large", "small"), ("small", "large")])
def test_of_overlapping_plots_the_smaller_keeps_the_cells(surface_of, order):
    """A plot of 4 x 3 m on one of 10 x 10 m: 12 and 88 cells, whichever stands first."""
    shapes = {"large": (box(20, 0, 30, 10), "garden"), "small": (box(22, 4, 26, 7), "garden")}
    surface = surface_of({name: shapes[name] for name in order})
    assert {name: len(places(surface, name)) for name in order} == {"large": 88, "small": 12}
    assert set(places(surface, "small")) == {
        (x + 0.5, y + 0.5) for x in range(22, 26) for y in range(4, 7)
    }


def test_of_equally_near_cells_the_northernmost_then_westernmost(surface_of):
    """The middle of the planter is a corner of four cells."""
    surface = surface_of({"p": (box(14.9, 4.9, 15.1, 5.1), "planter")})
    assert places(surface, "p") == [(14.5, 5.5)]


def test_a_planter_does_not_take_the_last_cell_of_another(surface_of):
    """A strip of one cell lies nearest; the planter beyond its edge takes the next one."""
    strip, planter = box(20.1, 5.1, 20.9, 5.9), box(20.95, 5.4, 21.05, 5.6)
    surface = surface_of({"s": (strip, "garden"), "p": (planter, "planter")})
    assert places(surface, "s") == [(20.5, 5.5)]
    assert places(surface, "p") == [(21.5, 5.5)]


@pytest.mark.parametrize("gap", [None, "no", "yes", "not_known"])
def test_a_small_planter_takes_a_cell_on_its_side_of_the_fence(surface_of, gap):
    """The planter's middle is at x = 14.8, centres are at 14.5 and 15.5, a fence at 14.6.

    The nearest centre is beyond the fence, so that it takes the other; without a fence the
    nearest.
    """
    planter = {"p": (box(14.7, 5.4, 14.9, 5.6), "planter")}
    fence = LineString([(14.6, -40), (14.6, 60)])
    surface = surface_of(planter, *([] if gap is None else [(fence, "fence", gap)]))
    assert places(surface, "p") == [(14.5 if gap is None else 15.5, 5.5)]


def test_a_planter_in_a_cage_smaller_than_a_cell(surface_of):
    """Between four centres a ring crosses no step, but nothing gets into it all the same."""
    planter, cage = box(14.7, 5.4, 14.9, 5.6), box(14.6, 5.3, 15.0, 5.7)
    surface = surface_of({"p": (planter, "planter")}, (LineString(cage.exterior), "fence", "no"))
    ((x, y),) = places(surface, "p")
    assert abs(x - 14.8) < 1
    assert abs(y - 5.5) < 1
    assert np.isinf(surface.cost[surface.labels == 2]).all()
    assert ground_links(surface).isolated == ("a", "p")
    assert "p." in surface.faults[0].what


def test_a_balcony_smaller_than_a_cell_is_off_the_ground_too(surface_of):
    """It cannot be entered, so it is not warned of."""
    surface = surface_of({"b": (box(14.7, 5.4, 14.9, 5.6), "balcony")})
    assert ground_links(surface).isolated == ("a", "b")
    assert surface.faults == ()


def test_many_shut_plots_are_counted(surface_of):
    """Fifteen in a row, twelve of them named."""
    huts = {f"h{k:02d}": box(20 + 5 * k, 0, 22 + 5 * k, 2) for k in range(15)}
    surface = surface_of(
        {plot: (shape, "garden") for plot, shape in huts.items()},
        *[(LineString(shape.exterior), "wall", "no") for shape in huts.values()],
        buildings=list(huts.values()),
    )
    (fault,) = surface.faults
    assert "h00, h01" in fault.what
    assert "h12" not in fault.what
    assert fault.what.endswith("h11 and 3 more.")
