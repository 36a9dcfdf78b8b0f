"""Barriers, buildings, roads and footways: what lies between the plots."""

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.cells import texts
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.faults import nearest_hint
from patchnet.core.numbers import parse_number
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_barrier_kind
from patchnet.read.columns import Columns
from patchnet.read.repair import mended

__all__ = ["GUESSED", "kept_parts", "metres_of", "read_barriers", "read_named"]

Shapes = NDArray[np.object_]

GUESSED = "guessed"
"""What the ``basis`` of a footway begins with that a base map guessed and nobody saw."""

_GAP = {
    **dict.fromkeys(("yes", "y", "true", "1", "x", "ja"), "yes"),
    **dict.fromkeys(("no", "n", "false", "0", "none", "nein"), "no"),
    **dict.fromkeys(("", "?", "not_known", "not known", "unknown", "-"), "not_known"),
}


def read_barriers(
    table: pd.DataFrame,
    shapes: Shapes,
    columns: Columns,
    *,
    where: str,
    crs: object,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Return barriers as lines: ``geometry``, ``kind``, ``gap``, ``height_m``.

    Areas (a wall drawn with its thickness) become their outline. Without a column of kinds all
    are fences, and a warning says so.

    Parameters
    ----------
    table
        n rows.
    shapes
        Shape (n,): what each row draws, metres.
    columns
        Which column is what.
    where
        Name of the layer, for faults.
    crs
        CRS of the shapes.
    knowledge
        For the kinds of barriers.
    faults
        Added to.
    """
    kinds = texts(table[columns.role["kind"]]) if "kind" in columns.role else None
    gaps = texts(table[columns.role["gap"]]) if "gap" in columns.role else None
    heights = texts(table[columns.role["height"]]) if "height" in columns.role else None
    if kinds is None and len(table):
        faults.warn(
            where, _("No column says what kind the barriers are: all were taken as fences."),
            _("Add a column kind (wall, fence, hedge, railing)."),
        )  # fmt: skip
    lines, good = _lines(shapes, where, faults)
    odd: list[tuple[Place, str]] = []
    rows = []
    unnamed = next(key for key, one in knowledge.barrier_kinds.items() if one.unnamed)
    for at in np.flatnonzero(good):
        place = (int(at) + 1, None)
        word = kinds[at] if kinds is not None else ""
        kind = match_barrier_kind(word, knowledge) if word else unnamed
        if kind is None:
            choices = [w for b in knowledge.barrier_kinds.values() for w in (b.name, *b.words)]
            faults.error(
                where,
                _("'{word}' is not a kind of barrier.{nearest_hint}").format(
                    word=word[:40], nearest_hint=nearest_hint(word, choices)
                ),
                _("Write one of: {barrier_kinds}.").format(
                    barrier_kinds=", ".join(knowledge.barrier_kinds)
                ),
                row=place[0],
            )
            continue
        gap_word = gaps[at] if gaps is not None else ""
        gap = _GAP.get(gap_word.casefold())
        if gap is None:
            odd.append(
                (
                    place,
                    _("'{gap_word}' in the column gap was read as not known.").format(
                        gap_word=gap_word[:40]
                    ),
                )
            )
        height = metres_of(heights[at]) if heights is not None else np.nan
        if height is None:
            odd.append(
                (
                    place,
                    _("The height '{height}' was not read.").format(
                        height=str(heights[at])[:40] if heights else ""
                    ),
                )
            )
        rows.append((lines[at], kind, gap or "not_known", np.nan if height is None else height))
    faults.warn_rows(
        where, odd, together=_("{n} cells of gap or height were read as not known."),
        mend=_("Write yes or no for a gap, and the height in metres; leave it empty if not known."),
    )  # fmt: skip
    frame = pd.DataFrame(rows, columns=["geometry", "kind", "gap", "height_m"])
    frame["height_m"] = frame["height_m"].astype(float)
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=crs)


def read_named(
    table: pd.DataFrame,
    shapes: Shapes,
    columns: Columns,
    *,
    where: str,
    crs: object,
    areas_only: bool,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Return buildings (`areas_only`), roads or footways: ``geometry`` and ``name``.

    Buildings also have ``height_m`` (stated, or storeys times the storey height of the
    settings), roads and footways ``width_m``; NaN where nobody said it. Where the table has a
    column ``basis`` (footways), so has this: what begins with `GUESSED` was seen by nobody.

    Parameters
    ----------
    table
        n rows.
    shapes
        Shape (n,): what each row draws, metres.
    columns
        Which column is what.
    where
        Name of the layer, for faults.
    crs
        CRS of the shapes.
    areas_only
        True for buildings.
    knowledge
        For the height of a storey.
    faults
        Added to.
    """
    names = texts(table[columns.role["label"]]) if "label" in columns.role else [""] * len(table)
    widths = texts(table[columns.role["width"]]) if "width" in columns.role else None
    bases = texts(table[columns.role["basis"]]) if "basis" in columns.role else [""] * len(table)
    heights = _heights(table, columns, where=where, knowledge=knowledge, faults=faults)
    dropped: list[tuple[Place, str]] = []
    odd: list[tuple[Place, str]] = []
    rows = []
    for at, shape in enumerate(shapes):
        usable = kept_parts(shape, least=2 if areas_only else 1)
        if usable is None:
            dropped.append(((at + 1, None), _("The row has no outline or line that can be used.")))
            continue
        width = metres_of(widths[at]) if widths is not None else np.nan
        if width is None or width <= 0:
            odd.append(
                (
                    (at + 1, None),
                    _("The width '{widths}' was not read.").format(
                        widths=(widths or [""])[at][:40]
                    ),
                )
            )
            width = np.nan
        measure = heights[at] if areas_only else width
        rows.append((usable, names[at], measure, bases[at]))
    faults.warn_rows(
        where, odd, together=_("{n} widths were read as not known."),
        mend=_("Write the width in metres; leave it empty if not known."),
    )  # fmt: skip
    faults.warn_rows(
        where, dropped, together=_("{n} rows have no outline or line that can be used."),
        mend=_("It was left out; draw it if it matters."),
    )  # fmt: skip
    called = "height_m" if areas_only else "width_m"
    frame = pd.DataFrame(rows, columns=["geometry", "name", called, "basis"])
    frame[called] = frame[called].astype(float)
    if "basis" not in columns.role:
        frame = frame.drop(columns="basis")
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=crs)


