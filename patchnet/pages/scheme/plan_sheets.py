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
        (_("Drawing"), _("{number} of {of}").format(number=number, of=of)),
        (
            _("Scale"),
            _("1:{scale:,} at {paper_name}, printed at full size").format(
                scale=sheet.paper.scale, paper_name=pack.paper.name
            ),
        ),
        (_("Coordinates"), pack.crs_name),
        (_("Status"), _(told.status)),
        (_("Date"), told.date or blank(_("date"))),
        (_("Revision"), blank(_("revision"))),
        (_("By"), told.by or blank(_("who proposes it"))),
    )
    street = pack.scheme.street.name
    title = _("{sheet_name}, {street}, 1 to {scale:,}").format(
        sheet_name=sheet.name, street=street, scale=sheet.paper.scale
    )
    drawn = sheet.paper.svg(sheet.drawn + sheet.paper.bar_and_north(), title=title)
    source = " ".join(pack.credits) or _("Drawn from the group's own map.")
    return _sheet(sheet, street, number, drawn, cells, source)
