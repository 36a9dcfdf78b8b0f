"""Quantities, weights and water of a scheme: every line with its rate and where that is from."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from patchnet.core.texts import _
from patchnet.knowledge.records import Figure, Knowledge
from patchnet.knowledge.street import PlanterSize
from patchnet.knowledge.tables import MONTHS
from patchnet.pages.scheme.plants import PlantGroup
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme

__all__ = [
    "Load",
    "Quantity",
    "Rota",
    "bill_of",
    "litres_a_visit",
    "load_of",
    "rotas_of",
    "total_of",
    "visits_by_month",
    "year_litres",
]

_WEEKS = 52 / 12  # in a month
_LITRES = 1000.0


@dataclass(frozen=True, slots=True)
class Quantity:
    """One line of the bill.

    `kind` of the rate is a class of the tables; `basis` says in words how the quantity came
    about; `share` marks lines that are a share of the others.
    """

    item: str
    quantity: float
    unit: str
    rate: float
    kind: str
    basis: str
    share: bool = False

    @property
    def amount(self) -> float:
        """Money."""
        return self.quantity * self.rate


@dataclass(frozen=True, slots=True)
class Load:
    """What one box holds and weighs, kg; `check_kg_m2` is the load to check the ground for."""

    litres: float
    to_buy_litres: float
    light_kg: float
    loam_kg: float
    check_kg: float
    box_kg: float
    check_kg_m2: float


@dataclass(frozen=True, slots=True)
class Rota:
    """Who waters which planters; `name` None: nobody yet. `promised` litres a visit, or None."""

    name: str | None
    planters: tuple[PlacedPlanter, ...]
    litres: float
    promised: float | None


def load_of(size: PlanterSize, knowledge: Knowledge) -> Load:
    """Soil and wet weight of one box: volume x density of wet soil (kg = litres x kg/m3 / 1000)."""
    cubic = size.litres / _LITRES
    light, loam, check = (
        cubic * knowledge.scheme_figure(f"soil_{kind}_kg_m3") for kind in ("light", "loam", "check")
    )
    return Load(
        litres=size.litres,
        to_buy_litres=size.litres * (1 + knowledge.scheme_figure("settling_share")),
        light_kg=light,
        loam_kg=loam,
        check_kg=check,
        box_kg=size.empty_kg,
        check_kg_m2=(check + size.empty_kg) / size.plan_m2,
    )


def litres_a_visit(size: PlanterSize, knowledge: Knowledge) -> float:
    """Water that one box takes at one visit in summer.

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


def year_litres(planters: Iterable[PlacedPlanter], knowledge: Knowledge) -> float:
    """Water of the first year, litres.

    Parameters
    ----------
    planters
        All that are to be watered.
    knowledge
        For visits and litres.
    """
    visits = sum(visits_by_month(knowledge)) * _WEEKS
    return visits * sum(litres_a_visit(one.site.size, knowledge) for one in planters)


def rotas_of(scheme: Scheme) -> tuple[Rota, ...]:
    """Planters by who waters them, those with nobody last."""
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


