"""Breaks and gaps in fences over the draws: knife-edges on paper, and what is not one."""

import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy import stats
from worlds.paper import figure, make_knowledge, make_street

from patchnet.assess import assess
from patchnet.assess.find_gaps import find_gaps
from patchnet.assess.links_in_draws import breaks_in_draws
from patchnet.assess.over_draws import draws_of
from patchnet.assess.spread import Spread
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.families import Family
from patchnet.pages.kit.doubt_words import break_words
from patchnet.pages.terminal.gaps_text import gaps_json, gaps_text
from patchnet.read import build_neighbourhood

HOP = {"hop": Family("hop", "mobility", "group", figure(0.6, "share"))}
TABLES = replace(load_knowledge(), families={})


def with_hop(knowledge, key, low, value, high):
    group = knowledge.groups[key]
    hop = replace(group.hop, key=f"groups/{key}/hop", low=low, value=value, high=high)
    groups = {**knowledge.groups, key: replace(group, hop=hop)}
    return replace(knowledge, groups=groups, families=HOP)


def test_a_break_at_the_edge_of_a_hop():
    """One home each, 53 m apart; a hop of 50 m that may be 15 to 200.

    Shunned where the hop is below 53 m: log(53 / 50) is 0.042 of log(200 / 50), so 0.042 x 1.645 =
    0.069 standard deviations above the median: 0.5275 of all. Then closing it wins
    sqrt(2 + 2 p) - sqrt(2) at p = 2^(-53 / 50); else they are linked already and it wins nothing.
    Nor does it where 53 m are more than five moves.
    """
    know = with_hop(make_knowledge(reach=20), "imp", 15, 50, 200)
    answer = assess(make_street([(1, 4), (1, 4)], lefts=[0, 63]), knowledge=know)
    assert len(answer.groups["imp"].breaks) == 1
    draws = 200
    (one,) = breaks_in_draws(answer, draws=draws)["imp"]
    assert stats.norm.ppf(0.95) * math.log(53 / 50) / math.log(200 / 50) == pytest.approx(
        0.069, abs=5e-4
    )
    assert one.shunned == pytest.approx(0.5275, abs=3 * math.sqrt(0.25 / draws))
    hops = draws_of(answer, draws).draws.values[0]
    too_far = int((hops * 5 < 53).sum())
    n = round(one.often * draws)
    assert n == (hops < 53).sum() - too_far
    won = math.sqrt(2 + 2 * 2 ** (-53 / 50)) - math.sqrt(2)
    assert one.won == Spread(pytest.approx(won * one.often), 0, pytest.approx(won))
    words = break_words(one, "Moth", draws)
    shuns = f"only if the moth shuns gaps of 53 m, which is so in {n + too_far} of {draws} draws"
    assert shuns in words
    assert f"anything at all in {n} of {draws}" in words


def test_a_break_in_every_draw_or_in_none():
    """Nothing is drawn: the break's own figure, in all draws."""
    know = make_knowledge(hop=50, reach=20)
    answer = assess(make_street([(1, 4), (1, 4)], lefts=[0, 63]), knowledge=know)
    (gap,) = answer.groups["imp"].breaks
    (one,) = breaks_in_draws(answer, draws=4)["imp"]
    same = pytest.approx(gap.homes_won)
    assert one.won == Spread(same, same, same)
    assert (one.often, one.shunned) == (1, 1)
    assert "in every draw" in break_words(one, "Moth", 4)


def test_two_sides_that_are_linked_another_way():
    """p1-p2 are 60 m apart. In draws whose hop is 55 m p3 links them, over 2 x 50 = 100 m.

    With the hop at 40 m all three are alone: closing 60 m wins sqrt(3 + 2p) - sqrt(3), p = 2^-1.2.
    With 55 m: from p = 1/4 between p1 and p2 to 2^-1.2. Numerators 3 + 2 (1/2 + 1/2 + 1/4) = 5.5
    and 5 + 2^-0.2 (the way by p3 stays the best for the others).
    """
    shapes = [
        shapely.Point(x, y).buffer(0.5, quad_segs=64) for x, y in ((0, 0), (61, 0), (30.5, 40.4))
    ]
    assert shapes[0].distance(shapes[1]) == pytest.approx(60, abs=1e-3)
    across = shapes[0].distance(shapes[2])
    know = with_hop(make_knowledge(reach=20, step_min=1), "imp", 40, 40, 55)
    answer = assess(make_street([(1, 4)] * 3, shapes=shapes), knowledge=know)
    hops = draws_of(answer, 60).draws.values[0]
    found = {
        frozenset((one.gap.from_plot, one.gap.to_plot)): one
        for one in breaks_in_draws(answer, draws=60)["imp"]
    }
    one = found[frozenset(("p1", "p2"))]
    p, near = 2 ** (-60 / 50), 2 ** (-across / 50)
    alone = math.sqrt(3 + 2 * p) - math.sqrt(3)
    now = 3 + 2 * (2 * near + near**2)
    linked = math.sqrt(now + 2 * (p - near**2)) - math.sqrt(now)
    wins = np.where(hops >= 60, 0.0, np.where(hops >= across, linked, alone))
    assert set(np.unique(wins.round(6))) >= {round(alone, 6), round(linked, 6)}
    assert one.won.mean == pytest.approx(wins.mean(), rel=1e-4)
    assert one.often == (hops < 60).mean()


