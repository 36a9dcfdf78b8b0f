"""The answer for a city, made up: its tiles, and one animal."""

from pathlib import Path

import pandas as pd

from patchnet.city.city_answer import City

__all__ = ["made_city"]

TILE = {"north": 0.0, "plots": 5, "area_m2": 900.0, "known_share": 0.5, "hungry_months": 2.0,
        "file": "tiles/a.parquet", "homes_newt": 1.0}  # fmt: skip
ANIMAL = {"name": "Newt", "homes": 3.0, "homes_low": 1.0, "homes_high": 4.0, "linked_homes": 2.0,
          "parts": 2, "breaks": 0, "shared": "whole", "tried_on": 0, "homes_off": 0.0,
          "plots_off": 0.0}  # fmt: skip


def made_city(tiles, *, animal=None, **others):
    """Tiles of 100 m in a row, by name what is other about each; newts, and what is other there."""
    rows = [{"east": 100.0 * at, **TILE, **one} for at, one in enumerate(tiles.values())]
    return City(
        folder=Path("city"), tile_m=100.0,
        animals=pd.DataFrame([ANIMAL | (animal or {})], index=["newt"]),
        tiles=pd.DataFrame(rows, index=list(tiles)),
        **{"worst": {}, "crs": "EPSG:27700", **others},
    )  # fmt: skip
