"""The first page of a city: a cell a tile, four maps of them, and links to a page a tile."""

import os
import posixpath
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.city.city_answer import City
from patchnet.core.files import write_text
from patchnet.core.language_forms import in_sentence, listed, number
from patchnet.core.texts import N_, WordList, _, ngettext
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.page import sheet
from patchnet.pages.sheets.tile_page import against_the_mean, percent, span, tile_page, tiles_told

__all__ = ["city_page", "told_of_portions", "write_city_page"]

_WIDE = 100.0  # of a map, in units of its own
_STEPS = 5
_HARDLY_ANY = 0.001  # homes
_NEXT_TO_NOTHING = 1e-4  # share by which homes in portions are off; less is told without figures
_NONE = "\N{EN DASH}"
_NOTICE = N_(
    "For those who keep the map. The files of the tiles tell of single plots: give them to nobody "
    "else. Homes are an index of room, never a forecast of animals."
)
_ANIMAL_HEADS: WordList[str] = WordList(
    (N_("Animal"), N_("Homes"), N_("Between"), N_("Linked homes"), N_("Parts"), N_("Breaks"))
)
_LINKS_MOST = N_("Plot that links most")
_TILE_HEADS: WordList[str] = WordList(
    (
        N_("Tile"),
        N_("Plots"),
        N_("Not known"),
        N_("Homes, the whole map's mean is 1"),
        N_("Months without enough flowers"),
        N_("Worst break"),
        N_("File"),
    )
)


class _Map(NamedTuple):
    """One map of the cells: what it shows, a value a tile, and how a value is told."""

    title: str
    note: str
    values: NDArray[np.float64]
    told: Callable[[float], str]


def city_page(
    city: City, *, knowledge: Knowledge, title: str | None = None, beside: str = ""
) -> str:
    """Return the page as HTML text that holds everything it needs but the files of the tiles.

    Parameters
    ----------
    city
        From `patchnet.assess_city`.
    knowledge
        For the names of the animals.
    title
        What the city is called; None: nothing is said of it.
    beside
        The city's folder, as it is reached from where the page stands; empty: in it.
    """
    tiles = city.tiles
    homes = against_the_mean(tiles, city)
    shares = np.array([_share_of_worst(city, name) for name in tiles.index])
    unknown = 1 - tiles["known_share"].to_numpy(float)
    hungry = tiles["hungry_months"].to_numpy(float)
    maps = [
        _Map(
            _("Homes"),
            _("Homes on a hectare of plots against the whole map's mean, over all animals."),
            homes,
            figure,
        ),
        _Map(
            _("Months without enough flowers"),
            _("Months in which flowers are short for any animal, on a plot's mean."),
            hungry,
            figure,
        ),
        _Map(
            _("Worst break"),
            _("What closing the worst break here would win, of all linked homes of its animal."),
            shares,
            percent,
        ),
        _Map(_("Not known"), _("Share of the questions that nobody answered."), unknown, percent),
    ]
    weight = tiles["plots"].to_numpy(float)
    rows = [
        {
            "name": str(name),
            "file": posixpath.join(beside, str(row["file"])),
            "page": posixpath.join(beside, _page_of(str(row["file"]))),
            "plots": figure(float(row["plots"])),
            "cells": [
                percent(float(unknown[at])),
                figure(float(homes[at])),
                figure(float(hungry[at])),
                _worst(city, str(name), knowledge),
            ],
        }
        for at, (name, row) in enumerate(tiles.iterrows())
    ]
    return sheet(
        "sheets/city_page.html",
        title=_("{title}: the whole map at a glance").format(title=title)
        if title
        else _("The whole map at a glance"),
        style=asset("kit/overview.css") + asset("sheets/city_page.css"),
        notice=_(_NOTICE),
        facts=[
            (number(int(weight.sum()), ",d"), ngettext("plot", "plots", int(weight.sum()))),
            (str(len(tiles)), _("tiles of {side:g} m").format(side=city.tile_m)),
            (percent(float(unknown @ weight / weight.sum())), _("of all questions not answered")),
            (str(len(city.animals)), ngettext("animal", "animals", len(city.animals))),
        ],
        maps=[_drawn(one, city) for one in maps],
        animal_heads=[*_ANIMAL_HEADS, *([_(_LINKS_MOST)] if "links_most" in city.animals else [])],
        animals=[
            _animal(str(key), row, knowledge)
            for key, row in zip(city.animals.index, city.animals.to_dict("records"), strict=True)
        ],
        portioned=told_of_portions(city, knowledge),
        tile_heads=_TILE_HEADS,
        rows=rows,
        credits=city.credits,
    )  # fmt: skip


