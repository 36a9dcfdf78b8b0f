"""The scheme's plants, bill and years as plain tables, to be added up again in a spreadsheet."""

import math

import pandas as pd

from patchnet.pages.scheme.bill import price_words
from patchnet.pages.scheme.pack import SchemePack
from patchnet.scheme.years import PAYERS

__all__ = ["bill_table", "planting_table", "years_table"]


def planting_table(pack: SchemePack) -> pd.DataFrame:
    """One row a planter and kind: how many, how wide, what its crowns cover.

    Parameters
    ----------
    pack
        What the parts of a report need.
    """
    know = pack.knowledge
    rows = []
    for one in pack.scheme.planters:
        for key, number in pack.group_of(one).numbers.items():
            plant = know.plants[key]
            price = 0.0 if plant.price is None else float(plant.price.value)
            rows.append(
                {
                    "planter": one.plot,
                    "planting": pack.group_of(one).letter,
                    "plant": plant.name,
                    "latin": plant.latin,
                    "layer": plant.layer,
                    "number": number,
                    "kept_width_m": plant.width_m,
                    "crowns_m2": round(number * math.pi / 4 * plant.width_m**2, 4),
                    "flowers": " ".join(map(str, plant.flower_months)),
                    "price": _in_money(price, pack),
                    "currency": pack.country.currency,
                }
            )
    return pd.DataFrame(rows)


def bill_table(pack: SchemePack) -> pd.DataFrame:
    """One row a line of the bill; a share's quantity is the money it is a share of.

    Parameters
    ----------
    pack
        What the parts of a report need.
    """
    return pd.DataFrame(
        [
            {
                "part": line.part,
                "item": line.item,
                "quantity": _in_money(line.quantity, pack)
                if line.share
                else round(line.quantity, 6),
                "unit": line.unit,
                "rate": round(line.rate if line.share else _in_money(line.rate, pack), 6),
                "amount": _in_money(line.amount, pack),
                "currency": pack.country.currency,
                "price": price_words(line),
                "class": line.kind,
                "basis": line.basis,
            }
            for line in pack.bill
        ]
    )


def years_table(pack: SchemePack) -> pd.DataFrame:
    """One row a sum that comes due, a column a year; the hours of a year in the last row.

    Parameters
    ----------
    pack
        What the parts of a report need.
    """
    years = pack.years
    rows = [
        {
            "item": one.item,
            "who_would_pay": PAYERS[one.payer],
            "unit": pack.country.currency,
            **{f"year_{year}": _in_money(money, pack) for year, money in enumerate(one.by_year)},
        }
        for one in years.payments
    ]
    hours = {f"year_{year}": round(years.hours, 1) if year else 0.0
             for year in range(years.count + 1)}  # fmt: skip
    rows.append({"item": "hours", "who_would_pay": "", "unit": "hours", **hours})
    return pd.DataFrame(rows)


def _in_money(pounds: float, pack: SchemePack) -> float:
    return round(pounds * pack.country.per_pound.value + 1e-9, 2)
