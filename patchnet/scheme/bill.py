"""The bill of a scheme: one sum, whether plants are chosen or still allowed for.

`bill_lines` is the only place where prices become money: the report prints it, the search holds a
budget against it (`whole_cost`, `box_cost`), and a planter's share of it is told box by box.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from patchnet.core.language_forms import capital_first
from patchnet.core.texts import N_, Words, _, ngettext
from patchnet.knowledge.records import Figure, Knowledge, SchemePrice
from patchnet.knowledge.street import PlanterSize
from patchnet.scheme.loads import load_of, rotas_of
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme

__all__ = [
    "Quantity",
    "bill_lines",
    "bill_of",
    "box_cost",
    "kits_of",
    "planter_cost",
    "total_of",
    "whole_cost",
]

_LITRES = 1000.0
_LAYERS: Words[str, str] = Words(
    {
        "bulb": N_("Bulbs"),
        "herb": N_("Herbs and perennials"),
        "shrub": N_("Small shrubs and heaths"),
        "climber": N_("Climbers"),
        "tree": N_("Trees"),
        "aquatic": N_("Water plants"),
    }
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One line of the bill.

    Attributes
    ----------
    part
        Key of `patchnet.knowledge.scheme.PRICED`, or ``contingency``.
    item, quantity, unit, rate
        What it is, how much of what, and money for one. Of a `share` the quantity is the money it
        is a share of.
    kind
        Class of the rate in the tables.
    basis
        How the quantity came about.
    share
        Whether it is a share of other lines.
    price
        How well founded the price is; None: nobody said.
    """

    part: str
    item: str
    quantity: float
    unit: str
    rate: float
    kind: str
    basis: str
    share: bool = False
    price: SchemePrice | None = None

    @property
    def amount(self) -> float:
        """Money, whole pence: so that a bill can be added up again as it is printed."""
        return round(self.quantity * self.rate + 1e-9, 2)


def bill_of(scheme: Scheme) -> tuple[Quantity, ...]:
    """Return the bill of quantities: boxes, soil, plants, labels, delivery, kits, contingency.

    Parameters
    ----------
    scheme
        With its planters and what stands in them.
    """
    plants: Counter[str] = Counter()
    for one in scheme.planters:
        if one.planting is not None:
            plants.update(one.planting.numbers)
    return bill_lines(
        [one.site.size for one in scheme.planters],
        scheme.after.knowledge,
        plants=plants,
        kits=kits_of(scheme),
    )


def kits_of(scheme: Scheme) -> int:
    """Return how many watering kits are bought: one a keeper, and one for nobody yet.

    Parameters
    ----------
    scheme
        With its keepers.
    """
    return max(1, sum(bool(one.planters) for one in rotas_of(scheme)))


def whole_cost(sizes: Sequence[PlanterSize], knowledge: Knowledge, *, kits: int = 1) -> float:
    """Return what boxes cost in all before their plants are chosen; the bill is never more.

    Parameters
    ----------
    sizes
        Of every box.
    knowledge
        Prices, in pounds.
    kits
        Watering kits.

    Returns
    -------
    float
        Money, in pounds.
    """
    return total_of(bill_lines(sizes, knowledge, kits=kits)) if sizes else 0.0


def box_cost(size: PlanterSize, knowledge: Knowledge) -> float:
    """Return what one box more adds to `whole_cost`, contingency and all, in pounds.

    Parameters
    ----------
    size
        Of the box.
    knowledge
        Prices.

    Returns
    -------
    float
        Money, in pounds.
    """
    return total_of(bill_lines([size], knowledge, kits=0))


def planter_cost(planter: PlacedPlanter, knowledge: Knowledge) -> float:
    """Return a planter's own part of the bill, with its plants; kits are nobody's own.

    Parameters
    ----------
    planter
        One of a scheme.
    knowledge
        Prices.

    Returns
    -------
    float
        Money, in pounds.
    """
    plants = None if planter.planting is None else planter.planting.numbers
    return total_of(bill_lines([planter.site.size], knowledge, plants=plants, kits=0))


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
    return round(math.fsum(line.amount for line in bill), 2)


