"""An assessment as tables: plots, links and breaks, in metres of the neighbourhood's CRS."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.assess.assessment import Assessment, Break, GroupAnswer
from patchnet.movement.distance import crossing_line
from patchnet.network.importance import link_importance
from patchnet.network.patch_measures import Whole, measure_patches
from patchnet.network.prune import prune_links
from patchnet.read.feature_lists import plot_features

__all__ = [
    "BREAK_COLUMNS", "break_rows", "break_table", "group_columns", "importance_table", "link_table",
    "plot_table",
]  # fmt: skip

BREAK_COLUMNS = (
    "group", "from_plot", "to_plot", "width_m", "cost_m", "stepping_stones", "homes_won",
    "plots_on_the_way", "geometry",
)  # fmt: skip
"""Columns of a table of breaks, see `break_table`."""


def plot_table(assessment: Assessment, *, importance: bool = False) -> gpd.GeoDataFrame:
    """Plots with what they have and how each group stands, one row a plot.

    Parameters
    ----------
    assessment
        n plots.
    importance
        Also what the network of each group loses when a plot goes, and what runs over it.

    Returns
    -------
    GeoDataFrame
        Index of the neighbourhood's plots. Columns kind, label, street, area_m2, known_share
        (0-1), features (a list that patchnet reads back), and for each group ``room_<group>``,
        ``homes_``, ``homes_low_``, ``homes_high_`` (homes), ``quality_`` (0-1), ``scarcest_``,
        ``component_`` (-1: no patch) and, for each need, ``enough_<group>_<need>`` (homes) and
        ``met_<group>_<need>`` (0-1). With `importance` also, in percent of the PC numerator:
        ``loss_<group>`` = ``own_`` + ``flow_`` + ``connector_`` (what is lost when the plot goes;
        Saura & Rubio 2010, Ecography 33:523-537) and ``traffic_`` (what runs over it between
        other plots; Bodin & Saura 2010, Ecological Modelling 221:2393-2405); and ``ways_``, of
        the ways with fewest links between other plots, how many pass here (Freeman 1977), as
        every one of `patchnet.network.patch_measures.PATCH_MEASURES`. Empty where the plot is no
        patch.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.plot_table(answer).loc["M15B", ["homes_wren", "scarcest_wren"]].size
    2
    """
    plots = assessment.neighbourhood.plots
    columns: dict[str, object] = {
        "kind": plots["kind"],
        "label": plots["label"],
        "street": plots["street"],
        "area_m2": plots["area_m2"],
        "known_share": assessment.known_share,
        "features": plot_features(assessment.neighbourhood),
    }
    for key, answer in assessment.groups.items():
        columns |= group_columns(key, answer)
        if importance:
            found = importance_table(assessment, key)
            columns |= {f"{part}_{key}": found[part].reindex(plots.index) for part in found}
    table = pd.DataFrame(columns, index=plots.index)
    return gpd.GeoDataFrame(table, geometry=plots.geometry.to_numpy(), crs=plots.crs)


def importance_table(assessment: Assessment, group: str) -> pd.DataFrame:
    """What each patch of a group is worth to its network.

    Parameters
    ----------
    assessment
        An answer that holds the group.
    group
        Key of the group.

    Returns
    -------
    DataFrame
        Index: ids of the patches. Columns loss, own, flow and connector (percent of the PC
        numerator), and one for each of `patchnet.network.patch_measures.PATCH_MEASURES`.

    Raises
    ------
    WrongUse
        If the group is not in this answer.
    """
    answer, p_cut = assessment.groups[group], assessment.knowledge.setting("p_cut")
    return measure_patches(answer.network, Whole(p_cut, answer.measures.pc_numerator))


def group_columns(key: str, answer: GroupAnswer) -> "dict[str, pd.Series]":
    """Columns of one group in a table of plots, as `plot_table` has them.

    Parameters
    ----------
    key
        Of the group.
    answer
        Its answer for n plots.
    """
    columns: dict[str, pd.Series] = {
        f"room_{key}": answer.room,
        f"homes_{key}": answer.homes,
        f"homes_low_{key}": answer.homes_low,
        f"homes_high_{key}": answer.homes_high,
        f"quality_{key}": answer.quality,
        f"scarcest_{key}": answer.scarcest.astype(str),
        f"component_{key}": answer.component,
    }
    for sheet in answer.needs:
        columns[f"enough_{key}_{sheet.need.key}"] = sheet.enough
        columns[f"met_{key}_{sheet.need.key}"] = sheet.met
    return columns


def link_table(
    assessment: Assessment, *, all_links: bool = False, importance: bool = False
) -> gpd.GeoDataFrame:
    """Links of every group as lines.

    Parameters
    ----------
    assessment
        The answer.
    all_links
        Also links that no best route needs (there can be very many); without them no route and
        no measure is another.
    importance
        Also what is lost when each link is cut (Saura & Rubio 2010, Ecography 33:523-537).

    Returns
    -------
    GeoDataFrame
        Columns group, from_plot, to_plot, length_m, cost_m (metres), p (0-1), geometry; with
        `importance` also loss (percent of the PC numerator).

    Notes
    -----
    Groups that walk: the cheapest ways over the ground; `cost_m` is in metres of the best
    ground, and p follows from it. Others: straight lines, of which `cost_m` is the length.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> list(patchnet.link_table(answer).columns[:4])
    ['group', 'from_plot', 'to_plot', 'length_m']
    """
    shapes = assessment.neighbourhood.plots.geometry
    tables = []
    for key, answer in assessment.groups.items():
        network = answer.network
        kept = slice(None) if all_links else prune_links(network)
        starts, ends = network.ids[network.i[kept]], network.ids[network.j[kept]]
        cost = network.length_mm[kept] / 1000
        lines, length = _crossings(assessment, answer, starts, ends)
        tables.append(
            pd.DataFrame(
                {
                    "group": key,
                    "from_plot": starts.astype(str),
                    "to_plot": ends.astype(str),
                    "length_m": cost if length is None else length,
                    "cost_m": cost,
                    "p": np.exp(-network.k_per_m * cost),
                    "geometry": lines,
                }
            )
        )
        if importance:
            p_cut = assessment.knowledge.setting("p_cut")
            tables[-1]["loss"] = link_importance(network, p_cut=p_cut)["loss"].to_numpy()[kept]
    return gpd.GeoDataFrame(
        pd.concat(tables, ignore_index=True), geometry="geometry", crs=shapes.crs
    )


def _crossings(
    assessment: Assessment, answer: GroupAnswer, starts: pd.Index, ends: pd.Index
) -> tuple[list[shapely.LineString], list[float] | None]:
    """Lines of links, and their metres where these are not what the links cost."""
    plots = assessment.neighbourhood.plots
    if answer.ground is None:
        pairs = zip(plots.geometry.loc[starts], plots.geometry.loc[ends], strict=True)
        return [crossing_line(a, b) for a, b in pairs], None
    at = (plots.index.get_indexer(starts).tolist(), plots.index.get_indexer(ends).tolist())
    ways = [answer.ground.line(i, j) for i, j in zip(*at, strict=True)]
    return [line for line, _ in ways], [length for _, length in ways]


def break_table(assessment: Assessment) -> gpd.GeoDataFrame:
    """Breaks of every group as lines, for each group the most useful first.

    Parameters
    ----------
    assessment
        The answer.

    Returns
    -------
    GeoDataFrame
        Columns group, from_plot, to_plot, width_m, cost_m (metres), stepping_stones (count),
        homes_won (linked homes), plots_on_the_way (with semicolons between), geometry.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["newt"])
    >>> list(patchnet.break_table(answer).columns[:3])
    ['group', 'from_plot', 'to_plot']
    """
    rows = [
        row for key, answer in assessment.groups.items() for row in break_rows(key, answer.breaks)
    ]
    return gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=list(BREAK_COLUMNS)),
        geometry="geometry",
        crs=assessment.neighbourhood.plots.crs,
    )


def break_rows(key: str, breaks: Sequence[Break]) -> list[dict[str, object]]:
    """Rows of `break_table` for one group.

    Parameters
    ----------
    key
        Of the group.
    breaks
        In their order.
    """
    return [
        {
            "group": key,
            "from_plot": one.from_plot,
            "to_plot": one.to_plot,
            "width_m": one.width_m,
            "cost_m": one.cost_m,
            "stepping_stones": one.stepping_stones,
            "homes_won": one.homes_won,
            "plots_on_the_way": "; ".join(one.plots_on_the_way),
            "geometry": one.line,
        }
        for one in breaks
    ]
