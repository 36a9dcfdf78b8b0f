"""The bill of quantities, and what the boxes hold and weigh."""

from patchnet.pages.scheme.pack import SchemePack, pounds
from patchnet.pages.scheme.quantities import Quantity, litres_a_visit, load_of
from patchnet.pages.scheme.tables import Raw, table_html

__all__ = ["bill_html"]


def bill_html(pack: SchemePack) -> str:
    """Every line with quantity, unit, rate, amount and basis; then weights."""
    rows: list[tuple[object, ...]] = [
        (
            line.item,
            _quantity(line),
            line.unit,
            _rate(line),
            pounds(line.amount),
            f"{line.basis}; rate: {line.kind.replace('-', ' ')}",
        )
        for line in pack.bill
    ]
    rows.append((Raw("<b>Total</b>"), "", "", "", Raw(f"<b>{pounds(pack.total)}</b>"), ""))
    budget = pack.scheme.ask.budget
    searched = sum(one.cost for one in pack.scheme.planters)
    words = (
        f"<p>The places were chosen with a plain estimate of box, soil and plants: "
        f"{pounds(searched)} in all"
        + (f", within a budget of {pounds(budget)}" if budget is not None else "")
        + ". This bill counts what was then planned, and adds what else is needed. Not in it: "
        "fees, insurance, signs while working, volunteers' time.</p>"
    )
    over = ""
    if budget is not None and pack.total > budget:
        over = (
            f'<p class="notice">The bill is {pounds(pack.total - budget)} more than the budget: '
            "build the last planters later, or find offers below the assumed rates.</p>"
        )
    return (
        table_html(
            "Bill of quantities",
            ("Item", "Quantity", "Unit", "Rate", "Amount", "Basis"),
            rows,
            css="bill",
        )
        + over
        + words
        + _weights(pack)
    )


def _quantity(line: Quantity) -> str:
    if line.share:
        return pounds(line.quantity)
    return f"{line.quantity:g}" if line.unit == "no." else f"{line.quantity:.2f}"


def _rate(line: Quantity) -> str:
    return f"{line.rate:.0%}" if line.share else pounds(line.rate)


def _weights(pack: SchemePack) -> str:
    know = pack.knowledge
    sizes = dict.fromkeys(one.site.size for one in pack.scheme.planters)
    rows = []
    for size in sizes:
        load = load_of(size, know)
        rows.append(
            (
                size.name,
                f"{load.litres:.0f} l",
                f"{load.to_buy_litres:.0f} l",
                f"{load.box_kg:.0f} kg",
                f"{load.light_kg:.0f} kg",
                f"{load.loam_kg:.0f} kg",
                f"{load.check_kg + load.box_kg:.0f} kg",
                f"{load.check_kg_m2:,.0f} kg/m²",
                f"{litres_a_visit(size, know):.0f} l",
            )
        )
    densities = ", ".join(
        f"{know.scheme_figure(f'soil_{kind}_kg_m3'):,.0f}" for kind in ("light", "loam", "check")
    )
    return (
        "<h3>Weight and water of one box</h3>"
        + table_html(
            "Weight and water",
            (
                "Box", "Soil", "To buy", "Empty", "Wet soil, light mix", "Wet soil, loam",
                "Whole box, heaviest", "On the ground", "Water a visit",
            ),
            rows,
            css="weights",
        )
        + f"<p>Wet soil reckoned at {densities} kg a cubic metre; soil to the full outside size "
        "of the box, so that no weight is understated. Over cellars, vaults and ducts ask a "
        f"structural engineer. Above {know.scheme_figure('hand_lift_kg'):g} kg nobody lifts alone: "
        "boxes are placed empty and by machine.</p>"
    )  # fmt: skip
