"""Groups that walk: links over the ground, gaps worth making, corridors, squeezes."""

import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely

from patchnet import read_demo
from patchnet.assess import assess
from patchnet.assess.fences import break_corridors, fence_gaps, squeeze, squeeze_in_blocks
from patchnet.assess.find_gaps import find_gaps
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.movement.distance import Pairs
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures
from patchnet.pages.terminal.gaps_text import gaps_text
from patchnet.read import build_neighbourhood

KNOWLEDGE = load_knowledge()
POND = "lawn 200; flower border 60; leaf pile 4; log pile 3; pond 4"
HABITAT = "lawn 200; flower border 60; log pile 3; leaf pile 4; hedgehog house; bird bath"


def row_of_gardens(first_fence, second_fence, *, wall="no", features=HABITAT):
    """Three gardens of 20 x 30 m side by side, a wall all round, a fence on each border."""
    shapes = [shapely.box(left, 0, left + 20, 30) for left in (0, 20, 40)]
    plots = gpd.GeoDataFrame(
        {"id": ["a", "b", "c"], "kind": "garden", "seen": "all", "features": features},
        geometry=shapes,
        crs="EPSG:27700",
    )
    barriers = gpd.GeoDataFrame(
        {
            "kind": ["wall", "fence", "fence"],
            "gap": [wall, first_fence, second_fence],
            "height": [2, 1.8, 1.8],
        },
        geometry=[
            shapely.box(0, 0, 60, 30).exterior,
            shapely.LineString([(20, 0), (20, 30)]),
            shapely.LineString([(40, 0), (40, 30)]),
        ],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, barriers=barriers, knowledge=KNOWLEDGE, name="row")


def hedgehogs(street, **options):
    return assess(street, knowledge=KNOWLEDGE, groups=["hedgehog"], **options)


def test_straight_lines_on_request():
    """Touching gardens are 0 m apart whatever stands between them."""
    answer = hedgehogs(row_of_gardens("no", "no"), straight=True).groups["hedgehog"]
    assert answer.ground is None
    assert answer.measures.components == 1
    assert answer.network.length_mm.tolist() == [0, 20000, 0]  # a-b, a-c, b-c


def test_a_closed_fence_parts_what_touches():
    """No gap anywhere: three connected groups, each garden by itself."""
    answer = hedgehogs(row_of_gardens("no", "no")).groups["hedgehog"]
    assert answer.measures.components == 3
    assert list(answer.network.ids) == ["a", "b", "c"]
    assert answer.ground.links.isolated == ("a", "b", "c")


def test_one_gap_is_enough():
    answer = hedgehogs(row_of_gardens("yes", "no")).groups["hedgehog"]
    assert answer.measures.components == 2
    assert answer.component["a"] == answer.component["b"] != answer.component["c"]


def test_not_known_is_probably_passable_somewhere():
    """Only 5 % of gardens were wholly closed (Gazzard et al. 2021): not known links, dearer."""
    known = hedgehogs(row_of_gardens("yes", "yes")).groups["hedgehog"]
    doubt = hedgehogs(row_of_gardens("not known", "not known")).groups["hedgehog"]
    assert doubt.measures.components == 1
    assert doubt.network.length_mm.min() > known.network.length_mm.max()


def test_reach_follows_the_ground():
    """Behind a closed fence nothing is within reach; with a gap the neighbour's supply is."""
    shut = hedgehogs(row_of_gardens("no", "no")).groups["hedgehog"]
    opened = hedgehogs(row_of_gardens("yes", "no")).groups["hedgehog"]
    assert shut.needs[0].enough["a"] == pytest.approx(shut.needs[0].enough["c"])
    assert opened.needs[0].enough["a"] == pytest.approx(2 * shut.needs[0].enough["a"])
    assert opened.needs[0].enough["c"] == pytest.approx(shut.needs[0].enough["c"])


def test_gaps_in_order_join_all_three():
    """Both fences are to be opened; after both, the gardens hold together."""
    street = row_of_gardens("no", "no")
    gaps = fence_gaps(hedgehogs(street), "hedgehog")
    assert {gap.barriers for gap in gaps} == {(1,), (2,)}
    assert all(gap.kinds == ("fence",) and gap.now == "no" for gap in gaps)
    assert all(math.isinf(gap.cost_before) and gap.cost_after < 5 for gap in gaps)
    assert all(gap.homes_won > 0 for gap in gaps)
    assert {tuple(sorted(gap.joins)) for gap in gaps} == {("a", "b"), ("b", "c")}
    for gap in gaps:
        line = street.barriers.geometry.iloc[gap.barriers[0]]
        assert (
            line.distance(gap.place) <= hedgehogs(street).groups["hedgehog"].ground.surface.cell_m
        )


