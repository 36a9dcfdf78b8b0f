"""The painted ground: order, smallest plots, barriers with their gaps, the file, memory."""

import math
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from rasterio.features import rasterize
from shapely import LineString, Point, box
from shapely.affinity import rotate

from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.movement.geotiff import barrier_map, write_geotiff
from patchnet.movement.ground_grid import lay_grid
from patchnet.movement.ground_links import ground_links
from patchnet.movement.surface import cost_surface


def at(surface, x, y):
    """Cost per metre at a place."""
    row = (surface.grid.north - y) / surface.cell_m
    column = (x - surface.grid.west) / surface.cell_m
    return surface.cost[int(row), int(column)]


def costs(know, group="hedgehog"):
    return {key: figure.value for key, figure in know.ground_costs[group].covers.items()}


def pair(**kwargs):
    """Two gardens of 10 x 20 m with 10 m between them."""
    return {"a": (box(0, 0, 10, 20), "garden"), "b": (box(20, 0, 30, 20), "garden")} | kwargs


def with_setting(know, **values):
    settings = dict(know.settings)
    for key, value in values.items():
        settings[key] = replace(settings[key], value=value)
    return replace(know, settings=settings)


# painting -------------------------------------------------------------------------------------


def test_what_lies_on_top_is_what_counts(scene, know):
    """Unmapped, road, footway, plot, pond, building: each over those before it."""
    ground = scene(
        {"a": (box(0, 0, 20, 20), "verge")},
        roads=[(LineString([(-30, 10), (60, 10)]), 6.0), (LineString([(-15, -30), (-15, 50)]), 3)],
        footways=[box(-30, 6, 60, 8.5)],
        buildings=[box(12, 12, 18, 18)],
        features=[(box(2, 12, 8, 18), "pond"), (Point(1, 1), "pond")],
    )
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=0.5)
    cost = costs(know)
    for (x, y), cover in {
        (-5, 15): "unmapped",
        (-5, 11): "carriageway_wide",
        (-15, 17): "carriageway_narrow",
        (-5, 7): "footway",
        (-5, 8.2): "footway",
        (10, 10): "verge",
        (1, 1): "verge",
        (5, 15): "water",
    }.items():
        assert at(surface, x, y) == pytest.approx(cost[cover]), cover
    assert at(surface, 15, 15) == math.inf
    assert surface.labels.max() == 1


def test_a_plot_costs_the_mean_of_what_is_on_it(scene, know):
    """100 m2: 40 m2 of paving (2), 20 m2 of pond of which each takes 1.2 m2 (20), rest lawn-like.

    Park is lawn (1): 0.4 x 2 + 0.24 x 20 + 0.36 x 1 = 5.96. Features not known say nothing.
    """
    ground = scene(
        {"a": (box(0, 0, 10, 10), "park")},
        amounts={("a", "paving"): 40, ("a", "pond"): 20, ("a", "bee_hotel"): 3},
    )
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=1)
    assert at(surface, 5, 5) == pytest.approx(5.96)


def test_more_on_a_plot_than_fits_is_shared_out(scene, know):
    """150 m2 of paving and 50 of lawn on 100 m2: 0.75 x 2 + 0.25 x 1 = 1.75."""
    ground = scene(
        {"a": (box(0, 0, 10, 10), "yard")},
        amounts={("a", "paving"): 150, ("a", "lawn_short"): 50},
    )
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=1)
    assert at(surface, 5, 5) == pytest.approx(1.75)


def test_a_balcony_is_off_the_ground(scene, know):
    plots = pair(balcony=(box(12, 0, 14, 2), "balcony"))
    surface = cost_surface(scene(plots), know.groups["hedgehog"], know, cell_m=0.5)
    links = ground_links(surface)
    assert links.isolated == ("balcony",)
    assert (surface.labels == 3).sum() == 16


@pytest.mark.parametrize("cell", [1.0, 2.0, 5.0])
def test_no_plot_vanishes(scene, know, cell):
    """Planters of 0.4 m in a row, some under the edge of a house: each keeps a cell."""
    planters = {f"p{k}": (box(3 * k, 10.1, 3 * k + 0.4, 10.5), "planter") for k in range(6)}
    ground = scene(
        {"a": (box(0, -10, 20, 10), "garden")} | planters, buildings=[box(-5, 10.3, 5, 18)]
    )
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=cell)
    sizes = np.bincount(surface.labels.ravel(), minlength=8)
    assert (sizes[1:] >= 1).all()
    for label in range(1, 8):
        assert np.isfinite(surface.cost[surface.labels == label]).any()
    assert ground_links(surface).isolated == ()


