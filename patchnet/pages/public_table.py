"""The table of a street that everybody may have: made anew where that may be, else the last one."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.geopackage import is_database
from patchnet.core.language_forms import day_told
from patchnet.core.street_store import read_journal
from patchnet.core.texts import N_, WordList, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.stretches import walking_order
from patchnet.survey.households import households
from patchnet.survey.join_streets import JOIN
from patchnet.survey.release import Ledger, Released, class_edges, release, taking_part
from patchnet.survey.release_layers import read_ledger, write_ledger
from patchnet.survey.release_units import fix_units

__all__ = ["CLASS_WORDS", "class_words", "nobodys", "released_table", "table_of", "waiting_words"]

CLASS_WORDS = WordList((N_("few"), N_("some"), N_("many"), N_("most")))
"""What the classes of shares are called, rising."""

# Nobody's home: the highway and public parks.


def released_table(
    path: Path | str,
    neighbourhood: Neighbourhood,
    features: Sequence[str],
    *,
    knowledge: Knowledge,
    today: date,
) -> Released:
    """Return the table for the public; a new one is written into the street's ledger first.

    Parameters
    ----------
    path
        The street's GeoPackage, which keeps the ledger.
    neighbourhood
        As it was read from `path`, with everything.
    features
        Keys that may be told.
    knowledge
        For the settings ``public_...``.
    today
        Date of a new table.

    Raises
    ------
    WrongUse
        If the file cannot keep a ledger, or too few households take part.
    CannotRead, CannotWrite
        If the ledger cannot be read or written: then nothing is handed out.
    """
    place = Path(path)
    if is_database(place) and (read_journal(place)["what"] == JOIN).any():
        raise WrongUse(
            _(
                "{path} was joined from the files of several streets: what is for the public is "
                "made from each street's own file, which remembers what was handed out."
            ).format(path=path)
        )
    before = read_ledger(place)
    after, found = table_of(before, neighbourhood, features, knowledge=knowledge, today=today)
    if after is not before:
        write_ledger(place, after)
    return found


def table_of(
    ledger: Ledger,
    neighbourhood: Neighbourhood,
    features: Sequence[str],
    *,
    knowledge: Knowledge,
    today: date,
) -> tuple[Ledger, Released]:
    """Return the ledger after, and the table for the public (see `released_table`)."""
    plots = neighbourhood.plots
    homes = plots[~nobodys(neighbourhood, knowledge)]
    if len(ledger.units):
        known = dict(zip(ledger.units["plot"], ledger.units["household"], strict=True))
        household_of = pd.Series(
            {plot: known[str(plot)] for plot in homes.index if str(plot) in known}, dtype=object
        )
    else:
        household_of = households(
            homes,
            fronts=knowledge.plot_kinds_with("front"),
            backs=knowledge.plot_kinds_with("back"),
            reach_m=knowledge.setting("public_house_reach_m"),
        )
    names, said, columns = taking_part(
        neighbourhood,
        household_of,
        features,
        fronts=knowledge.plot_kinds_with("front"),
        needs_yes=knowledge.setting("public_needs_yes") > 0,
    )
    if not len(ledger.units):
        order = walking_order(neighbourhood)
        order = order.assign(street=_shared_streets(neighbourhood, order["street"], knowledge))
        ledger = fix_units(order, household_of, names, plots.geometry, knowledge=knowledge)
    return release(ledger, names, said, columns, knowledge=knowledge, today=today)


def nobodys(neighbourhood: Neighbourhood, knowledge: Knowledge) -> NDArray[np.bool_]:
    """Whether each plot is nobody's home: public land, which is shown as it is.

    Parameters
    ----------
    neighbourhood
        n plots.
    knowledge
        For the kinds of plot.

    Returns
    -------
    array
        Shape (n,).
    """
    kinds = neighbourhood.plots["kind"].astype(str).to_numpy()
    return np.isin(kinds.astype(str), knowledge.plot_kinds_with("nobodys"))


def class_words(first: int, last: int, knowledge: Knowledge) -> str:
    """Return a class, or several that go together, in words; empty where nothing is told."""
    edges = [0.0, *class_edges(knowledge), 1.0]
    if (first, last) == (0, len(CLASS_WORDS) - 1):
        return ""
    low, high = round(100 * edges[first]), round(100 * edges[last + 1])
    if first == 0:
        share = _("under {high} %").format(high=high)
    elif last == len(CLASS_WORDS) - 1:
        share = _("{low} % or more").format(low=low)
    else:
        share = _("{low} to {high} %").format(low=low, high=high)
    name = (
        CLASS_WORDS[first]
        if first == last
        else _("{class_word} to {class_word_2}").format(
            class_word=CLASS_WORDS[first], class_word_2=CLASS_WORDS[last]
        )
    )
    return _("{name} households ({share})").format(name=name, share=share)


def waiting_words(released: Released, knowledge: Knowledge) -> str:
    """Say which table was handed out, and what a new one waits for; names nobody."""
    batch = int(knowledge.setting("public_batch_households"))
    if not released.waits:
        return _("Public table {number} of {day}.").format(
            number=released.number, day=day_told(released.day)
        )
    lacking = "; ".join(
        _("{count} more in {name}").format(count=count, name=released.names[unit])
        if count
        else released.names[unit]
        for unit, count in released.waits.items()
    )
    return _(
        "Not yet a new public table: since the last one of {day} fewer than {batch} households of "
        "a unit changed, and two tables so alike would give their answers away. It waits for "
        "{lacking}. The table of {day} was handed out again."
    ).format(day=day_told(released.day), batch=batch, lacking=lacking)


def _shared_streets(
    hood: Neighbourhood, street: "pd.Series[str]", knowledge: Knowledge
) -> NDArray[np.object_]:
    """Keep a street's name only where it is on the map or so many plots share it.

    People write a house's address into that column as well.
    """
    known = set(hood.roads["name"]) if len(hood.roads) else set()
    counts = street.value_counts()
    known |= set(counts.index[counts >= knowledge.setting("public_households_min")])
    kept: NDArray[np.object_] = np.where(street.isin(known), street, "").astype(object)
    return kept
