"""The base map of a neighbourhood put together from open data."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.carried import carried_barriers, carried_features, carried_plots
from patchnet.base.derived import Derived
from patchnet.base.earlier import read_earlier
from patchnet.base.facing import find_facing
from patchnet.base.gather import gather
from patchnet.base.gathered import Gathered
from patchnet.base.grounds import BASIS, Grounds, find_grounds
from patchnet.base.houses import houses_on
from patchnet.base.numbering import Numbered, number_plots
from patchnet.base.on_plots import place_features
from patchnet.base.open_input import open_input
from patchnet.base.plot_rows import Piece, ground_pieces, street_pieces
from patchnet.base.roles import Role, sort_inputs
from patchnet.base.street_space import StreetSpace, find_street_space
from patchnet.base.streets import Streets, streets_of
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault, nearest_hint
from patchnet.knowledge.records import Knowledge
from patchnet.read.crs import parse_crs

__all__ = ["BaseMap", "make_base"]

Shapes = NDArray[np.object_]
_NOT_BOUNDARIES = (
    "Outlines of {:,} plots are derived from buildings and streets: they are not boundaries"
)
PLOT_COLUMNS = (
    "id", "kind", "label", "street", "code", "number", "part", "side", "parcel", "house", "basis",
    "front_back_basis", "geometry",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class BaseMap:
    """A base map, ready to be written and surveyed.

    Attributes
    ----------
    plots
        In walking order: ``id``, ``kind``, ``label``, ``street``, ``code`` of the street,
        ``number``, ``part`` (front, back, whole), ``side``, ``parcel`` (id in the cadastre),
        ``house`` (number in OpenStreetMap), ``basis`` and ``front_back_basis`` (how it was told).
    features
        ``plot``, ``feature`` (with a ? where the tags say less than the feature claims), ``osm``,
        ``basis``; what OpenStreetMap maps. Absence means not known.
    barriers
        ``kind``, ``gap`` (not_known), ``height_m``, ``osm``.
    buildings
        ``name``, ``height_m``, ``use``, ``osm``.
    roads
        ``name``, ``kind``, ``width_m``, ``speed_kmh``, ``walked``, ``osm``; NaN not known.
    footways
        ``name``, ``width_m``, ``osm``, ``basis``.
    credits
        Table of ``layer``, ``attribution``, ``licence`` and ``note``.
    faults
        Warnings that were said and gone on with.
    crs, source_crs
        System of the layers and of the main input.
    derived
        The tessellation, where plots were derived.
    numbered
        How ids came about, against an earlier base as well.
    not_placed
        Features of OpenStreetMap that lie on no plot, and so are left out.
    earlier
        Whether it was laid over an earlier base.
    knowledge
        Tables that say what the kinds of its plots are.
    """

    plots: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    buildings: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame
    footways: gpd.GeoDataFrame
    credits: pd.DataFrame
    faults: tuple[Fault, ...]
    crs: pyproj.CRS
    source_crs: str
    derived: Derived | None
    numbered: Numbered
    knowledge: Knowledge
    not_placed: int = 0
    earlier: bool = field(default=False)


def make_base(
    inputs: Sequence[Path | str] = (),
    *,
    osm: Sequence[Path | str] = (),
    parcels: Sequence[Path | str] = (),
    buildings: Sequence[Path | str] = (),
    roads: Sequence[Path | str] = (),
    box: tuple[float, float, float, float] | None = None,
    street: Sequence[str] = (),
    earlier: Path | str | None = None,
    crs: str | None = None,
    credits: Sequence[str] = (),  # noqa: A002 - the word for lines of attribution
    knowledge: Knowledge,
) -> BaseMap:
    """Make a base map.

    Parameters
    ----------
    inputs
        Files whose content tells what they are: OpenStreetMap extract, parcels, buildings, roads.
    osm, parcels, buildings, roads
        Files of which the user says what they are.
    box
        West, south, east, north in degrees: only what lies there.
    street
        Names of streets: only plots of those.
    earlier
        An earlier base, whose numbers are kept.
    crs
        System of files that name none.
    credits
        Lines of attribution for inputs that bring none.
    knowledge
        The tables.

    Returns
    -------
    BaseMap
        With the warnings in `faults`.

    Raises
    ------
    DataFaults
        If the data have errors: all of them at once, with the warnings.
    CannotRead
        If a file is missing, damaged, or of a kind that is not read.
    WrongUse
        If there is no input, or a street that the roads do not have.
    """
    faults = FaultList()
    said: list[tuple[Path | str, Role | None]] = [(path, None) for path in inputs]
    named: tuple[tuple[Sequence[Path | str], Role], ...] = (
        (osm, "osm"), (parcels, "parcels"), (buildings, "buildings"), (roads, "roads"),
    )  # fmt: skip
    said += [(path, role) for paths, role in named for path in paths]
    if not said:
        raise WrongUse("Name at least one file: an OpenStreetMap extract is enough to begin with.")
    if box is None:
        _check_sizes([Path(path) for path, _ in said], knowledge)
    layers = [(layer, role) for path, role in said for layer in open_input(path, box=box)]
    gathered = gather(
        sort_inputs(layers, knowledge, faults),
        said_crs=parse_crs(crs),
        box=box,
        credit_lines=credits,
        knowledge=knowledge,
        faults=faults,
    )
    before = None
    if gathered is not None and earlier is not None:
        before = read_earlier(earlier, gathered.crs, faults)
    if gathered is None or faults.errors:
        raise DataFaults(faults.faults)
    streets = streets_of(gathered.roads)
    wanted = _wanted(street, streets)
    grounds = find_grounds(gathered, knowledge, faults)
    pieces, space = _pieces(gathered, grounds, streets, knowledge, faults)
    if wanted is not None:
        pieces = [piece for piece in pieces if piece.unit.street in wanted]
    if not pieces:
        faults.error(
            ", ".join(dict.fromkeys(layer.where for layer, _ in layers)),
            "No plot came out: there is no ground beside the buildings.",
            "Look whether parcels and buildings are what they should be.",
        )  # fmt: skip
        raise DataFaults(faults.faults)
    numbered = number_plots([p.unit for p in pieces], streets, before, knowledge, faults)
    plots = _plots(pieces, numbered, streets, gathered)
    margin = knowledge.setting("base_margin_m")

    def near(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return _near(table, plots, wanted, margin)

    barriers = near(gathered.barriers.assign(gap="not_known"))
    if before is not None:
        plots = carried_plots(plots, before, near, knowledge, faults)
        gone = tuple(one for one in numbered.gone if one not in set(plots["id"]))
        numbered = replace(numbered, gone=gone)
        barriers = carried_barriers(barriers, before, near, faults)
    houses = gathered.buildings[["name", "height_m", "use", "osm", "geometry"]]
    features, left = place_features(near(gathered.features), plots, knowledge)
    if before is not None:
        features = carried_features(features, plots, before, near, faults)
    return BaseMap(
        plots=plots,
        features=features,
        barriers=barriers,
        buildings=near(houses),
        roads=near(gathered.roads),
        footways=near(_footways(gathered, space, streets)),
        credits=_credits(gathered, plots),
        faults=faults.faults,
        crs=gathered.crs,
        source_crs=gathered.source_crs,
        derived=grounds.derived,
        numbered=numbered,
        knowledge=knowledge,
        not_placed=left if wanted is None else 0,
        earlier=before is not None,
    )


def _check_sizes(paths: Sequence[Path], knowledge: Knowledge) -> None:
    """Refuse an extract of a whole county before minutes go by with reading it."""
    most = {
        ".pbf": knowledge.setting("base_extract_max_mb"),
        ".osm": knowledge.setting("base_extract_xml_max_mb"),
    }
    faults = FaultList()
    for path in paths:
        size = path.stat().st_size / 1e6 if path.is_file() else 0.0
        if size > most.get(path.suffix.casefold(), np.inf):
            faults.error(
                path.name, f"This extract is of {size:,.0f} MB: far more than a neighbourhood.",
                "Say which part of it: --bbox WEST,SOUTH,EAST,NORTH in degrees.",
            )  # fmt: skip
    if faults.errors:
        raise DataFaults(faults.faults)


def _wanted(names: Sequence[str], streets: Streets) -> set[int] | None:
    if not names:
        return None
    place = {name.casefold(): at for at, name in enumerate(streets.names) if streets.named[at]}
    for name in names:
        if name.casefold() not in place:
            hint = nearest_hint(name, [streets.names[at] for at in place.values()])
            raise WrongUse(f"There is no street called {name!r} here.{hint}")
    return {place[name.casefold()] for name in names}


def _pieces(
    inputs: Gathered, grounds: Grounds, streets: Streets, knowledge: Knowledge, faults: FaultList
) -> tuple[list[Piece], StreetSpace]:
    table = grounds.table
    shapes = table.geometry.to_numpy()
    standing = houses_on(shapes, inputs.buildings, knowledge)
    address = [
        str(inputs.buildings["street"].iloc[at]) if at >= 0 else "" for at in standing.main.tolist()
    ]
    looks = standing.house.copy()
    looks[(table["origin"] == "area").to_numpy()] = None
    facing = find_facing(shapes, looks, address, standing.party, streets, knowledge)
    pieces = ground_pieces(table, standing, facing, streets, inputs.buildings, knowledge, faults)
    space = find_street_space(
        shapes, (table["origin"] != "derived").to_numpy(), inputs.buildings.geometry.to_numpy(),
        inputs.roads, inputs.footways, streets, knowledge,
    )  # fmt: skip
    drawn = [shape for piece in pieces for shape in piece.unit.parts.values()]
    pieces += street_pieces(space, inputs, drawn, streets, knowledge)
    return pieces, space


def _plots(
    pieces: Sequence[Piece], numbered: Numbered, streets: Streets, inputs: Gathered
) -> gpd.GeoDataFrame:
    words = {"F": "front", "B": "back", "": "whole"}
    rows = []
    for at in numbered.order:
        piece = pieces[at]
        street = piece.unit.street
        name = streets.names[street] if street >= 0 else ""
        for part, shape in piece.unit.parts.items():
            ident = numbered.ids[at, part]
            number = ident.rsplit("-", maxsplit=1)[-1].rstrip("FB")
            label = f"{name or 'No street'}, {piece.noun} {number}"
            rows.append(
                {
                    "id": ident, "kind": piece.kinds[part],
                    "label": f"{label}, {words[part]}" if part else label,
                    "street": name if street >= 0 and streets.named[street] else "",
                    "code": numbered.code[at], "number": number, "part": words[part],
                    "side": numbered.side[at], "parcel": piece.parcel, "house": piece.house,
                    "basis": BASIS[piece.origin], "front_back_basis": piece.split_basis,
                    "geometry": shape,
                }
            )  # fmt: skip
    table = pd.DataFrame(rows, columns=list(PLOT_COLUMNS))
    return gpd.GeoDataFrame(table, geometry="geometry", crs=inputs.crs)


def _near(
    table: gpd.GeoDataFrame, plots: gpd.GeoDataFrame, wanted: set[int] | None, margin: float
) -> gpd.GeoDataFrame:
    """Where only some streets are wanted, return what lies round their plots."""
    if wanted is None or not len(table):
        return table
    around = shapely.box(*plots.total_bounds).buffer(margin)
    return table[table.geometry.intersects(around)].reset_index(drop=True)


def _footways(inputs: Gathered, space: StreetSpace, streets: Streets) -> gpd.GeoDataFrame:
    mapped = inputs.footways.assign(basis="OpenStreetMap")
    if not len(space.footways):
        return mapped
    guessed = gpd.GeoDataFrame(
        {
            "name": [streets.names[at] for at in space.footways["street"]],
            "width_m": np.nan, "osm": "", "basis": "guessed: strip along the plots",
        },
        geometry=space.footways.geometry.to_numpy(),
        crs=inputs.crs,
    )  # fmt: skip
    if not len(mapped):
        return guessed
    return pd.concat([mapped, guessed], ignore_index=True)


def _credits(inputs: Gathered, plots: gpd.GeoDataFrame) -> pd.DataFrame:
    """Say layer by layer whose data it is made from and under which licence."""
    made_from: Mapping[str, tuple[str, ...]] = {
        "plots": ("parcels", "buildings", "roads", "areas"),
        "features": ("features",),
        "barriers": ("barriers",),
        "buildings": ("buildings",),
        "roads": ("roads",),
        "footways": ("footways", "roads"),
    }
    rows = []
    for layer, sources in made_from.items():
        lines = dict.fromkeys(line for one in sources for line in inputs.credits.get(one, ()))
        for line in lines:
            licence = "ODbL 1.0" if "ODbL" in line or "OpenStreetMap" in line else ""
            licence = licence or ("OGL v3.0" if "Open Government" in line else "")
            rows.append((layer, line, licence, _note(layer, licence, len(lines))))
    derived = int((plots["basis"] == BASIS["derived"]).sum())
    if derived:
        # It stands among the credits so that every page and file made of the base carries it.
        rows.append(
            (
                "plots", _NOT_BOUNDARIES.format(derived), "", "",
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["layer", "attribution", "licence", "note"])


def _note(layer: str, licence: str, lines: int) -> str:
    if licence != "ODbL 1.0":
        return ""
    if layer == "plots" and lines > 1:
        return (
            "Cut with OpenStreetMap's buildings or roads: pass this layer on under the ODbL as "
            "well. What a survey tells of plots stands in a table of its own and is not part of it."
        )
    return "From OpenStreetMap: pass this layer on under the ODbL. Keep survey data beside it."
