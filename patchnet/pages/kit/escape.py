"""What may stand in a page unescaped: scripts, their data and style sheets.

Everything else is text, and the templates escape it.
"""

import json
from typing import Any

from markupsafe import Markup

__all__ = ["inside_script", "inside_style", "json_inside_script"]

# What ends a script block early or starts markup, and the two characters that JSON allows inside
# a string but older JavaScript does not.
_RISKY = str.maketrans(
    {
        "<": "\\u003c",
        ">": "\\u003e",
        "&": "\\u0026",
        "\u2028": "\\u2028",
        "\u2029": "\\u2029",
    }
)


def json_inside_script(value: Any) -> Markup:  # noqa: ANN401 - anything that JSON can hold
    """Write `value` as JSON that is safe inside a ``<script>`` element.

    Raises
    ------
    ValueError
        If `value` holds a number that JSON cannot (NaN, infinity).
    """
    plain = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Markup(_lone_surrogates(plain).translate(_RISKY))  # noqa: S704 - nothing risky is left


def inside_script(source: str) -> Markup:
    """Make a library's own JavaScript safe inside a ``<script>`` element.

    A closing tag inside a string literal would end the element; with a backslash before its
    second character it means the same to JavaScript and nothing to HTML.
    """
    safe = source.replace("</script", "<\\/script").replace("<!--", "<\\!--")
    return Markup(safe)  # noqa: S704 - it cannot end its element


def inside_style(source: str) -> Markup:
    """Let a style sheet of ours stand in a ``<style>`` element, where nothing is unescaped.

    Raises
    ------
    ValueError
        If it could end the element: user text has no place in it.
    """
    if "</" in source:
        raise ValueError("A style sheet may not hold '</'.")
    return Markup(source)  # noqa: S704 - it cannot end its element


def _lone_surrogates(written: str) -> str:
    """Replace halves of surrogate pairs, which UTF-8 cannot carry."""
    return written.encode("utf-8", "replace").decode("utf-8")
