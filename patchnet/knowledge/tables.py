"""The CSV tables of the knowledge room: which columns they have, reading, laying over."""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from patchnet.core.faults import Fault, nearest_hint

__all__ = ["LAYOUTS", "MONTHS", "Layout", "Row", "lay_over", "read_table"]

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FIGURE = ("value", "unit", "low", "high", "class", "source")
_MONTHS_ORIGIN = ("months_class", "months_source")
# A cell in a file saved by a spreadsheet program is never longer than 32,767 characters.
_CELL_LIMIT = 32_767


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
        File name of the table, a key of `LAYOUTS`.
    data
        The file: UTF-8 with or without a byte order mark, commas or semicolons between cells.
    where
        How to name the file in faults and places.
    faults
        List that faults are added to.

    Returns
    -------
    list of Row
        Rows in the order of the file; blank lines are left out.
    """
    text = _decode(data, where, faults)
    if text is None:
        return []
    layout = LAYOUTS[table]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text, layout))
    rows: list[Row] = []
    line = 1
    columns: list[str] | None = None
    seen: dict[tuple[str, ...], int] = {}
    try:
        for cells in reader:
            start, line = line, reader.line_num + 1
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if columns is None:
                columns = _header(stripped, layout, where, start, faults)
                if columns is None:
                    return []
                continue
            row = _row(table, where, start, columns, stripped, faults)
            if row.key in seen:
                faults.append(
                    row.fault(
                        f"This key stands already in line {seen[row.key]}.", "Keep one of the two."
                    )
                )
                continue
            seen[row.key] = start
            rows.append(row)
    except csv.Error as error:
        faults.append(
            Fault(
                "error",
                where,
                reader.line_num,
                None,
                f"The line cannot be read as CSV: {error}.",
                "Look for a quotation mark that is not closed, or save the table again as CSV.",
            )
        )
    if columns is None:
        faults.append(
            Fault("error", where, None, None, "The table is empty.", _columns_wanted(layout))
        )
    return rows


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


def _decode(data: bytes, where: str, faults: list[Fault]) -> str | None:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        faults.append(
            Fault(
                "error",
                where,
                line,
                None,
                "The table is not UTF-8 text, so letters such as é would come out wrong.",
                "Save it from the spreadsheet as 'CSV UTF-8'.",
            )
        )
        return None


def _separator(text: str, layout: Layout) -> str:
    """Return the separator under which the first line names more of the columns."""
    first = next((line for line in text.splitlines() if line.strip()), "")

    def known(separator: str) -> int:
        names = {cell.strip().strip('"').casefold() for cell in first.split(separator)}
        return len(names & set(layout.columns))

    return ";" if known(";") > known(",") else ","


def _header(
    cells: list[str], layout: Layout, where: str, line: int, faults: list[Fault]
) -> list[str] | None:
    columns = [cell.casefold() for cell in cells]
    named = [column for column in columns if column]
    before = len(faults)
    for column in dict.fromkeys(named):
        if column not in layout.columns:
            hint = nearest_hint(column, layout.columns)
            faults.append(
                Fault(
                    "error",
                    where,
                    line,
                    None,
                    f"The column '{column}' is not one of this table.{hint}",
                    _columns_wanted(layout),
                )
            )
        if named.count(column) > 1:
            what = f"The column '{column}' stands there more than once."
            faults.append(Fault("error", where, line, None, what, "Keep one of them."))
    missing = [column for column in layout.key + layout.required if column not in named]
    if missing:
        faults.append(
            Fault(
                "error",
                where,
                line,
                None,
                f"Missing column: {', '.join(missing)}.",
                _columns_wanted(layout),
            )
        )
    return columns if len(faults) == before else None


def _row(
    table: str, where: str, line: int, columns: list[str], cells: list[str], faults: list[Fault]
) -> Row:
    padded = cells + [""] * (len(columns) - len(cells))
    values = dict.fromkeys(LAYOUTS[table].columns, "")
    values.update({column: cell for column, cell in zip(columns, padded, strict=False) if column})
    row = Row(table, where, line, values, frozenset(values) - set(columns))
    stray = [cell for column, cell in zip(columns, padded, strict=False) if not column and cell]
    stray += [cell for cell in padded[len(columns) :] if cell]
    if stray:
        what = f"There are cells beyond the last column: '{stray[0][:40]}'."
        mend = "Put text that holds a comma or semicolon in quotation marks."
        faults.append(row.fault(what, mend))
    long = [column for column, cell in values.items() if len(cell) > _CELL_LIMIT]
    if long:
        what = f"The cell '{long[0]}' is longer than any spreadsheet allows."
        faults.append(row.fault(what, "Shorten it; look for a quotation mark not closed."))
    return row
