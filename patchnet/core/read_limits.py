"""What one file may take of the computer: the limits of all readers, from their table."""

import csv
from functools import cache
from importlib.resources import files

__all__ = ["read_limit"]


@cache
def _table() -> dict[str, float]:
    text = (files("patchnet.core") / "read_limits.csv").read_text(encoding="utf-8")
    return {row["key"]: float(row["value"]) for row in csv.DictReader(text.splitlines())}


def read_limit(key: str) -> float:
    """Return a limit; its unit, class and source stand in ``core/read_limits.csv``.

    Parameters
    ----------
    key
        Of a row.

    Returns
    -------
    float
        In the unit of that row (seconds, megabytes, a count).
    """
    return _table()[key]
