"""The layer of plots of a base map: ids, labels and what was told of each."""

from collections.abc import Sequence

import geopandas as gpd
import pandas as pd
import shapely

from patchnet.base.gathered import Gathered
from patchnet.base.grounds import BASIS
from patchnet.base.numbering import Numbered
from patchnet.base.plot_rows import Piece
from patchnet.base.streets import Streets
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import door_label

__all__ = ["PLOT_COLUMNS", "plot_table"]

PLOT_COLUMNS = (
    "id", "kind", "label", "street", "code", "number", "door", "also", "part", "side", "parcel",
    "basis", "front_back_basis", "note", "country", "geometry",
)  # fmt: skip
_ALSO_SAID = 2  # other addresses that a label names before it counts


def plot_table(
    pieces: Sequence[Piece],
    numbered: Numbered,
    streets: Streets,
    inputs: Gathered,
    knowledge: Knowledge,
    country: str,
) -> gpd.GeoDataFrame:
    """Return the layer of plots in walking order, columns `PLOT_COLUMNS`.

    Parameters
    ----------
    pieces, numbered
        What became plots, and their ids.
    streets
        For names.
    inputs
        For the coordinate system.
    knowledge
        For ``base_large_plot_m2``.
    country
        Two letters, empty where nobody says.
    """
    words = {"F": "front", "B": "back", "": "whole"}
    rows = []
    for at in numbered.order:
        piece = pieces[at]
        street = piece.unit.street
        name = streets.names[street] if street >= 0 else ""
        for part, shape in piece.unit.parts.items():
            ident = numbered.ids[at, part]
            number = numbered.number[at]
            said = door_label(piece.unit.door) or f"{piece.noun} {number}"
            said += _also_label(piece.also)
            label = f"{name or _('No street')}, {said}"
            rows.append(
                {
                    "id": ident, "kind": piece.kinds[part],
                    "label": f"{label}, {words[part]}" if part else label,
                    "street": name if street >= 0 and streets.named[street] else "",
                    "code": numbered.code[at], "number": number, "door": piece.unit.door,
                    "also": "; ".join(piece.also),
                    "part": words[part], "side": numbered.side[at], "parcel": piece.parcel,
                    "basis": BASIS[piece.origin], "front_back_basis": piece.split_basis,
                    "note": _plot_note(piece, shape, knowledge), "country": country,
                    "geometry": shape,
                }
            )  # fmt: skip
    table = pd.DataFrame(rows, columns=list(PLOT_COLUMNS))
    return gpd.GeoDataFrame(table, geometry="geometry", crs=inputs.crs)


def _also_label(also: Sequence[str]) -> str:
    """Say the other addresses of a corner house or court, the first few by name."""
    if not also:
        return ""
    more = (
        _(" and {n_also} more").format(n_also=len(also) - _ALSO_SAID)
        if len(also) > _ALSO_SAID
        else ""
    )
    return _(" (also {also}{more})").format(also=", ".join(also[:_ALSO_SAID]), more=more)


def _plot_note(piece: Piece, shape: shapely.Geometry, knowledge: Knowledge) -> str:
    notes = [piece.note] if piece.note else []
    if shape.area > knowledge.setting("base_large_plot_m2"):
        look = _("one garden") if piece.noun == "plot" else _("one place")
        notes.append(
            _("large, {area:,.0f} m2: look whether it is {look}").format(area=shape.area, look=look)
        )
    return "; ".join(notes)