def _heights(
    table: pd.DataFrame, columns: Columns, *, where: str, knowledge: Knowledge, faults: FaultList
) -> list[float]:
    """Return the height of each building in metres: stated, else from storeys, else NaN."""
    found = [np.nan] * len(table)
    storey = knowledge.setting("storey_height_m")
    low = knowledge.setting("building_height_min_m")
    high = knowledge.setting("building_height_max_m")
    odd: list[tuple[Place, str]] = []
    for role, word, metres in (
        ("storeys", _("number of storeys"), storey),
        ("height", "height", 1),
    ):
        if role not in columns.role:
            continue
        for at, cell in enumerate(texts(table[columns.role[role]])):
            number = metres_of(cell)
            if number is not None and np.isnan(number):
                continue
            if number is None or not low <= number * metres <= high:
                odd.append(
                    (
                        (at + 1, None),
                        _("The {word} '{cell}' is impossible and was not used.").format(
                            word=word, cell=cell[:40]
                        ),
                    )
                )
            else:  # a stated height stands over one from storeys
                found[at] = number * metres
    faults.warn_rows(
        where,
        odd,
        together=_("{n} heights or numbers of storeys are impossible and were not used."),
        mend=_(
            "Write the height in metres ({low:g}-{high:g}) or the number of storeys; leave it "
            "empty if not known."
        ).format(low=low, high=high),
    )
    return found


def kept_parts(shape: shapely.Geometry | None, *, least: int) -> shapely.Geometry | None:
    """Return the valid parts of at least a dimension (1 lines, 2 areas), or None."""
    if shape is None or shape.is_empty or not np.isfinite(shapely.get_coordinates(shape)).all():
        return None
    valid = mended(shape)
    highest = -1 if valid is None else shapely.get_dimensions(valid)
    if valid is None or highest < least:
        return None
    if valid.geom_type != "GeometryCollection":
        return valid
    return shapely.union_all(
        [part for part in shapely.get_parts(valid) if shapely.get_dimensions(part) == highest]
    )


def _lines(shapes: Shapes, where: str, faults: FaultList) -> tuple[Shapes, NDArray[np.bool_]]:
    out = shapes.copy()
    good = np.zeros(len(shapes), dtype=bool)
    dropped: list[tuple[Place, str]] = []
    for at, shape in enumerate(shapes):
        kept = kept_parts(shape, least=1)
        if kept is None:
            dropped.append(((at + 1, None), _("The barrier is not drawn as a line.")))
            continue
        out[at] = kept.boundary if shapely.get_dimensions(kept) == 2 else kept
        good[at] = True
    faults.warn_rows(
        where, dropped, together=_("{n} barriers are not drawn as lines."),
        mend=_("It was left out; draw it as a line."),
    )  # fmt: skip
    return out, good


def metres_of(text: str) -> float | None:
    """Return metres; NaN where empty, None where it cannot be read."""
    bare = re.sub(r"\s*(?:m|metres?|meters?)$", "", text.strip().casefold())
    if bare in {"", "?", "-", "unknown", "not known"}:
        return np.nan
    number = parse_number(bare)
    return number if number is not None and np.isfinite(number) else None
