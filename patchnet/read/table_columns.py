"""The columns of every table of one input, with the user's own names for them looked up."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import Columns, column_names, find_columns
from patchnet.read.layers import Layers

__all__ = ["TableColumns", "columns_of"]

_ROLES: Mapping[str, tuple[str, ...]] = {
    "plots": (
        "id",
        "kind",
        "label",
        "street",
        "door",
        "also",
        "country",
        "region",
        "consent",
        "seen",
        "features",
    ),
    "features": ("plot", "features", "kind", "amount"),
    "barriers": ("kind", "gap", "height"),
    "buildings": ("label", "height", "storeys"),
    "roads": ("label", "width", "speed"),
    "footways": ("label", "width", "basis"),
    "street_objects": ("kind", "label", "width"),
}
_TABLE_ROLES = ("id", "seen", "features", "amount")


@dataclass(frozen=True)
class TableColumns:
    """Columns of each layer with geometry, and of each table of features without."""

    layers: Mapping[str, Columns]
    tables: tuple[Columns, ...]


def columns_of(
    layers: Layers, said: Mapping[str, str], knowledge: Knowledge, faults: FaultList
) -> TableColumns:
    """Find the columns of all tables.

    Parameters
    ----------
    layers
        What was read.
    said
        The user's own names (`check_columns`); a name that no table has is an error.
    knowledge
        For the words of features.
    faults
        List that faults are added to: names not found, columns that look like features.
    """
    found: list[tuple[str, pd.DataFrame, Columns]] = []
    by_layer = {}
    for key, roles in _ROLES.items():
        layer = getattr(layers, key)
        if layer is not None:
            by_layer[key] = find_columns(
                layer.table, roles, knowledge, said=said, with_features=key == "plots"
            )
            found.append((layer.where, layer.table, by_layer[key]))
    tables = []
    for one in layers.tables:
        tables.append(
            find_columns(one.table, _TABLE_ROLES, knowledge, said=said, with_features=True)
        )
        found.append((one.where, one.table, tables[-1]))
    for key, column in said.items():
        if not any(key in c.said for ____, _____, c in found):
            where, table, ___ = found[0]
            names = column_names(table)
            faults.error(
                where,
                _("There is no column {column!r} (for {key}).{nearest_hint}").format(
                    column=column, key=key, nearest_hint=nearest_hint(column, names)
                ),
                _("The columns are {names}.").format(names=", ".join(names[:20])),
            )
    for where, __, columns in found:
        _warn_lookalikes(where, columns, faults)
    return TableColumns(by_layer, tuple(tables))


def _warn_lookalikes(where: str, columns: Columns, faults: FaultList) -> None:
    for name, key in columns.misspelt.items():
        faults.warn(
            where,
            _("The column '{name}' was not read; did you mean the feature {key}?").format(
                name=name, key=key
            ),
            _("Call it {key}.").format(key=key),
        )
    for name, key in columns.unreadable.items():
        faults.warn(
            where,
            _(
                "The column '{name}' is called like the feature {key}, but holds no yes, no or "
                "amount: it was not read."
            ).format(name=name, key=key),
            _("Give it another name, or write yes, no or amounts in it."),
        )
