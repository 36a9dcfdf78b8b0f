"""Tables of the report: every cell escaped, every table named."""

from collections.abc import Iterable, Sequence

from patchnet.pages.kit.escape import attribute, text

__all__ = ["Raw", "table_html"]


class Raw(str):
    """A cell that is HTML of our own already."""

    __slots__ = ()


def table_html(
    name: str, heads: Sequence[str], rows: Iterable[Sequence[object]], *, css: str = ""
) -> str:
    """A table whose first cells name their rows; all cells but `Raw` ones are escaped.

    Rows that begin with a `Raw` ``"total"`` are set apart.
    """
    head = "".join(f'<th scope="col">{text(one)}</th>' for one in heads)
    body = []
    for row in rows:
        first, *others = row
        cells = "".join(f"<td>{one if isinstance(one, Raw) else text(one)}</td>" for one in others)
        shown = first if isinstance(first, Raw) else text(first)
        body.append(f'<tr><th scope="row">{shown}</th>{cells}</tr>')
    return (
        f'<div class="wide" tabindex="0" role="group" aria-label="{attribute(name)}">'
        f'<table class="{attribute(css)}"><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )
