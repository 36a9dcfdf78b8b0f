"""The scheme report: one HTML file in the order in which a council officer reads it."""

from string import Template

from patchnet.core.errors import PatchnetError
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.inline import asset, outside_addresses
from patchnet.pages.kit.planting_calendar import CALENDAR_STYLE
from patchnet.pages.kit.sheet import sheet
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
    body = Template(asset("scheme.html")).substitute(
        foot=NOT_A_PERMISSION,
        front=front_html(pack),
        drawings=_register(sheets),
        summary=summary_html(pack),
        parts="".join(_parts(pack, sheets)),
        credits=text(" ".join(pack.credits)),
    )
    style = f"{asset('scheme.css')}@page sheet {{ size: {pack.paper.name} landscape; }}\n"
    page = sheet(title=pack.title, style=style + CALENDAR_STYLE, body=body)
    left = outside_addresses(page)
    if left:
        raise PatchnetError(f"The report would have to fetch {', '.join(sorted(set(left)))}.")
    return page


def _sheets(pack: SchemePack) -> tuple[Sheet, list[Sheet], list[Sheet]]:
    """Location plan, existing street, proposal: numbered from 1 in that order."""
    existing = existing_sheets(pack, first=2)
    return location_sheet(pack), existing, proposal_sheets(pack, first=2 + len(existing))


def _register(sheets: tuple[Sheet, list[Sheet], list[Sheet]]) -> str:
    """The list of drawings."""
    location, existing, proposed = sheets
    rows = "".join(
        f'<li><a href="#drawing-{number}">{text(sheet.name)}</a>, 1:{sheet.paper.scale:,}</li>'
        for number, sheet in enumerate((location, *existing, *proposed), 1)
    )
    return f'<section class="register"><h2>Drawings</h2><ol>{rows}</ol></section>'


def _parts(pack: SchemePack, sheets: tuple[Sheet, list[Sheet], list[Sheet]]) -> list[str]:
    location, existing, proposed = sheets
    every = (location, *existing, *proposed)
    drawn = [
        sheet_html(sheet, pack, number=number, of=len(every))
        for number, sheet in enumerate(every, 1)
    ]
    return [
        f'<h2 class="said">Plans</h2>{drawn[0]}',
        *drawn[1 : 1 + len(existing)],
        _part("Existing street", existing_html(pack), new=True),
        *drawn[1 + len(existing) :],
        _part(
            "Setting out",
            f"<p>Coordinates of the middle of each box in {text(pack.crs_name)}; chainage along "
            "the middle of the road from its start; kerb offset to the near face; walking width at "
            "the worst point, to the full-grown plants.</p>"
            f"{setting_out(pack.scheme.planters, pack)}"
            "<p>Photographs, to be added: at each planter one each way along the footway, with a "
            "tape across it at the place of the box. No people, no number plates.</p>",
            new=True,
        ),
        _part("Typical section", section_html(pack)),
        _part("What the street rules say of each planter", findings_html(pack)),
        _part("Plant schedule", schedule_html(pack), new=True),
        _part("Bill of quantities", bill_html(pack), new=True),
        _part("Upkeep", upkeep_html(pack), new=True),
        _part("Risk sheet", risks_html(pack), new=True),
        _part("Permissions and consultees", permissions_html(pack), new=True),
        _part("Phasing", phasing_html(pack), new=True),
        _part("The ecological case", case_html(pack), keep=True),
        _part("Places not used", places_html(pack)),
        _part("Sources", sources_html(pack)),
    ]


def _part(name: str, inside: str, *, new: bool = False, keep: bool = False) -> str:
    css = "part new-page" if new else "part keep" if keep else "part"
    return f'<section class="{css}"><h2>{text(name)}</h2>{inside}</section>'
