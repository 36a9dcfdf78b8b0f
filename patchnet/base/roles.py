"""What each input of a base map is: parcels, buildings, roads, or OpenStreetMap's mixture."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Literal

import geopandas as gpd
import numpy as np
import shapely
from pyproj.exceptions import ProjError

from patchnet.base.open_input import OSM_CREDIT
from patchnet.base.overlay import united
from patchnet.core.fault_list import FaultList
from patchnet.core.folding import folded
from patchnet.core.open_file import Layer
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Knowledge

__all__ = ["ROLES", "Role", "country_said", "credits_of", "sort_inputs"]

Role = Literal["osm", "parcels", "buildings", "roads"]
ROLES: tuple[Role, ...] = ("osm", "parcels", "buildings", "roads")

_DEGREES = 180.0
_NAMES: Mapping[Role, tuple[str, ...]] = {
    "parcels": ("plot", "parcel", "cadast", "property", "lot", "title", "predefined", "gardens"),
    "buildings": ("building", "house", "footprint"),
    "roads": ("road", "street", "highway", "centreline", "centerline", "carriageway"),
}
_COLUMNS: Mapping[Role, tuple[str, ...]] = {
    "parcels": ("inspireid", "nationalcadastralreference", "parcel", "cadast", "plot", "title no"),
    "buildings": ("building", "storeys", "levels", "floors", "roof", "height", "footprint"),
    "roads": ("road", "street", "highway", "speed"),
}
_LAND_REGISTRY = (
    (
        "This information is subject to Crown copyright and database rights{year} and is "
        "reproduced with the permission of HM Land Registry (Open Government Licence v3.0)"
    ),
    (
        "The polygons (including the associated geometry, namely x, y co-ordinates) are subject "
        "to Crown copyright and database rights{year} Ordnance Survey AC0000851063"
    ),
)


_LACKING: Words[Role, str] = Words(
    {
        "osm": N_("tags of OpenStreetMap"),
        "parcels": N_("area"),
        "buildings": N_("area"),
        "roads": N_("line"),
    }
)


def sort_inputs(
    layers: Sequence[tuple[Layer, Role | None]], knowledge: Knowledge, faults: FaultList
) -> dict[Role, list[Layer]]:
    """Tell what each layer is: by the user's word, its tags, its name, columns and shapes.

    Parameters
    ----------
    layers
        Every layer, with the role the user stated for its file or None.
    knowledge
        For telling parcels from buildings by their shapes.
    faults
        List that faults are added to: layers that cannot be told, or are not used.
    """
    found: dict[Role, list[Layer]] = {role: [] for role in ROLES}
    for layer, said in layers:
        role = said or _recognised(layer, knowledge, alone=_file_alone(layer, layers))
        if role is None:
            faults.warn(
                layer.where,
                _("It could not be told what this layer is: it was not used."),
                _("Say it: --parcels FILE, --buildings FILE, --roads FILE or --osm FILE."),
            )
        elif _drawn_as(layer, role):
            found[role].append(layer)
            if said is None and not _named(layer, role) and role != "osm":
                faults.warn(
                    layer.where,
                    _("The layer '{layer_name}' was taken as {role}.").format(
                        layer_name=layer.name, role=role
                    ),
                    _("If that is wrong, say what it is: --{role} FILE is for {role}.").format(
                        role=role
                    ),
                )
        else:
            faults.error(
                layer.where,
                _("It is to be {role}, but holds no {lacking}.").format(
                    role=role, lacking=_LACKING[role]
                ),
                _("Name the file that has them."),
            )
    return found


def credits_of(layer: Layer, role: Role) -> tuple[str, ...]:
    """Return the lines of attribution that a layer needs, as far as its content tells."""
    if layer.credits:
        return layer.credits
    if role == "osm":
        return (OSM_CREDIT,)
    names = {str(name).casefold() for name in layer.table.columns}
    if {"inspireid", "nationalcadastralreference"} <= names:
        year = _year(layer)
        return tuple(line.format(year=f" {year}" if year else "") for line in _LAND_REGISTRY)
    return ()


def country_said(layers: Sequence[tuple[Layer, Role | None]]) -> str:
    """Return the country that most addresses of the inputs name; empty where none does."""
    said = Counter(
        code
        for layer, _ in layers
        if "tags" in layer.table.columns
        for tags in layer.table["tags"]
        if isinstance(tags, dict) and (code := str(tags.get("addr:country", "")).upper())
    )
    return said.most_common(1)[0][0] if said else ""


def _year(layer: Layer) -> str:
    """Return the year of supply: the latest that any date of the layer names."""
    years: set[str] = set()
    for name in layer.table.columns:
        if str(name).casefold() in {"validfrom", "beginlifespanversion"}:
            cells = layer.table[name].astype(str).tolist()
            years |= {found[0] for cell in cells if (found := re.match(r"(?:19|20)\d\d", cell))}
    return max(years, default="")


def _file_alone(layer: Layer, layers: Sequence[tuple[Layer, Role | None]]) -> bool:
    file = layer.where.split(", layer ", maxsplit=1)[0]
    return sum(one.where.split(", layer ", maxsplit=1)[0] == file for one, _ in layers) == 1


def _named(layer: Layer, role: Role) -> bool:
    words = f"{folded(layer.name)} {folded(layer.where)}"
    return any(word in words for word in _NAMES.get(role, ()))


def _dimensions(layer: Layer) -> set[int]:
    if not isinstance(layer.table, gpd.GeoDataFrame):
        return set()
    return set(np.unique(shapely.get_dimensions(layer.table.geometry.to_numpy())).tolist())


def _drawn_as(layer: Layer, role: Role) -> bool:
    if role == "osm":
        return isinstance(layer.table, gpd.GeoDataFrame) and "tags" in layer.table.columns
    return (1 if role == "roads" else 2) in _dimensions(layer)


def _recognised(layer: Layer, knowledge: Knowledge, *, alone: bool) -> Role | None:
    if not isinstance(layer.table, gpd.GeoDataFrame):
        return None
    if "tags" in layer.table.columns and layer.name == "osm":
        return "osm"
    drawn = _dimensions(layer)
    fits: list[Role] = [
        role for role in ("parcels", "buildings", "roads") if _drawn_as(layer, role)
    ]
    named = [role for role in fits if any(word in folded(layer.name) for word in _NAMES[role])]
    columns = [folded(column) for column in layer.table.columns]
    named += [
        role for role in fits if any(word in one for word in _COLUMNS[role] for one in columns)
    ]
    if named or not alone:
        return (
            named[0] if named else None
        )  # one of several layers of a file that calls the others by their names
    if drawn == {1}:
        return "roads"
    return _by_shape(layer, knowledge) if 2 in drawn else None


def _by_shape(layer: Layer, knowledge: Knowledge) -> Role:
    """Parcels lie border to border; between buildings there is open ground."""
    table: gpd.GeoDataFrame = layer.table[layer.table.geometry.notna()]
    if table.crs is not None and table.crs.is_geographic:
        if not np.abs(table.total_bounds).max() <= _DEGREES:
            return "parcels"  # no place on Earth: `check_crs` says so
        try:
            table = table.to_crs(table.estimate_utm_crs())
        except (RuntimeError, ProjError):
            return "parcels"
    shapes = shapely.make_valid(table.geometry.to_numpy())
    whole = united(shapes)
    close = knowledge.setting("base_parcels_close_m")
    closed = whole.buffer(close).buffer(-close)
    covered = whole.area >= knowledge.setting("base_parcels_cover") * closed.area
    return "parcels" if covered else "buildings"
