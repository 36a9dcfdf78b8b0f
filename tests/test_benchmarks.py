"""The command that runs every benchmark: its fit on paper, its list against the folder."""

import importlib.util
import math
import sys
from pathlib import Path

import pytest
import shapely

from patchnet.knowledge.load import load_knowledge

FOLDER = Path(__file__).parent / "benchmarks"


@pytest.fixture(scope="module")
def run():
    with pytest.MonkeyPatch.context() as patched:
        patched.syspath_prepend(FOLDER)
        return made_of_its_file()


def made_of_its_file():
    spec = importlib.util.spec_from_file_location("benchmark_run", FOLDER / "run.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_growth_on_paper(run):
    """3 n^2 exactly: power 2, no error. 1, 4, 8 at 1, 2, 4: logs to base 2 are 0, 2, 3 at 0, 1, 2.

    The slope is 1.5; left over are 1/6, -1/3, 1/6 (times log 2), in sum of squares 1/6; one degree
    is spare and the spread of x is 2: the error is sqrt(1/12).
    """
    power, error = run.growth([10, 20, 40, 80], [300, 1200, 4800, 19200])
    assert (power, error) == (pytest.approx(2), pytest.approx(0, abs=1e-9))
    power, error = run.growth([1, 2, 4], [1, 4, 8])
    assert (power, error) == (pytest.approx(1.5), pytest.approx(math.sqrt(1 / 12)))
    assert run.growth([1, 2], [1, 2])[1] == math.inf


def test_every_benchmark_of_the_folder_is_run(run):
    listed = {script for script, _, _ in run.SCRIPTS.values()} | {run.MAP}
    there = {path.name for path in FOLDER.glob("*_benchmark.py")} | {"sharing_check.py"}
    assert listed == there


def test_the_growth_is_of_the_command_alone(run):
    """Not of the script that runs it, which joins all pairs with geopandas too."""
    printed = ["plots    1,000", f"{run.PROCESSOR}   12.5 s", "geopandas  99.0 s"]
    assert run.seconds_told({"printed": printed, "processor_s": 200.0}, run.PROCESSOR) == 12.5


def test_pairs_in_reach_on_paper(run):
    """Three plots in a row, their middles 100 m apart: each reaches itself, and the next ones.

    Within 150 m that are 3 + 4 pairs, within 250 m 3 + 4 + 2, within less than 100 m 3.
    """
    shapes = [shapely.box(x, 0, x + 10, 10) for x in (0, 100, 200)]
    groups = load_knowledge().groups.values()
    reaches = [need.reach.value for group in groups for need in group.needs]
    expected = sum(3 + 4 * (one >= 100) + 2 * (one >= 200) for one in reaches)
    assert sys.modules["map_benchmark"].pairs_reached(shapes) == pytest.approx(expected / 1e6)


def test_what_a_script_costs_and_prints_is_kept(run, tmp_path, monkeypatch):
    (tmp_path / "one.py").write_text("print('x'); print(sum(range(10**6)))", encoding="utf-8")
    (tmp_path / "bad.py").write_text("raise SystemExit(3)", encoding="utf-8")
    monkeypatch.setattr(run, "HERE", tmp_path)
    found = run.measured("one.py", ())
    assert found["printed"] == ["x", "499999500000"]
    assert found["peak_mb"] > 1
    assert 0 < found["processor_s"] < 60
    with pytest.raises(SystemExit, match=r"bad\.py ended with 3"):
        run.measured("bad.py", ())
    page = run.as_markdown({"python": "3"}, {"one": found}, {})
    assert "499999500000" in page
    assert sys.executable not in page
