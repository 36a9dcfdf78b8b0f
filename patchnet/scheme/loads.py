"""What boxes hold, weigh and drink, and who carries the water."""

from collections.abc import Iterable
from dataclasses import dataclass

from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import PlanterSize
from patchnet.knowledge.tables import MONTHS
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme
from patchnet.street.overturning import ballast_kg

__all__ = [
    "Load",
    "Rota",
    "litres_a_visit",
    "load_of",
    "rotas_of",
    "visits_by_month",
    "visits_of_a_year",
    "week_litres",
    "year_litres",
]

_WEEKS = 52 / 12  # in a month
_LITRES = 1000.0


@dataclass(frozen=True, slots=True)
class Load:
    """What one box holds and weighs, kg; `check_kg_m2` is the load to check the ground for.

    `drainage_kg` is the coarse layer under the soil, `more_stones_kg` what must lie there besides
    so that no gust tips the box when its soil has dried out.
    """

    litres: float
    to_buy_litres: float
    light_kg: float
    loam_kg: float
    check_kg: float
    box_kg: float
    drainage_kg: float
    more_stones_kg: float
    whole_kg: float
    check_kg_m2: float


@dataclass(frozen=True, slots=True)
class Rota:
    """Who waters which planters; `name` None: nobody yet. `promised` litres a visit, or None."""

    name: str | None
    planters: tuple[PlacedPlanter, ...]
    litres: float
    promised: float | None


def load_of(size: PlanterSize, knowledge: Knowledge) -> Load:
    """Soil and wet weight of one box: volume x density of wet soil (kg = litres x kg/m3 / 1000).

    The whole box is its heaviest soil, the stones under it and the box itself.

    Parameters
    ----------
    size
        Of the box.
    knowledge
        For the densities.
    """
    cubic = size.litres / _LITRES
    light, loam, check = (
        cubic * knowledge.scheme_figure(f"soil_{kind}_kg_m3") for kind in ("light", "loam", "check")
    )
    layer = size.plan_m2 * knowledge.scheme_figure("drainage_m")
    drainage = layer * knowledge.scheme_figure("stones_kg_m3")
    more = max(0.0, ballast_kg(size, knowledge=knowledge) - drainage)
    whole = check + size.empty_kg + drainage + more
    return Load(
        litres=size.litres,
        to_buy_litres=size.litres * (1 + knowledge.scheme_figure("settling_share")),
        light_kg=light,
        loam_kg=loam,
        check_kg=check,
        box_kg=size.empty_kg,
        drainage_kg=drainage,
        more_stones_kg=more,
        whole_kg=whole,
        check_kg_m2=whole / size.plan_m2,
    )


def litres_a_visit(size: PlanterSize, knowledge: Knowledge) -> float:
    """Water that one box takes at one visit in the driest weeks.

    Parameters
    ----------
    size
        Of the box.
    knowledge
        For litres a square metre.

    Returns
    -------
    float
        Litres.
    """
    return size.plan_m2 * knowledge.setting("visit_litres_m2")


def visits_by_month(knowledge: Knowledge) -> tuple[float, ...]:
    """Visits a week in each of the twelve months.

    Parameters
    ----------
    knowledge
        For the visits.

    Returns
    -------
    tuple
        12 numbers of visits a week, January first.
    """
    return tuple(knowledge.scheme_figure(f"visits_{month}") for month in MONTHS)


def visits_of_a_year(knowledge: Knowledge) -> float:
    """Visits to one box in a year, watering and all.

    Parameters
    ----------
    knowledge
        For the visits.

    Returns
    -------
    float
        A number of visits, without a unit of its own.
    """
    return sum(visits_by_month(knowledge)) * _WEEKS


def week_litres(knowledge: Knowledge, *, dry: bool = True) -> tuple[float, ...]:
    """Water of a week by month, in a dry week or a usual one.

    Parameters
    ----------
    knowledge
        For the litres.
    dry
        Without rain; else with the rain of a usual week.

    Returns
    -------
    tuple
        12 figures in litres a week for a square metre of soil, January first.
    """
    figures = (knowledge.scheme_figures[f"dry_week_{month}"] for month in MONTHS)
    return tuple(one.value if dry else one.low for one in figures)


def year_litres(
    planters: Iterable[PlacedPlanter], knowledge: Knowledge, *, dry: bool = True
) -> float:
    """Water of a year, litres: a year of dry weeks, or of usual ones.

    Parameters
    ----------
    planters
        All that are to be watered.
    knowledge
        For litres a week.
    dry
        Without rain; else with the rain of usual weeks.
    """
    soil = sum(one.site.size.plan_m2 for one in planters)
    return soil * _WEEKS * sum(week_litres(knowledge, dry=dry))


def rotas_of(scheme: Scheme) -> tuple[Rota, ...]:
    """Planters by who waters them, those with nobody last.

    Parameters
    ----------
    scheme
        With its keepers.
    """
    knowledge = scheme.after.knowledge
    promised = {keeper.name: keeper.litres for keeper in scheme.ask.keepers}
    names = [*promised, *(one.keeper for one in scheme.planters if one.keeper is not None)]
    rotas = []
    for name in (*dict.fromkeys(names), None):
        own = tuple(one for one in scheme.planters if one.keeper == name)
        litres = sum(litres_a_visit(one.site.size, knowledge) for one in own)
        if own or name is not None:
            rotas.append(Rota(name, own, litres, None if name is None else promised.get(name)))
    return tuple(rotas)
