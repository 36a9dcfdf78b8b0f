"""The scheme report: one HTML file in the order in which a council officer reads it."""

from dataclasses import dataclass

from patchnet.core.texts import _
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.planting_calendar import CALENDAR_STYLE
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.bill import bill_html
from patchnet.pages.scheme.case import case_html
from patchnet.pages.scheme.duties import permissions_html, risks_html
from patchnet.pages.scheme.existing import existing_html, existing_sheets
from patchnet.pages.scheme.front import NOT_A_PERMISSION, front_html, summary_html
from patchnet.pages.scheme.grounds_for_figures import sources_html
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.phasing import phasing_html
from patchnet.pages.scheme.places import places_html
from patchnet.pages.scheme.plan_sheets import Sheet, sheet_html
from patchnet.pages.scheme.plans import location_sheet, proposal_sheets
from patchnet.pages.scheme.planters import findings_html, setting_out
from patchnet.pages.scheme.schedule import schedule_html
from patchnet.pages.scheme.section import section_html
from patchnet.pages.scheme.upkeep import upkeep_html

__all__ = ["scheme_report"]

_NEW = "part new-page"


def scheme_report(pack: SchemePack) -> str:
    """Return the report as HTML text; it needs no scripts and asks the network for nothing.

    The drawings are printed to scale on sheets of `pack.paper` that lie on their side, the rest
    on A4.

    Raises
    ------
    PatchnetError
        If anything in it would be fetched.
    """
    sheets = _sheets(pack)
    location, existing, proposed = sheets
    style = _("{asset}@page sheet {{ size: {paper_name} landscape; }}\n").format(
        asset=asset("scheme/report.css"), paper_name=pack.paper.name
    )
    return sheet(
        "scheme/report.html",
        title=pack.title,
        style=GARDEN_STYLE + style + CALENDAR_STYLE,
        front=front_html(pack),
        drawings=(location, *existing, *proposed),
        summary=summary_html(pack),
        parts=_parts(pack, sheets),
        foot=_(NOT_A_PERMISSION),
        credits=" ".join(pack.credits),
    )


def _sheets(pack: SchemePack) -> tuple[Sheet, list[Sheet], list[Sheet]]:
    """Location plan, existing street, proposal: numbered from 1 in that order."""
    existing = existing_sheets(pack, first=2)
    return location_sheet(pack), existing, proposal_sheets(pack, first=2 + len(existing))


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report under its heading; without a name it is a drawing."""

    name: str | None
    inside: Markup
    css: str = "part"


def _parts(pack: SchemePack, sheets: tuple[Sheet, list[Sheet], list[Sheet]]) -> list[Part]:
    location, existing, proposed = sheets
    every = (location, *existing, *proposed)
    drawn = [
        Part(None, sheet_html(one, pack, number=number, of=len(every)))
        for number, one in enumerate(every, 1)
    ]
    return [
        *drawn[: 1 + len(existing)],
        Part(_("Existing street"), existing_html(pack), _NEW),
        *drawn[1 + len(existing) :],
        Part(
            _("Setting out"),
            render(
                "scheme/setting_out.html",
                crs=pack.crs_name,
                table=setting_out(pack.scheme.planters, pack),
            ),
            _NEW,
        ),
        Part(_("Typical section"), section_html(pack)),
        Part(_("What the street rules say of each planter"), findings_html(pack)),
        Part(_("Plant schedule"), schedule_html(pack), _NEW),
        Part(_("Bill of quantities"), bill_html(pack), _NEW),
        Part(_("Upkeep"), upkeep_html(pack), _NEW),
        Part(_("Risk sheet"), risks_html(pack), _NEW),
        Part(_("Permissions and consultees"), permissions_html(pack), _NEW),
        Part(_("Phasing"), phasing_html(pack), _NEW),
        Part(_("The ecological case"), case_html(pack), "part keep"),
        Part(_("Places not used"), places_html(pack)),
        Part(_("Sources"), sources_html(pack)),
    ]
