"""The command line, run as people run it: in a folder of their own."""

import pytest

from patchnet.commands import main as command_line


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Run a command in an empty folder: words in; exit status, output and words about it out."""
    monkeypatch.chdir(tmp_path)

    def call(*words):
        status = command_line._run([str(word) for word in words])
        out = capsys.readouterr()
        return status, out.out, out.err

    return call
