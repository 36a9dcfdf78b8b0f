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
    """Root of every error that patchnet raises on purpose."""

    exit_status: ClassVar[int] = 4


class DataFaults(PatchnetError):  # noqa: N818 - named after what the user sees: a list of faults
    """The data have faults that must be mended before anything can be computed.

    Parameters
    ----------
    faults
        Every fault found, errors and warnings, in the order of the file.
    """

    exit_status: ClassVar[int] = 1

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        errors = [fault for fault in self.faults if fault.severity == "error"]
        super().__init__("\n".join(str(fault) for fault in errors) or "no faults")


class TableFaults(DataFaults):
    """A knowledge table has faults (file, key and line are in each fault)."""


class WrongUse(PatchnetError):  # noqa: N818 - see DataFaults
    """Something was asked for that does not exist, or options contradict each other."""

    exit_status: ClassVar[int] = 2


class FileTrouble(PatchnetError):  # noqa: N818 - see DataFaults
    """A file cannot be read or written."""

    exit_status: ClassVar[int] = 3


class CannotRead(FileTrouble):
    """A file is missing, damaged, locked or of a kind that cannot be read."""


class CannotWrite(FileTrouble):
    """A file cannot be written, or would overwrite something patchnet did not make."""