def test_too_many_small_plots_for_the_cells(scene, know):
    planters = {
        f"p{k}": (box(k % 10, k // 10, k % 10 + 0.4, k // 10 + 0.4), "planter") for k in range(90)
    }
    with pytest.raises(WrongUse, match=r"no cell of its own.*Try cells of 5 m"):
        cost_surface(scene(planters), know.groups["hedgehog"], know, cell_m=10)


def test_smaller_plots_lie_on_larger_ones(scene, know):
    plots = {"bed": (box(4, 4, 6, 6), "garden"), "park": (box(0, 0, 10, 10), "park")}
    surface = cost_surface(scene(plots), know.groups["hedgehog"], know, cell_m=1)
    assert np.bincount(surface.labels.ravel())[1:].tolist() == [4, 96]


def test_cells_are_chosen_from_the_plots(scene, know):
    """Half the width of the narrow plots: a verge 4 m wide and 100 m long, 2A/P = 3.85 m: 1.5 m."""
    verge = {f"v{k}": (box(0, 10 * k, 100, 10 * k + 4), "verge") for k in range(4)}
    assert lay_grid(scene(verge).plots, know, None).cell_m == 1.5
    planters = {"p": (box(0, 0, 0.5, 0.5), "planter")}
    assert lay_grid(scene(planters).plots, know, None).cell_m == 0.5
    big = {"p": (box(0, 0, 20000, 20000), "park")}
    grid = lay_grid(scene(big).plots, know, None)
    assert grid.cells <= know.setting("ground_cells_max") * 1.1


def test_groups_without_costs_are_refused(scene, know):
    with pytest.raises(WrongUse, match="'wren', which moves through the air"):
        cost_surface(scene(pair()), know.groups["wren"], know)


@pytest.mark.parametrize("cell", [0, -1, math.nan, math.inf])
def test_cells_must_be_a_length(scene, know, cell):
    with pytest.raises(WrongUse, match="side of a cell"):
        cost_surface(scene(pair()), know.groups["newt"], know, cell_m=cell)


def test_memory_is_foreseen(scene, know):
    """The cell that is said to fit does fit, and one a good deal smaller does not."""
    tight = with_setting(know, ground_memory_gb=1e-4)
    ground = scene(pair())
    with pytest.raises(WrongUse, match="would fit") as caught:
        cost_surface(ground, know.groups["newt"], tight, cell_m=0.1)
    fits = float(str(caught.value).split("Cells of ")[-1].split(" m")[0])
    assert lay_grid(ground.plots, tight, fits).cell_m == fits
    with pytest.raises(WrongUse):
        lay_grid(ground.plots, tight, fits * 0.9)


def test_no_plots(scene, know):
    empty = scene(pair())
    with pytest.raises(WrongUse, match="no plots"):
        lay_grid(empty.plots.iloc[:0], know, 1.0)


# barriers -------------------------------------------------------------------------------------

FENCE = LineString([(15, -40), (15, 60)])


def link_cost(scene, know, *barriers, cell=0.5, plots=None, **kwargs):
    ground = scene(plots or pair(), barriers=barriers, **kwargs)
    surface = cost_surface(ground, know.groups["hedgehog"], know, cell_m=cell)
    links = ground_links(surface)
    return (links.cost[0] if len(links.cost) else math.inf), surface


@pytest.mark.parametrize("cell", [0.5, 1, 2])
def test_fences_and_gaps(scene, know, cell):
    """Ten metres of unmapped ground (2.5 a metre) between two gardens: 25; and the fence.

    Without a gap there is no way; with one it costs 1 more; not known 15 more; a hedge 3.
    """
    assert link_cost(scene, know, cell=cell)[0] == pytest.approx(25)
    for kind, gap, more in (
        ("fence", "no", math.inf),
        ("fence", "yes", 1),
        ("fence", "not_known", 15),
        ("hedge", "no", 3),
    ):
        cost, _ = link_cost(scene, know, (FENCE, kind, gap), cell=cell)
        assert cost == pytest.approx(25 + more), (kind, gap)


@pytest.mark.parametrize("shift", [0, 0.25, 0.5, 0.1234])
def test_a_thin_fence_never_leaks(scene, know, shift):
    """Slanting, and right through the centres of cells."""
    fence = LineString([(15 + shift, -40), (15 + shift, 3), (12 + shift, 25), (16, 60)])
    assert link_cost(scene, know, (fence, "fence", "no"), cell=1)[0] == math.inf


def test_a_low_barrier_is_stepped_over(scene, know):
    assert link_cost(scene, know, (FENCE, "wall", "no", 0.1))[0] == pytest.approx(26)
    assert link_cost(scene, know, (FENCE, "wall", "no", 1.8))[0] == math.inf


def test_a_gap_stands_where_it_is_mapped_else_in_the_middle(scene, know):
    """The fence runs from y = -40 to 60: middle at y = 10; mapped at y = 18."""
    for features, y in (((), 10), (((Point(15.4, 18), "fence_gap"),), 18)):
        cost, surface = link_cost(scene, know, (FENCE, "fence", "yes"), features=features)
        links = ground_links(surface)
        crossed = links.line[0].intersection(FENCE)
        assert cost == pytest.approx(26)
        assert crossed.y == pytest.approx(y, abs=0.5)
        assert surface.steps.gap.sum() == 1
    cost, _ = link_cost(scene, know, (FENCE, "fence", "no"), features=features)
    assert cost == pytest.approx(26), "a gap that is mapped is one, whatever else was said"


def test_a_fence_drawn_twice_is_one_fence(scene, know):
    """From both gardens, 10 cm apart; one neighbour knows of the gap: it goes through both."""
    twin = LineString([(15.1, -40), (15.1, 60)])
    cost, _ = link_cost(scene, know, (FENCE, "fence", "not_known"), (twin, "fence", "not_known"))
    assert cost == pytest.approx(25 + 15)
    cost, _ = link_cost(scene, know, (FENCE, "fence", "yes"), (twin, "fence", "no"), cell=0.5)
    assert cost == pytest.approx(26)


def test_ends_that_just_miss_are_joined(scene, know):
    """Slips of 20 cm between two fences and a house close the way; one of 3 m does not."""
    low = LineString([(15, -60), (15, 8)])
    for gap, closed in ((0.2, True), (3.0, False)):
        house = box(12, 30, 18, 90)
        high = LineString([(15, 8 + gap), (15, 29.85)])
        cost, _ = link_cost(
            scene, know, (low, "fence", "no"), (high, "fence", "no"), buildings=[house],
            cell=0.25,
        )  # fmt: skip
        assert math.isinf(cost) == closed


def test_a_thin_building_is_closed_too(scene, know):
    """A garden wall mapped as a building 10 cm wide, in cells of 1 m."""
    cost, _ = link_cost(scene, know, buildings=[box(15.03, -60, 15.13, 80)], cell=1)
    assert cost == math.inf


def test_a_passage_beside_a_house_stays_open(scene, know):
    """House, passage 1.2 m wide, fence: the fence does not fill the passage (cells 0.5 m)."""
    house, fence = box(11, -60, 15, 9), LineString([(16.2, -60), (16.2, 9), (19, 9)])
    plots = {"south": (box(15.1, -18, 16.1, -15), "garden"), "far": (box(15, 25, 25, 30), "garden")}
    _, surface = link_cost(
        scene, know, (fence, "fence", "no"), plots=plots, buildings=[house], cell=0.5
    )
    assert ground_links(surface).isolated == ()


def test_a_walled_in_patch_stays_isolated_and_named(scene, know):
    ring = box(-1, -1, 11, 21).exterior
    _, surface = link_cost(scene, know, (LineString(ring), "wall", "no"))
    links = ground_links(surface)
    assert links.isolated == ("a", "b")
    assert (surface.labels == 1).any()


def test_a_barrier_that_crosses_itself_and_one_off_the_map(scene, know):
    eight = LineString([(13, 0), (17, 20), (17, 0), (13, 20), (13, 0)])
    off = LineString([(900, 900), (950, 900)])
    cost, surface = link_cost(scene, know, (eight, "fence", "no"), (off, "fence", "no"))
    assert cost == pytest.approx(25, abs=3)
    (fault,) = surface.faults
    assert (fault.severity, fault.row) == ("warning", 2)
    assert "outside the ground" in fault.what


def test_a_gap_that_leads_nowhere_is_said(scene, know):
    inside = LineString([(14, 5), (16, 5)])
    _, surface = link_cost(scene, know, (inside, "fence", "yes"), buildings=[box(13, 0, 17, 20)])
    (fault,) = surface.faults
    assert "leads nowhere" in fault.what


def test_a_gap_behind_a_house_opens_nothing_elsewhere(scene, know):
    """The middle of the fence is inside the house, 6 m from the nearest open ground."""
    cost, surface = link_cost(scene, know, (FENCE, "fence", "yes"), buildings=[box(12, 4, 18, 16)])
    assert cost == math.inf
    assert "leads nowhere" in surface.faults[0].what


def test_order_of_barriers_does_not_matter(scene, know):
    lines = [
        (FENCE, "fence", "not_known"),
        (LineString([(12, -20), (18, 40)]), "wall", "yes"),
        (LineString([(10, 5), (20, 5)]), "hedge", "no"),
    ]
    one = link_cost(scene, know, *lines)[1]
    two = link_cost(scene, know, *lines[::-1])[1]
    np.testing.assert_array_equal(one.steps.key, two.steps.key)
    np.testing.assert_array_equal(one.steps.extra, two.steps.extra)


def test_a_quarter_turn_of_the_scene_changes_nothing(scene, know):
    """Everything turned about the origin: (x, y) to (-y, x)."""

    def turned(shape):
        return rotate(shape, 90, origin=(0, 0))

    plots = pair(c=(box(40, 5, 50, 15), "park"))
    barriers = [(LineString([(15.2, -40), (15.2, 60)]), "fence", "yes"),
                (LineString([(35.3, -9), (35.3, 60)]), "wall", "no")]  # fmt: skip
    houses = [box(22, 3, 28, 9)]
    one = link_cost(scene, know, *barriers, plots=plots, buildings=houses)[1]
    two = link_cost(
        scene, know,
        *[(turned(line), kind, gap) for line, kind, gap in barriers],
        plots={plot: (turned(shape), kind) for plot, (shape, kind) in plots.items()},
        buildings=[turned(house) for house in houses],
    )[1]  # fmt: skip
    first, second = ground_links(one), ground_links(two)
    np.testing.assert_array_equal(first.i, second.i)
    np.testing.assert_allclose(first.cost, second.cost, rtol=1e-9)
    np.testing.assert_allclose(first.length_m, second.length_m, rtol=1e-9)


def test_an_eighth_of_a_turn_changes_costs_by_at_most_the_error_of_eight_directions(scene, know):
    """8.2 % either way (see the growth), and half a cell at each end of 25 cost metres."""
    turned = {
        plot: (rotate(shape, 45, origin=(0, 0)), kind) for plot, (shape, kind) in pair().items()
    }
    one, _ = link_cost(scene, know, cell=0.25)
    two, _ = link_cost(scene, know, cell=0.25, plots=turned)
    worst = math.sqrt(4 - 2 * math.sqrt(2))
    slack = 2.5 * 0.25 * 2 / 25
    assert 1 / worst - slack <= two / one <= worst + slack


# links ----------------------------------------------------------------------------------------


def test_links_of_some_plots_only(scene, know):
    """b lies between a and c; without it their territories touch, over its ground (1.3 a metre)."""
    plots = pair(c=(box(40, 0, 50, 20), "garden"))
    surface = cost_surface(scene(plots), know.groups["hedgehog"], know, cell_m=1)
    every = ground_links(surface).table(surface.plots)
    assert every[["plot_a", "plot_b"]].to_numpy().tolist() == [["a", "b"], ["b", "c"]]
    assert every["cost"].tolist() == pytest.approx([25, 25])
    assert every["length_m"].tolist() == pytest.approx([10, 10])
    some = ground_links(surface, patches=["c", "a"])
    assert some.cost.tolist() == pytest.approx([25 + 13 + 25])
    assert some.line[0].coords[0][0] == 9.5, "from a to c, whichever was asked for first"
    assert ground_links(surface, limit=24).isolated == ("a", "b", "c")
    with pytest.raises(WrongUse, match="no plot 'x'"):
        ground_links(surface, patches=["x"])


# the file -------------------------------------------------------------------------------------


def test_geotiff_keeps_place_and_values(scene, know, tmp_path):
    _, surface = link_cost(
        scene, know, (FENCE, "fence", "no"), buildings=[box(40, 0, 45, 20)], cell=0.5
    )
    path = tmp_path / "ground.tif"
    write_geotiff(surface, path)
    with rasterio.open(path) as file:
        assert file.crs.to_epsg() == 27700
        assert file.transform == surface.transform
        assert file.descriptions == ("cost per metre", "plot", "barrier")
        cost, plots, barrier = file.read()
        assert file.nodata == -1
    np.testing.assert_array_equal(np.where(cost < 0, np.inf, cost), surface.cost)
    np.testing.assert_array_equal(np.where(plots < 0, 0, plots), surface.labels)
    np.testing.assert_array_equal(barrier, barrier_map(surface))
    shown = rasterize([(FENCE.buffer(1), 1)], surface.cost.shape, transform=surface.transform)
    assert set(np.unique(barrier[shown == 0])) <= {0, -1}
    assert (barrier[(shown == 1)] == -1).any()


def test_the_same_input_gives_the_same_bytes(scene, know, tmp_path):
    for name in ("one.tif", "two.tif"):
        write_geotiff(link_cost(scene, know, (FENCE, "fence", "yes"))[1], tmp_path / name)
    assert (tmp_path / "one.tif").read_bytes() == (tmp_path / "two.tif").read_bytes()


def test_a_folder_that_is_not_there(scene, know, tmp_path):
    with pytest.raises(CannotWrite):
        write_geotiff(link_cost(scene, know)[1], tmp_path / "no" / "ground.tif")
