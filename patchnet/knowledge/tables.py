"""The tables of the knowledge room: which columns they have, reading, laying over."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.table import NoTable, Table, heading, sheets_of, table_of

__all__ = ["LAYOUTS", "MONTHS", "Layout", "Row", "lay_over", "read_table"]

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FIGURE = ("value", "unit", "low", "high", "class", "source")
_MONTHS_ORIGIN = ("months_class", "months_source")


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns of one table; `key` are those that name a row."""

    key: tuple[str, ...]
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column, in the order of the file."""
        return self.key + self.required + self.optional


LAYOUTS: Mapping[str, Layout] = {
    "sources.csv": Layout(("key",), ("citation",), ("doi",)),
    "resources.csv": Layout(("key",), ("name", "unit"), ("plant_roles", "by_month")),
    "plant_roles.csv": Layout(("key",), ("name",), ("flowers", "waits_for_flower")),
    "cautions.csv": Layout(("key",), ("words", "source"), ("about",)),
    "features.csv": Layout(
        ("key",),
        (
            "name",
            "measure",
            "container",
            "effort",
            "cost",
            "free",
            "months",
            *_MONTHS_ORIGIN,
            "addable",
            "green",
        ),
        ("traits", "gives_way", "months_note", "cautions", "words"),
    ),
    "feature_figures.csv": Layout(("feature", "quantity"), _FIGURE, ("note",)),
    "feature_siting.csv": Layout(
        ("feature",),
        (
            "said",
            "place",
            "light",
            "tenancy",
            "edible",
            "street",
            "siting_class",
            "siting_source",
        ),
        ("made_from", "made_only", "siting_note"),
    ),
    "feature_siting_figures.csv": Layout(("feature", "quantity"), _FIGURE, ("note",)),
    "feature_steps.csv": Layout(("feature", "step"), ("words", "source")),
    "planter_recipes.csv": Layout(("key",), ("name",), ("words",)),
    "planter_recipe_figures.csv": Layout(("recipe", "feature"), _FIGURE, ("note",)),
    "keep_uses.csv": Layout(("key",), ("name", *_FIGURE), ("words", "feature", "note")),
    "supplies.csv": Layout(("feature", "resource"), (*_FIGURE, *MONTHS), ("note",)),
    "groups.csv": Layout(
        ("key",),
        ("name", "latin", "mode", "active_months", *_MONTHS_ORIGIN, "step_resource", "home_is"),
        ("months_note", "caution"),
    ),
    "group_figures.csv": Layout(("group", "quantity", "resource"), _FIGURE, ("note",)),
    "needs.csv": Layout(
        ("group", "key"),
        ("name", "resource", "months", "month_rule", *_MONTHS_ORIGIN),
        ("months_note",),
    ),
    "need_figures.csv": Layout(("group", "need", "quantity"), _FIGURE, ("note",)),
    "plants.csv": Layout(
        ("key",),
        (
            "name",
            "latin",
            "layer",
            "flower_start",
            "flower_end",
            *_MONTHS_ORIGIN,
            "light",
            "soil",
            "container",
            "roles",
            "native",
            "traits_class",
            "traits_source",
            "hazard",
            "hazard_class",
            "hazard_source",
        ),
        ("months_note", "hazard_note", "note"),
    ),
    "plant_figures.csv": Layout(("plant", "quantity"), _FIGURE, ("note",)),
    "plant_lists.csv": Layout(
        ("list", "plant"), ("list_class", "list_source"), ("what", "list_note")
    ),
    "planting_places.csv": Layout(
        ("feature",),
        ("counted", "layers", "pot", "cover", "place_class", "place_source"),
        ("main_layer", "soils", "only", "place_note"),
    ),
    "planting_figures.csv": Layout(("feature", "quantity"), _FIGURE, ("note",)),
    "unlawful_plants.csv": Layout(
        ("key",),
        ("name", "latin", "laws", "law_class", "law_source"),
        ("other_latin", "law_note"),
    ),
    "plot_kinds.csv": Layout(("key",), ("name",), ("words", "implies", "traits")),
    "barrier_kinds.csv": Layout(("key",), ("name",), ("words", "bears", "see_through", "unnamed")),
    "ground_covers.csv": Layout(("key",), ("name", "role"), ("features", "plot_kinds")),
    "movement_costs.csv": Layout(("group", "cover"), _FIGURE, ("note",)),
    "barrier_crossings.csv": Layout(("group", "barrier", "gap"), _FIGURE, ("note",)),
    "osm_tags.csv": Layout(
        ("role", "tags"), ("drawn", "becomes", "sure", "class", "source"), ("large", "note")
    ),
    "survey_questions.csv": Layout(
        ("feature",), ("part", "from_street", "class", "source"), ("hint",)
    ),
    "survey_rules.csv": Layout(("key",), ("part", "words", "class", "source"), ("note",)),
    "settings.csv": Layout(("key",), _FIGURE, ("note",)),
    "street_rules.csv": Layout(("key",), _FIGURE, ("note",)),
    "stopping_sight.csv": Layout(("speed_mph", "vehicle"), _FIGURE, ("note",)),
    "sight_areas.csv": Layout(
        ("key",), ("watcher", "verdict", "set_back", "class", "source"), ("note",)
    ),
    "planter_sizes.csv": Layout(("planter", "quantity"), _FIGURE, ("note",)),
    "street_objects.csv": Layout(("key",), ("name", "test", "solid", "verdict"), ("box", "words")),
    "scheme_figures.csv": Layout(("key",), _FIGURE, ("note",)),
    "scheme_upkeep.csv": Layout(("key",), ("task", "months", "who", "class", "source"), ("note",)),
    "scheme_risks.csv": Layout(
        ("key",),
        ("hazard", "who", "likelihood", "harm", "control", "left", "class", "source"),
        ("note",),
    ),
    "scheme_consents.csv": Layout(
        ("key",), ("part", "name", "about", "class", "source"), ("note",)
    ),
    "regressions.csv": Layout(("regression", "quantity"), _FIGURE, ("note",)),
}


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its file, the line it starts at (header is 1), its cells as text.

    `absent` are columns that its file does not have; their cells are empty.
    """

    table: str
    where: str
    line: int
    cells: Mapping[str, str]
    absent: frozenset[str] = frozenset()

    @property
    def ident(self) -> str:
        """The row's key, its parts joined by ``/``."""
        return "/".join(part for part in self.key if part)

    @property
    def key(self) -> tuple[str, ...]:
        """The cells that name the row."""
        return tuple(self.cells[column] for column in LAYOUTS[self.table].key)

    @property
    def place(self) -> str:
        """File and line, as a `Figure` carries it."""
        return f"{self.where} line {self.line}"

    def fault(self, what: str, mend: str) -> Fault:
        """Return a fault of this row."""
        return Fault("error", self.where, self.line, self.ident, what, mend)


