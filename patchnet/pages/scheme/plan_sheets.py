"""Sheets that lie on their side: a drawing at true scale over its title block."""

from dataclasses import dataclass

from patchnet.core.texts import _
from patchnet.pages.kit.table import blank
from patchnet.pages.kit.templates import Markup, drawn_by
from patchnet.pages.kit.to_scale import Paper
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["Sheet", "sheet_html"]

_sheet = drawn_by("scheme/plan_sheets.html", "sheet")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawing: what it shows, its paper, the drawing itself, and the key beneath it."""

    name: str
    paper: Paper
    drawn: Markup
    key: str


def sheet_html(sheet: Sheet, pack: SchemePack, *, number: int, of: int) -> Markup:
    """The sheet with its title block: drawing number, scale, CRS, status, date, revision."""
    told = pack.told
    cells = (
        ("Drawing", f"{number} of {of}"),
        ("Scale", f"1:{sheet.paper.scale:,} at {pack.paper.name}, printed at full size"),
        ("Coordinates", pack.crs_name),
        ("Status", _(told.status)),
        ("Date", told.date or blank(_("date"))),
        ("Revision", blank(_("revision"))),
        ("By", told.by or blank("who proposes it")),
    )
    street = pack.scheme.street.name
    title = f"{sheet.name}, {street}, 1 to {sheet.paper.scale:,}"
    drawn = sheet.paper.svg(sheet.drawn + sheet.paper.bar_and_north(), title=title)
    source = " ".join(pack.credits) or "Drawn from the group's own map."
    return _sheet(sheet, street, number, drawn, cells, source)