def write_city_page(
    city: City,
    path: Path | str,
    *,
    knowledge: Knowledge | None = None,
    title: str | None = None,
) -> Path:
    """Write the page, and one for each tile that it leads to; return the path of the first.

    Parameters
    ----------
    city
        From `patchnet.assess_city`.
    path
        The HTML file: its links lead from there to the city's folder.
    knowledge
        For the names of the animals; None: the tables that ship with patchnet.
    title
        What the city is called; None: nothing is said of it.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    CannotWrite
        If it cannot be written.

    Examples
    --------
    >>> import geopandas, patchnet, shapely
    >>> said = {"id": ["1"], "kind": "garden", "features": ["shrub 8"]}
    >>> one = [shapely.box(0, 0, 10, 30)]
    >>> plots = geopandas.GeoDataFrame(said, geometry=one, crs="EPSG:27700")
    >>> plots.to_file("city.gpkg", layer="plots")
    >>> city = patchnet.assess_city("city.gpkg", "answer", groups=["wren"], workers=1)
    >>> patchnet.write_city_page(city, "answer/index.html").name
    'index.html'
    """
    knowledge = knowledge or load_knowledge()
    for told in tiles_told(city):
        of_tile = city.folder / _page_of(str(city.tiles.loc[told.name, "file"]))
        back = _way(of_tile.parent, Path(path))
        page = tile_page(told, city, knowledge=knowledge, title=title, back=back)
        write_text(of_tile, page)
    beside = _way(Path(path).parent, city.folder)
    write_text(path, city_page(city, knowledge=knowledge, title=title, beside=beside))
    return Path(path)


def _way(folder: Path, to: Path) -> str:
    """How a file is reached from a folder, as a link says it; empty: the folder itself."""
    found = Path(os.path.relpath(to, folder)).as_posix()
    return "" if found == "." else found


def _page_of(file: str) -> str:
    """Where the page of a tile stands beside the file of its plots."""
    return Path(file).with_suffix(".html").as_posix()


def _share_of_worst(city: City, tile: str) -> float:
    found = city.worst.get(tile)
    return 0.0 if found is None else float(found["share"])


def _worst(city: City, tile: str, knowledge: Knowledge) -> str:
    found = city.worst.get(tile)
    if found is None:
        return _NONE
    return _("{animal}: {one} to {other}, {width} m; closing it wins {won} linked homes").format(
        animal=in_sentence(knowledge.groups[found["group"]].name),
        one=found["from_plot"],
        other=found["to_plot"],
        width=figure(found["width_m"]),
        won=_or_less(found["homes_won"], _HARDLY_ANY, figure),
    )


def _or_less(value: float, least: float, words: Callable[[float], str]) -> str:
    """A figure in words; what is next to nothing has none."""
    if value < least:
        return _("less than {little}").format(little=words(least))
    return words(value)


def _animal(key: str, row: dict[Any, Any], knowledge: Knowledge) -> list[str]:
    cells = [
        _name(key, row, knowledge),
        figure(row["homes"]),
        _("{low} to {high}").format(low=figure(row["homes_low"]), high=figure(row["homes_high"])),
        figure(row["linked_homes"]),
        str(row["parts"]),
        str(row["breaks"]),
    ]
    if "links_most" not in row:
        return cells
    told = _("{plot} in {tile}: without it others lose {lost} linked homes").format(
        plot=row["links_most"],
        tile=row["links_most_tile"],
        lost=_or_less(row["links_most_homes"], _HARDLY_ANY, figure),
    )
    return [*cells, told if row["links_most"] else _NONE]


