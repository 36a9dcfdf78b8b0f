"""Whose data a base map is made of, layer by layer."""

from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from patchnet.base.gathered import Gathered
from patchnet.base.grounds import BASIS
from patchnet.core.texts import N_, _

__all__ = ["credits_table"]

_NOT_BOUNDARIES = N_(
    "Outlines of {:,} plots are derived from buildings and streets: they are not boundaries"
)


def credits_table(inputs: Gathered, plots: gpd.GeoDataFrame) -> pd.DataFrame:
    """Say layer by layer whose data it is made from and under which licence.

    Parameters
    ----------
    inputs
        For the credits of each input.
    plots
        Plots of the base, with ``basis``.
    """
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
                "plots", _(_NOT_BOUNDARIES).format(derived), "", "",
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["layer", "attribution", "licence", "note"])


def _note(layer: str, licence: str, lines: int) -> str:
    if licence != "ODbL 1.0":
        return ""
    if layer == "plots" and lines > 1:
        return _(
            "Cut with OpenStreetMap's buildings or roads: pass this layer on under the ODbL as "
            "well. What a survey tells of plots stands in a table of its own and is not part of it."
        )
    return _("From OpenStreetMap: pass this layer on under the ODbL. Keep survey data beside it.")
