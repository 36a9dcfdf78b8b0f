"""The bar that shows how far long work has come: on a terminal, and nowhere else."""

import io
import sys

import pytest

from patchnet.commands.asked import layers_bar, progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("bar", "words"), [(progress_bar, "animals"), (layers_bar, "layers")])
def test_a_bar_on_a_terminal_only(monkeypatch, bar, words):
    for there, said in ((Terminal(), True), (io.StringIO(), False)):
        monkeypatch.setattr(sys, "stderr", there)
        assert list(bar([1, 2, 3])) == [1, 2, 3]
        assert (words in there.getvalue()) == said
