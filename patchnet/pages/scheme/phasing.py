"""In which order to build, what each stage adds, and where more planters stop helping."""

from patchnet.core.language_forms import in_sentence, number
from patchnet.core.texts import _
from patchnet.pages.kit.colours import INK, MADDER, MUTED, RULE, WOAD
from patchnet.pages.kit.doubt_words import times_in_ten
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    over_draws_words,
)
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.terminal.compare_text import signed
from patchnet.scheme.bill import planter_cost
from patchnet.scheme.planter_scheme import SchemeStep

__all__ = ["phasing_html"]

_WIDE, _HIGH = 520, 230
_LITTLE = 0.005  # linked homes: less is not told
_LEFT, _FOOT, _TOP, _RIGHT = 52, 36, 14, 16


def phasing_html(pack: SchemePack) -> Markup:
    """The order of building and the curve of the best scheme for every number."""
    scheme = pack.scheme
    there = len(scheme.curve) >= 2
    know = scheme.after.knowledge
    return render(
        "scheme/phasing.html",
        order=_order(pack),
        curve=_drawn(scheme.curve) if there else "",
        curve_table=_curve(pack) if there else "",
        enough=enough_words(scheme),
        certificate=certificate_words(
            chosen_step(scheme),
            exact=scheme.exact,
            wide=know.scheme_figure("wide_margin"),
            blind=know.scheme_figure("blind_margin"),
        ),
        over_draws=over_draws_words(scheme),
    )


def _order(pack: SchemePack) -> Markup:
    scheme = pack.scheme
    whole = sum(one.when_built for one in scheme.planters)
    drawn = scheme.doubt is not None
    knowledge = scheme.after.knowledge
    # What belongs to no single planter, a watering kit, is bought with the first.
    own = sum(planter_cost(one, knowledge) for one in scheme.planters)
    rows, money, so_far = [], max(pack.total - own, 0.0), 0.0
    for one in scheme.planters:
        money += planter_cost(one, knowledge)
        so_far += one.when_built
        homes = "; ".join(
            f"{in_sentence(knowledge.groups[key].name)} {figure(won)}"
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
                homes or _("none by itself"),
                one.forage,
                pack.money(money),
                *((times_in_ten(one.often),) if one.often is not None else ()),
            )
        )
    return table(
        _("Order of building"),
        (
            _("Order"),
            _("Planter"),
            _("Planting"),
            _("Adds to those before"),
            _("So far"),
            _("Linked homes lost without it"),
            _("Plots short of flowers reached"),
            _("Cost so far"),
            *((_("Best scheme has one here"),) if drawn else ()),
        ),
        rows,
        css="order",
    )


def _share(part: float, whole: float) -> str:
    return f"{number(100 * part / whole, '.0f')} %" if whole > 0 else _("nothing")


def _more(step: SchemeStep) -> str:
    return f"{figure(100 * step.within)} %" if step.value > 0 else _("not known")


def _curve(pack: SchemePack) -> Markup:
    scheme, curve = pack.scheme, pack.scheme.curve
    knowledge = scheme.after.knowledge
    top = curve[-1].value
    now = curve[0].linked
    rows = [
        (
            step.planters,
            _share(step.value, top),
            "; ".join(
                f"{in_sentence(knowledge.groups[key].name)} {signed(homes - now.get(key, 0.0))}"
                for key, homes in step.linked.items()
                if abs(homes - now.get(key, 0.0)) >= _LITTLE
            )
            or _("none"),
            pack.money(step.cost),
            _("nothing") if scheme.exact else _more(step),
        )
        for step in curve
        if step.planters
    ]
    return table(
        _("The best scheme found for every number of planters"),
        (
            _("Planters"),
            _("Won"),
            _("Linked homes won"),
            _("Cost"),
            _("Most that another could win more"),
        ),
        rows,
        css="curve-table",
    )


def _drawn(curve: tuple[SchemeStep, ...]) -> Markup:
    most = max(*(step.bound for step in curve), *(step.value for step in curve), 1e-12)
    across = (_WIDE - _LEFT - _RIGHT) / max(curve[-1].planters, 1)
    up = (_HIGH - _FOOT - _TOP) / most

    def point(planters: float, value: float) -> str:
        return f"{_LEFT + planters * across:.1f} {_HIGH - _FOOT - value * up:.1f}"

    step_of = max(1, round(len(curve) / 12))
    top = curve[-1].value
    return render(
        "scheme/phasing.svg",
        wide=_WIDE,
        high=_HIGH,
        left=_LEFT,
        right=_WIDE - _RIGHT,
        middle=(_LEFT + _WIDE) / 2,
        foot=_HIGH - _FOOT,
        ink=INK,
        rule=RULE,
        muted=MUTED,
        madder=MADDER,
        woad=WOAD,
        levels=[
            (_HIGH - _FOOT - share * top * up, f"{share:.0%}") for share in (0, 0.25, 0.5, 0.75, 1)
        ],
        won=[point(step.planters, step.value) for step in curve],
        most="L".join(point(step.planters, step.bound) for step in curve),
        numbers=[
            (_LEFT + one.planters * across, one.planters)
            for one in curve
            if one.planters % step_of == 0
        ],
    )
