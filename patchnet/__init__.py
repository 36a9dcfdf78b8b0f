"""patchnet: a neighbourhood of gardens, verges and planters read as one habitat.

>>> import patchnet
>>> knowledge = patchnet.load_knowledge()
>>> knowledge.groups["wren"].name
'Wren'

Each name is imported when it is first used, so that importing the package costs nothing.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patchnet.assess.assess import assess
    from patchnet.assess.assessment import Assessment, GroupAnswer, PlotAnswer
    from patchnet.assess.plot import plot_answer
    from patchnet.core.errors import (
        CannotRead,
        CannotWrite,
        DataFaults,
        FileTrouble,
        PatchnetError,
        TableFaults,
        WrongUse,
    )
    from patchnet.core.faults import Fault
    from patchnet.knowledge.load import load_knowledge
    from patchnet.knowledge.records import Knowledge
    from patchnet.pages.files.export import write_export
    from patchnet.pages.map.map_page import map_page, write_map
    from patchnet.read.build import build_neighbourhood
    from patchnet.read.check import check_file
    from patchnet.read.from_file import read_neighbourhood
    from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Assessment",
    "CannotRead",
    "CannotWrite",
    "DataFaults",
    "Fault",
    "FileTrouble",
    "GroupAnswer",
    "Knowledge",
    "Neighbourhood",
    "PatchnetError",
    "PlotAnswer",
    "TableFaults",
    "WrongUse",
    "assess",
    "build_neighbourhood",
    "check_file",
    "load_knowledge",
    "map_page",
    "plot_answer",
    "read_neighbourhood",
    "write_export",
    "write_map",
]

# The same as above for when the program runs; tests/test_api.py holds the two together.
_WHERE = {
    name: f"patchnet.{module}"
    for module, names in {
        "assess.assess": ("assess",),
        "assess.assessment": ("Assessment", "GroupAnswer", "PlotAnswer"),
        "assess.plot": ("plot_answer",),
        "core.errors": (
            "CannotRead", "CannotWrite", "DataFaults", "FileTrouble", "PatchnetError",
            "TableFaults", "WrongUse",
        ),
        "core.faults": ("Fault",),
        "knowledge.load": ("load_knowledge",),
        "knowledge.records": ("Knowledge",),
        "pages.files.export": ("write_export",),
        "pages.map.map_page": ("map_page", "write_map"),
        "read.build": ("build_neighbourhood",),
        "read.check": ("check_file",),
        "read.from_file": ("read_neighbourhood",),
        "read.neighbourhood": ("Neighbourhood",),
    }.items()
    for name in names
}  # fmt: skip


class _Package(ModuleType):
    """The package, in which `assess` is the function and never the room of that name."""

    def __setattr__(self, name: str, value: object) -> None:
        # Python binds a submodule to its package when it is first imported.
        if not (name in _WHERE and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> object:
    """Import a public name when it is first used (PEP 562)."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_WHERE[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, whether imported yet or not, and the module's own."""
    return sorted({*globals(), *__all__})
