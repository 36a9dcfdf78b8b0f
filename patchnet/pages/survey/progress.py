"""How much of a street is known, and where to go next."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.pages.privacy import for_audience, sensitive_features
from patchnet.pages.public_table import CLASS_WORDS
from patchnet.pages.survey.round import SurveyRound
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.street.stretches import walking_order
from patchnet.survey.release import FRONT, Released
from patchnet.survey.statements import by_year, disputes, votes
from patchnet.survey.survey_record import Records, left_in_peace

__all__ = ["Progress", "survey_progress"]


@dataclass(frozen=True, eq=False)
class Progress:
    """How far a survey has come.

    Attributes
    ----------
    neighbourhood
        What the audience may see; empty of plots for the public.
    audience
        Whom it is for.
    plots
        Index plot; columns stretch, side, order, street_share and all_share (share of the
        questions with an answer: of those asked from the street, of all), looked_at, people
        (how many), year (last looked at; 0 never), disputed (features). Empty for the public.
    stretches
        One row a stretch and side in walking order: stretch, side, plots, looked_at,
        street_share, all_share (means), disputed. For the public one row a unit: stretch,
        taking_part (class of the share of its households), told (features), asked.
    disputes
        plot, feature, year: what people differ on. Empty for the public.
    twice
        Plots that two people have looked at, of all that were.
    wanted_twice
        Plots to be looked at by a second person, in walking order.
    year
        Last year of the survey; 0 where nothing says when anybody looked.
    """

    neighbourhood: Neighbourhood
    audience: Audience
    plots: pd.DataFrame
    stretches: pd.DataFrame
    disputes: pd.DataFrame
    twice: tuple[int, int]
    wanted_twice: tuple[str, ...]
    year: int


def survey_progress(
    neighbourhood: Neighbourhood,
    records: Records | None = None,
    *,
    knowledge: Knowledge | None = None,
    audience: Audience = "own",
    released: Released | None = None,
) -> Progress:
    """Tell how much of a street is known, plot by plot and stretch by stretch.

    Parameters
    ----------
    neighbourhood
        The street.
    records
        What its survey has gathered (see `read_records`); None: nothing yet.
    knowledge
        For the questions that are asked, and the settings.
    audience
        Whom it is for (see `patchnet.pages.privacy`).
    released
        For the public: the table that may be told; nothing else is told of the survey.

    Returns
    -------
    Progress
        ``plots`` and ``stretches`` with their shares known (0-1), and what people differ on.

    Examples
    --------
    >>> import patchnet
    >>> progress = patchnet.survey_progress(patchnet.read_demo())
    >>> bool(progress.stretches["all_share"].between(0, 1).all())
    True
    """
    knowledge = knowledge or load_knowledge()
    records = Records() if records is None else records
    if audience == "public":
        return _public(neighbourhood, knowledge, released)
    hood = neighbourhood
    if audience == "group":
        hood = for_audience(hood, "group", knowledge=knowledge)
    here = records.statements["plot"].isin(hood.plots.index)
    seen = replace(records, statements=records.statements[here])
    plots = _plots(hood, seen, knowledge)
    # Whoever asked to be forgotten is no gap in the survey that somebody should go and fill.
    plots = plots[~plots.index.isin(left_in_peace(records))].copy()
    differ = _disputes(seen, hood, knowledge, audience)
    counts = differ.groupby("plot").size()
    plots["disputed"] = counts.reindex(plots.index).fillna(0).astype(np.int64)
    stretches = _stretches(plots)
    looked = plots[plots["looked_at"]]
    twice = (int((looked["people"] > 1).sum()), len(looked))
    wanted = _wanted_twice(looked, knowledge.setting("twice_share"))
    year = int(plots["year"].max()) if len(plots) else 0
    return Progress(hood, audience, plots, stretches, differ, twice, wanted, year)


def _public(
    neighbourhood: Neighbourhood, knowledge: Knowledge, released: Released | None
) -> Progress:
    """Tell of each unit how many households take part, as a class, and how much of it is told."""
    seen = for_audience(neighbourhood, "public", knowledge=knowledge, released=released)
    if released is None:  # already refused above; said again for the reader of types
        raise WrongUse(_("There is no table for the public."))
    asked = len(knowledge.survey_questions)
    cells = {(unit, key.removesuffix(FRONT)) for unit, key in released.classes}
    told = pd.Series([unit for unit, __ in cells], dtype=object).value_counts()
    units = list(released.names)
    table = pd.DataFrame(
        {
            "stretch": [released.names[unit] for unit in units],
            "taking_part": [CLASS_WORDS[released.taking_part[unit]] for unit in units],
            "told": [int(told.get(unit, 0)) for unit in units],
            "asked": asked,
        }
    )
    none = pd.DataFrame(columns=["plot", "feature", "year"])
    return Progress(seen, "public", none[:0], table, none, (0, 0), (), 0)


def _plots(hood: Neighbourhood, records: Records, knowledge: Knowledge) -> pd.DataFrame:
    survey = SurveyRound(hood, knowledge)
    answers = hood.answers
    known = ~np.isnan(answers.amount)
    asked = [key for key in answers.features if key in knowledge.survey_questions]
    street = [key for key in asked if knowledge.survey_questions[key].from_street]
    order = walking_order(hood)
    table = pd.DataFrame(index=hood.plots.index)
    stretch_of: dict[str, str] = {}
    place_of: dict[str, int] = {}
    for stretch in survey.stretches:
        for plot in stretch.plots:
            stretch_of[plot] = survey.stretch_name(stretch)
            place_of[plot] = len(place_of)
    table["stretch"] = [stretch_of[str(plot)] for plot in table.index]
    table["side"] = order["side"]
    table["order"] = [place_of[str(plot)] for plot in table.index]
    for name, keys in (("street_share", street), ("all_share", asked)):
        at = [answers.features.index(key) for key in keys]
        table[name] = known[:, at].mean(axis=1) if at else known.mean(axis=1)
    held = votes(records.statements) if len(records.statements) else records.statements
    if len(held):
        by_plot = held.groupby("plot")
        table["people"] = by_plot["person"].nunique().reindex(table.index).fillna(0).astype(int)
        table["year"] = by_plot["year"].max().reindex(table.index).fillna(0).astype(int)
    else:
        table["people"], table["year"] = 0, 0
    table["looked_at"] = np.asarray(table["people"] > 0) | known.any(axis=1)
    return table.sort_values("order")


def _disputes(
    records: Records, hood: Neighbourhood, knowledge: Knowledge, audience: Audience
) -> pd.DataFrame:
    columns = ["plot", "feature", "year"]
    if not len(records.statements):
        return pd.DataFrame(columns=columns)
    years = by_year(replace(records, drawn=records.drawn[:0]))
    rows = disputes(years, votes(records.statements))[columns]
    if audience != "own":
        rows = rows[~rows["feature"].isin(sensitive_features(knowledge))]
        if "consent" in hood.plots:
            refused = hood.plots.index[hood.plots["consent"] == "no"]
            rows = rows[~rows["plot"].isin(refused)]
    return rows.sort_values(["plot", "feature"], kind="stable").reset_index(drop=True)


def _stretches(plots: pd.DataFrame) -> pd.DataFrame:
    grouped = plots.groupby(["stretch", "side"], sort=False)
    table = grouped.agg(
        plots=("order", "size"),
        looked_at=("looked_at", "sum"),
        street_share=("street_share", "mean"),
        all_share=("all_share", "mean"),
        disputed=("disputed", "sum"),
        first=("order", "min"),
    )
    return table.sort_values("first").drop(columns="first").reset_index()


def _wanted_twice(looked: pd.DataFrame, share: float) -> tuple[str, ...]:
    """Spread the plots for a second look evenly over those that one person has looked at."""
    lacking = math.ceil(share * len(looked)) - int((looked["people"] > 1).sum())
    once = looked.index[looked["people"] == 1]
    if lacking <= 0 or not len(once):
        return ()
    count = min(lacking, len(once))
    at = [(2 * number + 1) * len(once) // (2 * count) for number in range(count)]
    return tuple(str(once[place]) for place in at)