def read_table(table: str, data: bytes, where: str, faults: list[Fault]) -> list[Row]:
    """Read one table; add what is wrong with it to `faults`.

    Parameters
    ----------
    table
        Name of the table, a key of `LAYOUTS`.
    data
        The file: CSV of any kind, or xlsx (see `core.table`).
    where
        How to name the file in faults and places.
    faults
        List that faults are added to.

    Returns
    -------
    list of Row
        Rows in the order of the file; blank lines are left out.
    """
    layout = LAYOUTS[table]
    folded = {heading(column): column for column in layout.columns}
    found = FaultList()
    try:
        sheets = sheets_of(data, where, found, known=folded)
    except NoTable as error:
        mend = f"{error.mend[:1].upper()}{error.mend[1:]}." if error.mend else ""
        mend = mend or _columns_wanted(layout)
        faults += [*found.faults, Fault("error", where, None, None, f"It {error.what}.", mend)]
        return []
    read = table_of(sheets, where, found, known=folded)
    columns = [folded.get(heading(name), "") for name in read.columns]
    _check_columns(read, columns, layout, found)
    faults += found.faults
    # Twice the same column or one too few: its cells would be read wrongly.
    if any(fault.row == read.head and fault.severity == "error" for fault in found.faults):
        return []
    rows: dict[tuple[str, ...], Row] = {}
    for line, cells in read.rows:
        values = dict.fromkeys(layout.columns, "")
        values.update({name: cell for name, cell in zip(columns, cells, strict=True) if name})
        row = Row(table, where, line, values, frozenset(values) - set(columns))
        before = rows.setdefault(row.key, row)
        if before is not row:
            what = f"This key stands already in line {before.line}."
            faults.append(row.fault(what, "Keep one of the two."))
    return list(rows.values())


def lay_over(below: Iterable[Row], above: Iterable[Row]) -> list[Row]:
    """Lay rows over others: the same key replaces in its place, a new key comes last.

    Columns that the file of a row does not have stay as they were: tables written before there
    was a column keep what it says.
    """
    merged = {row.key: row for row in below}
    for row in above:
        old = merged.get(row.key)
        kept = {} if old is None else {column: old.cells[column] for column in row.absent}
        merged[row.key] = replace(row, cells={**row.cells, **kept})
    return list(merged.values())


def _columns_wanted(layout: Layout) -> str:
    return f"Its first line must name the columns: {', '.join(layout.columns)}."


def _check_columns(read: Table, columns: list[str], layout: Layout, faults: FaultList) -> None:
    for name in dict.fromkeys(read.columns):
        if name and not columns[read.columns.index(name)]:
            hint = nearest_hint(heading(name), layout.columns)
            what = f"The column '{name}' is not one of this table.{hint}"
            faults.error(read.where, what, _columns_wanted(layout), row=read.head)
    missing = [name for name in layout.key + layout.required if name not in columns]
    if missing:
        what = f"Missing column: {', '.join(missing)}."
        faults.error(read.where, what, _columns_wanted(layout), row=read.head)
    bare = [at for at, name in enumerate(read.columns) if not name]
    for line, cells in read.rows:
        for at in bare:
            if cells[at]:
                what = f"The cell '{cells[at][:40]}' stands in a column without a heading."
                faults.error(read.where, what, "Delete it, or name the column.", row=line)
