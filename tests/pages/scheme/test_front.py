"""The front of the report: the street drawn with nothing of a household, four figures, what is
asked."""

import dataclasses
import html
import re

import numpy as np
import pytest

from patchnet.pages.public_table import nobodys
from patchnet.pages.public_view import plain_ground
from patchnet.pages.scheme import SchemePack, Told
from patchnet.pages.scheme.front import front_html
from patchnet.pages.scheme.front_figures import figures_of, front_drawing


@pytest.fixture
def pack(demo_scheme):
    return SchemePack(demo_scheme, Told())


def test_four_figures(pack, demo_scheme):
    won, cost, way, rules = figures_of(pack)
    widths = [one.site.clear_m for one in demo_scheme.planters]
    assert way[0] == f"{np.floor(min(widths) * 100 + 0.1) / 100:.2f} m"
    fits = sum(one.site.verdict == "fits" for one in demo_scheme.planters)
    assert rules[0] == f"{fits} of {len(widths)}"
    assert cost[0] == pack.money(pack.total)
    assert won[1]


def planters_with(scheme, **facts):
    first, *rest = scheme.planters
    changed = dataclasses.replace(first, site=dataclasses.replace(first.site, **facts))
    return dataclasses.replace(scheme, planters=(changed, *rest))


def test_a_width_nobody_measured_is_said(demo_scheme):
    pack = SchemePack(planters_with(demo_scheme, clear_m=None), Told())
    assert "still to be measured" in figures_of(pack)[2][1]


def test_islands_that_join_come_before_a_percentage(demo_scheme):
    comparison = demo_scheme.comparison
    first, *rest = comparison.groups
    joined = dataclasses.replace(first, components_before=3, components_after=1, sure=None)
    scheme = dataclasses.replace(
        demo_scheme, comparison=dataclasses.replace(comparison, groups=(joined, *rest))
    )
    assert figures_of(SchemePack(scheme, Told()))[0][0] == "3 \N{RIGHTWARDS ARROW} 1"
    same = [
        dataclasses.replace(one, linked_after=one.linked_before, components_after=1,
                            components_before=1)
        for one in comparison.groups
    ]  # fmt: skip
    scheme = dataclasses.replace(
        demo_scheme, comparison=dataclasses.replace(comparison, groups=tuple(same))
    )
    assert figures_of(SchemePack(scheme, Told()))[0][0] == "0"


def test_what_is_asked_is_listed(demo_scheme):
    pack = SchemePack(planters_with(demo_scheme, verdict="measure"), Told())
    said = html.unescape(str(front_html(pack)))
    asks = re.findall(r"<li>(.*?)</li>", said[said.index('class="asks"') :].split("</ol>")[0])
    assert asks[0].startswith("A licence for ")
    assert any("visit" in one for one in asks)
    assert all(one.endswith(".") for one in asks)


def test_private_plots_are_plain_and_every_planter_is_drawn(pack, demo_scheme, knowledge):
    drawn = str(front_drawing(pack))
    assert drawn.count('class="planter-box"') == len(demo_scheme.planters)
    assert 'class="number"' not in drawn
    hood = demo_scheme.neighbourhood
    private = ~nobodys(hood, knowledge)
    plain = plain_ground(hood, private)
    assert (plain.answers.amount[private] == 0).all()
    assert (plain.plots["label"][private] == "").all()
    assert not set(plain.features["plot"]) & set(hood.plots.index[private])
    assert len(plain.barriers) == 0
    assert np.array_equal(
        plain.answers.amount[~private], hood.answers.amount[~private], equal_nan=True
    )
    assert (hood.plots["label"][private] != "").any()  # what was handed in is as it was
