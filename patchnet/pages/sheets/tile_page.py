"""A page for one tile of a city: its plots drawn, street by street, and its breaks."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.city.animal_work import HUNGRY
from patchnet.city.asked import TILES
from patchnet.city.city_answer import City
from patchnet.city.results import BREAKS
from patchnet.core.language_forms import in_sentence, number
from patchnet.core.texts import N_, WordList, _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.page import sheet

__all__ = ["TileTold", "against_the_mean", "percent", "span", "tile_page", "tiles_told"]

_WIDE = 1000.0  # of the drawing, in units of its own
_STEPS = 5
_BREAKS = 12  # that are listed
_NONE = "\N{EN DASH}"
_NOTICE = N_(
    "For those who keep the map: it tells of single plots. Give it to nobody else. Homes are an "
    "index of room, never a forecast of animals."
)
_STREET_HEADS: WordList[str] = WordList(
    (
        N_("Street"),
        N_("Plots"),
        N_("Not known"),
        N_("Homes, the whole map's mean is 1"),
        N_("Months without enough flowers"),
        N_("Scarcest on most plots"),
    )
)
_BREAK_HEADS: WordList[str] = WordList(
    (N_("Animal"), N_("From"), N_("To"), N_("Wide"), N_("Linked homes won"))
)


class TileTold(NamedTuple):
    """What a tile's page is made of.

    Attributes
    ----------
    name
        Of the tile.
    plots
        As its file has them.
    breaks
        Those of which the middle lies in it, the one that wins most first.
    """

    name: str
    plots: gpd.GeoDataFrame
    breaks: gpd.GeoDataFrame


def tiles_told(city: City) -> Iterator[TileTold]:
    """Read the tiles of a city one after the other.

    Parameters
    ----------
    city
        From `patchnet.assess_city`; its folder has the files of the tiles.

    Yields
    ------
    TileTold
        In the order of the tiles.
    """
    (file,) = (city.folder / TILES).glob(f"{BREAKS}.*")
    breaks = _read(file)
    middle = shapely.line_interpolate_point(breaks.geometry.to_numpy(), 0.5, normalized=True)
    place = np.floor(shapely.get_coordinates(middle).reshape(-1, 2) / city.tile_m) * city.tile_m
    for name, row in city.tiles.iterrows():
        here = (place == (row["east"], row["north"])).all(axis=1)
        found = breaks[here].sort_values("homes_won", ascending=False, kind="stable")
        yield TileTold(str(name), _read(city.folder / str(row["file"])), found)


def _read(path: Path) -> gpd.GeoDataFrame:
    return gpd.read_parquet(path) if path.suffix == ".parquet" else gpd.read_file(path)


def tile_page(
    told: TileTold,
    city: City,
    *,
    knowledge: Knowledge,
    title: str | None = None,
    back: str = "../index.html",
) -> str:
    """Return the page of one tile as HTML text.

    Parameters
    ----------
    told
        What is in the tile.
    city
        The whole, for its means.
    knowledge
        For the names of animals and needs.
    title
        What the city is called; None: nothing is said of it.
    back
        Link to the page of the whole.
    """
    plots, keys = told.plots, list(city.animals.index)
    homes = against_the_mean(plots, city)
    hungry = _hungry_months(plots, keys)
    unknown = 1 - plots["known_share"].to_numpy(float)
    street = plots["street"].astype(str)
    names = sorted(street.unique(), key=lambda one: (one == "", one))
    area = plots["area_m2"].to_numpy(float)
    rows = []
    for name in names:
        here = (street == name).to_numpy()
        rows.append(
            [
                name or _("no street named"),
                number(int(here.sum()), ",d"),
                percent(float(unknown[here].mean())),
                figure(float(homes[here] @ area[here] / area[here].sum())),
                figure(float(hungry[here].mean())),
                _scarcest(plots[here], keys, knowledge),
            ]
        )
    breaks = [
        [
            in_sentence(knowledge.groups[row["group"]].name),
            str(row["from_plot"]),
            str(row["to_plot"]),
            _("{width} m").format(width=figure(row["width_m"])),
            figure(row["homes_won"]),
        ]
        for row in told.breaks.head(_BREAKS).to_dict("records")
    ]
    name, named = _("Tile {name}").format(name=told.name), sum(map(bool, names))
    return sheet(
        "sheets/tile_page.html",
        title=_("{title}: {tile}").format(title=title, tile=name) if title else name,
        style=asset("kit/overview.css") + asset("sheets/city_page.css"),
        notice=_(_NOTICE),
        facts=[
            (number(len(plots), ",d"), ngettext("plot", "plots", len(plots))),
            (number(named, ",d"), ngettext("street", "streets", named)),
            (percent(float(unknown.mean())), _("of all questions not answered")),
            (figure(float(homes @ area / area.sum())), _("homes, the whole map's mean is 1")),
        ],
        back=back,
        drawing=_drawn(told, homes),
        street_heads=_STREET_HEADS,
        rows=rows,
        break_heads=_BREAK_HEADS,
        breaks=breaks,
        file=Path(str(city.tiles.loc[told.name, "file"])).name,
        credits=city.credits,
    )


def against_the_mean(plots: pd.DataFrame, city: City) -> NDArray[np.float64]:
    """Homes on a hectare over those of the city, mean over the animals; shape (rows,).

    Parameters
    ----------
    plots
        Rows with ``area_m2`` and ``homes_<animal>``: plots, or tiles.
    city
        The whole.
    """
    area, whole = plots["area_m2"].to_numpy(float), float(city.tiles["area_m2"].sum())
    found = []
    for key in city.animals.index:
        total = float(city.tiles[f"homes_{key}"].sum())
        if total > 0:
            found.append(plots[f"homes_{key}"].to_numpy(float) / area * (whole / total))
    return np.mean(found, axis=0) if found else np.zeros(len(plots))


def percent(share: float) -> str:
    """Percent with two digits; never none where there is some.

    Parameters
    ----------
    share
        0-1.
    """
    return f"{figure(100 * share)} %"


def span(low: str, high: str) -> str:
    """From low to high, or one value where both are told alike.

    Parameters
    ----------
    low, high
        As they are told.
    """
    return low if low == high else _("{low} to {high}").format(low=low, high=high)


def _hungry_months(plots: pd.DataFrame, keys: Sequence[str]) -> NDArray[np.int64]:
    """Number of months in which flowers are short for any animal, plot by plot."""
    bits = np.zeros(len(plots), dtype=np.int64)
    for key in keys:
        if f"{HUNGRY}{key}" in plots:
            said = plots[f"{HUNGRY}{key}"].fillna("").astype(str)
            months = {
                one: sum(1 << int(month) for month in one.split("; ") if month)
                for one in said.unique()
            }
            bits |= said.map(months).to_numpy(np.int64)
    return np.bitwise_count(bits).astype(np.int64)


def _scarcest(plots: pd.DataFrame, keys: Sequence[str], knowledge: Knowledge) -> str:
    """The need that holds most homes back here, over all animals: that of most plots with room."""
    count: dict[tuple[str, str], int] = {}
    for key in keys:
        needs = {need.key for need in knowledge.groups[key].needs}
        said = plots.loc[plots[f"room_{key}"] > 0, f"scarcest_{key}"].value_counts()
        count |= {(key, str(one)): int(many) for one, many in said.items() if one in needs}
    if not count:
        return _NONE
    key, found = max(count, key=lambda one: (count[one], one))
    (need,) = (one for one in knowledge.groups[key].needs if one.key == found)
    return _("{need} ({animal})").format(
        need=need.name, animal=in_sentence(knowledge.groups[key].name)
    )


def _drawn(told: TileTold, homes: NDArray[np.float64]) -> dict[str, Any]:
    """Plots in five steps of as many plots each, from those with fewest homes; breaks over them."""
    west, south, east, north = told.plots.total_bounds.tolist()
    scale = _WIDE / max(east - west, 1e-9)

    def path(shape: shapely.Geometry) -> str:
        parts = []
        for ring in _rings(shape):
            points = (ring - (west, north)) * (scale, -scale)
            parts.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points.tolist()))
        return "".join(parts)

    ends = np.quantile(homes, np.arange(1, _STEPS) / _STEPS)
    step = np.searchsorted(ends, homes, side="left")
    labels = told.plots["label"].astype(str).to_numpy()
    ids = told.plots["id"].astype(str).to_numpy()
    low = [homes.min(), *ends]
    high = [*ends, homes.max()]
    return {
        "high": round((north - south) * scale, 1),
        "plots": [
            {
                "path": path(shape) + "Z",
                "step": int(at),
                "told": f"{label or ident}: {figure(float(value))}",
            }
            for shape, at, label, ident, value in zip(
                told.plots.geometry, step, labels, ids, homes, strict=True
            )
        ],
        "breaks": [path(line) for line in told.breaks.geometry],
        "steps": [
            (at, span(figure(low[at]), figure(high[at])))
            for at in range(_STEPS)
            if (step == at).any()
        ],
    }


def _rings(shape: shapely.Geometry) -> list[NDArray[np.float64]]:
    """Coordinates of the outlines of an area, or of a line."""
    parts = shapely.get_parts(shape)
    if shape.geom_type in {"LineString", "MultiLineString"}:
        return [shapely.get_coordinates(one) for one in parts]
    return [shapely.get_coordinates(ring) for one in parts for ring in shapely.get_rings(one)]
