"""From what was said to the three answers, with amounts that the plot can hold."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.fault_list import FaultList, Place
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.feature_sheet import Sheet
from patchnet.read.neighbourhood import Answers

__all__ = ["answers_of", "too_much"]

Array = NDArray[np.float64]


def answers_of(
    whole: Sheet,
    plots: pd.Index,
    kinds: Sequence[str],
    area_m2: Array,
    places: Sequence[Place],
    *,
    knowledge: Knowledge,
    where: str,
    faults: FaultList,
) -> Answers:
    """Return the three answers for each plot and feature.

    What is said to be there has its amount; without one it has the typical amount of the
    tables, and where several such would not fit beside what is stated they share the ground
    that is left (none below its smallest useful amount, nor above what the plot holds). Where
    everything was seen, what is not mentioned is not there, unless nobody could see it from
    outside (`Feature.unseen`). All else is not known. A plot kind that implies a feature (a
    planter) is that feature over its whole area.

    Parameters
    ----------
    whole
        Everything that was said.
    plots
        Ids, n of them.
    kinds
        Key of each plot's kind.
    area_m2
        Shape (n,).
    places
        Row and id of each plot in its layer.
    knowledge
        For typical and smallest amounts, and the ground (m2) that one unit takes.
    where
        Name of the plots layer.
    faults
        List that impossible amounts are added to.
    """
    features = tuple(knowledge.features)
    implied = _implied(kinds, features, knowledge)
    there = whole.there | implied
    _warn_denied(whole, implied, features, places, where, faults)
    sized = there & ~np.isnan(whole.amount)
    _check_amounts(
        whole, sized & ~implied, area_m2, places, knowledge=knowledge, where=where, faults=faults
    )
    amount = np.full(there.shape, np.nan)
    seeable = np.array([not feature.unseen for feature in knowledge.features.values()])
    absent = whole.absent | (whole.everything[:, None] & ~whole.unknown & seeable)
    amount[absent & ~there] = 0.0
    amount[sized] = whole.amount[sized]
    whole_plot = implied & ~sized
    amount[whole_plot] = np.broadcast_to(area_m2[:, None], there.shape)[whole_plot]
    unsized = there & ~sized & ~implied
    amount[unsized] = _typical(amount, sized & ~implied, unsized, area_m2, knowledge)[unsized]
    sure = np.where(there, np.where(whole.there, whole.sure, True), ~whole.absent | whole.sure)
    return Answers(plots, features, amount, sized | whole_plot, sure)


def too_much(
    amount: Array, features: NDArray[np.integer[Any]], area_m2: Array, knowledge: Knowledge
) -> NDArray[np.bool_]:
    """Return whether amounts are more than their plots can hold.

    Parameters
    ----------
    amount
        Shape (n, ...), in each feature's own unit; NaN is not too much.
    features
        Any shape that goes together with `amount` by NumPy's rules: position of each amount's
        feature in the tables.
    area_m2
        Any shape that goes together with `amount`: of the plots.
    knowledge
        For the ground (m2) that one unit takes at least.

    Returns
    -------
    array of bool
        Shape of `amount`.
    """
    _ground, least, __, counted = _figures(knowledge)
    room = area_m2 * knowledge.setting("amount_over")
    # One item is what somebody saw, however small the plot: trees stand in the smallest pits.
    few = counted[features] & (amount <= 1)
    found: NDArray[np.bool_] = (amount * least[features] > room) & ~few
    return found


def _implied(
    kinds: Sequence[str], features: tuple[str, ...], knowledge: Knowledge
) -> NDArray[np.bool_]:
    implied = np.zeros((len(kinds), len(features)), dtype=bool)
    for row, kind in enumerate(kinds):
        feature = knowledge.plot_kinds[kind].implies
        if feature is not None:
            implied[row, features.index(feature)] = True
    return implied


def _warn_denied(
    whole: Sheet,
    implied: NDArray[np.bool_],
    features: tuple[str, ...],
    places: Sequence[Place],
    where: str,
    faults: FaultList,
) -> None:
    rows = [
        (
            places[plot],
            _("The kind of the plot is a {feature}, but the list says there is none.").format(
                feature=features[at]
            ),
        )
        for plot, at in np.argwhere(implied & whole.absent & ~whole.there).tolist()
    ]
    faults.warn_rows(
        where, rows, together=_("{n} plots have a kind that their list contradicts."),
        mend=_("Mend the kind or the list; we took it as there."),
    )  # fmt: skip


def _figures(knowledge: Knowledge) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Ground per unit as usual and at least (m2), typical amount, and which are counted."""
    features = knowledge.features.values()
    return (
        np.array([feature.ground.value for feature in features]),
        np.array([feature.ground.low for feature in features]),
        np.array([feature.typical.value for feature in features]),
        np.array([feature.measure == "count" for feature in features]),
    )


