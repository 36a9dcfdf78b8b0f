"""Contrast of the palette, by the formula of WCAG 2.2 written out again here.

https://www.w3.org/TR/WCAG22/#dfn-relative-luminance and #dfn-contrast-ratio.
"""

import itertools
from typing import get_args

import pytest

from patchnet.knowledge.plots import BarrierLine
from patchnet.pages.kit import colours

TINTS = [
    *colours.STEPS,
    *colours.SHORT,
    *colours.AMPLE,
    colours.ABSENT,
    colours.UNKNOWN,
    *colours.CATEGORIES,
    *colours.COVER,
]


def ratio(one: str, other: str) -> float:
    def luminance(colour: str) -> float:
        def linear(part: float) -> float:
            return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4

        r, g, b = (linear(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    high, low = max(luminance(one), luminance(other)), min(luminance(one), luminance(other))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_on_known_pairs():
    """Black on white is 21 by definition; #767676 on white is the well known 4.54."""
    assert colours.contrast("#000000", "#ffffff") == pytest.approx(21)
    assert colours.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("ground", [colours.PAPER, colours.PANEL])
@pytest.mark.parametrize("ink", [colours.INK, colours.MUTED, colours.MADDER, colours.WOAD], ids=str)
def test_words_are_readable(ground, ink):
    assert ratio(ground, ink) >= 4.5


def test_words_on_madder_and_woad_are_readable():
    assert ratio("#ffffff", colours.MADDER) >= 4.5
    assert ratio(colours.PANEL, colours.WOAD) >= 4.5
    assert ratio(colours.INK, colours.SHORT[0].base) >= 4.5


@pytest.mark.parametrize("tint", TINTS, ids=lambda tint: tint.base)
def test_motifs_signs_and_names_stand_out(tint):
    """Graphics 3, text 4.5; names are written in ink, or in paper on the darkest tints."""
    assert ratio(tint.base, tint.ink) >= (4.5 if tint.mark or tint.motif == "plain" else 3)
    name = colours.PAPER if tint.ink == colours.PAPER else colours.INK
    assert ratio(tint.base, name) >= 4.5


def test_lines_stand_out_from_the_paper_and_the_unknown_from_everything():
    for colour, _, _ in colours.LINES.values():
        assert ratio(colour, colours.PAPER) >= 3
    assert ratio(colours.FOCUS, colours.PAPER) >= 3
    assert ratio(colours.PINCH, colours.PAPER) >= 3
    for colour in colours.LINKS.values():
        assert ratio(colour, colours.PAPER) >= 3


def test_no_two_tints_of_one_scale_rest_on_colour_alone():
    """Any two differ in motif, sign or dash, or by 3 to 1 in lightness."""
    for scale in (colours.STEPS, colours.SHORT, colours.AMPLE):
        for one, other in itertools.combinations(scale, 2):
            looks = (one.motif, one.mark, one.dash) != (other.motif, other.mark, other.dash)
            assert looks or ratio(one.base, other.base) >= 3
    motifs = [tint.motif for tint in colours.CATEGORIES]
    assert len(set(motifs)) == len(motifs)


def test_the_steps_grow_darker():
    assert [colours.luminance(tint.base) for tint in colours.STEPS] == sorted(
        (colours.luminance(tint.base) for tint in colours.STEPS), reverse=True
    )
    assert [colours.luminance(tint.base) for tint in colours.COVER] == sorted(
        (colours.luminance(tint.base) for tint in colours.COVER), reverse=True
    )
    assert {tint.motif for tint in TINTS} <= set(colours.MOTIFS)


def test_kinds_of_barriers_differ_in_dash_or_width():
    drawn = [colours.LINES[kind][1:] for kind in get_args(BarrierLine)]
    assert len(set(drawn)) == len(drawn)
