"""Results as files for other programs: GeoPackage, GeoJSON (RFC 7946), GraphML."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TypeAlias

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import shapely

from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.core.errors import WrongUse
from patchnet.core.files import write_aside
from patchnet.movement.distance import crossing_line
from patchnet.network.patch_measures import Whole, measure_patches
from patchnet.network.prune import prune_links
from patchnet.pages.files.formats import FORMATS, Credits, endings
from patchnet.pages.kit.numbers import figure
from patchnet.read.feature_lists import Said, write_list
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "LAYERS",
    "Form",
    "break_table",
    "cut_words",
    "export_form",
    "link_table",
    "plot_features",
    "plot_table",
    "write_export",
    "write_layers",
]

Form: TypeAlias = str
"""Key of a format: one of `formats.FORMATS`, or ``"graphml"``, the graph of one group."""
LAYERS = ("plots", "links", "breaks")
_GRAPH = ".graphml"


def export_form(path: Path | str, groups: Sequence[str]) -> Form:
    """Which format a file name asks for.

    Raises
    ------
    WrongUse
        If the ending is none of them, or GraphML is asked for without exactly one group.
    """
    ending = Path(path).suffix.lower()
    known = endings()
    if ending == _GRAPH:
        form = "graphml"
    elif ending in known:
        form = known[ending]
    else:
        raise WrongUse(f"{path}: the name must end in {', '.join([*known, _GRAPH])}.")
    if form == "graphml" and len(groups) != 1:
        raise WrongUse("A .graphml file holds the graph of one group: say --group KEY once.")
    return form


def cut_words(assessment: Assessment) -> str:
    """What leaving out unlikely routes can have cost at most, in one sentence.

    Linked homes are the root of the PC numerator; with all that was cut they could be the root
    of numerator + bound. The group for which that is most, in percent, is named.
    """
    cut = assessment.knowledge.setting("p_cut")
    most, name = 0.0, ""
    for answer in assessment.groups.values():
        numerator, bound = answer.measures.pc_numerator, answer.measures.cut_bound
        percent = 100 * (np.sqrt(1 + bound / numerator) - 1) if numerator > 0 else 0.0
        if percent > most:
            most, name = float(percent), answer.group.name.lower()
    if not name:
        return f"No best route was left out (cut at p = {cut:g})."
    return (
        f"Routes less likely than p = {cut:g} were left out: linked homes are at most "
        f"{figure(most)} % too low ({name})."
    )


def plot_table(assessment: Assessment, *, importance: bool = False) -> gpd.GeoDataFrame:
    """Plots with what they have and how each group stands, one row a plot, metres.

    Columns: id, kind, label, street, area_m2, known_share, features (a list that patchnet reads
    back), and for each group ``room_<group>``, ``homes_``, ``homes_low_``, ``homes_high_``,
    ``quality_``, ``scarcest_``, ``component_`` (-1: no patch) and, for each need,
    ``enough_<group>_<need>`` and ``met_<group>_<need>``. With `importance` also what is lost when
    the plot goes, in percent of the PC numerator: ``loss_<group>`` = ``own_`` + ``flow_`` +
    ``connector_``, and every one of `network.patch_measures.PATCH_MEASURES` (``traffic_``,
    ``ways_``); empty where the plot is no patch.
    """
    plots = assessment.neighbourhood.plots
    columns: dict[str, object] = {
        "id": plots.index.astype(str),
        "kind": plots["kind"],
        "label": plots["label"],
        "street": plots["street"],
        "area_m2": plots["area_m2"],
        "known_share": assessment.known_share,
        "features": plot_features(assessment.neighbourhood),
    }
    for key, answer in assessment.groups.items():
        columns |= _group_columns(key, answer)
        if importance:
            cut = assessment.knowledge.setting("p_cut")
            shares = measure_patches(answer.network, Whole(cut, answer.measures.pc_numerator))
            columns |= {
                f"{part}_{key}": shares[part].reindex(plots.index) for part in shares.columns
            }
    table = pd.DataFrame(columns, index=plots.index)
    return gpd.GeoDataFrame(
        table.reset_index(drop=True), geometry=plots.geometry.to_numpy(), crs=plots.crs
    )


def _group_columns(key: str, answer: GroupAnswer) -> dict[str, object]:
    columns: dict[str, object] = {
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


def plot_features(neighbourhood: Neighbourhood) -> list[str]:
    """Feature lists in the form that patchnet reads: unlisted is not known."""
    answers = neighbourhood.answers
    return [
        write_list(
            Said(
                feature,
                "there" if amount > 0 else "not there",
                float(amount) if stated and amount > 0 else None,
                bool(certain),
            )
            for feature, amount, stated, certain in zip(
                answers.features, row, sized, sure, strict=True
            )
            if not np.isnan(amount)
        )
        for row, sized, sure in zip(answers.amount, answers.sized, answers.sure, strict=True)
    ]


def link_table(assessment: Assessment, *, all_links: bool = False) -> gpd.GeoDataFrame:
    """Links of every group as lines: group, from_plot, to_plot, length_m, cost_m, p.

    Groups that walk: the cheapest ways over the ground; `cost_m` is in metres of the best
    ground, and p follows from it. Others: straight lines, of which `cost_m` is the length.
    Links that no best route needs are left out unless `all_links`; leaving them out changes
    no route and no measure.
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
    """Breaks of every group as lines, for each group the one that wins most first."""
    rows = [
        {
            "group": key,
            "from_plot": gap.from_plot,
            "to_plot": gap.to_plot,
            "width_m": gap.width_m,
            "cost_m": gap.cost_m,
            "stepping_stones": gap.stepping_stones,
            "homes_won": gap.homes_won,
            "plots_on_the_way": "; ".join(gap.plots_on_the_way),
            "geometry": gap.line,
        }
        for key, answer in assessment.groups.items()
        for gap in answer.breaks
    ]
    columns = (
        "group", "from_plot", "to_plot", "width_m", "cost_m", "stepping_stones", "homes_won",
        "plots_on_the_way", "geometry",
    )  # fmt: skip
    return gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=list(columns)),
        geometry="geometry",
        crs=assessment.neighbourhood.plots.crs,
    )


