"""Twelve months of upkeep, and who waters what."""

import math
from operator import sub

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, Words, _, counted
from patchnet.pages.kit.numbers import MONTHS, figure
from patchnet.pages.kit.table import blank, table
from patchnet.pages.kit.templates import Markup, drawn_by, render
from patchnet.pages.scheme.pack import SchemePack
from patchnet.scheme.loads import (
    Rota,
    litres_a_visit,
    rotas_of,
    visits_by_month,
    week_litres,
    year_litres,
)
from patchnet.scheme.planter_scheme import PlacedPlanter

__all__ = ["rota_html", "upkeep_html"]

_do = drawn_by("scheme/upkeep_month.html", "do")
_WHO: Words[str, str] = Words(
    {"keeper": N_("keeper"), "group": N_("group"), "all": N_("everybody")}
)


def upkeep_html(pack: SchemePack) -> Markup:
    """The year's grid with the water that the planting asks for."""
    know, planters = pack.knowledge, pack.scheme.planters
    missing = [one.plot for one in planters if one.keeper is None]
    dry, usual = (year_litres(planters, know, dry=one) for one in (True, False))
    thrifty = know.scheme_figure("thrifty_share")
    return render(
        "scheme/upkeep.html",
        grid=_grid(pack),
        review=number(know.scheme_figure("review_months"), "g"),
        brings=number(know.setting("visit_litres_m2"), "g"),
        dry=figure(dry / 1000),
        usual=figure(usual / 1000),
        rain=number(max(map(sub, week_litres(know), week_litres(know, dry=False))), "g"),
        thrifty=number(10 * thrifty, ".0f"),
        missing=missing,
        missing_words=counted(len(missing), "planter"),
        hours=figure(pack.years.hours / len(planters)),
    )


def rota_html(pack: SchemePack) -> Markup:
    """Who waters what, with lines for telephone and stand-in."""
    know = pack.knowledge
    return render(
        "scheme/rota.html",
        kept=any(one.keeper is not None for one in pack.scheme.planters),
        rotas=[
            _keeper(rota, pack, know.scheme_figure("water_can_l")) for rota in rotas_of(pack.scheme)
        ],
    )


def _grid(pack: SchemePack) -> Markup:
    know = pack.knowledge
    soil = sum(one.site.size.plan_m2 for one in pack.scheme.planters)
    dry = week_litres(know)
    keeper = _WHO["keeper"]
    rows: list[tuple[object, ...]] = [
        (
            _("Water: visits a week, first season"),
            keeper,
            *(number(one, "g") for one in visits_by_month(know)),
        ),
        (_("Litres a m² in a week without rain"), keeper, *(number(one, "g") for one in dry)),
        (
            _("Litres for all boxes in such a week"),
            keeper,
            *(number(one * soil, ".0f") for one in dry),
        ),
    ]
    rows += [
        (
            task.task,
            _WHO[task.who],
            *(_do() if month in task.months else "" for month in range(1, 13)),
        )
        for task in know.upkeep_tasks
    ]
    return table(_("Upkeep through the year"), (_("Task"), _("Who"), *MONTHS), rows, css="year")


def _keeper(rota: Rota, pack: SchemePack, can: float) -> dict[str, object]:
    name = _("Nobody yet") if rota.name is None else rota.name
    promised = ""
    if rota.promised is not None:
        promised = _("; promised {promised:g} litres a visit").format(promised=rota.promised)
        if rota.litres > rota.promised + 1e-9:
            promised += _(": more is asked than was promised, find help")
    heads = (
        _("Planter"),
        _("Litres a visit"),
        _("Cans"),
        _("Carried"),
        _("Telephone"),
        _("Stand-in"),
    )
    rows = [_row(one, pack, can) for one in rota.planters]
    return {
        "name": name,
        "litres": number(rota.litres, ".0f"),
        "cans": counted(math.ceil(rota.litres / can), "can"),
        "can": number(can, "g"),
        "promised": promised,
        "table": table(_("Planters of {name}").format(name=name), heads, rows, css="rota")
        if rows
        else "",
    }


def _row(planter: PlacedPlanter, pack: SchemePack, can: float) -> tuple[object, ...]:
    litres = litres_a_visit(planter.site.size, pack.knowledge)
    line = blank()
    return (
        planter.plot,
        number(litres, ".0f"),
        math.ceil(litres / can - 1e-9),
        _("not known")
        if planter.carry_m is None
        else _("{carry_m:.0f} m (straight line)").format(carry_m=planter.carry_m),
        line,
        line,
    )