def bill_lines(
    sizes: Sequence[PlanterSize],
    knowledge: Knowledge,
    *,
    plants: Mapping[str, int] | None = None,
    kits: int = 1,
) -> tuple[Quantity, ...]:
    """Return the lines of a bill.

    Parameters
    ----------
    sizes
        Of every box.
    knowledge
        Prices, in pounds.
    plants
        Number of each plant, by key; None: not chosen yet, an allowance for a square metre.
    kits
        Watering kits.

    Returns
    -------
    tuple of Quantity
        The contingency last.
    """
    know, figures = knowledge, knowledge.scheme_figures
    plan = sum(size.plan_m2 for size in sizes)
    loads = [load_of(size, know) for size in sizes]
    litres = sum(load.to_buy_litres for load in loads)
    soil = know.settings["soil_cost_litre"]
    depth = {key: figures[f"{key}_m"].value for key in ("drainage", "mulch")}
    lines = [
        *_boxes(sizes, know),
        Quantity(
            "soil",
            _("Soil, peat-free mix"),
            litres / _LITRES,
            "m³",
            soil.value * _LITRES,
            soil.kind,
            _("length x width x depth, {settling:.0%} for settling").format(
                settling=know.scheme_figure("settling_share")
            ),
        ),
        _line(
            "drainage", _("Drainage layer"), plan * depth["drainage"], "m³",
            figures["cost_drainage_m3"],
            _("{cm:g} cm under the soil").format(cm=depth["drainage"] * 100),
        ),
        *_stones(math.fsum(load.more_stones_kg for load in loads), know),
        _line(
            "mulch", _("Mulch"), plan * depth["mulch"], "m³", figures["cost_mulch_m3"],
            _("{cm:g} cm on the soil").format(cm=depth["mulch"] * 100),
        ),
        *(_allowance(plan, know) if plants is None else _plants(plants, know)),
        _line(
            "label", _("Label: number, whom to ring"), len(sizes), "no.",
            figures["cost_label"], _("one a planter"),
        ),
        _line(
            "band", _("Contrast band"), sum(2 * (one.length_m + one.width_m) for one in sizes),
            "m", figures["cost_band_m"],
            _("round each box, {mm:g} mm high").format(
                mm=know.scheme_figure("contrast_band_m") * 1000
            ),
        ),
        _line(
            "delivery", _("Delivery and placing"), len(sizes), "no.", figures["cost_delivery"],
            _("one a planter"),
        ),
    ]  # fmt: skip
    if kits:
        lines.append(
            _line("kit", _("Watering kit"), kits, "no.", figures["cost_kit"],
                  _("one a keeper, one for nobody yet"))
        )  # fmt: skip
    share = figures["contingency_share"]
    lines.append(
        Quantity(
            "contingency",
            _("Contingency"),
            math.fsum(line.amount for line in lines),
            _("of the above"),
            share.value,
            share.kind,
            _("{share:.0%} of the lines above").format(share=share.value),
            share=True,
        )
    )
    return tuple(_priced(line, know) for line in lines)


def _stones(kilograms: float, knowledge: Knowledge) -> list[Quantity]:
    """Stones against wind, beyond the drainage layer and of the same material."""
    if kilograms <= 0:
        return []
    return [
        _line(
            "drainage", _("More stones under it, against wind"),
            kilograms / knowledge.scheme_figure("stones_kg_m3"), "m³",
            knowledge.scheme_figures["cost_drainage_m3"],
            _("{kg:.0f} kg, so that no gust tips a dry box").format(kg=math.ceil(kilograms)),
        )
    ]  # fmt: skip


def _priced(line: Quantity, knowledge: Knowledge) -> Quantity:
    price = knowledge.scheme_prices.get(line.part)
    return Quantity(
        line.part, line.item, line.quantity, line.unit, line.rate, line.kind, line.basis,
        share=line.share, price=price,
    )  # fmt: skip


def _boxes(sizes: Sequence[PlanterSize], knowledge: Knowledge) -> list[Quantity]:
    return [
        Quantity(
            "boxes",
            _("{words}, {length_m:g} x {width_m:g} x {height_m:g} m").format(
                words=capital_first(_(size.name)),
                length_m=size.length_m,
                width_m=size.width_m,
                height_m=size.height_m,
            ),
            sizes.count(size),
            "no.",
            size.cost,
            _box_kind(size, knowledge),
            _("one a planter"),
        )
        for size in dict.fromkeys(sizes)
    ]


def _line(
    part: str, item: str, quantity: float, unit: str, rate: Figure, basis: str
) -> Quantity:  # fmt: skip
    return Quantity(part, item, quantity, unit, rate.value, rate.kind, basis)


def _box_kind(size: PlanterSize, knowledge: Knowledge) -> str:
    figure = knowledge.figures.get(f"planter_sizes/{size.key}/cost")
    return _("as you said") if figure is None else figure.kind


def _allowance(plan_m2: float, knowledge: Knowledge) -> list[Quantity]:
    rate = knowledge.settings["plants_cost_m2"]
    basis = _("allowed for, until the plants are chosen")
    return _with_again([_line("plants", _("Plants"), plan_m2, "m²", rate, basis)], knowledge)


def _plants(plants: Mapping[str, int], knowledge: Knowledge) -> list[Quantity]:
    """Plants by layer and price, and those that will have to be bought again."""
    rows: Counter[tuple[str, float]] = Counter()
    kinds: Counter[tuple[str, float]] = Counter()
    for key, number in plants.items():
        plant = knowledge.plants[key]
        at = plant.layer, 0.0 if plant.price is None else float(plant.price.value)
        rows[at] += number
        kinds[at] += 1
    lines = [
        Quantity(
            "plants",
            _LAYERS[layer],
            rows[layer, price],
            "no.",
            price,
            "assumption",
            ngettext(
                "{n} kind at this price",
                "{n} kinds at this price",
                kinds[layer, price],
            ).format(n=kinds[layer, price]),
        )
        for layer in _LAYERS
        for price in sorted({price for one, price in rows if one == layer})
    ]
    return _with_again(lines, knowledge)


def _with_again(lines: list[Quantity], knowledge: Knowledge) -> list[Quantity]:
    """Plants, and those of them that die and are bought again in the first year."""
    again = knowledge.scheme_figures["replace_share"]
    if not lines:
        return lines
    return [
        *lines,
        Quantity(
            "plants",
            _("Plants bought again, year 1"),
            math.fsum(line.amount for line in lines),
            _("of the plants"),
            again.value,
            again.kind,
            _("{again:.0%} of the plants").format(again=again.value),
            share=True,
        ),
    ]
