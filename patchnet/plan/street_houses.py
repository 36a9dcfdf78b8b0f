"""Who takes part in a street's plan, in houses and in parts of the street."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from patchnet.assess.blocks import along_a_curve
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.read.doors import household_plots
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["column_of", "house_names", "houses_of", "meant_plots", "parts_of", "taking_part"]


def taking_part(
    neighbourhood: Neighbourhood, plots: Iterable[str] | None, refused: Iterable[str]
) -> tuple[str, ...]:
    """Return the plots that take part, in the order of the file.

    Without a list these are all whose household said yes; where no household was asked anything,
    all. A household that said no never takes part.

    Parameters
    ----------
    neighbourhood
        The street.
    plots
        Ids, labels or door numbers; None: by consent.
    refused
        Ids of plots whose people said no to the plan.

    Raises
    ------
    WrongUse
        If there is no such plot, one is named whose household said no, or nobody is left.
    """
    consent = column_of(neighbourhood, "consent")
    no = {str(plot) for plot in consent.index[consent == "no"]} | set(refused)
    if plots is None:
        yes = consent.index[consent == "yes"]
        wanted = {str(plot) for plot in (yes if len(yes) else consent.index)}
    else:
        wanted = set(meant_plots(neighbourhood, plots))
        against = sorted(wanted & {str(plot) for plot in consent.index[consent == "no"]})
        if against:
            raise WrongUse(
                _("These households said no, so nothing is planned for them: {plots}.").format(
                    plots=", ".join(against)
                )
            )
    found = tuple(
        str(plot) for plot in neighbourhood.plots.index if str(plot) in wanted and plot not in no
    )
    if not found:
        raise WrongUse(_("Nobody takes part: no plot is left to plan for."))
    return found


def meant_plots(neighbourhood: Neighbourhood, said: Iterable[str]) -> list[str]:
    """Return the plots meant by ids, labels or door numbers (front and back of a door).

    Parameters
    ----------
    neighbourhood
        The street.
    said
        What was written.

    Raises
    ------
    WrongUse
        If no plot is meant by one of them, or plots of several doors could be.
    """
    found: dict[str, None] = {}
    for one in said:
        if one in neighbourhood.plots.index:
            found[str(one)] = None
            continue
        for plot in household_plots(neighbourhood.plots, one, where=neighbourhood.name):
            found[str(plot)] = None
    return list(found)


def houses_of(neighbourhood: Neighbourhood, plots: Sequence[str]) -> list[tuple[str, ...]]:
    """Put the plots of one door together, in the order of the file.

    Parameters
    ----------
    neighbourhood
        The street.
    plots
        Ids.
    """
    houses: dict[tuple[str, ...], list[str]] = {}
    doors, streets = column_of(neighbourhood, "door"), column_of(neighbourhood, "street")
    for plot in plots:
        key = (streets[plot], doors[plot]) if doors[plot] else (plot,)
        houses.setdefault(key, []).append(plot)
    return [tuple(one) for one in houses.values()]


def house_names(
    neighbourhood: Neighbourhood, houses: Sequence[tuple[str, ...]]
) -> Mapping[tuple[str, ...], str]:
    """Return what each house is called, every one otherwise.

    Parameters
    ----------
    neighbourhood
        The street.
    houses
        From `houses_of`.
    """
    names: dict[tuple[str, ...], str] = {}
    doors, streets = column_of(neighbourhood, "door"), column_of(neighbourhood, "street")
    labels = column_of(neighbourhood, "label")
    for plots in houses:
        street, label = streets[plots[0]], labels[plots[0]]
        if doors[plots[0]]:
            name = f"{doors[plots[0]]} {street}".strip()
        else:
            name = label if label and label != plots[0] else plots[0]
            name = f"{name}, {street}" if street and name != plots[0] else name
        names[plots] = name
    twice = {name for name in names.values() if list(names.values()).count(name) > 1}
    return {
        plots: f"{name} ({', '.join(plots)})" if name in twice else name
        for plots, name in names.items()
    }


def parts_of(neighbourhood: Neighbourhood, plots: Sequence[str], size: int) -> Mapping[str, str]:
    """Return the part of the street that each plot lies in: by street, in stretches.

    Parameters
    ----------
    neighbourhood
        The street.
    plots
        Ids of those that are put into parts.
    size
        About how many plots a part has.
    """
    rows = neighbourhood.plots.loc[list(plots)]
    middles = rows.geometry.centroid
    order = along_a_curve(middles.x.to_numpy(), middles.y.to_numpy())
    named = column_of(neighbourhood, "street")
    streets: dict[str, list[str]] = {}
    for at in order.tolist():
        streets.setdefault(named[plots[at]], []).append(plots[at])
    parts: dict[str, str] = {}
    for street, members in streets.items():
        count = max(1, round(len(members) / size))
        for number, some in enumerate(np.array_split(np.array(members, dtype=object), count), 1):
            name = street or _("the street")
            if count > 1:
                name = _("{street}, part {n}").format(street=name, n=number)
            parts |= {str(plot): name for plot in some}
    return parts


def column_of(neighbourhood: Neighbourhood, name: str) -> "pd.Series[str]":
    """Return a column of the plots as text, empty where there is nothing or no such column.

    Parameters
    ----------
    neighbourhood
        The street.
    name
        Of the column.

    Returns
    -------
    Series
        Text (index: plots).
    """
    plots = neighbourhood.plots
    if name not in plots.columns:
        return pd.Series("", index=plots.index)
    text: pd.Series[str] = plots[name].fillna("").astype(str)
    return text
