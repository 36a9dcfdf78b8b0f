"""The answer for a city, as it stands in its folder."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from patchnet.city.answer_folder import MANIFEST, told_in
from patchnet.city.asked import TILES
from patchnet.core.errors import CannotRead
from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.core.texts import _

__all__ = ["City", "answer_in", "read_city"]


@dataclass(frozen=True, eq=False, repr=False)
class City(Shown):
    """The answer for a city, as it stands in its folder.

    Attributes
    ----------
    folder
        Where it is.
    tile_m
        Side of a tile, metres.
    animals
        Index: keys; columns as `Assessment.table`, with ``pc_numerator`` and ``cut_bound`` (homes
        squared, see `patchnet.network_measures`), and how supplies were shared: ``shared`` (whole
        or portions), and for portions ``tried_on`` (plots of a part of this city that was worked
        out both ways), ``homes_off`` and ``plots_off`` (by how much the homes of that part, and
        those of one plot on the mean, are off the exact ones; shares of these). With importance
        also ``links_most`` (id of the plot with which most goes of what is linked among others;
        empty where there is none), ``links_most_tile`` and ``links_most_homes`` (linked homes that
        the others lose without it).
    tiles
        Index: names; columns ``east``, ``north`` (metres, of the lower left corner), ``plots``
        (count), ``area_m2`` (of the plots), ``known_share`` (0-1), ``hungry_months`` (mean count a
        plot, any animal), ``file``, and ``homes_<animal>``.
    worst
        By tile: the break that costs its animal the largest part of its linked homes.
    crs
        Code or text of the CRS in metres.
    credits
        Lines of attribution.
    faults
        Warnings.
    peak_gb
        Most memory that all processes of this run took together at most, GB, by the kernel's
        account; 0 where there was nothing left to do.

    Examples
    --------
    >>> import dataclasses, patchnet
    >>> [one.name for one in dataclasses.fields(patchnet.City)][:3]
    ['folder', 'tile_m', 'animals']
    """

    folder: Path
    tile_m: float
    animals: pd.DataFrame
    tiles: pd.DataFrame
    worst: Mapping[str, Mapping[str, Any]]
    crs: str
    credits: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = field(default=())
    peak_gb: float = 0.0

    def _rows(self) -> list[tuple[str, str]]:
        plots = int(self.tiles["plots"].sum())
        what = _("{plots:,} plots in {tiles:,} tiles of {side:g} m").format(
            plots=plots, tiles=len(self.tiles), side=self.tile_m
        )
        rows = [("city", what)]
        for key, row in self.animals.head(18).iterrows():
            rows.append((str(key), _("{eca:.2f} linked homes").format(eca=row["linked_homes"])))
        return rows


def read_city(folder: Path | str) -> City:
    """Read the answer for a city back from its folder.

    Parameters
    ----------
    folder
        As for `assess_city`.

    Returns
    -------
    City
        The answer.

    Raises
    ------
    CannotRead
        If there is no finished answer in it.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.read_city("nowhere")
    Traceback (most recent call last):
    ...
    patchnet.core.errors.CannotRead: nowhere holds no finished answer for a city.
    """
    return answer_in(Path(folder), 0.0)


def answer_in(home: Path, peak_gb: float) -> City:
    """Return the answer in a folder.

    Parameters
    ----------
    home
        The folder.
    peak_gb
        See `City`.

    Raises
    ------
    CannotRead
        If there is no finished answer in it.
    """
    told = told_in(home / MANIFEST)
    if told is None:
        raise CannotRead(_("{folder} holds no finished answer for a city.").format(folder=home))
    ending = next(iter(told["files"])).rpartition(".")[2]
    rows = [
        {
            "east": one["corner"][0],
            "north": one["corner"][1],
            "plots": one["plots"],
            "area_m2": one["area_m2"],
            "known_share": one["known_share"],
            "hungry_months": one["hungry_months"],
            "file": f"{TILES}/{name}.{ending}",
            **{f"homes_{key}": homes for key, homes in one["homes"].items()},
        }
        for name, one in told["tiles"].items()
    ]
    return City(
        folder=home,
        tile_m=told["tile_m"],
        animals=pd.DataFrame.from_dict(told["animals"], orient="index").rename_axis("group"),
        tiles=pd.DataFrame(rows, index=pd.Index(list(told["tiles"]), name="tile")),
        worst=told["worst"],
        crs=told["crs"],
        credits=tuple(told["credits"]),
        faults=tuple(Fault("warning", *one) for one in told["warnings"]),
        peak_gb=peak_gb,
    )