def gardens():
    """Two gardens of 20 x 30 m, a closed fence between them and all round; a third 30 m away."""
    shapes = [shapely.box(left, 0, left + 20, 30) for left in (0, 20, 70)]
    plots = gpd.GeoDataFrame(
        {
            "id": ["a", "b", "c"], "kind": "garden", "seen": "all",
            "features": "lawn 200; flower border 60; log pile 3; leaf pile 4; hedgehog house; "
            "bird bath",
        },
        geometry=shapes,
        crs="EPSG:27700",
    )  # fmt: skip
    barriers = gpd.GeoDataFrame(
        {"kind": ["fence", "fence"], "gap": ["no", "no"], "height": [1.8, 1.8]},
        geometry=[shapely.LineString([(20, 0), (20, 30)]), shapely.box(0, 0, 40, 30).exterior],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, barriers=barriers, knowledge=TABLES, name="row")


@pytest.fixture(scope="module")
def closed():
    """Everything known, no ranges."""
    hood = gardens()
    amount = np.nan_to_num(hood.answers.amount)
    known = replace(hood.answers, amount=amount, sized=amount > 0)
    return replace(hood, answers=known)


def test_all_known_and_no_ranges_leaves_no_doubt(closed):
    answer = assess(closed, knowledge=TABLES, groups=["hedgehog"])
    point = find_gaps(answer, "hedgehog", most=3)
    drawn = find_gaps(answer, "hedgehog", most=3, draws=2)
    assert len(point.gaps) == len(drawn.gaps) == 2
    for one, other in zip(point.gaps, drawn.gaps, strict=True):
        assert one.place == other.place
        assert other.homes_won == pytest.approx(one.homes_won, rel=1e-6)
        assert other.won_low == other.won_high == other.homes_won
        assert other.often == 1
    linked = answer.groups["hedgehog"].measures.eca
    assert drawn.linked == Spread(linked, linked, linked)
    total = pytest.approx(sum(one.homes_won for one in point.gaps), rel=1e-6)
    assert drawn.together == Spread(total, total, total)
    words = gaps_text(drawn)
    assert "in 9 of 10 draws); anything at all in 2 of 2." in " ".join(words.split())
    assert "nothing is said of how sure" in " ".join(gaps_text(point).split())


def test_a_gap_that_helps_only_those_that_go_far(closed):
    """Between b and c lie 30 m of open ground, at 2.5 a metre 75, and 1 for the gap: about 76.

    The gap between a and b wins in every draw, that to c where the hop is at least that.
    """
    know = with_hop(TABLES, "hedgehog", 40, 80, 160)
    answer = assess(closed, knowledge=know, groups=["hedgehog"])
    point = find_gaps(answer, "hedgehog", most=3)
    draws = 25
    found = find_gaps(answer, "hedgehog", most=3, draws=draws)
    far = next(gap for gap in found.gaps if "c" in gap.joins)
    near = next(gap for gap in found.gaps if "c" not in gap.joins)
    assert far.cost_after == pytest.approx(76, abs=2.5)
    assert near.often == 1
    hops = draws_of(answer, draws).draws.values[0]
    assert far.often == (hops >= far.cost_after).mean()
    assert 0.3 < far.often < 0.8
    assert far.won_low == 0
    assert found.gaps[0].joins == near.joins
    alike = {gap.joins: gap for gap in point.gaps}
    assert near.homes_won == pytest.approx(near.won_high, rel=0.5)
    assert {gap.joins for gap in found.gaps} == set(alike)


def test_the_same_on_one_core_and_on_two(closed):
    know = with_hop(TABLES, "hedgehog", 40, 80, 160)
    answer = assess(closed, knowledge=know, groups=["hedgehog"])
    one, two = (find_gaps(answer, "hedgehog", draws=10, processes=count) for count in (1, 2))
    assert gaps_json(one) == gaps_json(two)
