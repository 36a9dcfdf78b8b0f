"""Run tests of a copy of the project again and again, each time in a fresh child of this process.

    python tests/mutation/run_tests.py FOLDER

Takes a line of JSON for each run and answers with one. The libraries are imported once, the
project anew in each child. Compiled functions are kept between runs, but not those that call a
changed one: numba does not notice that.
"""

import importlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from pathlib import Path

LIBRARIES = (
    "geopandas", "hypothesis", "hypothesis.extra.numpy", "networkx", "numba", "numpy", "openpyxl",
    "pandas", "pyogrio", "pyproj", "pytest", "rasterio", "scipy.optimize", "scipy.sparse.csgraph",
    "shapely", "skimage.graph",
)  # fmt: skip
# Hypothesis is imported before pytest looks for plugins; its asserts need no rewriting
ALREADY = ("-W", "ignore::pytest.PytestAssertRewriteWarning")


def kept_kernels(folder, scratch, stale):
    """Where compiled functions are kept: those of stale modules only for this run."""
    kept = folder / "kernels"
    if not stale:
        return kept
    if kept.exists():
        left = shutil.ignore_patterns(*(f"{name}.*" for name in stale))
        shutil.copytree(kept, scratch / "kernels", ignore=left)
    return scratch / "kernels"


def in_child(folder, asked, scratch):
    """Become the process that runs the tests: never comes back."""
    os.setpgrp()
    os.chdir(folder)
    out = os.open(scratch / "said", os.O_WRONLY | os.O_CREAT)
    os.dup2(out, 1)
    os.dup2(out, 2)
    kernels = str(kept_kernels(folder, scratch, asked["stale"]))
    os.environ |= {"NUMBA_CACHE_DIR": kernels, "PYTHONPATH": str(folder), "TMPDIR": str(scratch)}
    sys.modules["numba"].config.CACHE_DIR = kernels
    sys.dont_write_bytecode = True
    sys.path.insert(0, str(folder))
    options = [
        "-x",
        "-q",
        "-p",
        "no:cacheprovider",
        *ALREADY,
        f"--basetemp={scratch / 'temporary'}",
    ]
    if asked["timed"]:
        options.append(f"--junitxml={scratch / 'report'}")
    status = 1
    try:
        status = sys.modules["pytest"].main([*options, *asked["files"]])
    except BaseException:  # noqa: BLE001 - this process must not go on as a copy of the other
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(int(status))


def run(folder, asked):
    scratch = Path(tempfile.mkdtemp(prefix="mutant-"))
    began = time.monotonic()
    child = os.fork()
    if not child:
        in_child(folder, asked, scratch)
    status, late = None, False
    while status is None:
        done, how = os.waitpid(child, os.WNOHANG)
        seconds = time.monotonic() - began
        if done:
            status = os.waitstatus_to_exitcode(how)
        elif asked["timeout"] and seconds > asked["timeout"] and not late:
            late = True
            os.killpg(child, signal.SIGKILL)
        else:
            time.sleep(0.05)
    report, words = scratch / "report", scratch / "said"
    said = words.read_text(encoding="utf-8", errors="replace")[-2000:]
    answer = {
        "passed": status == 0,
        "seconds": seconds,
        "said": "too slow" if late else said,
        "report": report.read_text(encoding="utf-8") if report.exists() else "",
    }
    shutil.rmtree(scratch, ignore_errors=True)
    return answer


def main():
    folder = Path(sys.argv[1]).resolve()
    sys.path = [
        place for place in sys.path if Path(place or ".").resolve() != Path(__file__).parent
    ]
    for name in LIBRARIES:
        importlib.import_module(name)
    for line in sys.stdin:
        print(json.dumps(run(folder, json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
