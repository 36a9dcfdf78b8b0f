"""One road of the neighbourhood: its sides, its footways, and where a planter could stand.

`find_street` finds a road by its name, `planter_sites` tests places along both its sides against
the street rules.
"""

from patchnet.ground.street.find import find_street
from patchnet.ground.street.records import Finding, Site, Street, StreetObject, StreetSide
from patchnet.ground.street.sites import planter_sites

__all__ = [
    "Finding",
    "Site",
    "Street",
    "StreetObject",
    "StreetSide",
    "find_street",
    "planter_sites",
]
