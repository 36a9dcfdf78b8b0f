"""The bill of quantities, and what the boxes hold and weigh."""

from patchnet.core.language_forms import number
from patchnet.core.texts import _
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, drawn_by, render
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.quantities import Quantity, litres_a_visit, load_of

__all__ = ["bill_html"]

_total = drawn_by("scheme/bill_total.html", "total")


def bill_html(pack: SchemePack) -> Markup:
    """Every line with quantity, unit, rate, amount and basis; then weights."""
    rows: list[tuple[object, ...]] = [
        (
            line.item,
            _quantity(line, pack),
            line.unit,
            _rate(line, pack),
            pack.money(line.amount),
            _("{basis}; rate: {replace}").format(
                basis=line.basis, replace=line.kind.replace("-", " ")
            ),
        )
        for line in pack.bill
    ]
    rows.append((_total(_("Total")), "", "", "", _total(pack.money(pack.total)), ""))
    budget = pack.scheme.ask.budget
    searched = sum(one.cost for one in pack.scheme.planters)
    over = budget is not None and pack.total > budget
    return render(
        "scheme/bill.html",
        bill=table(
            _("Bill of quantities"),
            (_("Item"), _("Quantity"), _("Unit"), _("Rate"), _("Amount"), _("Basis")),
            rows,
            css="bill",
        ),
        over=pack.money(pack.total - (budget or 0)) if over else "",
        searched=pack.money(searched),
        budget="" if budget is None else pack.money(budget),
        weights=_weights(pack),
        densities=", ".join(
            number(pack.knowledge.scheme_figure(f"soil_{kind}_kg_m3"), ",.0f")
            for kind in ("light", "loam", "check")
        ),
        lift=number(pack.knowledge.scheme_figure("hand_lift_kg"), "g"),
    )


def _quantity(line: Quantity, pack: SchemePack) -> str:
    if line.share:
        return pack.money(line.quantity)
    return number(line.quantity, "g") if line.unit == "no." else number(line.quantity, ".2f")


def _rate(line: Quantity, pack: SchemePack) -> str:
    return f"{line.rate:.0%}" if line.share else pack.money(line.rate)


def _weights(pack: SchemePack) -> Markup:
    know = pack.knowledge
    sizes = dict.fromkeys(one.site.size for one in pack.scheme.planters)
    rows = []
    for size in sizes:
        load = load_of(size, know)
        rows.append(
            (
                _(size.name),
                f"{number(load.litres, '.0f')} l",
                f"{number(load.to_buy_litres, '.0f')} l",
                _("{box_kg:.0f} kg").format(box_kg=load.box_kg),
                _("{light_kg:.0f} kg").format(light_kg=load.light_kg),
                _("{loam_kg:.0f} kg").format(loam_kg=load.loam_kg),
                _("{check_kg:.0f} kg").format(check_kg=load.check_kg + load.box_kg),
                f"{number(load.check_kg_m2, ',.0f')} kg/m²",
                f"{number(litres_a_visit(size, know), '.0f')} l",
            )
        )
    return table(
        _("Weight and water"),
        (
            _("Box"),
            _("Soil"),
            _("To buy"),
            _("Empty"),
            _("Wet soil, light mix"),
            _("Wet soil, loam"),
            _("Whole box, heaviest"),
            _("On the ground"),
            _("Water a visit"),
        ),
        rows,
        css="weights",
    )
