"""A street as everybody may see it: units with classes, and public land as it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.language_forms import day_told
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.public_table import class_words, nobodys
from patchnet.read.neighbourhood import Answers, Neighbourhood
from patchnet.survey.release import FRONT, Released, class_edges
from patchnet.survey.release_units import TOGETHER

__all__ = [
    "TOGETHER",
    "Rows",
    "class_means",
    "plain_ground",
    "public_ground",
    "public_neighbourhood",
    "rows_of",
]

_DIGITS = 2  # significant digits of amounts on public land: measured ones would be a signature

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Rows:
    """Which row of the public table each plot counts in; -1 none. Rows: public land, then units."""

    place: NDArray[np.intp]
    land: NDArray[np.intp]
    units: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.land) + len(self.units)


def rows_of(hood: Neighbourhood, released: Released, knowledge: Knowledge) -> Rows:
    """Return which row of the public table each plot counts in."""
    land = np.flatnonzero(nobodys(hood, knowledge))
    units = tuple(released.names)
    at = np.full(len(hood.plots), -1)
    at[land] = np.arange(len(land))
    for place, plot in enumerate(hood.plots.index):
        unit = released.unit_of.get(str(plot))
        if unit is not None and at[place] < 0:
            at[place] = len(land) + units.index(unit)
    return Rows(at, land, units)


def public_neighbourhood(
    hood: Neighbourhood,
    released: Released,
    hidden: Sequence[str],
    *,
    knowledge: Knowledge,
    withheld: str,
) -> Neighbourhood:
    """Return the street with one row a unit, and public land as it is.

    Parameters
    ----------
    hood
        With everything.
    released
        The table.
    hidden
        Features that are told of nobody.
    knowledge
        For the names of kinds, the classes and the typical amounts.
    withheld
        What is left out of every public output, in words.
    """
    rows = rows_of(hood, released, knowledge)
    table = _table(hood, released, rows, knowledge)
    middle = class_means(hood, released, hidden, knowledge=knowledge).answers.amount
    kept = rows.place[rows.place >= 0]
    amount = np.zeros((rows.count, middle.shape[1]))
    np.add.at(amount, kept, middle)
    amount = _rounded(amount)
    sized = np.zeros(amount.shape, dtype=bool)
    sized[: len(rows.land)] = hood.answers.sized[rows.land] & (amount[: len(rows.land)] > 0)
    words = pd.DataFrame("", index=table.index, columns=list(hood.answers.features))
    for number, unit in enumerate(rows.units, len(rows.land)):
        for feature in words.columns:
            words.loc[str(table.index[number]), feature] = _told(
                released, unit, str(feature), knowledge
            )
    left_out = int((rows.place < 0).sum())
    if left_out:
        withheld = _("{withheld} {left_out} plots that are in no unit.").format(
            withheld=withheld, left_out=left_out
        )
    return replace(
        hood,
        plots=table,
        answers=Answers(
            table.index, hood.answers.features, amount, sized, np.ones(amount.shape, dtype=bool)
        ),
        features=hood.features[:0],
        barriers=hood.barriers[:0],
        buildings=hood.buildings.assign(name="") if len(hood.buildings) else hood.buildings,
        faults=(),
        audience="public",
        generalised=_generalised(released, knowledge),
        withheld=withheld,
        classes=words,
    )


def class_means(
    hood: Neighbourhood,
    released: Released,
    hidden: Sequence[str],
    *,
    knowledge: Knowledge,
    reading: int = 1,
) -> Neighbourhood:
    """Return the plots of the units and public land, each plot with the mean of its unit's class.

    Parameters
    ----------
    hood
        With everything.
    released
        The table.
    hidden
        Features that are told of nobody.
    knowledge
        For the classes and the typical amounts.
    reading
        0 the least that the classes allow, 1 the middle, 2 the most.
    """
    rows = rows_of(hood, released, knowledge)
    keep = rows.place >= 0
    features = hood.answers.features
    edges = [0.0, *class_edges(knowledge), 1.0]
    area = hood.plots["area_m2"].to_numpy(dtype=float)
    kinds = hood.plots["kind"].to_numpy(dtype=object)
    front = np.isin(kinds.astype(str), knowledge.plot_kinds_with("front"))
    amount = np.full(hood.answers.amount.shape, np.nan)
    sized = np.zeros(amount.shape, dtype=bool)
    amount[rows.land] = _rounded(hood.answers.amount[rows.land])
    sized[rows.land] = hood.answers.sized[rows.land]
    unknown = {0: 0.0, 1: np.nan, 2: 1.0}[reading]
    for number, unit in enumerate(rows.units, len(rows.land)):
        mine = rows.place == number
        for column, key in enumerate(features):
            for part, suffix in ((mine & ~front, ""), (mine & front, FRONT)):
                first, last = released.classes.get((unit, key + suffix), (0, len(edges) - 2))
                low, high = edges[first], edges[last + 1]
                told = (first, last) != (0, len(edges) - 2)
                amount[part, column] = (low, (low + high) / 2, high)[reading] if told else unknown
    inside = amount[keep]
    homes = ~np.isin(np.flatnonzero(keep), rows.land)
    inside[homes] = _usual(inside[homes], area[keep][homes], knowledge)
    inside[:, [features.index(key) for key in hidden if key in features]] = np.nan
    plots = hood.plots[keep].assign(label=[str(kind) for kind in kinds[keep]], consent="")
    return replace(
        hood,
        plots=plots,
        answers=Answers(
            plots.index, features, inside, sized[keep], np.ones(inside.shape, dtype=bool)
        ),
        features=hood.features[:0],
        barriers=hood.barriers[:0],
        buildings=hood.buildings.assign(name="") if len(hood.buildings) else hood.buildings,
        faults=(),
        audience="public",
        generalised=_generalised(released, knowledge),
    )


def plain_ground(hood: Neighbourhood, plain: NDArray[np.bool_]) -> Neighbourhood:
    """Return what a plan draws where some plots are to be no more than plain ground.

    Nothing is left of what is on them, of their names and doors, or of any fence.

    Parameters
    ----------
    hood
        n plots.
    plain
        Shape (n,): which plots.
    """
    amount = hood.answers.amount.copy()
    amount[plain] = 0.0
    blank = {
        column: hood.plots[column].astype(str).mask(plain, "")
        for column in ("label", "door")
        if column in hood.plots.columns
    }
    return replace(
        hood,
        plots=hood.plots.assign(**blank),
        answers=replace(hood.answers, amount=amount),
        features=hood.features[~hood.features["plot"].isin(hood.plots.index[plain])],
        barriers=hood.barriers[:0],
    )


def _told(released: Released, unit: str, feature: str, knowledge: Knowledge) -> str:
    """Return what is told of a feature in a unit: of front gardens and of the rest."""
    found = [
        class_words(*released.classes[unit, key], knowledge)
        if (unit, key) in released.classes
        else ""
        for key in (feature, feature + FRONT)
    ]
    rest, front = found
    if rest and front:
        return _("{rest}; front gardens: {front}").format(rest=rest, front=front)
    return rest or (_("front gardens: {front}").format(front=front) if front else "")


def _usual(share: Array, area: Array, knowledge: Knowledge) -> Array:
    """Turn shares of households into amounts: the typical ones, no more than fits the plot."""
    records = knowledge.features.values()
    typical = np.array([feature.typical.value for feature in records])
    ground = np.array([feature.ground.value for feature in records])
    amount = share * typical
    taken = np.nansum(amount * ground, axis=1)
    scale = np.where(taken > area, area / np.where(taken > 0, taken, 1.0), 1.0)
    fitted: Array = np.where(ground > 0, amount * scale[:, None], amount)
    return fitted


def _table(
    hood: Neighbourhood, released: Released, rows: Rows, knowledge: Knowledge
) -> gpd.GeoDataFrame:
    land = hood.plots.iloc[rows.land]
    kinds = [str(kind) for kind in land["kind"]]
    names = [
        knowledge.plot_kinds[kind].name if kind in knowledge.plot_kinds else kind for kind in kinds
    ]
    shapes = [*land.geometry, *(released.shapes[unit] for unit in rows.units)]
    table = pd.DataFrame(
        {
            "plot": [f"s{number}" for number in range(1, rows.count + 1)],
            "kind": [*kinds, *[TOGETHER] * len(rows.units)],
            "label": [
                *(f"{name} {number}" for number, name in enumerate(names, 1)),
                *(released.names[unit] for unit in rows.units),
            ],
            "street": "",
            "consent": "",
            "area_m2": shapely.area(np.array(shapes, dtype=object)),
        }
    ).set_index("plot")
    return gpd.GeoDataFrame(table, geometry=shapes, crs=hood.plots.crs)


def _rounded(amount: Array) -> Array:
    """Round to two significant digits."""
    values = [float(f"{value:.{_DIGITS}g}") for value in amount.ravel().tolist()]
    return np.array(values).reshape(amount.shape)


def _generalised(released: Released, knowledge: Knowledge) -> str:
    least = int(knowledge.setting("public_households_min"))
    return _(
        "No plot is told of by itself: {n_names} units of at least {least} households each, fixed "
        "once, have classes (few, some, many, most) in place of counts and amounts, as of {day}. "
        "Homes, links and shortages are worked out from these classes, as if every plot of a unit "
        "had their mean, and are told in broad steps (1, 2, 5, 10, 20, 50 ...) with the range "
        "that the classes allow: they are coarser than what the group knows and can differ from "
        "it. Ids and labels are new; ways of animals are straight lines and take no account of "
        "fences."
    ).format(n_names=len(released.names), least=least, day=day_told(released.day))


def public_ground(hood: Neighbourhood) -> Neighbourhood:
    """Return what a plan for the public draws: public land with its grounds, the rest plain.

    Parameters
    ----------
    hood
        For the public.
    """
    plain = plain_ground(hood, (hood.plots["kind"] == TOGETHER).to_numpy())
    # A number after the kind would name a place that goes by no such name.
    label = plain.plots["label"].str.rstrip(" 0123456789")
    return replace(plain, plots=plain.plots.assign(label=label))
