"""Each planter in figures, and what every street rule says of it."""

from collections.abc import Iterable

from patchnet.core.language_forms import number, without_noughts
from patchnet.core.texts import N_, WordList, Words, _
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.pack import SchemePack, rule_words, width_words
from patchnet.scheme.planter_scheme import PlacedPlanter
from patchnet.street import Finding
from patchnet.street.findings import whole_centimetres

__all__ = ["VERDICT_WORDS", "findings_html", "limit_words", "setting_out"]

VERDICT_WORDS = Words(
    {"fits": N_("fits"), "ask": N_("ask"), "measure": N_("measure"), "no": N_("no")}
)
_HEADS: WordList[str] = WordList(
    (
        N_("Planter"),
        N_("Chainage"),
        N_("Side"),
        N_("Easting"),
        N_("Northing"),
        N_("Size (l x w x h)"),
        N_("Kerb offset"),
        N_("Walking width left"),
        N_("Planting"),
        N_("Verdict"),
    )
)

_METRES = "m"


def setting_out(planters: Iterable[PlacedPlanter], pack: SchemePack) -> Markup:
    """The setting-out table: where every planter stands and what is left to walk in."""
    return table(
        _("Setting out"),
        _HEADS,
        [
            (
                one.plot,
                f"{number(one.site.chainage_m, '.1f')} m",
                _(one.site.side),
                number(one.site.centre.x, ".2f"),
                number(one.site.centre.y, ".2f"),
                _size(one),
                _kerb_offset(one, pack),
                width_words(one.site.clear_m, one.site.clear_basis),
                pack.group_of(one).letter,
                VERDICT_WORDS[one.site.verdict],
            )
            for one in planters
        ],
        css="setting-out",
    )


def _kerb_offset(planter: PlacedPlanter, pack: SchemePack) -> str:
    basis = pack.scheme.street.side(planter.site.side).kerb_basis
    return f"{number(planter.site.offset_m, '.2f')} m ({_(basis)})"


def _size(planter: PlacedPlanter) -> str:
    size = planter.site.size
    sides = (size.length_m, size.width_m, size.height_m)
    return " x ".join(number(side, "g") for side in sides) + " m"


def findings_html(pack: SchemePack) -> Markup:
    """What every rule says of every planter: what is open first, then what is kept."""
    blocks = [
        {
            "name": one.plot,
            "side": _(one.site.side),
            "chainage": number(one.site.chainage_m, ".1f"),
            "place": one.site.key,
            "verdict": VERDICT_WORDS[one.site.verdict],
            "table": _findings(_("Rules at {plot}").format(plot=one.plot), one.site.findings),
        }
        for one in pack.scheme.planters
    ]
    together = pack.scheme.narrowings
    return render(
        "scheme/planters.html",
        planters=blocks,
        together=_findings(_("Rules for all planters of a side"), together) if together else "",
    )


def _findings(title: str, findings: Iterable[Finding]) -> Markup:
    """Return a table of findings, what is open first."""
    rows = [
        (
            rule_words(each.rule),
            VERDICT_WORDS[each.verdict],
            each.words,
            limit_words(each),
            _(each.basis),
        )
        for each in sorted(findings, key=lambda each: each.verdict == "fits")
    ]
    heads = _("Rule"), _("Verdict"), _("What was found"), _("Figure and limit"), _("Basis")
    return table(title, heads, rows, css="findings")


def limit_words(finding: Finding) -> str:
    """Figure and limit of a finding, as far as there are any."""
    parts = []
    if finding.figure is not None:
        figure = finding.figure
        if finding.unit == _METRES:
            figure = whole_centimetres(figure)
        parts.append(f"{_plain(figure)} {finding.unit}".rstrip())
    if finding.limit is not None:
        parts.append(
            _("limit {plain} {unit}")
            .format(plain=_plain(finding.limit), unit=finding.unit)
            .rstrip()
        )
    return "; ".join(parts)


def _plain(value: float) -> str:
    return without_noughts(value)