def bill_of(scheme: Scheme, groups: Sequence[PlantGroup]) -> tuple[Quantity, ...]:
    """The bill of quantities: boxes, soil, plants, labels, delivery, watering, contingency."""
    know = scheme.after.knowledge
    sizes = [one.site.size for one in scheme.planters]
    lines = [
        Quantity(
            _("Box, {words} ({length_m:g} x {width_m:g} x {height_m:g} m)").format(
                words=_(size.name),
                length_m=size.length_m,
                width_m=size.width_m,
                height_m=size.height_m,
            ),
            count,
            "no.",
            size.cost,
            _box_kind(size, know),
            _("one a planter"),
        )
        for size, count in _counted(sizes)
    ]
    plan = sum(size.plan_m2 for size in sizes)
    litres = sum(load_of(size, know).to_buy_litres for size in sizes)
    settling = know.scheme_figure("settling_share")
    round_box = sum(2 * (size.length_m + size.width_m) for size in sizes)
    soil = know.settings["soil_cost_litre"]
    lines.append(
        Quantity(
            _("Soil, peat-free mix"),
            litres / _LITRES,
            "m³",
            soil.value * _LITRES,
            soil.kind,
            _("length x width x depth of soil, and {settling:.0%} for settling").format(
                settling=settling
            ),
        )
    )
    lines += [
        _line(
            _("Drainage layer"),
            plan * know.scheme_figure("drainage_m"),
            "m³",
            know.scheme_figures["cost_drainage_m3"],
            _("{scheme_figure:g} cm under the soil").format(
                scheme_figure=know.scheme_figure("drainage_m") * 100
            ),
        ),
        _line(
            _("Mulch"),
            plan * know.scheme_figure("mulch_m"),
            "m³",
            know.scheme_figures["cost_mulch_m3"],
            _("{scheme_figure:g} cm on the soil").format(
                scheme_figure=know.scheme_figure("mulch_m") * 100
            ),
        ),
        *_plants(groups, know),
        _line(
            _("Label with number, planting and whom to ring"),
            len(sizes),
            "no.",
            know.scheme_figures["cost_label"],
            _("one a planter"),
        ),
        _line(
            _("Contrast band"),
            round_box,
            "m",
            know.scheme_figures["cost_band_m"],
            _("round each box, {scheme_figure:g} mm high").format(
                scheme_figure=know.scheme_figure("contrast_band_m") * 1000
            ),
        ),
        _line(
            _("Delivery and placing"),
            len(sizes),
            "no.",
            know.scheme_figures["cost_delivery"],
            _("one a planter"),
        ),
        _line(
            _("Watering kit"),
            max(1, len([one for one in rotas_of(scheme) if one.planters])),
            "no.",
            know.scheme_figures["cost_kit"],
            _("one a keeper, and one for nobody yet"),
        ),
    ]
    share = know.scheme_figures["contingency_share"]
    lines.append(
        Quantity(
            _("Contingency"),
            sum(line.amount for line in lines),
            _("of the above"),
            share.value,
            share.kind,
            _("{share:.0%} of the lines above").format(share=share.value),
            share=True,
        )
    )
    return tuple(lines)


def total_of(bill: Iterable[Quantity]) -> float:
    """Sum of a bill.

    Parameters
    ----------
    bill
        Its lines.

    Returns
    -------
    float
        Money, in the currency of the bill.
    """
    return sum(line.amount for line in bill)


def _counted(sizes: Sequence[PlanterSize]) -> list[tuple[PlanterSize, int]]:
    return [(size, sizes.count(size)) for size in dict.fromkeys(sizes)]


def _line(item: str, quantity: float, unit: str, rate: Figure, basis: str) -> Quantity:
    return Quantity(item, quantity, unit, rate.value, rate.kind, basis)


def _box_kind(size: PlanterSize, knowledge: Knowledge) -> str:
    figure = knowledge.figures.get(f"planter_sizes/{size.key}/cost")
    return _("as you said") if figure is None else figure.kind


def _plants(groups: Sequence[PlantGroup], knowledge: Knowledge) -> list[Quantity]:
    """Plants by layer, and those that will have to be bought again."""
    counts: dict[str, int] = {}
    for group in groups:
        for key, number in group.numbers.items():
            layer = knowledge.plants[key].layer
            counts[layer] = counts.get(layer, 0) + number * len(group.planters)
    names = {
        "bulb": _("Bulbs"),
        "herb": _("Herbs and perennials"),
        "shrub": _("Small shrubs"),
        "climber": _("Climbers"),
        "tree": _("Trees"),
        "aquatic": _("Water plants"),
    }
    lines = [
        _line(names[layer], counts[layer], "no.", knowledge.scheme_figures[f"cost_plant_{layer}"],
              _("from the plant schedule"))
        for layer in names
        if counts.get(layer)
    ]  # fmt: skip
    again = knowledge.scheme_figures["replace_share"]
    if lines:
        lines.append(
            Quantity(
                _("Plants bought again in the first year"),
                math.fsum(line.amount for line in lines),
                _("of the plants"),
                again.value,
                again.kind,
                _("{again:.0%} of the plants").format(again=again.value),
                share=True,
            )
        )
    return lines
