"""patchnet survey: the pack on disk, and nothing of anybody else's overwritten."""

import csv
import re
from pathlib import Path

import pytest

from patchnet.commands import main as command_line

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
NAMES = ["sheets.html", "phone.html", "survey.xlsx", "survey.csv"]


@pytest.fixture(scope="module")
def pack(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pack") / "round-1"
    order = [
        "survey",
        str(DEMO),
        "-o",
        str(folder),
        "--contact",
        "Wickthorn Wildlife, 01632 960123",
    ]
    assert command_line._run(order) == 0
    return folder


def test_the_pack_is_whole(pack):
    assert sorted(path.name for path in pack.iterdir() if path.name[0] != ".") == sorted(NAMES)
    plots = re.findall(r'"id": ?"([^"]+)"', (DEMO / "plots.geojson").read_text(encoding="utf-8"))
    with (pack / "survey.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["plot"] for row in rows} == set(plots)
    sheets = (pack / "sheets.html").read_text(encoding="utf-8")
    numbers = re.findall(r'<text class="number"[^>]*>([^<]+)<', sheets)
    assert sorted(numbers) == sorted(plots)
    assert "Wickthorn Wildlife, 01632 960123" in sheets


def test_says_where_and_what(tmp_path, capsys):
    assert command_line._run(["survey", str(DEMO), "-o", str(tmp_path / "a")]) == 0
    out, err = capsys.readouterr()
    assert [Path(line).name for line in out.splitlines()] == NAMES
    assert "--contact" in err
    assert "--keep-until" in err


def test_again_gives_the_same_bytes(pack, tmp_path):
    order = [
        "survey",
        str(DEMO),
        "-o",
        str(tmp_path),
        "--contact",
        "Wickthorn Wildlife, 01632 960123",
    ]
    assert command_line._run(order) == 0
    for name in NAMES:
        assert (tmp_path / name).read_bytes() == (pack / name).read_bytes()


def test_a_filled_in_sheet_is_left_alone(tmp_path, capsys):
    """Somebody has typed into the CSV: status 3, it is named, and no file is replaced."""
    order = ["survey", str(DEMO), "-o", str(tmp_path)]
    assert command_line._run(order) == 0
    sheet = tmp_path / "survey.csv"
    typed = sheet.read_bytes().replace(b",,,", b",there,,", 1)
    sheet.write_bytes(typed)
    before = (tmp_path / "phone.html").read_bytes()
    capsys.readouterr()
    assert command_line._run([*order, "--title", "Another"]) == 3
    assert "survey.csv" in capsys.readouterr().err
    assert sheet.read_bytes() == typed
    assert (tmp_path / "phone.html").read_bytes() == before


def test_wrong_use_is_told(tmp_path):
    assert command_line._run(["survey", str(DEMO)]) == 2
    assert command_line._run(["survey", str(tmp_path / "none.gpkg"), "-o", str(tmp_path)]) == 3
