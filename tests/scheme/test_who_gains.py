"""Homes beside a scheme, counted by hand on a small street."""

import dataclasses
from types import SimpleNamespace

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.scheme.who_gains import addresses_of, who_gains

KNOW = load_knowledge()


def plot(key, kind, label, street, x, y, wide=5.0, deep=10.0, door=""):
    return {
        "plot": key, "kind": kind, "label": label, "street": street, "door": door,
        "geometry": shapely.box(x, y, x + wide, y + deep),
    }  # fmt: skip


# Six houses wall to wall, front and back; three flats with balconies across the road; a house
# 300 m away; a school 90 m and a park 150 m from the box at the origin.
ROWS = [
    *(plot(f"H{n}F", "garden_front", f"{n} front", "Low Row", 5 * n, 20) for n in range(1, 7)),
    *(plot(f"H{n}B", "garden_back", f"{n} back", "Low Row", 5 * n, 40) for n in range(1, 7)),
    *(plot(f"B{n}", "balcony", f"Flat {n}", "High Row", 10 * n, -20, deep=1.5) for n in range(3)),
    plot("FAR", "garden", "9", "Low Row", 300, 20),
    plot("SCH", "school_ground", "Mill School", "", 90, 0),
    plot("PRK", "park", "The Green", "", 150, 0),
    plot("VRG", "verge", "Verge", "Low Row", 3, 0),
]


@pytest.fixture(scope="module")
def scheme():
    table = gpd.GeoDataFrame(pd.DataFrame(ROWS).set_index("plot"), crs="EPSG:27700")
    hood = SimpleNamespace(plots=table)
    site = SimpleNamespace(polygon=shapely.box(-1, 0, 0, 1))
    return SimpleNamespace(
        before=SimpleNamespace(neighbourhood=hood, knowledge=KNOW),
        planters=(SimpleNamespace(site=site),),
    )


def test_front_and_back_are_one_address_and_a_balcony_has_no_ground(scheme):
    homes = addresses_of(scheme.before.neighbourhood, KNOW)
    assert len(homes) == 6 + 3 + 1
    low = [one for one in homes if one.street == "Low Row" and one.door != "9"]
    assert [one.door for one in low] == ["1", "2", "3", "4", "5", "6"]
    assert [one.ground_m2 for one in low] == [100.0] * 6
    assert {one.ground_m2 for one in homes if one.street == "High Row"} == {0.0}


def test_within_a_hundred_metres_by_block(scheme):
    """Nine homes, three of them without ground; the six in one block are told, three are too few
    to be told by themselves; the middle of 0, 0, 0, 100 x 6 is 100."""
    gains = who_gains(scheme)
    assert (gains.addresses, gains.without, gains.ground_m2) == (9, 3, 100.0)
    (block,) = gains.blocks
    assert (block.street, block.doors, block.addresses, block.without) == (
        "Low Row", ("1", "2", "3", "4", "5", "6"), 6, 0,
    )  # fmt: skip
    assert gains.schools == ("Mill School",)
    assert gains.greens == ()
    assert gains.green_m == pytest.approx(150)


def test_a_wider_circle_takes_in_more(scheme):
    figures = dict(KNOW.scheme_figures)
    figures["gain_reach_m"] = dataclasses.replace(figures["gain_reach_m"], value=310.0)
    wide = dataclasses.replace(KNOW, scheme_figures=figures)
    before = SimpleNamespace(neighbourhood=scheme.before.neighbourhood, knowledge=wide)
    gains = who_gains(SimpleNamespace(before=before, planters=scheme.planters))
    assert gains.addresses == 10
    assert gains.greens == ("The Green",)


def test_doors_of_the_map_come_before_labels():
    rows = [
        plot("A", "garden_front", "1 front", "Low Row", 0, 0, door="12A"),
        plot("B", "garden_back", "somewhere", "Low Row", 0, 20, door="12A"),
        plot("C", "garden", "", "Low Row", 50, 0),
    ]
    table = gpd.GeoDataFrame(pd.DataFrame(rows).set_index("plot"), crs="EPSG:27700")
    homes = addresses_of(SimpleNamespace(plots=table), KNOW)
    assert [(one.door, one.plots) for one in homes] == [("12A", ("A", "B")), ("", ("C",))]
