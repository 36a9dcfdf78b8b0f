"""A few streets, drawn by a seed, with fences, houses and roads: a city small enough to test on."""

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

__all__ = ["EAST", "NORTH", "ROWS", "write_city"]

EAST, NORTH = 450_030.0, 210_020.0
ROWS = (0.0, 25.0, 62.0, 87.0, 190.0)  # of gardens, to the north; two each stand back to back
_LISTS = (
    "pond 3; lawn_short 40; flower_border 12; nothing else", "shrub 8; hedge_native 9; tree_small",
    "flower_border 20; bee_hotel 1; old_roof_wall 1; nothing else", "long_grass 20; log_pile",
    "dead_wood_pile 2; leaf_pile; climber 5; nest_box_small 1; nothing else", "", "",
    "bird_feeder; compost_heap; ivy_mature 4; lawn_short 20; nothing else",
)  # fmt: skip


def write_city(path, *, plots=48, seed=3):
    """Write plots, fences, houses and roads to a GeoPackage; return the plots.

    Gardens are 5 to 11 m wide, so that no border lies on a seam by rule; every fourth side has no
    fence, and of the fences a third have a gap.
    """
    rng = np.random.default_rng(seed)
    shapes, sides = [], []
    for row in ROWS:
        x = EAST + rng.uniform(0, 5)
        for at in range(plots // len(ROWS) + 1):
            wide = rng.uniform(5, 11)
            low, high = NORTH + row, NORTH + row + rng.uniform(19, 24)
            shapes.append(shapely.box(x, low, x + wide, high))
            sides.append(shapely.LineString([(x + wide, low), (x + wide, high)]))
            x += wide + (30.0 if at == 4 else 0.0)
    shapes, sides = shapes[:plots], sides[:plots]
    order = rng.permutation(plots)  # neighbours do not stand together in the file
    table = gpd.GeoDataFrame(
        {
            "id": [f"P{at}" for at in range(plots)],
            "kind": np.resize(["garden_back", "garden_front", "verge"], plots),
            "street": "Sorrel Row",
            "features": rng.choice(_LISTS, plots),
        },
        geometry=np.array(shapes, dtype=object)[order], crs="EPSG:27700",
    )  # fmt: skip
    kept = np.arange(plots) % 4 > 0
    fences = gpd.GeoDataFrame(
        {"kind": "fence", "gap": np.resize(["no", "yes", "not known"], int(kept.sum()))},
        geometry=np.array(sides, dtype=object)[kept], crs=table.crs,
    )  # fmt: skip
    houses = gpd.GeoDataFrame(
        {"name": ""}, index=range(plots), crs=table.crs,
        geometry=[shapely.box(one.bounds[0], one.bounds[1], one.bounds[2], one.bounds[1] + 6)
                  for one in shapes],
    )  # fmt: skip
    west, __, east, __ = table.total_bounds
    roads = gpd.GeoDataFrame(
        {"name": ["Sorrel Row", "Teasel Row"]}, crs=table.crs,
        geometry=[shapely.LineString([(west, NORTH + y), (east, NORTH + y)]) for y in (54, 150)],
    )  # fmt: skip
    pyogrio.write_dataframe(table, path, layer="plots", driver="GPKG")
    for name, one in (("barriers", fences), ("buildings", houses), ("roads", roads)):
        pyogrio.write_dataframe(one, path, layer=name, driver="GPKG", append=True)
    return table