def test_gain_by_a_second_route():
    """Put the links of the gaps into the graph by hand and measure it anew, one after another."""
    answer = hedgehogs(row_of_gardens("no", "not known"))
    group = answer.groups["hedgehog"]
    network = group.network
    links = {
        (int(i), int(j)): int(d)
        for i, j, d in zip(network.i, network.j, network.length_mm, strict=True)
    }
    p_cut = KNOWLEDGE.setting("p_cut")
    before = network_measures(network, p_cut=p_cut, hops=False).eca
    gaps = fence_gaps(answer, "hedgehog")
    assert len(gaps) == 2
    for gap in gaps:
        ends = tuple(sorted(network.ids.get_indexer(list(gap.joins)).tolist()))
        links[ends] = min(links.get(ends, 10**9), round(gap.cost_after * 1000))
        pairs = sorted(links)
        added = patch_graph(
            network.ids,
            network.homes,
            Pairs(
                np.array([i for i, _ in pairs], np.int32),
                np.array([j for _, j in pairs], np.int32),
                np.array([links[pair] for pair in pairs], np.int64),
            ),
            hop_m=group.group.hop.value,
            d50_m=network.d50_m,
        )
        after = network_measures(added, p_cut=p_cut, hops=False).eca
        assert gap.homes_won == pytest.approx(after - before, rel=1e-9)
        before = after


@pytest.fixture(scope="module")
def two_ponds():
    """Newts breed in a and c; b between them has a lawn, where they can rest, and no pond."""
    street = row_of_gardens("no", "no", features=[POND, "lawn 200", POND])
    return assess(street, knowledge=KNOWLEDGE, groups=["newt"])


def test_two_gaps_that_win_only_together(two_ponds):
    """Together they make one way, from a over b to c; half arrive after d50."""
    now = two_ponds.groups["newt"]
    assert now.homes[now.patch].round(3).tolist() == pytest.approx([0.671, 0, 0.671], abs=0.001)
    assert fence_gaps(two_ponds, "newt", most=2) == ()
    assert fence_gaps(two_ponds, "newt", most=1, together=True) == ()
    first, second = fence_gaps(two_ponds, "newt", most=2, together=True)
    assert (first.joins, first.homes_won, second.joins) == (("a", "b"), 0, ("b", "c"))
    a, _, c = now.homes[now.patch].tolist()
    chance = 2 ** (-(first.cost_after + second.cost_after) / now.network.d50_m)
    won = math.sqrt(a**2 + c**2 + 2 * a * c * chance) - math.hypot(a, c)
    assert second.homes_won == pytest.approx(won, rel=1e-4)


@pytest.mark.parametrize("draws", [0, 3])
def test_gaps_that_win_only_together_are_told_so(two_ponds, draws):
    found = find_gaps(two_ponds, "newt", most=2, draws=draws)
    assert [gap.joins for gap in found.gaps] == [("a", "b"), ("b", "c")]
    assert found.gaps[0].homes_won == 0 < found.gaps[1].homes_won
    words = " ".join(gaps_text(found).split())
    assert words.count("none by itself, only together with the next one") == 1


def test_an_open_fence_needs_no_gap():
    assert fence_gaps(hedgehogs(row_of_gardens("yes", "yes")), "hedgehog") == ()


def test_corridors_follow_breaks():
    """A break over the ground has a corridor whose cost is the break's."""
    street = row_of_gardens("no", "no", wall="yes")
    answer = hedgehogs(street)
    group = answer.groups["hedgehog"]
    heard = []
    ways = break_corridors(answer, "hedgehog", progress=lambda gaps: heard.extend(gaps) or gaps)
    assert heard == list(group.breaks)
    for gap, way in zip(group.breaks, ways, strict=True):
        assert {way.plot_a, way.plot_b} == {gap.from_plot, gap.to_plot}
        assert way.cost == pytest.approx(gap.cost_m, abs=0.01)


