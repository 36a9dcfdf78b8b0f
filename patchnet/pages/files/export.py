"""Results as files for other programs: GeoPackage, GeoJSON (RFC 7946), GraphML."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import geopandas as gpd
import numpy as np

from patchnet.assess.assessment import Assessment
from patchnet.assess.tables import break_table, importance_table, link_table, plot_table
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_aside
from patchnet.core.language_forms import in_sentence
from patchnet.core.street_store import replacing
from patchnet.core.texts import _
from patchnet.network.measures import network_measures
from patchnet.pages.files.formats import FORMATS, RIGHTS_HOLDER, Credits, endings
from patchnet.pages.kit.numbers import figure
from patchnet.read.neighbourhood import Neighbourhood

if TYPE_CHECKING:
    import networkx as nx

__all__ = [
    "LAYERS",
    "Form",
    "cut_words",
    "export",
    "export_form",
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
        raise WrongUse(
            _("{path}: the name must end in {value}.").format(
                path=path, value=", ".join([*known, _GRAPH])
            )
        )
    if form == "graphml" and len(groups) != 1:
        raise WrongUse(_("A .graphml file holds the graph of one group: say --group KEY once."))
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
            most, name = float(percent), in_sentence(answer.group.name)
    if not name:
        return _("No best route was left out (cut at p = {cut:g}).").format(cut=cut)
    return _(
        "Routes less likely than p = {cut:g} were left out: linked homes are at most {most} % too "
        "low ({name})."
    ).format(cut=cut, most=figure(most), name=name)


def export(
    assessment: Assessment,
    path: Path | str,
    *,
    layer: Literal["plots", "links", "breaks"] = "plots",
    all_links: bool = False,
    importance: bool = False,
    overwrite: bool = False,
) -> Path:
    """Write the results for other programs, whole or not at all, and return the path.

    Parameters
    ----------
    assessment
        The answer; where it is for others (see `patchnet.for_audience`), each row says what was
        made coarser or left out.
    path
        Its ending says the format: ``.gpkg`` (GeoPackage, every layer), ``.geojson`` (RFC 7946,
        one layer, WGS 84), ``.csv`` (RFC 4180, one layer), ``.graphml`` (the patch graph of one
        group).
    layer
        Which layer a GeoJSON or CSV file holds.
    all_links
        Also links that no best route needs.
    importance
        Also what each plot and link is worth to the network of each group (see
        `patchnet.plot_table` and `patchnet.link_table`).
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If the ending is another, there is no such layer, or GraphML is asked for without exactly
        one group.
    CannotWrite
        If the file cannot be written, or would replace one that patchnet did not make.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.export(answer, "plots.csv", importance=True).name
    'plots.csv'
    """
    form = export_form(path, list(assessment.groups))
    if layer not in LAYERS:
        raise WrongUse(
            _("There is no layer {layer!r}: write one of {layers}.").format(
                layer=layer, layers=", ".join(LAYERS)
            )
        )
    ensure_may_write(path, overwrite=overwrite)
    write_export(
        assessment, path, form=form, layer=layer, all_links=all_links, importance=importance
    )
    return Path(path)


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
        if hood.credits:
            graph.graph[RIGHTS_HOLDER] = "; ".join(hood.credits)
        if importance:
            _add_importance(graph, assessment)
        import networkx as nx

        with write_aside(path) as draft:
            nx.write_graphml(graph, draft)
        return
    makers = {
        "plots": lambda: _with_ids(plot_table(assessment, importance=importance)),
        "links": lambda: link_table(assessment, all_links=all_links, importance=importance),
        "breaks": lambda: break_table(assessment),
    }
    wanted = LAYERS if FORMATS[form].several else (layer,)
    tables = {name: makers[name]().assign(**told) for name in wanted}
    write_layers(tables, path, form=form, credit_lines=hood.credits, told=told)


def _with_ids(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Turn the index of plots into a first column of text."""
    plain = table.reset_index(drop=True)
    plain.insert(0, "id", table.index.astype(str))
    return plain


def _add_importance(graph: "nx.Graph[str]", assessment: Assessment) -> None:
    """What each patch is worth to its neighbours in the graph, and measures of the whole."""
    ((key, answer),) = assessment.groups.items()
    for plot, row in importance_table(assessment, key).iterrows():
        graph.nodes[plot].update({str(part): float(value) for part, value in row.items()})
    cut = assessment.knowledge.setting("p_cut")
    measures = network_measures(answer.network, p_cut=cut, hops=True)
    graph.graph.update(
        linked_homes=measures.eca, linked_homes_iic=measures.ec_iic, harary=measures.harary
    )


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

    Parameters
    ----------
    tables
        Name of a layer -> its table.
    path
        The file.
    form
        Name of the format.
    credit_lines
        Whose data it was made from.
    told
        See above.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    # A GeoPackage may be open in another program, and have a log of its own beside it.
    with replacing(path) if form == "gpkg" else write_aside(path) as draft:
        FORMATS[form].write(draft, tables, Credits(credit_lines, told or {}))
