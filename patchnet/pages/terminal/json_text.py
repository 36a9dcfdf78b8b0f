"""Answers as JSON."""

import json
from typing import Any

__all__ = ["json_text"]


def json_text(value: Any) -> str:  # noqa: ANN401 - takes any JSON value
    """Write as JSON (UTF-8, numbers unrounded); numbers JSON has no word for become null.

    >>> print(json_text({"cost": float("inf")}), end="")
    {
      "cost": null
    }
    """
    return json.dumps(_plain(value), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:  # noqa: ANN401 - walks any JSON value
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and value - value != 0:
        return None
    return value
