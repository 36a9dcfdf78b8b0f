"""The risk sheet, and permissions and consultees to fill in."""

from patchnet.core.texts import N_, WordList, _
from patchnet.knowledge.countries import ELSEWHERE, Country
from patchnet.knowledge.scheme import ConsentPart
from patchnet.pages.kit.table import blank
from patchnet.pages.kit.templates import Markup, drawn_by
from patchnet.pages.scheme.pack import SchemePack
from patchnet.scheme.planter_scheme import PlacedPlanter

__all__ = ["frontagers_html", "permissions_html", "risks_html"]

_risks = drawn_by("scheme/duties.html", "risks")
_beside = drawn_by("scheme/duties.html", "beside")
_permissions = drawn_by("scheme/duties.html", "permissions")
_SETTLE = WordList(
    (
        (N_("Whose the boxes are"), N_("Now, and if the group ends")),
        (N_("Money"), N_("Who pays for building, for upkeep, for plants that die")),
        (N_("Insurance"), N_("Policy, holder, until when; renewed by whom")),
        (N_("Removal"), N_("Who lifts the boxes, where the soil goes, what is set aside for it")),
        (N_("Review"), N_("When, by whom, and what would make the boxes stay or go")),
    )
)
_PARTS: WordList[tuple[ConsentPart, str]] = WordList(
    (
        ("permission", N_("Permissions")),
        ("evidence", N_("To bring with the application")),
        ("consultee", N_("To be asked")),
    )
)


def risks_html(pack: SchemePack) -> Markup:
    """What can go wrong, what is done about it, what is left; with room for the street's own."""
    line = blank()
    rows: list[tuple[object, ...]] = [
        (
            risk.hazard,
            risk.who,
            f"{_(risk.likelihood)}, {_(risk.harm)}",
            risk.control,
            risk.left,
            line,
        )
        for risk in pack.knowledge.scheme_risks
    ]
    rows += [(line,) * 6] * 2
    return _risks(rows)


def permissions_html(pack: SchemePack) -> Markup:
    """A log for every permission, paper and consultee, and for every frontager."""
    lines = (blank(),) * 3
    parts = [
        (
            name,
            [
                (one.name, one.about, *lines)
                for one in pack.knowledge.scheme_consents
                if one.part == part and one.holds_in(pack.country.key)
            ],
        )
        for part, name in _PARTS
    ]
    return _permissions(
        parts,
        [(name, about, *lines) for name, about in _SETTLE],
        pack.money(pack.knowledge.scheme_figure("liability_gbp")),
        _whose_law(pack.country),
    )


def frontagers_html(pack: SchemePack) -> Markup:
    """A line for everybody in front of whose premises a planter stands."""
    lines = (blank(),) * 3
    return _beside([(*_frontager(one, pack), *lines) for one in pack.scheme.planters])


def _frontager(planter: PlacedPlanter, pack: SchemePack) -> tuple[object, ...]:
    plots = pack.scheme.before.neighbourhood.plots
    apart = plots.geometry.distance(planter.site.polygon)
    return (planter.plot, apart.idxmin())


def _whose_law(country: Country) -> str:
    """Say whose law the tables name, and whom to ask."""
    if country.law:
        return _("The law named is that of {law}; elsewhere ask the roads authority.").format(
            law=country.law
        )
    where = (
        _(" in {country_name}").format(country_name=country.name)
        if country.key != ELSEWHERE
        else ""
    )
    return _(
        "The law, the duties and the prices in this report are British and serve as a list of "
        "what to ask{where}: {ask}."
    ).format(where=where, ask=country.ask)
