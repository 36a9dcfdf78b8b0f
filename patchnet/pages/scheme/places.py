"""Every place that was looked at and not used, with every reason and figure."""

from collections import Counter

from patchnet.core.language_forms import without_noughts
from patchnet.core.texts import N_, Words, _
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.pack import SchemePack, rule_words
from patchnet.street import Finding, Site

__all__ = ["places_html", "reason_words", "reasons_of", "refusals"]

_SHORT = Words({"measured": N_("measured"), "from the map": N_("map"), "assumed": N_("assumed")})


def reasons_of(site: Site) -> tuple[Finding, ...]:
    """The findings of a site that are not simply met, the gravest first."""
    order = ("no", "measure", "ask")
    return tuple(
        sorted(
            (one for one in site.findings if one.verdict != "fits"),
            key=lambda one: order.index(one.verdict),
        )
    )


def reason_words(finding: Finding) -> str:
    """A reason in short: rule, figure, limit, basis."""
    words = rule_words(finding.rule)
    if finding.figure is not None:
        words += f" {without_noughts(finding.figure)} {finding.unit}"
    if finding.limit is not None:
        words += _(" (limit {limit:g} {unit}, {short})").format(
            limit=finding.limit, unit=finding.unit, short=_SHORT[finding.basis]
        )
    else:
        words += f" ({_SHORT[finding.basis]})"
    return f"{words}: {_(finding.verdict)}"


def refusals(sites: tuple[Site, ...]) -> dict[str, int]:
    """How many sites each rule refuses, most first."""
    counts = Counter(
        rule
        for site in sites
        if site.verdict == "no"
        for rule in {one.rule for one in site.findings if one.verdict == "no"}
    )
    return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))


def places_html(pack: SchemePack) -> Markup:
    """Counts by rule, then one line a place."""
    scheme = pack.scheme
    used = {one.site.key for one in scheme.planters}
    left = [site for site in scheme.sites if site.key not in used]
    counts = [(rule_words(rule), number) for rule, number in refusals(scheme.sites).items()]
    rows = [
        (
            site.key,
            _(site.size.name),
            _("open") if site.verdict != "no" else _("no"),
            "; ".join(reason_words(one) for one in reasons_of(site))
            or _("meets every rule tested"),
        )
        for site in left
    ]
    refused = ""
    if counts:
        refused = table(
            _("Refused by rule"), (_("Rule"), _("Places refused")), counts, css="counts"
        )
    return render(
        "scheme/places.html",
        counts=refused,
        table=table(
            _("Places not used"),
            (_("Place"), _("Box tried"), _("Verdict"), _("Reasons")),
            rows,
            css="places",
        ),
    )
