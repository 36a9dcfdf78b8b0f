"""What a scheme costs and asks in hours over the years, who would pay, and its removal."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Knowledge
from patchnet.scheme.loads import load_of, visits_of_a_year, year_litres
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme

__all__ = ["PAYERS", "Payment", "Years", "hours_of_a_year", "years_of"]

Payer = Literal["group", "fee", "either"]
PAYERS: Words[Payer, str] = Words(
    {
        "group": N_("the group"),
        "fee": N_("the group, unless waived"),
        "either": N_("to be settled"),
    }
)
_LITRES = 1000.0


@dataclass(frozen=True, slots=True)
class Payment:
    """A sum that comes due.

    Attributes
    ----------
    item
        What for.
    by_year
        Money in each year, from year 0 (building) on.
    payer
        Who is expected to pay: a proposal to be settled.
    """

    item: str
    by_year: tuple[float, ...]
    payer: Payer

    @property
    def amount(self) -> float:
        """Money over all the years."""
        return round(sum(self.by_year), 2)


@dataclass(frozen=True, slots=True)
class Years:
    """Money and hours of a scheme, year by year.

    Attributes
    ----------
    payments
        Every sum that comes due; building is year 0.
    hours
        Hours of a year, all planters together.
    hour_cost
        What one of them would cost if it were paid.
    removal
        What taking all boxes away costs: set aside from the start.
    """

    payments: tuple[Payment, ...]
    hours: float
    hour_cost: float
    removal: float

    @property
    def count(self) -> int:
        """Years after building."""
        return len(self.payments[0].by_year) - 1

    @property
    def by_year(self) -> tuple[float, ...]:
        """Money of each year from year 0 on."""
        return tuple(
            round(sum(one.by_year[year] for one in self.payments), 2)
            for year in range(self.count + 1)
        )

    @property
    def amount(self) -> float:
        """Money over all the years, the removal sum with it."""
        return round(sum(one.amount for one in self.payments), 2)


def hours_of_a_year(planters: int, knowledge: Knowledge) -> float:
    """Hours that planters ask for in a year: visits, planting, cutting, meetings.

    Parameters
    ----------
    planters
        How many.
    knowledge
        For visits and minutes.
    """
    visits = visits_of_a_year(knowledge) * knowledge.scheme_figure("visit_minutes") / 60
    return planters * (visits + knowledge.scheme_figure("other_hours_year"))


def years_of(scheme: Scheme, bill: float) -> Years:
    """Add up a scheme over the years.

    Parameters
    ----------
    scheme
        With its planters.
    bill
        Sum of its bill, pounds.

    Returns
    -------
    Years
        In pounds and hours.
    """
    know, planters = scheme.after.knowledge, scheme.planters
    figure = know.scheme_figure
    years = round(figure("years_told"))
    count = len(planters)
    sizes = [one.site.size for one in planters]
    plants = _plants_cost(planters, know)
    boxes = sum(size.cost for size in sizes)
    water = year_litres(planters, know, dry=False) / _LITRES * figure("cost_water_m3")
    soil = sum(load_of(size, know).to_buy_litres for size in sizes)
    soil_cost = soil * figure("soil_renewed_share") * know.setting("soil_cost_litre")
    life = round(figure("box_life_years"))

    def yearly(amount: float, first: int = 1) -> tuple[float, ...]:
        return tuple(round(amount, 2) if year >= first else 0.0 for year in range(years + 1))

    def every(amount: float, step: float) -> tuple[float, ...]:
        # In the last year nothing is renewed that would be looked at then anyway.
        return tuple(
            round(amount, 2) if 0 < year < years and year % round(step) == 0 else 0.0
            for year in range(years + 1)
        )

    def once(amount: float) -> tuple[float, ...]:
        return (round(amount, 2), *(0.0,) * years)

    group: Sequence[tuple[str, tuple[float, ...], Payer]] = (
        (_("Building: the bill"), once(bill), "group"),
        (_("Removal, set aside from the start"), once(count * figure("cost_removal")),
         "either"),
        (_("Application for the licence"), once(figure("cost_licence")), "fee"),
        (_("Licence fee"), yearly(count * figure("cost_licence_year")), "fee"),
        (_("Public liability insurance"), yearly(figure("cost_insurance_year")),
         "either"),
        (_("Water"), yearly(water), "group"),
        (_("Plants renewed"), yearly(figure("renew_share_year") * plants, 2), "group"),
        (_("Compost and mulch"), yearly(count * figure("cost_compost_year")), "group"),
        (_("Gloves, cans, tea"), yearly(count * figure("cost_keeper_year")), "group"),
        (_("Repairs to boxes"), yearly(figure("repair_share_year") * boxes), "group"),
        (_("Painting"), every(count * figure("cost_repaint"), figure("repaint_years")), "group"),
        (_("Top third of the soil renewed"), every(soil_cost, figure("soil_renewed_years")),
         "group"),
        (_("New boxes"), every(boxes, life), "either"),
    )  # fmt: skip
    return Years(
        payments=tuple(Payment(*row) for row in group if any(row[1])),
        hours=hours_of_a_year(count, know),
        hour_cost=figure("cost_hour"),
        removal=round(count * figure("cost_removal"), 2),
    )


def _plants_cost(planters: Sequence[PlacedPlanter], knowledge: Knowledge) -> float:
    """Money for the first planting."""
    cost = 0.0
    for one in planters:
        for key, number in ({} if one.planting is None else one.planting.numbers).items():
            price = knowledge.plants[key].price
            cost += number * (0.0 if price is None else float(price.value))
    return cost
