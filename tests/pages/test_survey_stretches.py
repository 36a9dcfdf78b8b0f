"""A street cut into stretches: every plot once, few enough, in the order people walk."""

import dataclasses

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box

from patchnet.knowledge import load_knowledge
from patchnet.pages.survey.stretches import stretches_of

KNOW = load_knowledge()
CRS = "EPSG:27700"


def street(hood, shapes, *, names=None, roads=()):
    """Replace the plots and roads of a neighbourhood."""
    index = pd.Index([f"p{at}" for at in range(len(shapes))], name="plot")
    plots = gpd.GeoDataFrame(
        {
            "kind": "garden_front",
            "label": list(index),
            "street": names or ["Alder Row"] * len(shapes),
            "area_m2": [shape.area for shape in shapes],
        },
        geometry=shapes,
        index=index,
        crs=CRS,
    )
    lines = gpd.GeoDataFrame(
        {"name": ["Alder Row"] * len(roads), "width_m": np.nan}, geometry=list(roads), crs=CRS
    )
    return dataclasses.replace(hood, plots=plots, roads=lines)


def test_up_one_side_and_back_down_the_other(survey_street):
    """Numbers 1, 3, 5, 7 from west to east on the north side, 2, 4, 6, 8 opposite: a walk up the
    north side and back along the south side is 1, 3, 5, 7, 8, 6, 4, 2."""
    (only,) = survey_street.stretches
    assert only.plots == ("1", "3", "5", "7", "8", "6", "4", "2")
    assert survey_street.stretch_name(only) == "Alder Row"


def test_front_before_back_and_no_house_cut_in_two(survey_street):
    """30 houses of 6 m, each with a front (4 m deep) and a back garden (12 m) on one side of a
    road. 60 plots, at most 24 a stretch, need three; a cut never falls between the two gardens
    of a house, and the front garden comes first."""
    shapes = [
        box(6 * at, south, 6 * at + 6, north)
        for at in range(30)
        for south, north in ((15, 27), (4, 8))
    ]
    hood = street(survey_street.neighbourhood, shapes, roads=[LineString([(-5, 0), (200, 0)])])
    found = stretches_of(hood, KNOW)
    assert len(found) == 3
    assert [one.of for one in found] == [3, 3, 3]
    for one in found:
        assert len(one.plots) <= 24
        numbers = [int(ident[1:]) for ident in one.plots]
        fronts, backs = numbers[0::2], numbers[1::2]
        assert [front - 1 for front in fronts] == backs
        assert fronts == sorted(fronts)


def test_a_long_thin_street_is_cut_by_length(survey_street):
    """Ten plots 50 m apart: no stretch longer than 150 m, so at most four plots in each."""
    shapes = [box(50 * at, 5, 50 * at + 10, 25) for at in range(10)]
    hood = street(survey_street.neighbourhood, shapes, roads=[LineString([(-5, 0), (600, 0)])])
    found = stretches_of(hood, KNOW)
    assert sum(len(one.plots) for one in found) == 10
    for one in found:
        places = [50 * int(ident[1:]) for ident in one.plots]
        assert max(places) - min(places) <= 150


@settings(max_examples=40, deadline=None)
@given(
    places=st.lists(
        st.tuples(st.floats(0, 900), st.floats(-80, 80)), min_size=1, max_size=80, unique=True
    ),
    named=st.booleans(),
    road=st.booleans(),
)
def test_every_plot_stands_on_one_sheet(survey_street, places, named, road):
    """Wherever plots lie, with or without a road: each on exactly one sheet, none too full."""
    shapes = [Point(x, y).buffer(2, quad_segs=1) for x, y in places]
    names = [("Alder Row", "", "Beech Walk")[at % 3] for at in range(len(shapes))]
    hood = street(
        survey_street.neighbourhood,
        shapes,
        names=names if named else None,
        roads=[LineString([(0, 0), (900, 10)])] if road else (),
    )
    found = stretches_of(hood, KNOW)
    listed = [ident for one in found for ident in one.plots]
    assert sorted(listed) == sorted(hood.plots.index)
    assert max(len(one.plots) for one in found) <= KNOW.setting("survey_stretch_plots")
    assert stretches_of(hood, KNOW) == found
