"""Where plants can stand, lists they are on, and plants the law keeps out."""

from collections.abc import Collection, Mapping
from typing import Literal, cast

from patchnet.knowledge.cells import PER, Cells
from patchnet.knowledge.records import Figure, Origin, PlantingPlace, PlantListing, UnlawfulPlant
from patchnet.knowledge.tables import Row

__all__ = ["LAWS", "LAYERS", "PLANT_LISTS", "all_planting"]

LAYERS = ("bulb", "herb", "shrub", "climber", "tree", "aquatic")
PLANT_LISTS = ("toxic", "edible", "invasive", "slow_to_flower", "elsewhere")
"""Lists with a meaning of their own; every other is the list of one place (its `only`)."""
LAWS = ("schedule_9", "sale_ban", "ias_order")
"""Planting it in the wild is an offence; it may not be sold; it may not be kept at all."""
_SOILS = ("moist", "well-drained", "dry", "any", "acid well-drained", "wet", "submerged")
_QUANTITIES = ("room", "height", "spread", "spread_least")

Planting = tuple[
    dict[str, PlantingPlace],
    dict[str, dict[str, PlantListing]],
    dict[str, UnlawfulPlant],
]


def all_planting(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    origins: dict[str, Origin],
    known: tuple[Mapping[str, str], Collection[str]],
) -> Planting:
    """Build places by feature, lists by name and plant, and unlawful plants by key.

    Parameters
    ----------
    tables, cells, figures, origins
        Rows by file name; their reader; what every number and origin is added to.
    known
        Measures of the features by key, and the keys of the plants.
    """
    measures, plants = known
    rows = {row.cells["feature"]: row for row in tables["planting_places.csv"]}
    only = {row.cells["only"] for row in rows.values()} - {""}
    numbers = _numbers(tables["planting_figures.csv"], cells, figures, rows, measures)
    lists: dict[str, dict[str, PlantListing]] = {name: {} for name in (*PLANT_LISTS, *sorted(only))}
    for row in tables["plant_lists.csv"]:
        name = cells.choice(row, "list", tuple(lists))
        plant = cells.known(row, "plant", plants, "plant")
        key = f"plant_lists/{name}/{plant}"
        origins[key] = _origin(row, cells, key, "list", row.cells["what"] or "on the list")
        lists[name][plant] = PlantListing(plant, cells.listed(row, "what"))
    places = {
        key: _place(row, cells, numbers.get(key, {}), origins, measures)
        for key, row in rows.items()
    }
    unlawful = {
        row.cells["key"]: _unlawful(row, cells, origins) for row in tables["unlawful_plants.csv"]
    }
    return places, lists, unlawful


def _place(
    row: Row,
    cells: Cells,
    numbers: Mapping[str, Figure],
    origins: dict[str, Origin],
    features: Collection[str],
) -> PlantingPlace:
    key = cells.known(row, "feature", features, "feature")
    address = f"planting/{key}/place"
    origins[address] = _origin(row, cells, address, "place", "layers, soils, list of plants")
    room = numbers.get("room")
    if room is None:
        what = "Nothing says how much it holds."
        cells.faults.append(row.fault(what, "Add 'room' for it to planting_figures.csv."))
        room = Figure("", 1.0, "", 1.0, 1.0, "assumption", (), "", row.place)
    return PlantingPlace(
        feature=key,
        counted=cast("Literal['m2', 'plants']", cells.choice(row, "counted", ("m2", "plants"))),
        layers=cells.choices(row, "layers", LAYERS),
        soils=cells.choices(row, "soils", _SOILS),
        pot=cells.flag(row, "pot"),
        cover=cells.flag(row, "cover"),
        only=row.cells["only"] or None,
        room=room,
        height=numbers.get("height"),
        spread=numbers.get("spread"),
        spread_least=numbers.get("spread_least"),
        main_layer=cells.choice_or_none(row, "main_layer", LAYERS),
    )


def _numbers(
    rows: list[Row],
    cells: Cells,
    figures: dict[str, Figure],
    places: Mapping[str, Row],
    measures: Mapping[str, str],
) -> dict[str, dict[str, Figure]]:
    numbers: dict[str, dict[str, Figure]] = {}
    for row in rows:
        feature = cells.known(row, "feature", places, "place to plant")
        quantity = cells.choice(row, "quantity", _QUANTITIES)
        unit = "m"
        if quantity == "room" and feature in places:
            counted = "plants" if places[feature].cells["counted"] == "plants" else "m2 planted"
            unit = f"{counted} per {PER[measures.get(feature, 'count')]}"
        figure = cells.figure(row, f"planting/{feature}/{quantity}", unit=unit, positive=True)
        figures[figure.key] = figure
        numbers.setdefault(feature, {})[quantity] = figure
    return numbers


def _unlawful(row: Row, cells: Cells, origins: dict[str, Origin]) -> UnlawfulPlant:
    key = row.cells["key"]
    address = f"unlawful_plants/{key}"
    laws = cells.choices(row, "laws", LAWS)
    origin = _origin(row, cells, address, "law", ", ".join(laws))
    origins[address] = origin
    latin = (cells.text(row, "latin"), *cells.listed(row, "other_latin"))
    return UnlawfulPlant(key, cells.text(row, "name"), latin, laws, origin.sources)


def _origin(row: Row, cells: Cells, key: str, stem: str, words: str) -> Origin:
    kind, sources = cells.origin(row, f"{stem}_class", f"{stem}_source")
    return Origin(key, words, kind, sources, row.cells[f"{stem}_note"], row.place)
