"""What the drawn classes look like to eyes that see colours otherwise: another motif, or 1.3 to 1.

The three matrices, on linear red, green and blue, are those of whole dichromacy in Machado,
Oliveira and Fernandes (2009), A physiologically-based model for simulation of color vision
deficiency, IEEE Trans. Vis. Comput. Graph. 15(6), 1291-1298 (from memory; each row sums to one, so
that grey stays grey).
"""

import itertools

import numpy as np
import pytest

from patchnet.pages.kit import colours
from patchnet.pages.kit.materials import MATERIALS

EYES = {
    "full": np.eye(3),
    "no red": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no green": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "no blue": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
LEAST = 1.3
SCALES = {
    "steps": colours.STEPS,
    "short": colours.SHORT,
    "ample": colours.AMPLE,
    "categories": colours.CATEGORIES,
}


def light(colour, eyes):
    """Relative luminance of a colour as these eyes see it."""
    parts = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    seen = np.clip(EYES[eyes] @ linear, 0, 1)
    return float(seen @ (0.2126, 0.7152, 0.0722))


def ratio(one, other, eyes):
    high, low = sorted((light(one, eyes), light(other, eyes)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("eyes", EYES)
def test_grey_stays_grey(eyes):
    assert EYES[eyes].sum(axis=1) == pytest.approx(1, abs=2e-6)
    assert ratio("#000000", "#ffffff", eyes) == pytest.approx(21, abs=1e-3)


@pytest.mark.parametrize("eyes", EYES)
def test_every_motif_of_the_gardens_can_be_seen(eyes):
    for key, one in MATERIALS.items():
        if one.strokes:
            assert max(ratio(one.base, ink, eyes) for ink, *_ in one.strokes) >= LEAST, key


@pytest.mark.parametrize("eyes", EYES)
def test_two_grounds_differ_in_motif_or_lightness(eyes):
    for (key, one), (other_key, other) in itertools.combinations(MATERIALS.items(), 2):
        motifs = [[path for _, _, path in each.strokes] for each in (one, other)]
        assert motifs[0] != motifs[1] or ratio(one.base, other.base, eyes) >= LEAST, (
            key,
            other_key,
        )


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("scale", SCALES)
def test_two_classes_of_a_scale_differ_in_motif_or_lightness(scale, eyes):
    for one, other in itertools.combinations(SCALES[scale], 2):
        looks = [(each.motif, each.mark, each.dash) for each in (one, other)]
        assert looks[0] != looks[1] or ratio(one.base, other.base, eyes) >= LEAST
    for one in SCALES[scale]:
        if one.motif != "plain":
            assert ratio(one.base, one.ink, eyes) >= LEAST


@pytest.mark.parametrize("eyes", EYES)
def test_do_this_stands_out_from_every_ground(eyes):
    """The numbered disc has a white rim; its colour is darker than all it may lie on."""
    for key, one in MATERIALS.items():
        assert ratio(colours.DO_THIS, one.base, eyes) >= LEAST or key == "water"
    assert ratio(colours.DO_THIS, "#ffffff", eyes) >= 3
