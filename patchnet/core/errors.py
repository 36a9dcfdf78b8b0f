"""What can go wrong, named after what the user did.

::

    PatchnetError            4  internal: should not happen
    ├── DataFaults           1  the data have faults (carries the list)
    │   └── TableFaults      1  a knowledge table has faults
    ├── WrongUse             2  asked for something that does not exist
    └── FileTrouble          3  a file cannot be read or written
        ├── CannotRead
        └── CannotWrite

The number is the exit status of the command line.
"""

from collections.abc import Iterable
from typing import ClassVar

from patchnet.core.faults import Fault
from patchnet.core.texts import _

__all__ = [
    "CannotRead",
    "CannotWrite",
    "DataFaults",
    "FileTrouble",
    "PatchnetError",
    "TableFaults",
    "WrongUse",
]


class PatchnetError(Exception):
    """Root of every error that patchnet raises on purpose.

    Examples
    --------
    >>> import patchnet
    >>> issubclass(patchnet.WrongUse, patchnet.PatchnetError), patchnet.WrongUse.exit_status
    (True, 2)
    """

    exit_status: ClassVar[int] = 4


class DataFaults(PatchnetError):  # noqa: N818 - named after what the user sees: a list of faults
    """The data have faults that must be mended before anything can be computed.

    Parameters
    ----------
    faults
        Every fault found, errors and warnings, in the order of the file.

    Examples
    --------
    >>> import patchnet
    >>> try:
    ...     patchnet.read_facts({"soil": "clai"}, patchnet.load_knowledge(), where="you")
    ... except patchnet.DataFaults as error:
    ...     print(error.faults[0].what)
    'clai' is not one of the answers. Did you mean clay?
    """

    exit_status: ClassVar[int] = 1

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        errors = [fault for fault in self.faults if fault.severity == "error"]
        super().__init__("\n".join(str(fault) for fault in errors) or _("no faults"))

    def __reduce__(self) -> tuple[type["DataFaults"], tuple[tuple[Fault, ...]]]:
        """Travel between processes with the whole list."""
        return type(self), (self.faults,)


class TableFaults(DataFaults):
    """A knowledge table has faults (file, key and line are in each fault).

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> Path("own").mkdir(exist_ok=True)
    >>> _ = Path("own", "features.csv").write_text("key")
    >>> try:
    ...     patchnet.load_knowledge("own")
    ... except patchnet.TableFaults as error:
    ...     print(error.exit_status)
    1
    """


class WrongUse(PatchnetError):  # noqa: N818 - see DataFaults
    """Something was asked for that does not exist, or options contradict each other.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.assess(patchnet.read_demo(), groups=["wrenn"])
    Traceback (most recent call last):
    ...
    patchnet.core.errors.WrongUse: There is no animal 'wrenn'. Did you mean wren? ...
    """

    exit_status: ClassVar[int] = 2


class FileTrouble(PatchnetError):  # noqa: N818 - see DataFaults
    """A file cannot be read or written.

    Examples
    --------
    >>> import patchnet
    >>> issubclass(patchnet.CannotRead, patchnet.FileTrouble), patchnet.FileTrouble.exit_status
    (True, 3)
    """

    exit_status: ClassVar[int] = 3


class CannotRead(FileTrouble):
    """A file is missing, damaged, locked or of a kind that cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> try:
    ...     patchnet.read_neighbourhood("nowhere.gpkg")
    ... except patchnet.CannotRead as error:
    ...     print(error)
    There is no file nowhere.gpkg.
    """


class CannotWrite(FileTrouble):
    """A file cannot be written, or would overwrite something patchnet did not make.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> try:
    ...     patchnet.write_map(answer, "no-such-folder/street.html")
    ... except patchnet.CannotWrite as error:
    ...     print(error)
    There is no folder no-such-folder: make it first.
    """
