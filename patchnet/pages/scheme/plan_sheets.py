"""Sheets that lie on their side: a drawing at true scale over its title block."""

from dataclasses import dataclass

from patchnet.pages.kit.escape import attribute, text
from patchnet.pages.kit.to_scale import Paper
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["Sheet", "blank", "sheet_html"]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawing: what it shows, its paper, the drawing itself, and the key beneath it."""

    name: str
    paper: Paper
    drawn: str
    key: str


def blank(words: str, *, of: str = "") -> str:
    """What was said, or a line to write it on."""
    return text(words) if words else f'<span class="blank" title="{attribute(of)}"></span>'


def sheet_html(sheet: Sheet, pack: SchemePack, *, number: int, of: int, inside: str = "") -> str:
    """The sheet with its title block: drawing number, scale, CRS, status, date, revision."""
    told = pack.told
    cells = (
        ("Drawing", f"{number} of {of}"),
        ("Scale", f"1:{sheet.paper.scale:,} at {pack.paper.name}, printed at full size"),
        ("Coordinates", text(pack.crs_name)),
        ("Status", text(told.status)),
        ("Date", blank(told.date, of="date")),
        ("Revision", blank("", of="revision")),
        ("By", blank(told.by, of="who proposes it")),
    )
    block = "".join(f"<div><dt>{name}</dt><dd>{words}</dd></div>" for name, words in cells)
    title = f"{sheet.name}, {pack.scheme.street.name}, 1 to {sheet.paper.scale:,}"
    drawn = sheet.paper.svg(sheet.drawn + sheet.paper.bar_and_north(), title=title)
    source = " ".join(pack.credits) or "Drawn from the group's own map."
    return (
        f'<section class="sheet" id="drawing-{number}"><h3>{text(sheet.name)}: '
        f"{text(pack.scheme.street.name)}</h3>{inside}"
        f'<div class="drawing" role="group" tabindex="0" aria-label="{attribute(sheet.name)}">'
        f'{drawn}</div><p class="key">{sheet.key}</p>'
        f'<dl class="title-block">{block}</dl>'
        f'<p class="source">{text(source)} Not a survey. Not a permission.</p></section>'
    )
