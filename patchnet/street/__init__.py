"""One road of the neighbourhood: its sides, its footways, and where a planter could stand.

`find_street` finds a road by its name, `planter_sites` tests places along both its sides against
the street rules.
"""

from patchnet.street.find import find_street
from patchnet.street.places import planter_sites
from patchnet.street.site import Finding, Site, Street, StreetObject, StreetSide

__all__ = [
    "Finding",
    "Site",
    "Street",
    "StreetObject",
    "StreetSide",
    "find_street",
    "planter_sites",
]
