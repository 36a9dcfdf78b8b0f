"""The report of a scheme in another country than the one whose law and prices the tables have."""

import dataclasses

import pytest

from patchnet.pages.scheme.bill import bill_html
from patchnet.pages.scheme.duties import permissions_html
from patchnet.pages.scheme.front import front_html, summary_html
from patchnet.pages.scheme.pack import SchemePack, Told
from patchnet.pages.scheme.phasing import phasing_html


def said(scheme, country):
    hood = dataclasses.replace(scheme.neighbourhood, country=country)
    laid = dataclasses.replace(scheme, neighbourhood=hood)
    pack = SchemePack(laid, Told())
    parts = (front_html, summary_html, bill_html, permissions_html, phasing_html)
    return "".join(part(pack) for part in parts)


@pytest.mark.parametrize(
    ("country", "money", "ask"),
    [("fi", "\N{EURO SIGN}", "kysy kunnalta"), ("li", "CHF ", "frag die Gemeinde"),
     ("elsewhere", "GBP ", "ask your council")],
)  # fmt: skip
def test_money_and_whom_to_ask(demo_scheme, country, money, ask):
    report = said(demo_scheme, country)
    assert "\N{POUND SIGN}" not in report
    assert money in report
    assert ask in report
    assert "The law named is that of England and Wales" not in report


def test_in_britain_pounds_and_its_law(demo_scheme):
    report = said(demo_scheme, "gb")
    assert "\N{POUND SIGN}" in report
    assert "The law named is that of England and Wales" in report
