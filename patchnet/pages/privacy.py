"""The one door to other people's eyes: what a group, and what everybody, may see of a street.

There are three audiences. *Own* has everything. *Group* is for those who work on the street.
*Public* is for everybody. A neighbourhood goes through here **before** anything is computed from
it, so that no figure, line or shade of a public page can tell what is not in the neighbourhood
that comes out. Surveyors, notes and photo names are in no neighbourhood to begin with.

Public: a household's plot is shown as itself only with its consent; all others are laid together,
along their side of the street, so many at a time that none stands out
(``settings/public_plots_min``), and the last few that would make fewer are left out. Ids, labels
and names of buildings are replaced or dropped; so are fences with their gaps, everything drawn,
and whatever tells of protected roosts and nests.
"""

from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.assess import assess
from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Answers, Audience, Neighbourhood
from patchnet.street.stretches import cut, walking_order

__all__ = [
    "AUDIENCES",
    "TOGETHER",
    "assessment_for",
    "for_audience",
    "rows_for_public",
    "sensitive_features",
    "shown_groups",
]

AUDIENCES: tuple[Audience, ...] = ("own", "group", "public")
"""Whom something can be for, from those who may see most to everybody."""
TOGETHER = "plots shown together"
"""Kind of what is shown for several plots at once."""

_DIGITS = 2  # significant digits of amounts in public: measured ones would be like a signature
_NEW_IDS = (
    "Ids and labels are new; amounts are rounded to two digits; ways of animals are straight lines "
    "and take no account of fences."
)
_NEVER = (
    "Addresses and labels, surveyors, notes, names of photos, fences and walls and the gaps in "
    "them, and what tells of protected animals"
)

Array = NDArray[np.float64]


def for_audience(
    neighbourhood: Neighbourhood, audience: Audience, *, knowledge: Knowledge
) -> Neighbourhood:
    """Return what an audience may see of a neighbourhood.

    Parameters
    ----------
    neighbourhood
        Column ``consent`` of its plots counts; a plot without a yes has not agreed.
    audience
        Whom it is for.
    knowledge
        For what is sensitive, and the settings.

    Returns
    -------
    Neighbourhood
        With `audience`, `generalised` and `withheld` filled in.

    Raises
    ------
    WrongUse
        If so few plots are left that nothing can be shown, or if it was made for more eyes than
        it would be now.
    """
    if neighbourhood.audience == audience:
        return neighbourhood
    if neighbourhood.audience != "own":
        raise WrongUse(f"It was made for {neighbourhood.audience}: begin with the group's file.")
    if audience == "group":
        return _for_group(neighbourhood, knowledge)
    return _for_public(neighbourhood, knowledge)


def assessment_for(assessment: Assessment, audience: Audience) -> Assessment:
    """Return an assessment that an audience may see, worked out anew from what it may see.

    Raises
    ------
    WrongUse
        As `for_audience`; also if every wildlife group of it is a sensitive one.
    """
    seen = for_audience(assessment.neighbourhood, audience, knowledge=assessment.knowledge)
    if seen is assessment.neighbourhood:
        return assessment
    groups = shown_groups(assessment.knowledge, list(assessment.groups), audience)
    return assess(
        seen,
        knowledge=assessment.knowledge,
        groups=groups,
        quality=assessment.quality,
        straight=audience == "public",
    )


def shown_groups(knowledge: Knowledge, groups: Sequence[str], audience: Audience) -> list[str]:
    """Return which wildlife groups may be shown; `groups` empty: all there are.

    Raises
    ------
    WrongUse
        If none of those asked for may be.
    """
    asked = list(groups) or list(knowledge.groups)
    if audience == "own":
        return asked
    protected = knowledge.cautions_about("protected")
    shown = [
        key
        for key in asked
        if key not in knowledge.groups or knowledge.groups[key].caution not in protected
    ]
    if not shown:
        raise WrongUse(
            f"{', '.join(asked)}: where such protected animals live is shown to nobody but "
            "those who keep the file."
        )
    return shown


