"""The walking width at the worst point, found a second way: how wide a disc gets past the box.

The footway less everything that stands in it is made smaller by half a width all round; somebody
that wide gets past if what is left still leads from one end to the other behind the box. No line
across and no list of gaps is used, only the drawn areas.
"""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.knowledge.street import PlanterSize
from patchnet.read import read_neighbourhood
from patchnet.street import find_street, planter_sites

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
BOX = PlanterSize("box", "box", 1.2, 0.5, 0.6, 0.5, 0.15)
AHEAD = 1.5  # looked before and after the plants, as the table says


def frame(site):
    """Unit vectors along the kerb and away from the road."""
    bearing = np.radians(site.bearing_deg)
    along = np.array([np.sin(bearing), np.cos(bearing)])
    out = (
        np.array([-along[1], along[0]]) if site.side == "left" else np.array([along[1], -along[0]])
    )
    return along, out


def block(site, low, high, half):
    """A rectangle beside the box: from low to high away from the road, so far each way along."""
    along, out = frame(site)
    middle = np.array([site.centre.x, site.centre.y])
    return shapely.Polygon(
        [
            middle + a * half * along + b * out
            for a, b in ((-1, low), (1, low), (1, high), (-1, high))
        ]
    )


def widest_disc(site, footway, obstacles):
    """How wide a disc gets past the plants between the box and the back of the footway."""
    size = site.size
    half, far = size.length_m / 2 + size.spread_m, size.width_m / 2 + size.spread_m
    # Nobody goes round on the kerb side, and nobody squeezes past before the window begins.
    wall = block(site, -6.0, far, half)
    near = block(site, -8.0, 14.0, half + AHEAD + 8.0)
    end = half + AHEAD - 0.1
    window = block(site, -6.0, 12.0, half + AHEAD)
    ground = footway.intersection(near).difference(shapely.union_all([wall, *obstacles]))
    along, _ = frame(site)
    start = np.array([site.centre.x, site.centre.y])

    def passes(width):
        free = ground.buffer(-width / 2).intersection(window)
        for part in shapely.get_parts(free):
            reach = (shapely.get_coordinates(part) - start) @ along
            if len(reach) and reach.min() < -end and reach.max() > end:
                return True
        return False

    low, high = 0.0, 12.0
    while high - low > 0.002:
        middle = (low + high) / 2
        low, high = (middle, high) if passes(middle) else (low, middle)
    return low


def is_drawn_round(street, site):
    """Whether the footway is drawn as an area well before and after the box."""
    side = street.side(site.side)
    return np.isfinite(side.drawn[np.abs(side.chainage - site.chainage_m) < 6.0]).all()


@pytest.fixture(scope="module")
def demo(know):
    hood = read_neighbourhood(DEMO, knowledge=know)
    street = find_street(hood, "Wickthorn Street", knowledge=know)
    return street, planter_sites(hood, street, knowledge=know, spacing_m=5.0)


def test_the_demo_street(demo):
    """Every width that was not stated by somebody: as drawn, to five centimetres.

    The ground is two centimetres larger all round, to bridge seams between footways drawn edge to
    edge.
    """
    street, sites = demo
    drawn = [
        site for site in sites
        if is_drawn_round(street, site)
        and site.clear_m is not None and site.clear_basis == "from the map"
        and site.footway_m is not None and 20 < site.chainage_m < 150 and site.clear_m > 0.3
    ]  # fmt: skip
    assert len(drawn) > 10
    for site in drawn:
        things = [thing.shape for thing in street.objects if thing.kind.solid]
        obstacles = [*things, street.barriers_inside]
        found = widest_disc(site, street.footway_ground, obstacles)
        assert site.clear_m == pytest.approx(found, abs=0.05), site.key


@settings(max_examples=25, deadline=None)
@given(
    backs=st.lists(st.floats(5.2, 8.0), min_size=11, max_size=11),
    posts=st.lists(st.tuples(st.floats(48, 52), st.floats(4.6, 7.0)), max_size=3),
    turned=st.floats(-180, 180),
)
def test_any_back_edge_and_posts(backs, posts, turned, scene, found, know):
    """A footway whose back is a jagged line, with posts 0.2 m across in it; any way round."""
    back = [(10.0 * at, y) for at, y in enumerate(backs)]
    high = scene(
        roads=[("High Street", shapely.LineString([(0, 0), (100, 0)]), 6.0, "20")],
        footways=[("left", shapely.Polygon([(0, 3), (100, 3), *reversed(back)]), None)],
        objects=[("sign post", shapely.Point(*post), 0.2) for post in posts] or None,
        turned=turned,
    )
    street, hood = found(high)
    (site,) = planter_sites(hood, street, knowledge=know, sizes=[BOX], spacing_m=50.0, sides="left")
    things = [thing.shape for thing in street.objects]
    assert site.clear_m == pytest.approx(widest_disc(site, street.walkable, things), abs=0.02)
