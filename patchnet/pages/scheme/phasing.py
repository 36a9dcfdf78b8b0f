"""In which order to build, what each stage adds, and where more planters stop helping."""

from patchnet.pages.kit.colours import INK, MADDER, MUTED, RULE, WOAD
from patchnet.pages.kit.escape import text
from patchnet.pages.kit.numbers import figure
from patchnet.pages.scheme.certificate import certificate_words, chosen_step, enough_words
from patchnet.pages.scheme.pack import SchemePack, pounds
from patchnet.pages.scheme.tables import table_html
from patchnet.pages.terminal.compare_text import signed
from patchnet.scheme.planter_scheme import Scheme, SchemeStep

__all__ = ["phasing_html"]

_WIDE, _HIGH = 520, 230
_LITTLE = 0.005  # linked homes: less is not told
_LEFT, _FOOT, _TOP, _RIGHT = 52, 36, 14, 16


def phasing_html(pack: SchemePack) -> str:
    """The order of building and the curve of the best scheme for every number."""
    scheme = pack.scheme
    return _order(scheme) + _curve(scheme)


def _order(scheme: Scheme) -> str:
    whole = sum(one.when_built for one in scheme.planters)
    knowledge = scheme.after.knowledge
    rows, money, so_far = [], 0.0, 0.0
    for one in scheme.planters:
        money += one.cost
        so_far += one.when_built
        homes = "; ".join(
            f"{knowledge.groups[key].name.lower()} {figure(won)}"
            for key, won in one.linked.items()
            if won >= _LITTLE
        )
        rows.append(
            (
                one.number,
                one.plot,
                one.recipe.name,
                _share(one.when_built, whole),
                _share(so_far, whole),
                homes or "none by itself",
                one.forage,
                pounds(money),
            )
        )
    return (
        "<h3>Order of building</h3><p>Each planter is worth having with those above it: stop "
        "after any line. Shares are of what the whole scheme wins, by the measure searched. The "
        "first is the pilot. Plants from pots can be planted all year with water; bulbs from "
        "September to November.</p>"
        + table_html(
            "Order of building",
            (
                "Order", "Planter", "Planting", "Adds to those before", "So far",
                "Linked homes lost without it", "Plots short of flowers reached", "Cost so far",
            ),
            rows,
            css="order",
        )
        + "<p>Removal: every box stands free and can be lifted off in a day; the footway beneath "
        "is as it was.</p>"
    )  # fmt: skip


def _share(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f} %" if whole > 0 else "nothing"


def _more(step: SchemeStep) -> str:
    return f"{figure(100 * step.within)} %" if step.value > 0 else "not known"


def _curve(scheme: Scheme) -> str:
    curve = scheme.curve
    if len(curve) < 2:
        return ""
    knowledge = scheme.after.knowledge
    top = curve[-1].value
    now = curve[0].linked
    rows = [
        (
            step.planters,
            _share(step.value, top),
            "; ".join(
                f"{knowledge.groups[key].name.lower()} {signed(homes - now.get(key, 0.0))}"
                for key, homes in step.linked.items()
                if abs(homes - now.get(key, 0.0)) >= _LITTLE
            )
            or "none",
            pounds(step.cost),
            "nothing" if scheme.exact else _more(step),
        )
        for step in curve
        if step.planters
    ]
    certificate = certificate_words(
        chosen_step(scheme), exact=scheme.exact, wide=knowledge.scheme_figure("wide_margin")
    )
    return (
        f"<h3>How many planters are worth it</h3><p>{text(enough_words(scheme))} "
        f"{text(certificate)}</p>"
        + _drawn(curve)
        + table_html(
            "The best scheme found for every number of planters",
            ("Planters", "Won", "Linked homes won", "Cost", "Most that another could win more"),
            rows,
            css="curve-table",
        )
    )


def _drawn(curve: tuple[SchemeStep, ...]) -> str:
    most = max(*(step.bound for step in curve), *(step.value for step in curve), 1e-12)
    across = (_WIDE - _LEFT - _RIGHT) / max(curve[-1].planters, 1)
    up = (_HIGH - _FOOT - _TOP) / most

    def point(planters: float, value: float) -> str:
        return f"{_LEFT + planters * across:.1f} {_HIGH - _FOOT - value * up:.1f}"

    won = "L".join(point(step.planters, step.value) for step in curve)
    most_line = "L".join(point(step.planters, step.bound) for step in curve)
    dots = "".join(
        '<circle cx="{}" cy="{}" r="3.2" fill="{}"/>'.format(
            *point(step.planters, step.value).split(), WOAD
        )
        for step in curve
    )
    step_of = max(1, round(len(curve) / 12))
    numbers = "".join(
        f'<text x="{_LEFT + one.planters * across:.1f}" y="{_HIGH - _FOOT + 16}" '
        f'text-anchor="middle">{one.planters}</text>'
        for one in curve
        if one.planters % step_of == 0
    )
    top = curve[-1].value
    levels = "".join(
        f'<path d="M{_LEFT} {_HIGH - _FOOT - share * top * up:.1f}H{_WIDE - _RIGHT}" '
        f'stroke="{RULE}" stroke-width="0.5"/><text x="{_LEFT - 6}" '
        f'y="{_HIGH - _FOOT - share * top * up + 4:.1f}" text-anchor="end">{share:.0%}</text>'
        for share in (0, 0.25, 0.5, 0.75, 1)
    )
    return (
        f'<figure class="curve"><svg viewBox="0 0 {_WIDE} {_HIGH}" role="img" '
        'aria-label="What the best scheme wins for every number of planters, and the most that '
        'any could win; the figures stand in the table below" '
        f'font-size="12" fill="{INK}">{levels}'
        f'<path d="M{most_line}" fill="none" stroke="{MADDER}" stroke-width="1.5" '
        f'stroke-dasharray="5 4"/><path d="M{won}" fill="none" stroke="{WOAD}" stroke-width="2"/>'
        f'{dots}{numbers}<text x="{(_LEFT + _WIDE) / 2:.0f}" y="{_HIGH - 4}" text-anchor="middle" '
        f'fill="{MUTED}">planters</text></svg><figcaption>Line with dots: what the best scheme '
        "found wins, as a share of what the largest wins. Broken line: no scheme of that size can "
        "win more.</figcaption></figure>"
    )