def sensitive_features(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the features that tell of protected roosts and nests.

    Whoever adds a feature or a group of protected roosts, setts or nests gives it a caution that
    is about ``protected``.
    """
    protected = set(knowledge.cautions_about("protected"))
    return tuple(key for key, one in knowledge.features.items() if protected & set(one.cautions))


def rows_for_public(table: pd.DataFrame, *, knowledge: Knowledge) -> pd.DataFrame:
    """Return rows about stretches with no row of so few plots that one stands out.

    Parameters
    ----------
    table
        Columns stretch, side, plots, looked_at, street_share, all_share and others, which are
        dropped.
    knowledge
        For the setting.

    Returns
    -------
    DataFrame
        Sides of a stretch are joined; stretches that are still too small, all together; if these
        are too few, they go with the last; if nothing else is there, they are left out.
    """
    least = int(knowledge.setting("public_plots_min"))
    shares = ["street_share", "all_share"]
    whole = table[["stretch", "plots", "looked_at"]].astype({"plots": float, "looked_at": float})
    for name in shares:
        whole[name] = table[name] * table["plots"]
    joined = whole.groupby("stretch", sort=False).sum()
    # A household can have two plots: twice as many are asked for.
    small = joined["plots"] < 2 * least
    rows, rest = joined[~small].copy(), joined[small].sum()
    if rest["plots"] >= 2 * least:
        rows.loc["Other stretches"] = rest
    elif len(rows) and rest["plots"]:
        rows.iloc[-1] += rest
        rows = rows.rename(index={rows.index[-1]: f"{rows.index[-1]} and smaller stretches"})
    counts = rows[["plots", "looked_at"]].astype(np.int64)
    result = counts.assign(side="", **{name: rows[name] / rows["plots"] for name in shares})
    return result.rename_axis("stretch").reset_index()


def _for_group(hood: Neighbourhood, knowledge: Knowledge) -> Neighbourhood:
    refused = _consent(hood) == "no"
    amount = hood.answers.amount.copy()
    amount[refused] = np.nan
    hidden = [hood.answers.features.index(key) for key in sensitive_features(knowledge)]
    amount[:, hidden] = np.nan
    drawn = hood.features
    if len(drawn):
        away = drawn["plot"].isin(hood.plots.index[refused])
        away |= drawn["feature"].isin(sensitive_features(knowledge))
        drawn = drawn[~away].reset_index(drop=True)
    names = _names(sensitive_features(knowledge), knowledge)
    withheld = [f"Protected roosts and nests ({names})."]
    if refused.any():
        count = int(refused.sum())
        plots = "the plot" if count == 1 else f"the {count} plots"
        withheld.append(f"What is on {plots} whose household said no.")
    return replace(
        hood,
        answers=replace(hood.answers, amount=amount),
        features=drawn,
        audience="group",
        withheld=" ".join([*withheld, "Surveyors, notes and names of photos."]),
    )


def _for_public(hood: Neighbourhood, knowledge: Knowledge) -> Neighbourhood:
    least = int(knowledge.setting("public_plots_min"))
    kinds = hood.plots["kind"].to_numpy(dtype=object)
    public_land = np.isin(kinds.astype(str), knowledge.plot_kinds_with("nobodys"))
    alone = public_land | (_consent(hood) == "yes")
    order = walking_order(hood)
    order["street"] = _shared_streets(hood, order["street"], least)
    units = _laid_together(order[~alone].assign(kind=kinds[~alone]), least, knowledge)
    left_out = int((~alone).sum()) - sum(len(unit) for unit in units)
    at = pd.Series(np.arange(len(order)), index=order.index)
    single = order[alone].sort_values("order").index
    if not len(single) and not units:
        raise WrongUse(
            f"There are fewer than {least} plots and none whose household agreed to be shown: "
            "nothing of it can be published. Ask for consent: patchnet consent FILE ID yes."
        )
    rows = [at[[ident]].to_numpy() for ident in single]
    rows += [at[unit].to_numpy() for unit in units]
    table = _table(hood, order, rows, public_land, knowledge)
    amount, sized = _amounts(hood.answers, rows, knowledge)
    answers = Answers(
        table.index, hood.answers.features, amount, sized, np.ones(amount.shape, dtype=bool)
    )
    together = sum(len(unit) for unit in units)
    generalised, withheld = _words(len(units), together, left_out, least, knowledge)
    return replace(
        hood,
        plots=table,
        answers=answers,
        features=hood.features[:0],
        barriers=hood.barriers[:0],
        buildings=hood.buildings.assign(name="") if len(hood.buildings) else hood.buildings,
        faults=(),
        audience="public",
        generalised=generalised,
        withheld=withheld,
    )


def _consent(hood: Neighbourhood) -> NDArray[np.object_]:
    if "consent" not in hood.plots.columns:
        return np.full(len(hood.plots), "", dtype=object)
    said: NDArray[np.object_] = hood.plots["consent"].to_numpy(dtype=object)
    return said


def _shared_streets(
    hood: Neighbourhood, street: "pd.Series[str]", least: int
) -> NDArray[np.object_]:
    """Keep a street's name only where it is on the map or so many plots share it.

    People write a house's address into that column as well.
    """
    known = set(hood.roads["name"]) if len(hood.roads) else set()
    counts = street.value_counts()
    known |= set(counts.index[counts >= least])
    kept: NDArray[np.object_] = np.where(street.isin(known), street, "").astype(object)
    return kept


def _laid_together(order: pd.DataFrame, least: int, knowledge: Knowledge) -> list[pd.Index]:
    """Return the plots of each unit, none smaller than `least`; too few of all: none.

    Where a household has two plots, front and back, twice as many make a unit.
    """
    halves = (knowledge.plot_kinds_with("front"), knowledge.plot_kinds_with("back"))
    units: list[pd.Index] = []
    last_of: dict[str, int] = {}
    rest: list[tuple[str, pd.Index]] = []
    for (street, _), rows in order.sort_values("order").groupby(["street", "side"], sort=True):
        two_of_a_house = all(rows["kind"].isin(kinds).any() for kinds in halves)
        size = least * (2 if two_of_a_house else 1)
        if len(rows) < size:
            rest.append((str(street), rows.index))
            continue
        start = 0
        for length in cut(len(rows), size):
            units.append(rows.index[start : start + length])
            start += length
        last_of[str(street)] = len(units) - 1
    # A short side goes with the other side of its street; what then is left, all together.
    for street, index in [one for one in rest if one[0] in last_of]:
        units[last_of[street]] = units[last_of[street]].append(index)
    # Across streets nothing is known of who has two plots: twice as many, to be safe.
    over = order.index[:0].append([index for street, index in rest if street not in last_of])
    if len(over) >= 2 * least:
        units.append(over)
    elif len(over) and units:
        units[-1] = units[-1].append(over)
    return units


def _table(
    hood: Neighbourhood,
    order: pd.DataFrame,
    rows: Sequence[NDArray[np.intp]],
    public_land: NDArray[np.bool_],
    knowledge: Knowledge,
) -> gpd.GeoDataFrame:
    shapes = hood.plots.geometry.to_numpy()
    area = hood.plots["area_m2"].to_numpy(dtype=float)
    kinds = hood.plots["kind"].to_numpy(dtype=object)
    join = knowledge.setting("public_join_m")
    drawn: list[shapely.Geometry] = []
    # A unit of several plots is drawn as one, over the seams between them, but over no other.
    taken = shapely.union_all(shapes[np.concatenate(rows)])
    records = []
    for number, one in enumerate(rows, 1):
        street, side = (_shared(order[name].iloc[one]) for name in ("street", "side"))
        side = side if street else ""
        place = ", ".join(word for word in (street, side) if word)
        if len(one) == 1:
            shape = shapes[one[0]]
            kind = str(kinds[one[0]])
            name = knowledge.plot_kinds[kind].name if kind in knowledge.plot_kinds else kind
            label = f"{name} {number}"
            consent = "" if public_land[one[0]] else "yes"
        else:
            whole = shapely.union_all(shapes[one])
            closed = whole.buffer(join, join_style="mitre").buffer(-join, join_style="mitre")
            seams = shapely.difference(closed, taken)
            shape = _areas(shapely.union(whole, seams), whole)
            taken = shapely.union(taken, seams)
            kind, consent = TOGETHER, ""
            label = f"{len(one)} plots together" + (f" ({place})" if place else "")
        drawn.append(shape)
        records.append((f"s{number}", kind, label, street, consent, float(area[one].sum())))
    columns = ["plot", "kind", "label", "street", "consent", "area_m2"]
    table = pd.DataFrame(records, columns=columns).set_index("plot")
    return gpd.GeoDataFrame(table, geometry=drawn, crs=hood.plots.crs)


def _shared(names: "pd.Series[str]") -> str:
    """Return the name that all have; empty where they differ."""
    found = names.unique()
    return str(found[0]) if len(found) == 1 else ""


def _areas(shape: shapely.Geometry, otherwise: shapely.Geometry) -> shapely.Geometry:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    if not parts:
        return otherwise
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _amounts(
    answers: Answers, rows: Sequence[NDArray[np.intp]], knowledge: Knowledge
) -> tuple[Array, NDArray[np.bool_]]:
    """Add up what is known of each unit; what some plots have and others may have is at least."""
    hidden = {*sensitive_features(knowledge), *knowledge.features_with("way_through")}
    known = np.array([key not in hidden for key in answers.features], dtype=bool)
    amount = np.full((len(rows), len(answers.features)), np.nan)
    sized = np.zeros(amount.shape, dtype=bool)
    for at, one in enumerate(rows):
        cells = answers.amount[one]
        seen = ~np.isnan(cells)
        total = np.where(seen, cells, 0.0).sum(axis=0)
        told = (total > 0) | seen.all(axis=0)
        amount[at] = np.where(told & known, total, np.nan)
        sized[at] = answers.sized[one].any(axis=0) & (amount[at] > 0)
    return _rounded(amount), sized


def _rounded(amount: Array) -> Array:
    """Round to two significant digits."""
    values = [float(f"{value:.{_DIGITS}g}") for value in amount.ravel().tolist()]
    return np.array(values).reshape(amount.shape)


def _names(keys: Sequence[str], knowledge: Knowledge) -> str:
    return ", ".join(knowledge.features[key].name.lower() for key in keys) or "none"


def _words(
    units: int, together: int, left_out: int, least: int, knowledge: Knowledge
) -> tuple[str, str]:
    said = [_NEW_IDS]
    if units:
        stretches = "one stretch" if units == 1 else f"{units} stretches"
        said.insert(
            0,
            f"{together} plots whose households have not agreed to be shown are laid together in "
            f"{stretches} of at least {least} plots (twice as many where fronts and backs are "
            "plots of their own); what is not known of one of them counts as not there where "
            "another has it.",
        )
    names = _names(
        [*sensitive_features(knowledge), *knowledge.features_with("way_through")], knowledge
    )
    withheld = [f"{_NEVER} ({names})."]
    if left_out:
        withheld.append(f"{left_out} plots: too few to be laid together so that none stands out.")
    return " ".join(said), " ".join(withheld)