def write_export(
    assessment: Assessment,
    path: Path | str,
    *,
    form: Form,
    layer: str = "plots",
    all_links: bool = False,
    importance: bool = False,
) -> None:
    """Write the results to `path`, whole or not at all.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    hood = assessment.neighbourhood
    told = _told(hood)
    if form == "graphml":
        (answer,) = assessment.groups.values()
        graph = answer.network.graph.copy()
        graph.graph.update(told)
        with write_aside(path) as draft:
            nx.write_graphml(graph, draft)
        return
    makers = {
        "plots": lambda: plot_table(assessment, importance=importance),
        "links": lambda: link_table(assessment, all_links=all_links),
        "breaks": lambda: break_table(assessment),
    }
    wanted = LAYERS if FORMATS[form].several else (layer,)
    tables = {name: makers[name]().assign(**told) for name in wanted}
    write_layers(tables, path, form=form, credit_lines=hood.credits, told=told)


def _told(hood: Neighbourhood) -> dict[str, str]:
    """Say in every row what was made coarser and left out, in the terms of Darwin Core.

    Darwin Core quick reference guide, https://dwc.tdwg.org/terms/: dataGeneralizations ("actions
    taken to make the shared data less specific or complete"), informationWithheld ("additional
    information that exists, but that has not been shared").
    """
    if hood.audience == "own":
        return {}
    return {"dataGeneralizations": hood.generalised, "informationWithheld": hood.withheld}


def write_layers(
    tables: Mapping[str, gpd.GeoDataFrame],
    path: Path | str,
    *,
    form: Form,
    credit_lines: tuple[str, ...],
    told: Mapping[str, str] | None = None,
) -> None:
    """Write tables as the layers of one file, whole or not at all.

    `told` is what the layers themselves say besides their credits, so that an empty one does too.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    with write_aside(path) as draft:
        FORMATS[form].write(draft, tables, Credits(credit_lines, told or {}))
