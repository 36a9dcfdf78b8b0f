"""What it costs: the bill of quantities, and ten years of money and hours."""

import math

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.countries import exact_money
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, drawn_by, render
from patchnet.pages.scheme.pack import SchemePack
from patchnet.scheme.bill import Quantity
from patchnet.scheme.loads import litres_a_visit, load_of
from patchnet.scheme.years import PAYERS, Payment
from patchnet.street.overturning import ballast_kg

__all__ = ["bill_html", "price_words", "weights_html", "years_html"]

# How a share that no price list names is founded, by its class in the tables.
_FOUNDED: Words[str, str] = Words(
    {
        "published": N_("published"),
        "second-hand": N_("second-hand"),
        "derived": N_("worked out"),
        "common-practice": N_("common practice"),
        "memory": N_("from memory"),
        "assumption": N_("assumed"),
    }
)
_total = drawn_by("scheme/bill_total.html", "total")


def price_words(line: Quantity) -> str:
    """Say how well founded a price is: assumed or quoted, when, by whom.

    Parameters
    ----------
    line
        Of the bill.
    """
    if line.share or line.price is None:
        return _FOUNDED.get(line.kind, line.kind)
    if line.price.how == "quoted":
        return _("quoted by {by}, {dated}").format(by=line.price.by, dated=line.price.dated)
    return _("assumed, {dated}").format(dated=line.price.dated)


def bill_html(pack: SchemePack) -> Markup:
    """Every line with quantity, unit, rate, amount, where its price is from, and basis."""
    rows: list[tuple[object, ...]] = [
        (
            line.item,
            _quantity(line, pack),
            line.unit,
            _rate(line, pack),
            exact_money(line.amount, pack.country),
            price_words(line),
            line.basis,
        )
        for line in pack.bill
    ]
    whole = exact_money(pack.total, pack.country)
    rows.append((_total(_("Total")), "", "", "", _total(whole), "", ""))
    budget = pack.scheme.ask.budget
    rate = pack.country.per_pound
    over = 0.0 if budget is None else pack.total - budget
    return render(
        "scheme/bill.html",
        bill=table(
            _("Bill of quantities"),
            (
                _("Item"), _("Quantity"), _("Unit"), _("Rate"), _("Amount"), _("Price"),
                _("Basis"),
            ),
            rows,
            css="bill",
        ),
        over=exact_money(over, pack.country) if over > 0 else "",
        budget="" if budget is None else pack.money(budget),
        left=exact_money(-over, pack.country) if over <= 0 else "",
        quoted=sum(line.price is not None and line.price.how == "quoted" for line in pack.bill),
        stones=number(_stones_kg(pack), ".0f") if _stones_kg(pack) else "",
        rate="" if rate.value == 1 else f"{rate.value:g}",
        currency=pack.country.currency,
        traffic=pack.money(pack.knowledge.scheme_figure("cost_traffic_day")),
    )  # fmt: skip


def _quantity(line: Quantity, pack: SchemePack) -> str:
    if line.share:
        return exact_money(line.quantity, pack.country)
    return number(line.quantity, "g") if line.unit == "no." else number(line.quantity, ".3f")


def _rate(line: Quantity, pack: SchemePack) -> str:
    return f"{line.rate:.0%}" if line.share else exact_money(line.rate, pack.country)


def years_html(pack: SchemePack) -> Markup:
    """Ten years: what comes due when, who would pay, hours with and without pay, removal."""
    years = pack.years
    last = years.count

    def row(
        name: object, by_year: tuple[float, ...], amount: float, who: str
    ) -> tuple[object, ...]:
        usual = by_year[2] if last > 1 else 0.0
        more = {
            year: money - usual
            for year, money in enumerate(by_year)
            if year > 1 and money - usual > 0.005
        }
        extra = "; ".join(
            _("year {year}: {money}").format(year=year, money=pack.money(money))
            for year, money in more.items()
        )
        return (
            name,
            pack.money(by_year[0]) if by_year[0] else "",
            pack.money(by_year[1]) if by_year[1:] and by_year[1] else "",
            pack.money(usual) if usual else "",
            extra,
            pack.money(amount),
            who,
        )

    rows = [row(one.item, one.by_year, one.amount, PAYERS[one.payer]) for one in years.payments]
    whole = row(_total(_("Sum")), years.by_year, years.amount, "")
    rows.append((*whole[:5], _total(whole[5]), ""))
    know = pack.knowledge
    cost = years.hours * years.hour_cost
    planters = len(pack.scheme.planters)
    return render(
        "scheme/years.html",
        years=last,
        table=table(
            _("Money over {years} years").format(years=last),
            (
                _("What for"), _("At the start"), _("Year 1"), _("Each year from 2"),
                _("Then also"), _("In {years} years").format(years=last), _("Who would pay"),
            ),
            rows,
            css="years",
        ),
        hours=figure(years.hours),
        each=figure(years.hours / planters),
        hour=pack.money(years.hour_cost),
        paid=pack.money(cost),
        with_hours=pack.money(years.amount + last * cost),
        without=pack.money(years.amount),
        removal=pack.money(years.removal),
        life=f"{know.scheme_figure('box_life_years'):g}",
        shares=_shares(pack),
    )  # fmt: skip


def _shares(pack: SchemePack) -> str:
    """What each payer would bear over all the years."""
    return "; ".join(
        f"{words}: {pack.money(_borne(pack.years.payments, payer))}"
        for payer, words in PAYERS.items()
        if any(one.payer == payer for one in pack.years.payments)
    )


def _borne(payments: tuple[Payment, ...], payer: str) -> float:
    return sum(one.amount for one in payments if one.payer == payer)


def _stones_kg(pack: SchemePack) -> int:
    """Stones against wind in the bottom of all boxes, kilograms."""
    boxes = (one.site.size for one in pack.scheme.planters)
    return sum(ballast_kg(size, knowledge=pack.knowledge) for size in boxes)


def weights_html(pack: SchemePack) -> Markup:
    """What boxes hold and weigh, for the engineer."""
    know = pack.knowledge
    rows = []
    for size in dict.fromkeys(one.site.size for one in pack.scheme.planters):
        load = load_of(size, know)
        rows.append(
            (
                _(size.name),
                f"{number(load.litres, '.0f')} l",
                f"{number(load.to_buy_litres, '.0f')} l",
                _("{box_kg:.0f} kg").format(box_kg=load.box_kg),
                _("{light_kg:.0f} kg").format(light_kg=load.light_kg),
                _("{loam_kg:.0f} kg").format(loam_kg=load.loam_kg),
                _("{check_kg:.0f} kg").format(check_kg=load.whole_kg),
                f"{number(load.check_kg_m2, ',.0f')} kg/m²",
                f"{number(litres_a_visit(size, know), '.0f')} l",
                _("{stones} kg").format(
                    stones=number(math.ceil(load.drainage_kg + load.more_stones_kg), ".0f")
                ),
            )
        )
    return render(
        "scheme/weights.html",
        weights=table(
            _("Weight and water"),
            (
                _("Box"), _("Soil"), _("To buy"), _("Empty"), _("Wet soil, light mix"),
                _("Wet soil, loam"), _("Whole box, heaviest"), _("On the ground"),
                _("Water a visit"), _("Stones in the bottom"),
            ),
            rows,
            css="weights",
        ),
        densities=", ".join(
            f"{know.scheme_figure(f'soil_{kind}_kg_m3'):,.0f}"
            for kind in ("light", "loam", "check")
        ),
        lift=f"{know.scheme_figure('hand_lift_kg'):g}",
    )  # fmt: skip
