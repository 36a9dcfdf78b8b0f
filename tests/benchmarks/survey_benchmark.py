"""A survey's pack made, and its phone page on a slow phone: from a tap to the picture after it.

Run: python tests/benchmarks/survey_benchmark.py [--plots N] [--slower TIMES] [--pack N]

The pack (sheets, spreadsheet, phone page) is made of terraces of 1,900 plots with houses, fences
and roads (see map_benchmark), as a process of its own, in seconds of the processor. The peer in the
same run is the least that somebody would write by hand for it: read the plots with geopandas, write
a row a plot with openpyxl, and the outlines of each street as one SVG.

The page is opened from disk, without network, in a real browser at 360 x 740 with touch and the
processor slowed down (4 times unless told otherwise). Each tap is timed by the browser itself,
from the touch to the next frame that is painted (Event Timing API, in steps of 8 ms), and beside
it the page's own part: how long its code held the tap up. On a busy machine the whole holds the
wait for the processor too; the page's own part does not. As a general-purpose peer in the same
run: a bare page with one button that changes its own text.
"""

import argparse
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import openpyxl
import pyogrio
import shapely
from map_benchmark import write_terraces
from playwright.sync_api import Page, sync_playwright

from patchnet.knowledge import load_knowledge
from patchnet.pages.survey import SurveyRound, survey_phone_page
from patchnet.read import read_neighbourhood

WATCH = """() => {
  window.taps = [];
  const watch = new PerformanceObserver((list) => {
    for (const one of list.getEntries()) if (one.name === "click" || one.name === "pointerup") {
      window.taps.push([one.duration, one.processingEnd - one.processingStart]);
    }
  });
  watch.observe({ type: "event", durationThreshold: 16, buffered: false });
}"""
PEER = (
    "<!DOCTYPE html><button id=go style='width:200px;height:100px' "
    "onclick=\"this.textContent='tapped '+Math.random()\">tap</button>"
)


def street(plots: int) -> gpd.GeoDataFrame:
    """Terraces of 6 x 20 m on both sides of roads."""
    a_row = 50
    shapes, names = [], []
    for at in range(plots):
        row, place = divmod(at, a_row)
        south = 300_000 + row * 20 + (row // 2) * 12
        shapes.append(shapely.box(400_000 + place * 6, south, 400_006 + place * 6, south + 20))
        names.append(f"Street {row // 2 + 1}")
    return gpd.GeoDataFrame(
        {"id": [f"{at + 1}" for at in range(plots)], "kind": "garden", "street": names},
        geometry=shapes, crs="EPSG:27700",
    )  # fmt: skip


def by_hand(file: Path, folder: Path) -> None:
    """Rows in a spreadsheet, and a picture a street."""
    plots = gpd.read_file(file, layer="plots")
    book = openpyxl.Workbook()
    for row in plots[["id", "label", "street"]].itertuples(index=False):
        book.active.append(list(row))
    book.save(folder / "by_hand.xlsx")
    for name, part in plots.groupby("street"):
        west, south, east, north = part.total_bounds
        head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{west} {-north} {east - west} '
        outlines = "".join(one.svg() for one in part.geometry)
        (folder / f"{name}.svg").write_text(f'{head}{north - south}">{outlines}</svg>')


def pack_made(plots: int) -> None:
    """Print what the pack of a town takes."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "town.gpkg"
        write_terraces(plots, file, walled=True)
        command = (sys.executable, "-m", "patchnet", "survey", file, "--contact", "us, 01", "-o")
        silent = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run((*command, f"{folder}/first"), check=True, **silent)
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run((*command, f"{folder}/pack"), check=True, **silent)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        start = time.process_time()
        by_hand(file, Path(folder))
        peer = time.process_time() - start
        print(f"pack of {plots:,} plots            {spent:>8.1f} s of the processor")
        print(f"peer, rows and outlines alone  {peer:>8.1f} s, ratio {spent / peer:.1f}")


def timed(page: Page, taps: list[str]) -> tuple[list[float], list[float]]:
    """Tap one after another; return each whole time (under 16 ms: counted as 16) and own part."""
    times, own = [], []
    for target in taps:
        page.locator(target).first.scroll_into_view_if_needed()
        page.wait_for_timeout(150)
        page.evaluate("window.taps = []")
        page.locator(target).first.tap()
        page.wait_for_timeout(250)
        seen = page.evaluate("window.taps")
        times.append(max([16.0, *(whole for whole, _ in seen)]))
        own.append(max([0.0, *(part for _, part in seen)]))
    return times, own


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--plots", type=int, default=300)
    asked.add_argument("--slower", type=float, default=4)
    asked.add_argument("--pack", type=int, default=1900)
    told = asked.parse_args()
    pack_made(told.pack)
    browser_path = next(
        (path for path in map(shutil.which, ("chromium", "google-chrome")) if path), None
    )
    if browser_path is None:
        sys.exit("No browser on the PATH.")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        file, page_file = Path(folder) / "street.gpkg", Path(folder) / "phone.html"
        pyogrio.write_dataframe(street(told.plots), file, layer="plots", driver="GPKG")
        knowledge = load_knowledge()
        hood = read_neighbourhood(file, knowledge=knowledge)
        page_file.write_text(survey_phone_page(SurveyRound(hood, knowledge)), encoding="utf-8")
        peer_file = Path(folder) / "peer.html"
        peer_file.write_text(PEER, encoding="utf-8")
        context = playwright.chromium.launch_persistent_context(
            Path(folder) / "profile", executable_path=browser_path, args=["--no-sandbox"],
            viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True,
            device_scale_factor=2, offline=True,
        )  # fmt: skip
        page = context.new_page()
        slow = context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": told.slower})
        page.goto(peer_file.as_uri())
        page.evaluate(WATCH)
        peer = statistics.median(timed(page, ["#go"] * 7)[0])
        page.goto(page_file.as_uri())
        page.wait_for_selector("html.drawn")
        page.evaluate(WATCH)
        question = ".question:not([hidden])"
        answers = [
            f"{question}:nth-of-type({at}) [data-answer='{answer}']"
            for at in (1, 2, 3)
            for answer in ("there", "not there", "cannot see")
        ]
        groups = {
            "open the next plot": ["#go"],
            "answer a question": answers,
            "undo": ["#undo"] * 5,
            "done, and on to the next": ["#go"] * 5,
            "back to the street": ["#plot-back"],
            "open a plot on the map": ["#street-map"],
        }
        worst, worst_own = 0.0, 0.0
        print(f"plots                          {told.plots:>8,}")
        print(f"page                           {page_file.stat().st_size / 1e6:>8.2f} MB")
        print(f"processor slowed down          {told.slower:>8g} times")
        print(f"peer, a bare button            {peer:>8.0f} ms")
        for name, taps in groups.items():
            times, own = timed(page, taps)
            worst, worst_own = max(worst, *times), max(worst_own, *own)
            print(
                f"{name:<30} {statistics.median(times):>8.0f} ms, slowest {max(times):.0f} ms, "
                f"{statistics.median(times) / peer:.1f} times the bare button"
            )
        print(f"slowest of all                 {worst:>8.0f} ms")
        print(f"of it the page's own, slowest  {worst_own:>8.0f} ms")
        context.close()


if __name__ == "__main__":
    main()
