"""The risk sheet, and permissions and consultees to fill in."""

from patchnet.knowledge.scheme import ConsentPart
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.tables import Raw, table_html
from patchnet.scheme.planter_scheme import PlacedPlanter

__all__ = ["permissions_html", "risks_html"]

_LINE = Raw('<span class="blank"></span>')
_SETTLE = (
    ("Whose the boxes are", "Now, and if the group ends"),
    ("Money", "Who pays for building, for upkeep, for plants that die"),
    ("Insurance", "Policy, holder, until when; renewed by whom"),
    ("Removal", "Who lifts the boxes, where the soil goes, what is set aside for it"),
    ("Review", "When, by whom, and what would make the boxes stay or go"),
)
_PARTS: tuple[tuple[ConsentPart, str], ...] = (
    ("permission", "Permissions"),
    ("evidence", "To bring with the application"),
    ("consultee", "To be asked"),
)


def risks_html(pack: SchemePack) -> str:
    """What can go wrong, what is done about it, what is left; with room for the street's own."""
    rows: list[tuple[object, ...]] = [
        (risk.hazard, risk.who, f"{risk.likelihood}, {risk.harm}", risk.control, risk.left, _LINE)
        for risk in pack.knowledge.scheme_risks
    ]
    rows += [(Raw(_LINE), _LINE, _LINE, _LINE, _LINE, _LINE)] * 3
    return (
        "<p>A draft to be gone through in the street by the people responsible, not a finished "
        "assessment. Likelihood and harm are before anything is done, and are our own reading.</p>"
        + table_html(
            "Risk sheet",
            (
                "What can happen",
                "To whom",
                "How likely, how bad",
                "What is done",
                "Left",
                "By, date",
            ),
            rows,
            css="risks",
        )
        + "<h3>Placing the boxes</h3><p>Empty boxes are set down by machine by a firm that may "
        "work in the street; soil is filled in small bags; the footway stays passable or "
        "is guarded as the authority asks; widths are measured with a tape before the "
        "vehicle leaves and written down. Nothing is dug, pinned or bolted.</p>"
    )


def permissions_html(pack: SchemePack) -> str:
    """A log for every permission, paper and consultee, and for every frontager."""
    parts = []
    for part, name in _PARTS:
        rows = [
            (one.name, one.about, _LINE, _LINE, _LINE)
            for one in pack.knowledge.scheme_consents
            if one.part == part
        ]
        parts.append(
            f"<h3>{name}</h3>"
            + table_html(
                name, ("What or who", "About", "Asked on", "Answer", "Date"), rows, css="log"
            )
        )
    parts.append(
        "<h3>To be settled</h3>"
        + table_html(
            "To be settled",
            ("What", "About", "Settled how", "By whom", "Date"),
            [(name, about, _LINE, _LINE, _LINE) for name, about in _SETTLE],
            css="log",
        )
    )
    cover = pack.knowledge.scheme_figure("liability_gbp")
    parts.append(
        f"<p>Cover that one county asks for: £{cover:,.0f}. Ask yours. The law named is that of "
        "England and Wales; elsewhere ask the roads authority.</p>"
    )
    beside = [_frontager(one, pack) for one in pack.scheme.planters]
    parts.append(
        '<section class="keep"><h3>Premises beside each planter</h3>'
        + table_html(
            "Premises beside each planter",
            ("Planter", "Nearest plot on the map", "Owner or occupier", "Consent", "Date"),
            beside,
            css="log beside",
        )
        + "</section>"
    )
    return "".join(parts)


def _frontager(planter: PlacedPlanter, pack: SchemePack) -> tuple[object, ...]:
    plots = pack.scheme.before.neighbourhood.plots
    apart = plots.geometry.distance(planter.site.polygon)
    return (planter.plot, apart.idxmin(), _LINE, _LINE, _LINE)
