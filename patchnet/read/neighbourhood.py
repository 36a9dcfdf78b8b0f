"""The checked neighbourhood: plots, what is known of them, barriers, buildings, roads."""

from dataclasses import dataclass, field
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.countries import ELSEWHERE

__all__ = ["AUDIENCES", "Answer", "Answers", "Audience", "Neighbourhood", "row_of"]

Audience = Literal["own", "group", "public"]
AUDIENCES: tuple[Audience, ...] = ("own", "group", "public")
"""Whom something can be for, from those who may see most to everybody."""
Answer = Literal["there", "not there", "not known"]


@dataclass(frozen=True, eq=False, repr=False)
class Answers(Shown):
    """What is known of each feature on each plot: there, not there, or not known.

    Attributes
    ----------
    plots
        Plot ids, n of them, the same index as the plots table.
    features
        Feature keys, F of them, in the order of the knowledge tables.
    amount
        Shape (n, F), in the feature's own unit (m2, m or count): > 0 there, 0 not there,
        NaN not known.
    sized
        Shape (n, F): True where the amount was stated or measured; False where it is there
        without an amount and the typical one was put in (at most what the plot can hold).
    sure
        Shape (n, F): False where the surveyor was not sure (``tree 2?``).
    """

    plots: pd.Index
    features: tuple[str, ...]
    amount: NDArray[np.float64]
    sized: NDArray[np.bool_]
    sure: NDArray[np.bool_]

    def answer(self, plot: str, feature: str) -> Answer:
        """Return which of the three answers stands for a feature on a plot.

        Parameters
        ----------
        plot, feature
            Id of the plot and key of the feature.

        Raises
        ------
        WrongUse
            If there is no such plot or feature; the nearest spellings are offered.
        """
        if feature not in self.features:
            hint = nearest_hint(feature, self.features)
            raise WrongUse(
                _("There is no feature {feature!r}.{hint}").format(feature=feature, hint=hint)
            )
        amount = self.amount[row_of(plot, self.plots), self.features.index(feature)]
        if np.isnan(amount):
            return "not known"
        return "there" if amount > 0 else "not there"

    def table(self) -> pd.DataFrame:
        """Amounts as a table, plots down, features across; NaN is not known."""
        return pd.DataFrame(self.amount, index=self.plots, columns=list(self.features))


@dataclass(frozen=True, eq=False, repr=False)
class Neighbourhood(Shown):
    """One neighbourhood in one projected CRS in metres.

    Attributes
    ----------
    name
        What to call it (the file's name unless it says otherwise).
    plots
        Index ``plot`` (text, unique, order of the file); columns ``geometry`` (Polygon or
        MultiPolygon, valid, not empty), ``kind`` (key of a plot kind), ``label`` (what people
        call it, text), ``street`` (text, may be empty), ``door`` (door numbers, ``12`` or
        ``12; 14``, empty where not known), ``consent`` (to be shown in public: yes,
        no, or empty where nobody was asked), ``area_m2``.
    answers
        What is known of each feature on each plot.
    features
        Features mapped with their own geometry: ``geometry``, ``plot``, ``feature``, ``amount``.
    barriers
        Lines: ``geometry``, ``kind`` (wall, fence, hedge, railing), ``gap`` (yes, no,
        not_known), ``height_m`` (NaN unknown).
    buildings, roads, footways
        ``geometry`` and ``name`` (text, may be empty); buildings also ``height_m``, from the
        ground to the top (stated, or from storeys; NaN not known); roads and footways also
        ``width_m`` (NaN not known), and are lines or areas; roads also ``speed_mph`` (NaN not
        known). Empty tables where the file had none.
    street_objects
        Things in the street: ``geometry``, ``kind`` (key of a street object kind), ``name``,
        ``width_m`` (NaN not known). None where there was no such layer: nobody looked.
    credits
        Lines of attribution that every page and file must carry.
    faults
        Warnings that did not stop the work.
    source_crs
        The CRS the file came in, as text.
    audience
        Whom it is for: ``own`` has everything; ``group`` and ``public`` have passed
        `patchnet.pages.privacy`.
    country
        Key of the country that it lies in; ``elsewhere`` where that is not known.
    region
        Key of the region, which says what animals live there; empty where that is not known.
    generalised, withheld
        What was made coarser and what was left out for that, in words; empty for ``own``.

    Examples
    --------
    >>> import patchnet
    >>> street = patchnet.read_demo()
    >>> street.answers.table().index.equals(street.plots.index)
    True
    """

    name: str
    plots: gpd.GeoDataFrame
    answers: Answers
    features: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    buildings: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame
    footways: gpd.GeoDataFrame
    credits: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = field(default=())
    source_crs: str = ""
    audience: Audience = "own"
    generalised: str = ""
    withheld: str = ""
    street_objects: gpd.GeoDataFrame | None = None
    classes: pd.DataFrame | None = None
    country: str = ELSEWHERE
    region: str = ""

    def row_of(self, plot: str) -> int:
        """Return which row of `plots` a plot is, from 0.

        Parameters
        ----------
        plot
            Id of the plot.

        Raises
        ------
        WrongUse
            If there is no such plot; the nearest spellings are offered.
        """
        return row_of(plot, self.plots.index, of=self.name)


def row_of(plot: str, plots: pd.Index, *, of: str = "") -> int:
    """Return which row a plot is, from 0.

    Parameters
    ----------
    plot
        Id of the plot.
    plots
        Ids of all plots, each once.
    of
        What the plots are of, for the message.

    Raises
    ------
    WrongUse
        If there is no such plot; the nearest spellings are offered.
    """
    if plot not in plots:
        hint = nearest_hint(str(plot), plots.astype(str))
        raise WrongUse(
            _("There is no plot {plot!r}{value}.{hint}").format(
                plot=plot, value=_(" in {of}").format(of=of) if of else "", hint=hint
            )
        )
    return int(plots.get_loc(plot))  # type: ignore[arg-type]  # each id stands there once
