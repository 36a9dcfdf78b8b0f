"""The scheme as tables for other programs: planters, places looked at, the street."""

import geopandas as gpd
import pandas as pd

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.places import reason_words, reasons_of
from patchnet.plan.box_planting import BoxPlanting
from patchnet.scheme.bill import planter_cost
from patchnet.scheme.loads import litres_a_visit, load_of
from patchnet.street import Site, Street

__all__ = ["layers_of", "planter_table", "site_table", "street_table"]


def layers_of(pack: SchemePack) -> dict[str, gpd.GeoDataFrame]:
    """The three layers of scheme.gpkg."""
    return {
        "planters": planter_table(pack),
        "sites": site_table(pack),
        "street": street_table(pack),
    }


def planter_table(pack: SchemePack) -> gpd.GeoDataFrame:
    """One row a planter in the order of building; metres in the plots' CRS, and WGS 84."""
    know, scheme = pack.knowledge, pack.scheme
    crs = scheme.neighbourhood.plots.crs
    centres = gpd.GeoSeries([one.site.centre for one in scheme.planters], crs=crs)
    world = centres.to_crs("OGC:CRS84")
    rows = []
    for one, spot in zip(scheme.planters, world, strict=True):
        site, size = one.site, one.site.size
        load = load_of(size, know)
        rows.append(
            {
                "planter": one.plot,
                "order": one.number,
                **_place(site, scheme.street),
                "easting": round(site.centre.x, 3),
                "northing": round(site.centre.y, 3),
                "crs": pack.crs_name,
                "latitude": round(spot.y, 7),
                "longitude": round(spot.x, 7),
                "planting": pack.group_of(one).letter,
                "recipe": one.recipe.name,
                **_planted(pack.group_of(one).box, know),
                "soil_litres": round(load.litres, 1),
                "wet_soil_light_kg": round(load.light_kg, 1),
                "wet_soil_loam_kg": round(load.loam_kg, 1),
                "heaviest_kg": round(load.whole_kg, 1),
                "water_a_visit_litres": round(litres_a_visit(size, know), 1),
                "keeper": one.keeper or "",
                "carry_m": one.carry_m,
                "cost_gbp": planter_cost(one, know),
            }
        )
    return gpd.GeoDataFrame(
        pd.DataFrame(rows), geometry=[one.site.polygon for one in scheme.planters], crs=crs
    )


def _planted(box: BoxPlanting, knowledge: Knowledge) -> dict[str, object]:
    """What is planted: soil, plants, and the area of every feature, as it was assessed."""
    plants = box.plants(knowledge)
    areas = {f"{key}_m2": round(box.amounts.get(key, 0.0), 4) for key in _features(knowledge)}
    return {
        "soil_m2": round(box.soil_m2, 4),
        "plants": plants,
        "bulb_count": sum(box.numbers.values()) - plants,
        **areas,
    }


def _features(knowledge: Knowledge) -> list[str]:
    """Every feature that some recipe plants, so that all tables have the same columns."""
    return list(dict.fromkeys(key for one in knowledge.recipes.values() for key in one.amounts))


def _place(site: Site, street: Street) -> dict[str, object]:
    size = site.size
    return {
        "place": site.key,
        "side": site.side,
        "chainage_m": round(site.chainage_m, 3),
        "box": size.name,
        "length_m": size.length_m,
        "width_m": size.width_m,
        "height_m": size.height_m,
        "kerb_offset_m": site.offset_m,
        "kerb_offset_basis": street.side(site.side).kerb_basis,
        "clear_width_m": site.clear_m,
        "clear_width_basis": site.clear_basis if site.clear_m is not None else _("measure this"),
        "footway_m": site.footway_m,
        "verdict": site.verdict,
        "reasons": "; ".join(reason_words(one) for one in reasons_of(site)),
    }


def site_table(pack: SchemePack) -> gpd.GeoDataFrame:
    """One row for every place looked at, with every reason that is not simply met."""
    scheme = pack.scheme
    used = {one.site.key: one.plot for one in scheme.planters}
    rows = [
        {**_place(site, scheme.street), "planter": used.get(site.key, "")} for site in scheme.sites
    ]
    return gpd.GeoDataFrame(
        pd.DataFrame(rows),
        geometry=[site.polygon for site in scheme.sites],
        crs=scheme.neighbourhood.plots.crs,
    )


def street_table(pack: SchemePack) -> gpd.GeoDataFrame:
    """The middle of the road that chainage runs along.

    Parameters
    ----------
    pack
        What the parts of a report need.

    Returns
    -------
    GeoDataFrame
        One row: ``name``, ``length_m``, ``speed_mph``, ``speed_basis``.
    """
    street = pack.scheme.street
    return gpd.GeoDataFrame(
        {
            "name": [street.name],
            "length_m": [round(street.length_m, 3)],
            "speed_mph": [street.speed_mph],
            "speed_basis": [street.speed_basis],
        },
        geometry=[street.line],
        crs=pack.scheme.neighbourhood.plots.crs,
    )
