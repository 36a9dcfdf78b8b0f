"""Figures, upkeep, risks and permissions of a planter scheme, out of their tables."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from patchnet.core.faults import nearest_hint
from patchnet.knowledge.cells import Cells
from patchnet.knowledge.planting import LAYERS
from patchnet.knowledge.records import Figure, Origin
from patchnet.knowledge.scheme_records import ConsentPart, SchemeConsent, SchemeRisk, UpkeepTask
from patchnet.knowledge.tables import MONTHS, Row

__all__ = ["SchemeTables", "all_scheme_tables"]

_FIGURES = {
    "soil_light_kg_m3": "kg/m3",
    "soil_loam_kg_m3": "kg/m3",
    "soil_check_kg_m3": "kg/m3",
    "settling_share": "share",
    "drainage_m": "m",
    "mulch_m": "m",
    "contrast_band_m": "m",
    "kerb_upstand_m": "m",
    "water_l_m2_day": "l/m2/day",
    "water_can_l": "l",
    "hand_lift_kg": "kg",
    "liability_gbp": "GBP",
    "contingency_share": "share",
    "replace_share": "share",
    "cost_drainage_m3": "GBP",
    "cost_mulch_m3": "GBP",
    "cost_label": "GBP",
    "cost_band_m": "GBP",
    "cost_delivery": "GBP",
    "cost_kit": "GBP",
    "level_share": "share",
    "wide_margin": "share",
    "bay_m": "m",
    "review_months": "months",
    "planters": "planters",
    **{f"cost_plant_{layer}": "GBP" for layer in LAYERS},
    **{f"visits_{month}": "visits a week" for month in MONTHS},
}
_POSITIVE = ("water_can_l", "bay_m", "water_l_m2_day")
_PARTS: tuple[ConsentPart, ...] = ("permission", "evidence", "consultee")


@dataclass(frozen=True, eq=False)
class SchemeTables:
    """The four scheme tables as records."""

    figures: Mapping[str, Figure]
    upkeep: tuple[UpkeepTask, ...]
    risks: tuple[SchemeRisk, ...]
    consents: tuple[SchemeConsent, ...]


def all_scheme_tables(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    origins: dict[str, Origin],
) -> SchemeTables:
    """Build the scheme records; what is missing or misspelt is a fault."""
    return SchemeTables(
        figures=_figures(tables["scheme_figures.csv"], cells, figures),
        upkeep=tuple(_task(row, cells, origins) for row in tables["scheme_upkeep.csv"]),
        risks=tuple(_risk(row, cells, origins) for row in tables["scheme_risks.csv"]),
        consents=tuple(_consent(row, cells, origins) for row in tables["scheme_consents.csv"]),
    )


def _figures(rows: list[Row], cells: Cells, figures: dict[str, Figure]) -> dict[str, Figure]:
    found = {}
    for row in rows:
        key = row.cells["key"]
        if key not in _FIGURES:
            what = f"'{key}' is not a known figure of a scheme.{nearest_hint(key, _FIGURES)}"
            mend = "A figure under another name would be passed over: write one that is known."
            cells.faults.append(row.fault(what, mend))
            continue
        address = f"scheme/{key}"
        found[key] = cells.figure(row, address, unit=_FIGURES[key], positive=key in _POSITIVE)
        figures[address] = found[key]
    if rows:
        for key in _FIGURES:
            if key not in found:
                what = f"There is no figure '{key}'."
                cells.faults.append(rows[-1].fault(what, "Add a row for it to scheme_figures.csv."))
    return found


def _origin(row: Row, cells: Cells, origins: dict[str, Origin], words: str) -> tuple[str, ...]:
    kind, sources = cells.origin(row, "class", "source")
    address = f"{row.table.removesuffix('.csv')}/{row.ident}"
    origins[address] = Origin(address, words, kind, sources, row.cells["note"], row.place)
    return sources


def _task(row: Row, cells: Cells, origins: dict[str, Origin]) -> UpkeepTask:
    task = cells.text(row, "task")
    return UpkeepTask(
        key=cells.plain_key(row),
        task=task,
        months=cells.months(row, "months"),
        who=cells.choice(row, "who", ("keeper", "group", "all")),
        sources=_origin(row, cells, origins, task),
    )


def _risk(row: Row, cells: Cells, origins: dict[str, Origin]) -> SchemeRisk:
    hazard = cells.text(row, "hazard")
    return SchemeRisk(
        key=cells.plain_key(row),
        hazard=hazard,
        who=cells.text(row, "who"),
        likelihood=cells.choice(row, "likelihood", ("unlikely", "possible", "likely")),
        harm=cells.choice(row, "harm", ("slight", "serious", "grave")),
        control=cells.text(row, "control"),
        left=cells.text(row, "left"),
        sources=_origin(row, cells, origins, hazard),
    )


def _consent(row: Row, cells: Cells, origins: dict[str, Origin]) -> SchemeConsent:
    name = cells.text(row, "name")
    return SchemeConsent(
        key=cells.plain_key(row),
        part=cast("ConsentPart", cells.choice(row, "part", _PARTS)),
        name=name,
        about=cells.text(row, "about"),
        sources=_origin(row, cells, origins, name),
    )