def test_movement_squeezes_through_the_gap():
    """Everything between two gardens passes the one gap in the middle of their fence."""
    answer = hedgehogs(row_of_gardens("yes", "no"))
    surface = answer.groups["hedgehog"].ground.surface
    current = squeeze(answer, "hedgehog")
    assert current.shape == surface.cost.shape
    open_ground = hedgehogs(row_of_gardens("no", "no"))
    assert np.nanmax(squeeze(open_ground, "hedgehog")) == pytest.approx(0, abs=1e-6)
    assert np.nanmax(current) > 0


def by_block(surface, current, west, north, side_m, shape):
    """Mean current in square blocks of ground, whatever the cells are."""
    rows, columns = np.indices(current.shape)
    y = (north - (surface.grid.north - (rows + 0.5) * surface.cell_m)) // side_m
    x = ((surface.grid.west + (columns + 0.5) * surface.cell_m) - west) // side_m
    inside = (y >= 0) & (y < shape[0]) & (x >= 0) & (x < shape[1])
    at = (y[inside] * shape[1] + x[inside]).astype(int)
    size = shape[0] * shape[1]
    total = np.bincount(at, current[inside], size)
    return (total / np.maximum(np.bincount(at, minlength=size), 1)).reshape(shape)


def test_cells_twice_as_wide_show_the_same_narrow_places():
    """Amperes through a metre of ground, on small cells and on large ones: a bound, as stated."""
    demo = assess(read_demo(), knowledge=KNOWLEDGE, groups=["newt"])
    small = demo.groups["newt"].ground.surface
    wide, current = squeeze_in_blocks(demo, "newt", 2)
    assert wide.cell_m == 2 * small.cell_m
    frame = (small.grid.west + 10, small.grid.north - 10, 2.0, (90, 140))
    fine = by_block(small, squeeze(demo, "newt") / small.cell_m, *frame)
    coarse = by_block(wide, current / wide.cell_m, *frame)
    both = (fine > 0) & (coarse > 0)
    assert np.corrcoef(fine[both], coarse[both])[0, 1] > 0.95
    busiest, busy = (one > np.quantile(one[one > 0], 0.97) for one in (fine, coarse))
    assert (busiest & busy).sum() > 0.85 * busiest.sum()


def test_where_plots_would_have_no_cell_the_small_ones_are_kept():
    answer = hedgehogs(row_of_gardens("yes", "no"))
    surface, current = squeeze_in_blocks(answer, "hedgehog", 1000)
    assert surface is answer.groups["hedgehog"].ground.surface
    np.testing.assert_array_equal(current, squeeze(answer, "hedgehog"))


def test_too_large_a_ground_is_left_out():
    few = dict(KNOWLEDGE.settings)
    few["squeeze_cells_max"] = replace(few["squeeze_cells_max"], value=10.0)
    street = row_of_gardens("yes", "yes")
    answer = assess(street, knowledge=replace(KNOWLEDGE, settings=few), groups=["hedgehog"])
    assert squeeze(answer, "hedgehog") is None
    assert squeeze_in_blocks(answer, "hedgehog", 2) is None


def test_groups_that_fly_have_no_fences():
    answer = assess(row_of_gardens("no", "no"), knowledge=KNOWLEDGE, groups=["wren"])
    assert answer.groups["wren"].ground is None
    assert fence_gaps(answer, "wren") == ()
    assert break_corridors(answer, "wren") == ()
    assert squeeze(answer, "wren") is None
    assert squeeze_in_blocks(answer, "wren", 2) is None


def test_unknown_group():
    answer = hedgehogs(row_of_gardens("no", "no"))
    with pytest.raises(WrongUse, match="Did you mean hedgehog"):
        fence_gaps(answer, "hedgehogg")


def test_a_gap_elsewhere_is_said():
    """The wall all round has a gap at one place; another place in it may still be worth one."""
    answer = hedgehogs(row_of_gardens("no", "no", wall="yes"))
    for gap in fence_gaps(answer, "hedgehog"):
        assert gap.now == ("yes" if gap.kinds == ("wall",) else "no")


def test_a_gap_is_put_in_the_middle_of_equally_good_places():
    """Anywhere along a straight fence between two lawns is as good: not at its end."""
    for gap in fence_gaps(hedgehogs(row_of_gardens("no", "no")), "hedgehog"):
        assert 10 <= gap.place.y <= 20
