"""Reading: any file a street group has becomes one checked `Neighbourhood`.

`read_neighbourhood` reads files, `build_neighbourhood` takes tables in memory, `check_file`
lists every fault.
"""

from patchnet.read.build import build_neighbourhood
from patchnet.read.check import CheckReport, check_file
from patchnet.read.from_file import read_neighbourhood
from patchnet.read.neighbourhood import Answers, Neighbourhood

__all__ = [
    "Answers",
    "CheckReport",
    "Neighbourhood",
    "build_neighbourhood",
    "check_file",
    "read_neighbourhood",
]