def _name(key: str, row: dict[Any, Any], knowledge: Knowledge) -> str:
    """An animal in the language of the page; as the answer has it where the tables have none."""
    return knowledge.groups[key].name if key in knowledge.groups else str(row["name"])


def told_of_portions(city: City, knowledge: Knowledge) -> str:
    """Which animals were shared in portions, and how far off that is; empty where none was.

    Parameters
    ----------
    city
        From `patchnet.assess_city`.
    knowledge
        For the names of the animals.
    """
    table = city.animals[city.animals["shared"] == "portions"]
    rows = list(zip(map(str, table.index), table.to_dict("records"), strict=True))
    if not rows:
        return ""
    names = [in_sentence(_name(key, row, knowledge)) for key, row in rows]
    each = [float(row["plots_off"]) for _key, row in rows]
    tried = [int(row["tried_on"]) for _key, row in rows]
    plots = span(*(number(one, ",d") for one in (min(tried), max(tried))))
    worst = ""
    if len(rows) > 1:
        name = names[each.index(max(each))]
        worst = _(" ({animal}; the others no more)").format(animal=name)
    return _(
        "Shared in portions: {animals}. Where both were worked out ({plots} plots), homes came out "
        "{homes} off the exact sharing, and those of one plot {each} on the mean{worst}; over the "
        "whole city it can be more."
    ).format(
        animals=listed(names),
        plots=plots,
        homes=_or_less(
            max(abs(float(row["homes_off"])) for _key, row in rows), _NEXT_TO_NOTHING, percent
        ),
        each=_or_less(max(each), _NEXT_TO_NOTHING, percent),
        worst=worst,
    )


def _drawn(one: _Map, city: City) -> dict[str, Any]:
    """A map as squares in up to five steps of equal width, from its least value to its greatest."""
    east, north = (city.tiles[name].to_numpy(float) for name in ("east", "north"))
    scale = _WIDE / (np.ptp(east) + city.tile_m)
    low, high = float(one.values.min()), float(one.values.max())
    steps = _told_apart(one, low, high)
    wide = (high - low) / steps
    step = np.zeros(len(one.values), int)
    if wide > 0:
        step = np.minimum((one.values - low) / wide, steps - 1).astype(int)
    alike = ""
    if wide == 0:
        alike = _("The same in every tile: {value}.").format(value=one.told(low))
    elif steps == 1:  # no two tints could be told apart
        ends = span(one.told(low), one.told(high))
        alike = _("Nearly the same in every tile: {value}.").format(value=ends)
    return {
        "title": one.title,
        "note": one.note,
        "alike": alike,
        "high": round((np.ptp(north) + city.tile_m) * scale, 2),
        "side": round(city.tile_m * scale, 2),
        "cells": [
            {
                "x": round((x - east.min()) * scale, 2),
                "y": round((north.max() - y) * scale, 2),
                "step": int(at),
                "told": f"{name}: {one.told(float(value))}",
            }
            for name, x, y, at, value in zip(
                city.tiles.index, east, north, step, one.values, strict=True
            )
        ],
        "steps": [
            (at, span(one.told(low + at * wide), one.told(low + (at + 1) * wide)))
            for at in range(steps)
            if (step == at).any()
        ],
    }


def _told_apart(one: _Map, low: float, high: float) -> int:
    """In how many steps, at most five, so that the ends of each are told by other words."""
    for steps in range(_STEPS, 1, -1):
        ends = [one.told(low + at * (high - low) / steps) for at in range(steps + 1)]
        if len(set(ends)) == len(ends):
            return steps
    return 1