def _typical(
    amount: Array,
    sized: NDArray[np.bool_],
    unsized: NDArray[np.bool_],
    area_m2: Array,
    knowledge: Knowledge,
) -> Array:
    """Amounts for what is there without one; shape (n, F), of use where `unsized`."""
    ground, _, typical, counted = _figures(knowledge)
    smallest = np.array([feature.smallest.value for feature in knowledge.features.values()])
    widest = np.array([feature.ground.high for feature in knowledge.features.values()])
    taken = (np.where(sized, amount, 0.0) * ground).sum(axis=1)
    taken += (np.where(unsized & counted, typical, 0.0) * ground).sum(axis=1)
    free = np.maximum(area_m2 - taken, 0.0)
    wanted = (np.where(unsized & ~counted, typical, 0.0) * ground).sum(axis=1)
    scale = np.where(wanted > free, free / np.where(wanted > 0, wanted, 1.0), 1.0)
    # What takes no ground of its own (bulbs under a lawn) is held by the plot all the same.
    per_unit = np.where(ground > 0, ground, widest)
    holds = area_m2[:, None] / np.where(per_unit > 0, per_unit, 1.0)
    holds = np.where(per_unit > 0, holds, np.inf)
    scaled = np.where(ground > 0, typical * scale[:, None], typical)
    fitted = np.minimum(np.maximum(scaled, np.minimum(smallest, typical)), holds)
    return np.where(counted, typical, fitted)


def _check_amounts(
    whole: Sheet,
    sized: NDArray[np.bool_],
    area_m2: Array,
    places: Sequence[Place],
    *,
    knowledge: Knowledge,
    where: str,
    faults: FaultList,
) -> None:
    """Tell amounts that the plot cannot hold, one by one and all together."""
    ground = _figures(knowledge)[0]
    amount = np.where(sized, whole.amount, 0.0)
    every = np.arange(amount.shape[1])[None, :]
    over = sized & too_much(amount, every, area_m2[:, None], knowledge)
    features = list(knowledge.features.values())
    units = {"m2": " m2", "m": " m", "count": ""}
    crowded: list[tuple[Place, str]] = []
    for plot, at in np.argwhere(over).tolist():
        feature = features[at]
        source, (row, ident) = whole.place[plot, at]
        what = _("{feature_name}: {amount:g}{unit} on a plot of {area_m2:.1f} m2.").format(
            feature_name=feature.name,
            amount=amount[plot, at],
            unit=units[feature.measure],
            area_m2=area_m2[plot],
        )
        if feature.measure == "count":
            crowded.append((places[plot], what))
        else:
            mend = _(
                "Mend the amount or the outline; write the word alone if the size is not known."
            )
            faults.error(source, what, mend, row=row, ident=ident)
    faults.warn_rows(
        where, crowded, together=_("{n} times there are more items than the plot has room for."),
        mend=_("Make sure that the amount is right."),
    )  # fmt: skip
    used = (np.where(over, 0.0, amount) * ground).sum(axis=1)
    full = (used > area_m2 * knowledge.setting("ground_over")) & ~over.any(axis=1)
    faults.warn_rows(
        where,
        [
            (
                places[p],
                _("What is listed takes {used:.0f} m2, the plot has {area_m2:.0f} m2.").format(
                    used=used[p], area_m2=area_m2[p]
                ),
            )
            for p in np.flatnonzero(full).tolist()
        ],
        together=_("On {n} plots what is listed takes far more ground than there is."),
        mend=_("Make sure that the amounts are in square metres, and the outline is right."),
    )
