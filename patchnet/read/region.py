"""In which region a neighbourhood lies, as far as a file or its country says."""

from collections import Counter

import pandas as pd

from patchnet.core.cells import texts
from patchnet.core.errors import WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.regions import match_region
from patchnet.read.columns import Columns

__all__ = ["region_of"]


def region_of(
    said: str | None,
    table: pd.DataFrame,
    columns: Columns,
    country: str,
    *,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> str:
    """Return its key, or nothing where it is not known.

    What was asked for holds; else what most plots say; else the country, where that is one
    region as a whole.

    Parameters
    ----------
    said
        What was asked for.
    table
        The layer of plots as it was read.
    columns
        Which column of it is which.
    country
        Key of the country.
    where
        Name of the layer, for a fault.
    knowledge
        For the regions.
    faults
        A region in the file that no table knows is added as a warning.

    Raises
    ------
    WrongUse
        If what was asked for is no region.
    """
    if said is not None:
        return match_region(said, knowledge)
    cells = texts(table[columns.role["region"]]) if "region" in columns.role else []
    for cell, __ in Counter(cell for cell in cells if cell).most_common(1):
        try:
            return match_region(cell, knowledge)
        except WrongUse as error:
            faults.warn(where, str(error), _("Write one of them, or ask for one by --region."))
    parts = [one.key for one in knowledge.regions.values() if one.country == country]
    return parts[0] if len(parts) == 1 else ""
