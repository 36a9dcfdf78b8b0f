"""All returns of a survey, files and folders of them, into the file of a street."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from patchnet.core.errors import WrongUse
from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.survey.merge import Merged, merge_returns

__all__ = ["merge_survey", "return_files"]

_ENDINGS = frozenset((".json", ".csv", ".tsv", ".txt", ".xlsx"))  # a phone may share it as .txt


def merge_survey(
    street: Path | str,
    returns: Path | str | Iterable[Path | str],
    *,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    same_street: bool = False,
    today: date | None = None,
    knowledge: Knowledge | None = None,
) -> Merged:
    r"""Read the returns of a survey and lay them into what a street's file holds already.

    Nothing is written: `patchnet.write_merged` does that. Merging a file again changes nothing.

    Parameters
    ----------
    street
        The map of the street: a GeoPackage, or any other map, which becomes one.
    returns
        A file of the survey page (``.return.json``) or a filled-in sheet (``.csv``, ``.xlsx``), a
        folder of them, or several of these in any order; none: the map alone.
    columns, crs
        As in `patchnet.read_neighbourhood`.
    same_street
        True: take returns that name no street, and those that name another but call it as a street
        here is called and have most plots here; or the one return, if it is the only one given.
    today
        Dates after it are doubted; None: the day it is.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Merged
        What was said by whom, what it comes to, where people differ; what could not be read is
        in `faults`.

    Raises
    ------
    WrongUse
        If a folder holds no return.
    DataFaults
        If the map itself has errors.
    CannotRead
        If the map cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = patchnet.write_demo("demo")
    >>> row = "plot,feature,answer,surveyor,date\nM15B,pond,there,Ann,2026-05-09\n"
    >>> _ = Path("ann.csv").write_text(row)
    >>> merged = patchnet.merge_survey("demo", "ann.csv", same_street=True)
    >>> merged.new["statements"]
    1
    """
    given = [returns] if isinstance(returns, Path | str) else list(returns)
    merged = merge_returns(
        street,
        return_files(given),
        knowledge=knowledge or load_knowledge(),
        today=datetime.now(UTC).astimezone().date() if today is None else today,
        columns=columns,
        crs=crs,
        same_street=same_street,
    )
    left = [file for one in given for file in _left_in_folder(Path(one))]
    told = [
        Fault(
            "warning", file.name, None, None, _("It is no return by its ending, and was not read."),
            _("If it is one, save it as xlsx or CSV (UTF-8)."),
        )
        for file in left
    ]  # fmt: skip
    return replace(merged, faults=(*merged.faults, *told))


def return_files(given: Sequence[Path | str]) -> list[Path]:
    """Return the files of returns, a folder standing for all that lie in it.

    Parameters
    ----------
    given
        Files and folders.

    Raises
    ------
    WrongUse
        If there is no return at all.
    """
    files = [file for one in given for file in _in_folder(Path(one))]
    if given and not files:
        raise WrongUse(_("There is no return in the folder: .return.json, .csv or .xlsx."))
    return files


def _in_folder(given: Path) -> list[Path]:
    if not given.is_dir():
        return [given]
    return [file for file in _files(given) if file.suffix.casefold() in _ENDINGS]


def _left_in_folder(given: Path) -> list[Path]:
    if not given.is_dir():
        return []
    return [file for file in _files(given) if file.suffix.casefold() not in _ENDINGS]


def _files(folder: Path) -> list[Path]:
    return [
        file
        for file in sorted(folder.iterdir())
        if file.is_file() and not file.name.startswith((".", "~$"))
    ]
