"""The base map of a neighbourhood put together from open data."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.accounts import account
from patchnet.base.carried import carried_barriers, carried_features, carried_plots
from patchnet.base.credits import credits_table
from patchnet.base.derived import Derived
from patchnet.base.earlier import read_earlier
from patchnet.base.facing import find_facing
from patchnet.base.find_street import Found
from patchnet.base.gather import cut_to, gather, grown
from patchnet.base.gathered import Gathered
from patchnet.base.grounds import Grounds, find_grounds
from patchnet.base.houses import houses_on
from patchnet.base.kept_part import around, parts_of
from patchnet.base.missing_houses import with_missing_houses
from patchnet.base.numbering import Numbered, number_plots
from patchnet.base.on_plots import place_features
from patchnet.base.open_input import open_input
from patchnet.base.plot_rows import Piece, ground_pieces, street_pieces
from patchnet.base.plot_table import plot_table
from patchnet.base.roles import ROLES, Role, country_said, sort_inputs
from patchnet.base.street_space import StreetSpace, find_street_space
from patchnet.base.streets import Streets, streets_of
from patchnet.base.wanted import addressed_streets, of_streets, stands_in, wanted_streets
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.folding import folded
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.base_map import GUESSED
from patchnet.read.crs import parse_crs
from patchnet.survey.survey_layers import read_records_if_any

__all__ = ["BaseMap", "make_base"]

Shapes = NDArray[np.object_]


@dataclass(frozen=True, eq=False, repr=False)
class BaseMap(Shown):
    """A base map, ready to be written and surveyed.

    Attributes
    ----------
    plots
        In walking order: ``id``, ``kind``, ``label``, ``street``, ``code`` of the street,
        ``number``, ``door`` (door numbers, empty where not known), ``part`` (front, back, whole),
        ``side``, ``parcel`` (id in the cadastre), ``basis`` and ``front_back_basis`` (how it was
        told), ``note`` (what to look at), ``country`` (two letters, empty where not said).
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
    houses
        Every address and every large house: ``street``, ``door``, ``osm``, ``plots`` (ids), and
        ``reason`` where it has no plot.
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

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> len(base.plots) > 2 * len(base.roads)
    True
    """

    plots: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    buildings: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame
    footways: gpd.GeoDataFrame
    houses: pd.DataFrame
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
    country: str = "",
    tell: Callable[[str], None] = lambda __: None,
    knowledge: Knowledge | None = None,
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
        Names of streets, also with the place (``Elm Road, Oxford``): only plots of those. In an
        OpenStreetMap extract of any size they are found by name, and no box is needed.
    earlier
        An earlier base, whose numbers are kept. Houses that its survey says are missing are
        drawn.
    crs
        System of files that name none.
    credits
        Lines of attribution for inputs that bring none.
    country
        Two letters (ISO 3166-1); as ``addr:country`` has it where not given.
    tell
        Called with what takes long and what was kept.
    knowledge
        The tables; None: those that ship with patchnet.

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

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> {"id", "kind", "street"} <= set(base.plots.columns)
    True
    """
    knowledge = knowledge or load_knowledge()
    faults = FaultList()
    said = _said(inputs, osm=osm, parcels=parcels, buildings=buildings, roads=roads)
    spots: list[Found] = []
    if box is None and street:
        said, spots = parts_of(said, street, knowledge, tell)
        box = around(spots, knowledge)
    if box is None:
        _check_sizes([Path(path) for path, ___ in said], knowledge)
    read = grown(box, knowledge.setting("base_halo_m")) if box else None
    layers = [(layer, role) for path, role in said for layer in open_input(path, box=read)]
    gathered = gather(
        sort_inputs(layers, knowledge, faults),
        said_crs=parse_crs(crs),
        box=box,
        credit_lines=credits,
        knowledge=knowledge,
        faults=faults,
    )
    before = read_earlier(earlier, gathered.crs, faults) if gathered and earlier else None
    if gathered is None or faults.errors:
        raise DataFaults(faults.faults)
    if before is not None and earlier is not None:
        told_missing = read_records_if_any(Path(earlier)).missing
        gathered = with_missing_houses(gathered, told_missing, before, knowledge, faults)
    streets = streets_of(
        gathered.roads, apart_m=knowledge.setting("base_same_street_m"),
        addressed=addressed_streets(gathered.buildings),
    )  # fmt: skip
    wanted = wanted_streets(street, streets, spots, gathered)
    grounds = find_grounds(gathered, knowledge, faults)
    pieces, space = _pieces(gathered, grounds, streets, knowledge, faults)
    pieces = [piece for piece in pieces if stands_in(piece, gathered, wanted)]
    if not pieces:
        faults.error(
            ", ".join(dict.fromkeys(layer.where for layer, ___ in layers)),
            _("No plot came out: there is no ground beside the buildings."),
            _("Look whether parcels and buildings are what they should be."),
        )  # fmt: skip
        raise DataFaults(faults.faults)
    numbered = number_plots([p.unit for p in pieces], streets, before, knowledge, faults)
    plots = plot_table(
        pieces, numbered, streets, gathered, knowledge, country or country_said(layers)
    )
    margin = knowledge.setting("base_margin_m")

    def near(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return _near(table, plots, wanted, margin)

    def here(kind: str) -> gpd.GeoDataFrame:
        table: gpd.GeoDataFrame = getattr(gathered, kind)
        return near(table if gathered.place is None else cut_to(kind, table, gathered.place))

    barriers = here("barriers").assign(gap="not_known")
    if before is not None:
        plots = carried_plots(plots, before, near, knowledge, faults)
        gone = tuple(one for one in numbered.gone if one not in set(plots["id"]))
        numbered = replace(numbered, gone=gone)
        barriers = carried_barriers(barriers, before, near, faults)
    built = here("buildings")[["name", "height_m", "use", "osm", "geometry"]]
    told = account(gathered, pieces, numbered, plots, knowledge)
    told = told[(told["plots"] != "") | of_streets(told["street"], wanted, streets)]
    features, left = place_features(here("features"), plots, knowledge)
    if before is not None:
        features = carried_features(features, plots, before, near, faults)
    return BaseMap(
        plots=plots,
        features=features,
        barriers=barriers,
        buildings=built,
        roads=here("roads").drop(columns="bridge"),
        footways=_footways(here("footways"), near, gathered, space, streets),
        houses=told.reset_index(drop=True),
        credits=credits_table(gathered, plots),
        faults=faults.faults,
        crs=gathered.crs,
        source_crs=gathered.source_crs,
        derived=grounds.derived,
        numbered=numbered,
        knowledge=knowledge,
        not_placed=left if wanted is None else 0,
        earlier=before is not None,
    )


def _said(
    inputs: Sequence[Path | str], **named: Sequence[Path | str]
) -> list[tuple[Path | str, Role | None]]:
    """Every file with what the user said it is."""
    said: list[tuple[Path | str, Role | None]] = [(path, None) for path in inputs]
    said += [(path, role) for role in ROLES for path in named[role]]
    if not said:
        raise WrongUse(
            _("Name at least one file: an OpenStreetMap extract is enough to begin with.")
        )
    return said


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
                path.name,
                _("This extract is of {size:,.0f} MB: far more than a neighbourhood.").format(
                    size=size
                ),
                _(
                    "Say which street (--street NAME), or which part of it: --bbox "
                    "WEST,SOUTH,EAST,NORTH in degrees."
                ),
            )
    if faults.errors:
        raise DataFaults(faults.faults)


