"""Places that were looked at and not used, on one page: what stands in the way, how near."""

from collections import Counter
from collections.abc import Sequence

from patchnet.core.language_forms import without_noughts
from patchnet.core.texts import N_, Words, _, counted
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.pack import SchemePack, rule_words
from patchnet.street import Finding, Site
from patchnet.street.closeness import how_far_off, refusing
from patchnet.street.nowhere import closest_words

__all__ = ["places_html", "reason_words", "reasons_of", "refusals", "stretches_of"]

_SHORT = Words({"measured": N_("measured"), "from the map": N_("map"), "assumed": N_("assumed")})
_LINES = 24  # stretches told in the report; the rest stands in scheme.gpkg
_OPEN = 40  # places named that could be used


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


def stretches_of(sites: Sequence[Site]) -> tuple[tuple[Site, ...], ...]:
    """Put refused places together that follow each other on one side and fail by the same rule.

    Parameters
    ----------
    sites
        Every place looked at, in the order of the street.
    """
    found: list[list[Site]] = []
    before: Site | None = None
    for site in sites:
        if site.verdict != "no":
            before = None
            continue
        if before is not None and before.side == site.side and _main(before) == _main(site):
            found[-1].append(site)
        else:
            found.append([site])
        before = site
    return tuple(map(tuple, found))


def _main(site: Site) -> str:
    return refusing(site.findings)[0].rule


def places_html(pack: SchemePack) -> Markup:
    """Counts by rule, then one line a stretch with the box that came closest."""
    scheme = pack.scheme
    used = {one.site.key for one in scheme.planters}
    refused = [one for one in scheme.sites if one.verdict == "no"]
    free = [one for one in scheme.sites if one.verdict != "no" and one.key not in used]
    counts = refusals(scheme.sites)
    stretches = stretches_of(scheme.sites)
    told = sorted(stretches, key=lambda own: min(how_far_off(one.findings) for one in own))[:_LINES]
    rows = [_row(own) for own in stretches if own in told]
    return render(
        "scheme/places.html",
        refused=len(refused),
        closest=closest_words(refused) if refused else "",
        looked=counted(len(scheme.sites), "place"),
        counts="; ".join(f"{rule_words(rule)} {number}" for rule, number in counts.items()),
        free=len(free),
        open=", ".join(one.key for one in free[:_OPEN]),
        more=max(len(free) - _OPEN, 0),
        left_out=len(stretches) - len(told),
        table=table(
            _("Places refused"),
            (
                _("Side"), _("Chainage"), _("Places"), _("What stands in the way"),
                _("The box that came closest"), _("Also"),
            ),
            rows,
            css="places",
        )
        if rows
        else "",
    )  # fmt: skip


def _row(own: tuple[Site, ...]) -> tuple[object, ...]:
    closest = min(own, key=lambda one: (how_far_off(one.findings), one.key))
    reasons = refusing(closest.findings)
    first, last = own[0].chainage_m, own[-1].chainage_m
    others = sorted({rule_words(one.rule) for one in reasons[1:]})
    return (
        _(own[0].side),
        f"{first:.0f} m" if first == last else _("{first:.0f} to {last:.0f} m").format(
            first=first, last=last
        ),
        len(own),
        rule_words(reasons[0].rule),
        _("{box} at {key}: {lack}").format(
            box=_(closest.size.name), key=closest.key, lack=_lack(reasons[0])
        ),
        ", ".join(others),
    )  # fmt: skip


def _lack(one: Finding) -> str:
    if one.figure is None or one.limit is None:
        return _(one.basis)
    return _("{figure:.2f} of {limit:g} {unit} ({basis})").format(
        figure=one.figure, limit=one.limit, unit=one.unit, basis=_SHORT[one.basis]
    )
