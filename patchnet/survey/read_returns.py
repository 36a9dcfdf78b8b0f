"""Files of returns of any kind, read one by one: what cannot be read leaves the others alone."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.reader_child import RETURN_LIMITS, ReaderChild
from patchnet.core.table import heading
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import column_names
from patchnet.read.from_file import local_path
from patchnet.read.layers import read_layers
from patchnet.survey.one_return import Return
from patchnet.survey.plot_table import with_statements
from patchnet.survey.read_phone import read_page_return
from patchnet.survey.read_sheet import read_sheet_return
from patchnet.survey.sheet_headings import SheetWords, sheet_words

__all__ = ["columns_of_map", "read_return", "read_returns"]


def read_return(path: Path | str, faults: FaultList, words: SheetWords | None = None) -> Return:
    """Read a return of any kind: what it is, is told by its first bytes.

    Parameters
    ----------
    path
        The return, of any form.
    faults
        Added to.
    words
        What the headings of sheets are called; None: by the tables that ship.

    Raises
    ------
    CannotRead
        If it is missing, empty, or no return at all.
    """
    words = words or sheet_words(load_knowledge(), {})
    place = local_path(path)
    if place.is_dir() or not place.exists():
        raise CannotRead(
            _("{place} is a folder.").format(place=place)
            if place.exists()
            else _("There is no {place}.").format(place=place)
        )
    try:
        with place.open("rb") as file:
            head = file.read(200)
    except OSError as error:
        raise CannotRead(
            _("{place} cannot be read: {strerror}.").format(place=place, strerror=error.strerror)
        ) from error
    if head.startswith(b"PK"):
        return read_sheet_return(place, faults, words)
    bare = head.replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if bare.startswith(b"{") or place.suffix.casefold() == ".json":
        return read_page_return(place, faults)
    return read_sheet_return(place, faults, words)


def _return_and_faults(path: Path, words: SheetWords) -> tuple[Return, tuple[Fault, ...]]:
    """Read a return where the list of faults is out of reach: in a child process."""
    faults = FaultList()
    return read_return(path, faults, words), faults.faults


def read_returns(
    returns: Sequence[Path | str], words: SheetWords, knowledge: Knowledge, faults: FaultList
) -> list[Return]:
    """Read all returns, each in a child process; those that cannot be read are told.

    Parameters
    ----------
    returns
        Files.
    words
        What the headings of sheets are called.
    knowledge
        For the words of features, answers and units.
    faults
        List that faults are added to.
    """
    taken = []
    with ReaderChild(RETURN_LIMITS) as child:
        for one in sorted({local_path(name) for name in returns}):
            try:
                found, said = child.read(_return_and_faults, one, words)
            except CannotRead as error:
                faults.error(one.name, str(error), _("It was left out; the others were merged."))
                continue
            faults.extend(said)
            taken.append(with_statements(found, knowledge, faults))
    return taken


def columns_of_map(
    source: Path, of_map: Mapping[str, str], of_returns: Mapping[str, str], found: Sequence[Return]
) -> dict[str, str]:
    """Return which of the columns that the user named are the map's.

    One that a return has need not stand in the map as well.

    Parameters
    ----------
    source
        The map.
    of_map, of_returns
        As from `sheet_words.columns_said`.
    found
        The returns.
    """
    had = {of_returns[role] for one in found for role in one.named}
    doubtful = {field: name for field, name in of_map.items() if name in had}
    if not doubtful:
        return dict(of_map)
    layers = read_layers(source, None, FaultList())
    there = {heading(name) for name in column_names(layers.plots.table)} if layers.plots else set()
    return {
        field: name
        for field, name in of_map.items()
        if field not in doubtful or heading(name) in there
    }
