"""The sun at a box in the street, on paper.

A court of 4 x 4 m between walls 6 m high, with a box of 1 x 0.4 m in its middle, at 51.5 degrees
north: the sun stands at most 90 - 51.5 + 23.4 = 61.9 degrees high and rises tan 61.9 = 1.87 m a
metre; the wall to the south rises (6 - 0.5) / 2.2 = 2.5 m a metre above soil 0.5 m up: no sun.
"""

import dataclasses

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.sun.at_place import places_sun
from patchnet.sun.shade import sun_hours

KNOW = load_knowledge()
CRS = "+proj=tmerc +lat_0=51.5 +lon_0=0 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"
COURT = shapely.box(-8, -8, 8, 8).difference(shapely.box(-2, -2, 2, 2))
BOX = shapely.box(-0.5, -0.2, 0.5, 0.2)
GARDEN = shapely.box(0, -40, 20, -20)
FAR_BOX = shapely.box(40, 0, 41, 0.4)
NEAR = shapely.box(20, 10, 26, 14)


def hood(*buildings):
    outline = gpd.GeoDataFrame(
        {"id": ["p", "q"], "kind": "garden_back"}, geometry=[BOX, GARDEN], crs=CRS
    )
    houses = gpd.GeoDataFrame(
        {"height": pd.Series([height for _, height in buildings], dtype=float)},
        geometry=[shape for shape, _ in buildings],
        crs=CRS,
    )
    return build_neighbourhood(outline, buildings=houses, knowledge=KNOW)


def one(place, box=BOX, above=0.5):
    return places_sun(place, [box], [above], knowledge=KNOW)[0]


def test_a_court_has_no_sun_and_its_roof_all_of_it():
    court = hood((COURT, 6.0))
    inside = one(court)
    assert (inside.cls, inside.hours, inside.why_not) == ("shade", 0.0, "")
    above = one(court, above=6.0)
    assert above.cls == "sun"
    open_hours = sun_hours(court, KNOW, months=[6]).open_hours[6]
    assert above.hours == pytest.approx(open_hours)


def test_on_the_ground_it_is_the_sun_of_a_plot():
    """A plot of the same outline: `sun_hours`, which is held against exact shadows."""
    street = hood((shapely.box(-30, -6, 30, -1), 5.0))
    assert one(street, above=0.0).hours == pytest.approx(sun_hours(street, KNOW).hours.loc["p", 6])


def test_what_is_not_known_stays_so():
    nothing = one(hood((COURT, None)))
    assert nothing.cls is None
    assert "no building near it has a height" in nothing.why_not
    # The court may be as high as the other house: nothing is sure. It is far from the other box.
    doubt = hood((COURT, None), (NEAR, 6.0))
    assert "could take its sun away" in one(doubt).why_not
    assert one(doubt, FAR_BOX).cls == "sun"
    bare = dataclasses.replace(doubt, plots=doubt.plots.set_crs(None, allow_override=True))
    assert "no coordinate system" in one(bare).why_not
