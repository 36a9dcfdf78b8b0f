"""Twelve months of upkeep, and who waters what."""

import math

from patchnet.pages.kit.escape import text
from patchnet.pages.kit.numbers import MONTHS, figure
from patchnet.pages.scheme.pack import SchemePack, many
from patchnet.pages.scheme.quantities import (
    Rota,
    litres_a_visit,
    rotas_of,
    visits_by_month,
    year_litres,
)
from patchnet.pages.scheme.tables import Raw, table_html
from patchnet.scheme.planter_scheme import PlacedPlanter

__all__ = ["upkeep_html"]

_WHO = {"keeper": "keeper of the box", "group": "group", "all": "everybody"}


def upkeep_html(pack: SchemePack) -> str:
    """The year's grid, then the watering rota."""
    return _grid(pack) + _rota(pack)


def _grid(pack: SchemePack) -> str:
    know = pack.knowledge
    visits = visits_by_month(know)
    rows: list[tuple[object, ...]] = [
        ("Water: visits a week, first season", "keeper of the box", *(f"{one:g}" for one in visits))
    ]
    rows += [
        (
            task.task,
            _WHO[task.who],
            *(
                Raw('<span aria-hidden="true">\N{BLACK CIRCLE}</span><span class="said">do</span>')
                if month in task.months
                else ""
                for month in range(1, 13)
            ),
        )
        for task in know.upkeep_tasks
    ]
    return (
        table_html("Upkeep through the year", ("Task", "Who", *MONTHS), rows, css="year")
        + "<p>From the second year on plants with deep roots need less; in a heatwave twice a week "
        "is the least. The years after repeat this grid; after "
        f"{know.scheme_figure('review_months'):g} months the pilot is looked at again.</p>"
    )


def _rota(pack: SchemePack) -> str:
    know = pack.knowledge
    can = know.scheme_figure("water_can_l")
    daily = know.scheme_figure("water_l_m2_day")
    parts = ["<h3>Watering rota</h3>"]
    lasts = know.setting("visit_litres_m2") / daily
    parts.append(
        f"<p>A visit brings {know.setting('visit_litres_m2'):g} litres a square metre; in summer "
        f"plants take about {daily:g} litres a square metre a day, so that lasts {figure(lasts)} "
        "days at best. Rain hardly reaches the soil under full-grown leaves. Water of the first "
        f"year: about {figure(year_litres(pack.scheme.planters, know) / 1000)} cubic metres. "
        "Stand-in for holidays and illness: one for each keeper, to be named at the rota "
        "meeting.</p>"
    )
    if any(one.keeper is not None for one in pack.scheme.planters):
        parts.append(
            "<p>Names stand here because these people said so: ask them again before this report "
            "is published, and leave telephone numbers out of any copy that goes on a website.</p>"
        )
    missing = [one.plot for one in pack.scheme.planters if one.keeper is None]
    if missing:
        parts.append(
            f'<p class="notice"><strong>{many(len(missing), "planter")} without a keeper: '
            f"{text(', '.join(missing))}.</strong> Find somebody with a tap near by before these "
            "are built.</p>"
        )
    parts += [_keeper(rota, pack, can) for rota in rotas_of(pack.scheme)]
    return "".join(parts)


def _keeper(rota: Rota, pack: SchemePack, can: float) -> str:
    name = "Nobody yet" if rota.name is None else rota.name
    promised = ""
    if rota.promised is not None:
        promised = f"; promised {rota.promised:g} litres a visit"
        if rota.litres > rota.promised + 1e-9:
            promised += ": more is asked than was promised, find help"
    if not rota.planters:
        return f"<h4>{text(name)}</h4><p>Nothing to water{text(promised)}.</p>"
    return (
        f"<h4>{text(name)}</h4><p>{rota.litres:.0f} litres a visit, "
        f"{many(math.ceil(rota.litres / can), 'can')} of {can:g} litres{text(promised)}.</p>"
        + table_html(
            f"Planters of {name}",
            ("Planter", "Litres a visit", "Cans", "Carried", "Telephone", "Stand-in"),
            [_row(one, pack, can) for one in rota.planters],
            css="rota",
        )
    )


def _row(planter: PlacedPlanter, pack: SchemePack, can: float) -> tuple[object, ...]:
    litres = litres_a_visit(planter.site.size, pack.knowledge)
    line = Raw('<span class="blank"></span>')
    return (
        planter.plot,
        f"{litres:.0f}",
        math.ceil(litres / can - 1e-9),
        "not known" if planter.carry_m is None else f"{planter.carry_m:.0f} m (straight line)",
        line,
        line,
    )
