"""A garden of 10 x 20 m with a house at one end, and things to be put in it."""

import geopandas as gpd
import shapely
import shapely.affinity

from patchnet.knowledge import load_knowledge
from patchnet.plan.plot_plan import Candidate
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()
EAST, NORTH = 400_000.0, 300_000.0
PLOT = shapely.box(0, 0, 10, 20)
NORTH_HOUSE = shapely.box(0, 20, 10, 28)
SOUTH_HOUSE = shapely.box(0, -8, 10, 0)


def moved(shape):
    return shapely.affinity.translate(shape, EAST, NORTH)


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=[moved(one) for one in shapes], crs="EPSG:27700")


def street(plot=PLOT, *, kind="garden_back", houses=(NORTH_HOUSE,), high=6.0, **layers):
    plots = layer([plot], id=["1"], kind=[kind], label=["1"], features=["lawn_short"])
    if houses:
        layers["buildings"] = layer(houses, name=[""] * len(houses), height=[high] * len(houses))
    return build_neighbourhood(plots, knowledge=KNOW, **layers)


def candidate(feature, amount=1.0):
    one, siting = KNOW.features[feature], KNOW.sitings[feature]
    at_wall = siting.place in ("wall", "fence", "sill")
    return Candidate(
        feature=feature,
        amount=amount,
        place=siting.place,
        ground_m2=0.0 if at_wall else one.ground.value * amount,
        length_m=siting.length.value * amount,
        hours_month=0.0,
        cost=0.0,
        months=(5,),
        cautions=(),
        asks=(),
    )
