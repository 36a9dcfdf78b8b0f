"""Files of neighbouring streets in one, for the answer across the border between two groups.

Each file stays as it is and goes on being the one that its group merges into; what is joined is
made anew whenever it is wanted. Nobody's word is lost or taken for another's: every statement keeps
who, when and seen from where, and of two people of one name in two files each is named with her
street. A plot that both maps have is one plot, on which both groups' statements count.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from patchnet.core.errors import WrongUse
from patchnet.core.files import folder_aside
from patchnet.core.folding import folded
from patchnet.core.geopackage import OutLayer, write_geopackage
from patchnet.core.street_store import Entry, replacing
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.feature_lists import plot_features
from patchnet.read.from_file import local_path, read_neighbourhood
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.merge import Merged, merge_records, only_said, summed_up, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import Records, digest, listed

__all__ = ["JOIN", "join_streets"]

JOIN = "join"
"""What the journal of a joined file says: it is never the one that public tables are made from."""

_LAYERS = ("barriers", "buildings", "roads", "footways", "street_objects")


@dataclass(frozen=True, eq=False)
class _Street:
    """One file: what it is called, its map and records, and the new ids of its plots."""

    name: str
    hood: Neighbourhood
    records: Records
    renamed: Mapping[str, str]
    known: frozenset[str]  # plots that an earlier file has too


def join_streets(
    files: Iterable[Path | str], target: Path | str, *, knowledge: Knowledge | None = None
) -> Merged:
    """Write the files of several streets as one GeoPackage, in the first one's system.

    Plots that overlap by more than half (of the smaller; setting ``join_same_share``) are the same
    plot and take the first file's id; of two plots of one id elsewhere the later gets its street's
    name before it.

    Parameters
    ----------
    files
        At least two, in the order in which their maps count.
    target
        The GeoPackage.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Merged
        What is in the new file.

    Raises
    ------
    WrongUse
        If there are fewer than two files.
    CannotRead, CannotWrite, DataFaults
        As reading and writing.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "west.gpkg")
    >>> patchnet.write_base(base, "east.gpkg")
    >>> joined = patchnet.join_streets(["west.gpkg", "east.gpkg"], "both.gpkg")
    >>> len(joined.neighbourhood.plots) == len(base.plots)
    True
    """
    knowledge = knowledge or load_knowledge()
    streets = _streets([local_path(one) for one in files], knowledge)
    if len(streets) < 2:
        raise WrongUse(_("Name at least two files of streets to be joined."))
    records = Records()
    for street in _apart(streets):
        own = _renamed(street, streets[0].hood.plots.crs)
        peace = pd.concat([records.forgotten, own.forgotten], ignore_index=True)
        last = peace.sort_values(["plot", "utc"]).drop_duplicates("plot", keep="last")
        records = merge_records(replace(records, forgotten=last), own)
    with replacing(target) as whole, folder_aside(whole.parent) as aside:
        draft = aside / Path(target).name
        write_geopackage(draft, _layers(streets))
        hood = read_neighbourhood(draft, knowledge=knowledge)
        records = only_said(replace(records, streets=(street_id(hood),)))
        merged = summed_up(
            draft, hood, records, knowledge=knowledge, id_column="id", entry=Entry(JOIN),
            new={"statements": len(records.statements)},
        )  # fmt: skip
        write_merged(replace(merged, new={}), whole)
    return replace(merged, source=Path(target))


def _streets(paths: Sequence[Path], knowledge: Knowledge) -> list[_Street]:
    least = knowledge.setting("join_same_share")
    found: list[_Street] = []
    crs = None
    placed = gpd.GeoSeries([], index=pd.Index([], dtype=object))
    for path in paths:
        hood = read_neighbourhood(path, knowledge=knowledge)
        crs = crs or hood.plots.crs
        shapes = hood.plots.geometry.to_crs(crs)
        renamed = _new_ids(path.stem, shapes, placed, least)
        known = frozenset(ident for ident, name in renamed.items() if name in placed.index)
        found.append(_Street(path.stem, hood, read_records_if_any(path), renamed, known))
        fresh = shapes[[str(ident) not in known for ident in shapes.index]]
        fresh.index = pd.Index([renamed[str(ident)] for ident in fresh.index], dtype=object)
        placed = pd.concat([placed, fresh])
    return found


def _new_ids(
    street: str, shapes: gpd.GeoSeries, placed: gpd.GeoSeries, least: float
) -> dict[str, str]:
    """Return the id that each plot gets beside those that are placed already."""
    there = placed.to_numpy()
    tree = shapely.STRtree(there)
    taken = set(map(str, placed.index))
    same: dict[str, str] = {}
    for ident, shape in shapes.items():
        for at in tree.query(shape, predicate="intersects").tolist():
            smaller = min(shape.area, there[at].area)
            if shapely.intersection(shape, there[at]).area > least * smaller:
                name = str(placed.index[at])
                if name not in same.values():
                    same[str(ident)] = name
                    break
    own = set(map(str, shapes.index))
    named = {}
    for ident in map(str, shapes.index):
        name = same.get(ident, ident)
        if ident not in same and name in taken:
            name = f"{street} {ident}"
            while name in taken or name in own:
                name += "'"
        named[ident] = name
    return named


def _apart(streets: Sequence[_Street]) -> list[_Street]:
    """Return the streets with people of one name in two files named with their street."""
    spellings = [
        {
            str(name)
            for table in (one.records.statements, one.records.drawn, one.records.consent,
                          one.records.returns, one.records.missing)
            for name in table["surveyor"]
            if name
        }
        for one in streets
    ]  # fmt: skip
    counts = Counter(name for names in spellings for name in set(map(folded, names)))
    told = []
    for street, names in zip(streets, spellings, strict=True):
        full = {name: f"{name} ({street.name})" for name in names if counts[folded(name)] > 1}
        tables: dict[str, Any] = {
            key: table.assign(surveyor=table["surveyor"].replace(full))
            for key, table in _tables(street.records).items()
        }
        told.append(replace(street, records=replace(street.records, **tables)))
    return told


def _tables(records: Records) -> dict[str, pd.DataFrame]:
    return {
        key: getattr(records, key)
        for key in ("statements", "drawn", "consent", "returns", "missing")
    }


def _renamed(street: _Street, crs: Any) -> Records:  # noqa: ANN401 - whatever names a CRS
    """Return a street's records under the new ids of its plots; digests follow what they say."""
    records, onto = street.records, street.renamed
    new: dict[str, str] = {}
    tables: dict[str, Any] = {"returns": records.returns, "missing": _in(records.missing, crs)}
    for name, key in (("statements", "statement"), ("consent", "answer_id"), ("drawn", "shape")):
        table = _in(records.drawn, crs) if name == "drawn" else getattr(records, name)
        table = table.assign(plot=[onto.get(str(plot), str(plot)) for plot in table["plot"]])
        if name != "drawn":  # whose digest is of its outline
            before = listed(table[key])
            table = digest(table.drop(columns=key), key)[list(table.columns)]
            new |= dict(zip(before, listed(table[key]), strict=True))
        tables[name] = table
    said = records.said_in.assign(ident=records.said_in["ident"].map(lambda one: new.get(one, one)))
    forgotten = records.forgotten.assign(
        plot=[onto.get(str(plot), str(plot)) for plot in records.forgotten["plot"]]
    )
    return replace(records, said_in=said, forgotten=forgotten, **tables)


