"""patchnet: a neighbourhood of gardens, verges and planters read as one habitat.

>>> import patchnet
>>> knowledge = patchnet.load_knowledge()
>>> knowledge.groups["wren"].name
'Wren'
"""

from patchnet.assess import Assessment, GroupAnswer, PlotAnswer, assess, plot_answer
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
from patchnet.knowledge import Knowledge, load_knowledge
from patchnet.pages import map_page, write_export, write_map
from patchnet.read import Neighbourhood, build_neighbourhood, check_file, read_neighbourhood

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
