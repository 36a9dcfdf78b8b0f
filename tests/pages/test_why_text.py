"""What a terminal says of the figures that an answer turns on: plain words, and where to look."""

import json

import pandas as pd
import pytest

import patchnet
from patchnet.assess.deciding_figures import DecidingFigures, FigureFamily
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.drawn import uncertain_figures
from patchnet.pages.kit.figure_words import figure_value, figure_words
from patchnet.pages.terminal.why_text import why_json, why_text

TABLES = load_knowledge()
BY_KEY = {one.figure.key: one for one in uncertain_figures(TABLES)}


@pytest.fixture(scope="module")
def found():
    """A third by one figure, an eighth by two that go together."""
    cover, hop, d50 = (BY_KEY[f"groups/wren/{key}"] for key in ("anchor/dense_cover", "hop", "d50"))
    families = (
        FigureFamily((cover,), 0.34, (0.34,)),
        FigureFamily((hop, d50), 0.12, (0.1, 0.02)),
    )
    shares = pd.DataFrame({"wren": [0.34, 0.1, 0.02]}, index=["a", "b", "c"])
    answer = patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)
    return DecidingFigures(answer, 400, shares, families, pd.Series({"wren": 0.05}), 0.02)


def test_in_words(found):
    lines = why_text(found, 10).splitlines()
    text = " ".join(" ".join(lines).split())
    assert "What the answer for wren in " in lines[0]
    assert "We worked this out 400 times" in text
    assert (
        "1. about a third Wren: how much of this one home lives in: thick bush to hide in: 300"
        in text
    )
    assert "   patchnet source groups/wren/anchor/dense_cover" in lines
    assert "2. about 1 in 8, 2 figures that go up and down together" in text
    assert "All answers that nobody gave, together: about 1 in 20." in text
    assert "figures that stand out make about half" in text
    assert "With 400 draws no part smaller than about 1 in 50 can be told from chance" in text
    for jargon in ("variance", "regression", "quantile", "percentile", "R2", "sensitivity"):
        assert jargon not in text


def test_only_so_many(found):
    assert "2. " not in why_text(found, 1)


def test_for_programs(found):
    facts = json.loads(why_json(found))
    assert (facts["draws"], facts["unknown_answers"]) == (400, 0.05)
    assert [len(one["figures"]) for one in facts["families"]] == [1, 2]
    assert facts["families"][1]["figures"][1]["key"] == "groups/wren/d50"


def test_every_source_that_is_named_is_there():
    """'patchnet source KEY' answers for every figure that can be drawn."""
    for key in BY_KEY:
        assert patchnet.describe_source(TABLES, key)


def test_every_figure_has_words():
    """No empty name, no key of a table, no brace is left in any of them."""
    for one in BY_KEY.values():
        words = figure_words(one, TABLES)
        assert "{" not in words
        assert not words.startswith(":")
        assert not words.endswith((": ", "of ", "for ", "without "))
        assert "_" not in words, words
        assert figure_value(one)


def test_a_share_is_so_many_in_a_hundred():
    words = figure_value(BY_KEY["uses/bee_hotel/mason_bee"])
    assert words == "4 in 100 (from 0.5 to 10)"