def _pieces(
    inputs: Gathered, grounds: Grounds, streets: Streets, knowledge: Knowledge, faults: FaultList
) -> tuple[list[Piece], StreetSpace]:
    table = grounds.table
    shapes = table.geometry.to_numpy()
    standing = houses_on(shapes, inputs.buildings, knowledge)
    doors = inputs.buildings["doors"].tolist()
    area = (table["origin"] == "area").to_numpy()
    address: list[Collection[str]] = [
        frozenset() if area[at] else frozenset(
            folded(door.street) for home in homes for door in doors[home] if door.street
        )
        for at, homes in enumerate(standing.homes)
    ]  # fmt: skip
    looks = standing.house.copy()
    looks[area] = None
    facing = find_facing(shapes, looks, address, standing.party, streets, knowledge)
    pieces = ground_pieces(table, standing, facing, streets, inputs.buildings, knowledge, faults)
    space = find_street_space(
        shapes, (table["origin"] != "derived").to_numpy(), inputs.buildings.geometry.to_numpy(),
        inputs.roads, inputs.footways, streets, knowledge,
    )  # fmt: skip
    drawn = [shape for piece in pieces for shape in piece.unit.parts.values()]
    pieces += street_pieces(space, inputs, drawn, streets, knowledge)
    return pieces, space


def _near(
    table: gpd.GeoDataFrame, plots: gpd.GeoDataFrame, wanted: set[int] | None, margin: float
) -> gpd.GeoDataFrame:
    """Where only some streets are wanted, return what lies round their plots."""
    if wanted is None or not len(table):
        return table
    around = shapely.box(*plots.total_bounds).buffer(margin)
    return table[table.geometry.intersects(around)].reset_index(drop=True)


def _footways(
    mapped: gpd.GeoDataFrame,
    near: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame],
    inputs: Gathered,
    space: StreetSpace,
    streets: Streets,
) -> gpd.GeoDataFrame:
    mapped = mapped.assign(basis="OpenStreetMap")
    if not len(space.footways):
        return mapped
    guessed = gpd.GeoDataFrame(
        {
            "name": [streets.names[at] for at in space.footways["street"]],
            "width_m": np.nan, "osm": "", "basis": f"{GUESSED}: strip along the plots",
        },
        geometry=space.footways.geometry.to_numpy(),
        crs=inputs.crs,
    )  # fmt: skip
    if inputs.place is not None:
        guessed = cut_to("footways", guessed, inputs.place)
    guessed = near(guessed)
    if not len(mapped):
        return guessed
    return pd.concat([mapped, guessed], ignore_index=True)
