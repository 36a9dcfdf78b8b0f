"""Figures followed by hand from what is shown to the work they come from.

Each row: the animal, what `patchnet groups` says of it (to two figures), the address of that
figure, its value, and words of the work that `patchnet source` names for it.
"""

import pytest

from patchnet.knowledge import describe_source
from patchnet.knowledge.load import load_knowledge
from patchnet.pages.terminal.lists import groups_text

KNOW = load_knowledge()

TRACED = [
    ("mason_bee", "at most 150 m in one move", "groups/mason_bee/hop", 150, "Hofmann"),
    ("bumblebee", "at most 280 m in one move", "groups/bumblebee/hop", 275.3, "Osborne"),
    ("frog", "within 160 m", "needs/frog/damp_cover_on_land/reach", 159, "Bodie"),
    ("newt", "within 130 m", "needs/newt/damp_cover_on_land/reach", 125.3, "Semlitsch"),
    ("sparrow", "within 70 m", "needs/sparrow/insects_for_the_young/reach", 70, "Vincent"),
    ("stag_beetle", "at most 100 m in one move", "groups/stag_beetle/hop", 100, "Thomaes"),
    ("tits", "150 m2 native leaf", "needs/tits/caterpillars_for_the_young/amount", 150, "Jarrett"),
    ("robin", "1,100 m2 worm ground", "needs/robin/soil_and_litter_animals/amount", 1100, "RSPB"),
    ("swift", "1 swift holes", "groups/swift/anchor/eaves_hole", 1, "Verkade"),
    ("toad", "within 1,000 m", "needs/toad/a_large_pond_to_breed_in/reach", 1000, "Herts"),
    (
        "summer_cavity_bee", "within 150 m", "needs/summer_cavity_bee/summer_flowers/reach", 150,
        "Hofmann",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("group", "shown", "address", "value", "work"), TRACED)
def test_traced(group, shown, address, value, work):
    blocks = groups_text(KNOW).split("\n\n")
    [block] = [text for text in blocks if text.startswith(f"{group}: ")]
    assert " ".join(shown.split()) in " ".join(block.split())
    figure = KNOW.figures[address]
    assert figure.value == value
    cited = [KNOW.sources[key].citation for key in figure.sources if key in KNOW.sources]
    assert any(work in citation for citation in cited)
    told = describe_source(KNOW, address)
    assert work in told
    assert figure.note in " ".join(told.split()) or figure.note.split(";")[0] in told
