"""Ground room: any file a street group has, read into one checked `Neighbourhood`.

`read_neighbourhood` reads files, `build_neighbourhood` takes tables in memory, `check_file`
lists every fault.
"""

from patchnet.ground.build import build_neighbourhood
from patchnet.ground.check import CheckReport, check_file
from patchnet.ground.neighbourhood import Answers, Neighbourhood
from patchnet.ground.read import read_neighbourhood

__all__ = [
    "Answers",
    "CheckReport",
    "Neighbourhood",
    "build_neighbourhood",
    "check_file",
    "read_neighbourhood",
]
