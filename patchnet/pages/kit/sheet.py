"""A page to read and print: no script, nothing fetched, one style sheet inside."""

from string import Template

from patchnet.core.files import MADE_BY
from patchnet.pages.kit import colours
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.inline import asset

__all__ = ["sheet"]


def sheet(*, title: str, style: str, body: str) -> str:
    """Return a whole page as HTML text.

    Parameters
    ----------
    title
        Plain text, escaped here.
    style
        Style sheet, beside the palette.
    body
        What stands in ``<body>``, as HTML: text in it must be escaped already.
    """
    return Template(asset("sheet.html")).substitute(
        made_by=MADE_BY,
        title=text(title),
        style=f"{colours.css_variables()}\n{style}",
        body=body,
    )