def _in(table: gpd.GeoDataFrame, crs: Any) -> gpd.GeoDataFrame:  # noqa: ANN401 - as above
    return table if table.crs is None or not len(table) else table.to_crs(crs)


def _layers(streets: Sequence[_Street]) -> list[OutLayer]:
    """Return the maps as one; what is mapped with a shape of its own is in the plots' lists."""
    crs = streets[0].hood.plots.crs
    credit_lines = tuple(dict.fromkeys(line for one in streets for line in one.hood.credits))
    plots = []
    for street in streets:
        table = street.hood.plots.drop(columns="area_m2").assign(
            features=plot_features(street.hood), file=street.name
        )
        table = table[[str(ident) not in street.known for ident in table.index]].to_crs(crs)
        table.insert(0, "id", [street.renamed[str(ident)] for ident in table.index])
        plots.append(table.reset_index(drop=True))
    made = [OutLayer("plots", _whole(plots), credits=credit_lines, geometry_type="MultiPolygon")]
    for name in _LAYERS:
        found = [getattr(one.hood, name) for one in streets]
        tables = [table.to_crs(crs) for table in found if table is not None and len(table)]
        if tables:
            whole = _whole(tables)
            made.append(OutLayer(name, whole[~_twice(whole)], credits=credit_lines))
    return made


def _whole(tables: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    whole = pd.concat([table.reset_index(drop=True) for table in tables], ignore_index=True)
    return gpd.GeoDataFrame(whole, geometry="geometry", crs=tables[0].crs)


def _twice(table: gpd.GeoDataFrame) -> "pd.Series[bool]":
    """Return which shapes stand there before, to the centimetre."""
    keys = pd.Series(shapely.to_wkb(shapely.set_precision(table.geometry.to_numpy(), 0.01)))
    found: pd.Series[bool] = keys.duplicated()
    return found.set_axis(table.index)
