"""The notice as a picture: what it shows, what is typed stays text, whose file it may replace."""

import io
import zlib

import numpy as np
import pytest
from PIL import Image

from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.pages.kit.colours import DO_THIS, PAPER
from patchnet.pages.sheets import notice_picture
from patchnet.pages.sheets.residents_notice import residents_picture, write_notice

WATER = (61, 140, 196)
CODE = '#panic("run")*bold*_under_ $x$ `raw` <label> @cited \\ "quoted" é ß'


@pytest.fixture(scope="module")
def public(walked, everybody):
    return everybody(walked)


def pixels(picture):
    return np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")).astype(int)


def share(picture, colour):
    rgb = tuple(int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return float((np.abs(pixels(picture) - rgb).max(axis=2) <= 2).mean())


def test_it_is_as_wide_as_messengers_show_and_holds_the_street_and_the_wish(public):
    """The frame of the wish alone: 3 pt of 540 wide, on both sides, at least 60 pt high."""
    made = residents_picture(public, meet="Saturday 10 am, the Green")
    high, wide, _ = pixels(made).shape
    assert wide == notice_picture.WIDE == 1080
    assert 1000 < high < 2200
    assert share(made, DO_THIS) > 2 * 3 * 60 / (540 * high / 2)
    assert 0.4 < share(made, PAPER) < 0.95
    middle = pixels(made)[high // 5 : high // 2]
    assert len(np.unique(middle.reshape(-1, 3), axis=0)) > 200, "no street is drawn"


def test_every_word_of_the_notice_makes_a_difference(public):
    """Whatever is said more or otherwise gives another picture; the same gives the same bytes."""
    plain = residents_picture(public)
    assert residents_picture(public) == plain
    longer = residents_picture(public, meet="Saturday 10 am, the Green")
    assert pixels(longer).shape[0] > pixels(plain).shape[0]
    assert residents_picture(public, title="Elm Road") != plain


def test_what_is_typed_is_never_run(public):
    made = residents_picture(public, title=CODE, meet=CODE)
    assert pixels(made).shape[1] == 1080


def test_it_says_who_made_it_so_that_the_next_may_replace_it(public, tmp_path):
    path = tmp_path / "notice.PNG"
    write_notice(public, path)
    Image.open(path).verify()  # every checksum is right
    assert "patchnet" in Image.open(path).text["Software"]
    write_notice(public, path, meet="Sunday")
    other = tmp_path / "mine.png"
    Image.new("RGB", (8, 8), WATER).save(other)
    before = zlib.crc32(other.read_bytes())
    with pytest.raises(CannotWrite):
        write_notice(public, other)
    assert zlib.crc32(other.read_bytes()) == before


def test_other_eyes_than_the_publics_get_none(walked, tmp_path):
    with pytest.raises(WrongUse):
        residents_picture(walked)
    with pytest.raises(WrongUse):
        write_notice(walked, tmp_path / "notice.png")
    assert list(tmp_path.iterdir()) == []
