"""The way from one coordinate system into another, looked up once."""

from functools import lru_cache
from typing import Any

import pyproj

__all__ = ["change_of"]


@lru_cache(maxsize=64)
def change_of(source: Any, target: Any) -> pyproj.Transformer:  # noqa: ANN401 - whatever names a CRS
    """Return how coordinates change from one system into another, x before y.

    To look for the way takes longer than to go it, and a command goes the same few ways often.

    Parameters
    ----------
    source, target
        A `pyproj.CRS`, or what makes one, such as ``"EPSG:4326"``.

    Raises
    ------
    pyproj.exceptions.ProjError
        If there is no way.

    Examples
    --------
    >>> x, y = change_of("EPSG:4326", "EPSG:32633").transform(15.0, 0.0)
    >>> round(x), round(y)
    (500000, 0)
    """
    return pyproj.Transformer.from_crs(source, target, always_xy=True)
