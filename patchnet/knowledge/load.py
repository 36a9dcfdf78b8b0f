"""Loading the knowledge tables: patchnet's own, with the user's tables on top."""

from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType

from patchnet.core.errors import CannotRead, TableFaults
from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.freed_memory import nothing_thrown_away
from patchnet.core.reader_child import read_in_child
from patchnet.core.table import SUFFIXES
from patchnet.core.texts import _, language
from patchnet.knowledge.build import build
from patchnet.knowledge.kept import Kept
from patchnet.knowledge.knowledge import Knowledge
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.tables import lay_over, read_shipped, read_table

__all__ = ["load_knowledge", "load_rows"]

_ALIKE = 0.9  # a letter or two of the name of a table
_KEPT: dict[str, Kept] = {}  # what was read of the shipped tables, by language


def load_knowledge(overlay: Path | str | None = None) -> Knowledge:
    """Load the knowledge tables.

    Parameters
    ----------
    overlay
        Folder of the user's own tables, on top of the shipped ones: any of the tables, with any
        of their rows. A row whose key is already there replaces it, but for columns that the
        file does not have; a new key is added (a new group or feature must bring all its
        numbers: what is missing is listed). Files are CSV as any program saves it, or xlsx, of
        the tables' names; other files in the folder are not looked at.

    Returns
    -------
    Knowledge
        The typed records; `Knowledge.warnings` say what a user's own rows leave out that is
        not needed. Without an overlay the same object every time.

    Raises
    ------
    CannotRead
        If the folder or a file in it is missing or cannot be read.
    TableFaults
        If a table has faults: all of them at once, each with file, line and key.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.load_knowledge().groups["wren"].hop.unit
    'm'
    """
    if overlay is None:
        return _shipped(language())
    faults: list[Fault] = []
    with nothing_thrown_away():
        return _built(_laid_over(Path(overlay), faults), faults)[0]


def load_rows(overlay: Path | str | None = None) -> dict[str, list[Row]]:
    """Load the rows of every table by file name, as text; see `load_knowledge`."""
    if overlay is None:
        return {name: list(rows) for name, rows in _shipped_rows().items()}
    faults: list[Fault] = []
    tables = _laid_over(Path(overlay), faults)
    if any(fault.severity == "error" for fault in faults):
        raise TableFaults(faults)
    return tables


def _laid_over(folder: Path, faults: list[Fault]) -> dict[str, list[Row]]:
    own, said = read_in_child(_read_folder, folder)
    faults += said
    tables = {}
    for name, shipped in _shipped_rows().items():
        if TABLES[name].fixed:
            _keep_to(shipped, own.get(name, []), faults)
        tables[name] = lay_over(shipped, own[name]) if own.get(name) else list(shipped)
    return tables


def _keep_to(shipped: tuple[Row, ...], own: list[Row], faults: list[Fault]) -> None:
    """Of tables whose keys are the program's own, a new key would be silently ignored."""
    known = {row.ident: row for row in shipped}
    for row in own:
        called = _(TABLES[row.table].called)
        before = known.get(row.ident)
        if before is None:
            hint = nearest_hint(row.ident, known)
            what = _("'{ident}' is not a known {called}.{hint}").format(
                ident=row.ident, called=called, hint=hint
            )
            mend = _("'patchnet source {table}' lists those there are.").format(
                table=row.table.removesuffix(".csv")
            )
            faults.append(row.fault(what, mend))
        elif row.cells["unit"] not in ("", before.cells["unit"]):
            what = _("The unit is '{unit}'.").format(unit=row.cells["unit"])
            faults.append(
                row.fault(
                    what, _("This number must be in '{unit}'.").format(unit=before.cells["unit"])
                )
            )


@cache
def _shipped_rows() -> MappingProxyType[str, tuple[Row, ...]]:
    folder = resources.files("patchnet.knowledge") / "tables"
    return MappingProxyType(
        {
            name: tuple(read_shipped(name, (folder / name).read_text(encoding="utf-8")))
            for name in TABLES
        }
    )


@cache
def _shipped(_language: str) -> Knowledge:
    """Read the shipped tables once a language: their names are translated as they are read."""
    with nothing_thrown_away():
        knowledge, _KEPT[language()] = _built(load_rows(), [])
    return knowledge


def _built(tables: dict[str, list[Row]], faults: list[Fault]) -> tuple[Knowledge, Kept]:
    knowledge, kept = build(tables, faults, _KEPT.get(language()))
    if any(fault.severity == "error" for fault in faults):
        raise TableFaults(faults)
    if faults:
        knowledge = replace(knowledge, warnings=(*knowledge.warnings, *faults))
    return knowledge, kept


def _read_folder(folder: Path) -> tuple[dict[str, list[Row]], list[Fault]]:
    faults: list[Fault] = []
    if not folder.exists():
        raise CannotRead(
            _("The folder of knowledge tables {folder} is not there.").format(folder=folder)
        )
    if not folder.is_dir():
        raise CannotRead(
            _(
                "{folder} is not a folder. Name the folder that your knowledge tables are in."
            ).format(folder=folder)
        )
    tables: dict[str, list[Row]] = {}
    try:
        paths = sorted(path for path in folder.iterdir() if _may_be_table(path))
        for path in paths:
            name = f"{path.stem}.csv"
            if name not in TABLES:
                hint = nearest_hint(name, TABLES)
                what = _("This is not the name of a knowledge table.{hint}").format(hint=hint)
                mend = _("Call it one of: {tables}.").format(tables=", ".join(TABLES))
                faults.append(Fault("error", str(path), None, None, what, mend))
                continue
            if name in tables:
                what = _("There is another file of the table {stem}.").format(stem=path.stem)
                faults.append(Fault("error", str(path), None, None, what, _("Keep one of them.")))
                continue
            tables[name] = read_table(name, path.read_bytes(), str(path), faults)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotRead(
            _("The knowledge tables in {folder} cannot be read: {reason}.").format(
                folder=folder, reason=reason
            )
        ) from error
    if not paths:
        what = _("The folder holds no knowledge table.")
        mend = _("Put at least one of these in it: {tables}.").format(tables=", ".join(TABLES))
        faults.append(Fault("error", str(folder), None, None, what, mend))
    return tables, faults


def _may_be_table(path: Path) -> bool:
    """Whether a file is meant as a table; a workbook may be anything, so its name must tell."""
    suffix = path.suffix.casefold()
    if suffix not in SUFFIXES or path.name.startswith((".", "~$")):
        return False
    return suffix == ".csv" or bool(get_close_matches(f"{path.stem}.csv", TABLES, 1, _ALIKE))
