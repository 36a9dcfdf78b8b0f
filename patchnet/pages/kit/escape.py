"""The one border that text crosses on its way into a page."""

import html
import json
from typing import Any

__all__ = ["attribute", "inside_script", "json_inside_script", "text"]

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


def text(value: object) -> str:
    """Escape `value` for use between tags."""
    return html.escape(str(value), quote=True)


def attribute(value: object) -> str:
    """Escape `value` for use inside a double-quoted attribute."""
    return html.escape(str(value), quote=True).replace("`", "&#96;")


def json_inside_script(value: Any) -> str:  # noqa: ANN401 - anything that JSON can hold
    """Write `value` as JSON that is safe inside a ``<script>`` element.

    Raises
    ------
    ValueError
        If `value` holds a number that JSON cannot (NaN, infinity).
    """
    plain = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return _lone_surrogates(plain).translate(_RISKY)


def inside_script(source: str) -> str:
    """Make a library's own JavaScript safe inside a ``<script>`` element.

    A closing tag inside a string literal would end the element; with a backslash before its
    second character it means the same to JavaScript and nothing to HTML.
    """
    return source.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def _lone_surrogates(written: str) -> str:
    """Replace halves of surrogate pairs, which UTF-8 cannot carry."""
    return written.encode("utf-8", "replace").decode("utf-8")
