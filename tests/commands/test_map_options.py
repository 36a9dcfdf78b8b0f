"""patchnet map: a page to be published, and straight lines for groups that walk."""

import json
import re
from pathlib import Path

import pytest

from patchnet.commands import main as command_line

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture
def drawn(tmp_path, capsys):
    def draw(*words: str) -> tuple[str, dict]:
        path = tmp_path / "street.html"
        street = tmp_path / "street.gpkg"
        if not street.exists():
            assert command_line._run(["merge", str(DEMO), "-o", str(street)]) == 0
        order = ["map", str(street), "--group", "newt", "-o", str(path), "--overwrite", *words]
        assert command_line._run(order) == 0, capsys.readouterr().err
        page = path.read_text(encoding="utf-8")
        found = re.search(r'<script type="application/json" id="payload">(.*?)</script>', page)
        return page, json.loads(found[1])

    return draw


def test_a_page_to_be_published_tells_of_no_gap(drawn):
    page, data = drawn("--public")
    assert "Made for publishing" in page
    assert data["drawn"]["barriers"] == {"shape": [], "kind": [], "gap": []}
    assert data["groups"][0]["ground"] is None


def test_straight_lines_leave_out_the_ground(drawn):
    page, data = drawn("--straight")
    assert "not for publishing" in page
    assert set(data["drawn"]["barriers"]["gap"]) == {"yes", "no", "not_known"}
    assert data["groups"][0]["ground"] is None
