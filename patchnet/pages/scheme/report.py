"""The scheme report: ten pages in the order in which a council officer reads, and an appendix."""

from dataclasses import dataclass

from patchnet.core.texts import _
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.planting_calendar import CALENDAR_STYLE
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.bill import bill_html, weights_html, years_html
from patchnet.pages.scheme.case import case_html, sure_html
from patchnet.pages.scheme.duties import frontagers_html, permissions_html, risks_html
from patchnet.pages.scheme.existing import existing_html, existing_sheets
from patchnet.pages.scheme.front import NOT_A_PERMISSION, about_html, front_html, summary_html
from patchnet.pages.scheme.gains import gains_html
from patchnet.pages.scheme.grounds_for_figures import sources_html
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.phasing import phasing_html
from patchnet.pages.scheme.places import places_html
from patchnet.pages.scheme.plan_sheets import Sheet, sheet_html
from patchnet.pages.scheme.plans import (
    location_sheet,
    overview_sheet,
    proposal_scale,
    proposal_sheets,
)
from patchnet.pages.scheme.planters import findings_html, setting_out
from patchnet.pages.scheme.schedule import calendars_html, schedule_html
from patchnet.pages.scheme.section import section_html
from patchnet.pages.scheme.upkeep import rota_html, upkeep_html

__all__ = ["scheme_report"]

_NEW = "part new-page"


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report under its heading; without a name it is a drawing."""

    name: str | None
    inside: Markup
    css: str = "part"


def scheme_report(pack: SchemePack) -> str:
    """Return the report as HTML text; it needs no scripts and asks the network for nothing.

    The drawings are printed to scale on sheets of `pack.paper` that lie on their side, the rest
    on A4.

    Raises
    ------
    PatchnetError
        If anything in it would be fetched.
    """
    overview = overview_sheet(pack)
    appended = _appended_sheets(pack, overview)
    style = _("{asset}@page sheet {{ size: {paper_name} landscape; }}\n").format(
        asset=asset("scheme/report.css"), paper_name=pack.paper.name
    )
    drawings = (overview, *appended)
    drawn = [
        Part(None, sheet_html(one, pack, number=number, of=len(drawings)))
        for number, one in enumerate(drawings, 1)
    ]
    return sheet(
        "scheme/report.html",
        title=pack.title,
        style=GARDEN_STYLE + style + CALENDAR_STYLE,
        front=front_html(pack),
        drawings=drawings,
        parts=_parts(pack, drawn[0]),
        appendix=_appendix(pack, drawn[1:]),
        foot=_(NOT_A_PERMISSION),
        credits=" ".join(pack.credits),
    )


def _appended_sheets(pack: SchemePack, overview: Sheet) -> list[Sheet]:
    """Location plan, existing street, proposal in detail: numbered on from the overview.

    Where the overview is as fine, it is not drawn twice.
    """
    existing = existing_sheets(pack, first=3)
    finer = proposal_scale(pack.scheme.street, pack.paper) < overview.paper.scale
    detail = proposal_sheets(pack, first=3 + len(existing)) if finer else []
    return [location_sheet(pack), *existing, *detail]


def _parts(pack: SchemePack, overview: Part) -> list[Part]:
    """What an officer reads, a page each."""
    return [
        Part(_("The planters at a glance"), summary_html(pack), _NEW),
        Part(_("Who lives beside it"), gains_html(pack)),
        overview,
        Part(_("Sections across the footway"), section_html(pack), _NEW),
        Part(_("Before and after"), case_html(pack)),
        Part(_("Planting"), schedule_html(pack), _NEW),
        Part(_("What it costs"), bill_html(pack), _NEW),
        Part(_("Money and hours over the years"), years_html(pack)),
        Part(_("Upkeep"), upkeep_html(pack), _NEW),
        Part(_("Risk sheet"), risks_html(pack), _NEW),
        Part(_("Permissions and consultees"), permissions_html(pack), _NEW),
        Part(_("Places not used"), places_html(pack), _NEW),
    ]


def _appendix(pack: SchemePack, drawn: list[Part]) -> list[Part]:
    """What is looked up."""
    return [
        Part(_("About this report"), about_html(pack)),
        Part(_("Order of building"), phasing_html(pack)),
        Part(_("How sure the figures are"), sure_html(pack)),
        *drawn,
        Part(_("Existing street"), existing_html(pack), _NEW),
        Part(
            _("Setting out"),
            render(
                "scheme/setting_out.html",
                crs=pack.crs_name,
                table=setting_out(pack.scheme.planters, pack),
            ),
        ),
        Part(_("What the street rules say of each planter"), findings_html(pack)),
        Part(_("Weight and water of one box"), weights_html(pack)),
        Part(_("The year in flower, box by box"), calendars_html(pack)),
        Part(_("Watering rota"), rota_html(pack)),
        Part(_("Premises beside each planter"), frontagers_html(pack)),
        Part(_("Sources"), sources_html(pack)),
    ]
