"""How quickly the map page answers: opening, another animal, moving the map, on a slowed machine.

Run: python tests/benchmarks/page_benchmark.py [--plots N ...] [--slowed TIMES]

Terraces with houses, fences and roads, a third of the plots unseen, are drawn by `patchnet map` and
opened in Chromium, its processor slowed four times. Milliseconds from choosing another animal to
the picture that shows it (each plot's room for it, its letters and the legend), and until all that
is read below stands too (table, words on the street, names for screen readers), which is written
after the picture; each animal is chosen when the page is quiet again. And milliseconds from one
picture to the next while the map is dragged (60 to the second is 17 ms, the least there is). The
peer in the same run is what somebody would draw by hand with the
same library: Leaflet on a canvas, the plots' outlines alone, one colour each, and `setStyle` for
another animal.
"""

import argparse
import json
import platform
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import geopandas as gpd
from map_benchmark import write_terraces
from playwright.sync_api import sync_playwright

from patchnet.pages.kit.inline import leaflet_script, leaflet_style

ANIMALS = ("moth", "robin", "bumblebee", "wren", "hedgehog")
STEPS = 60
SWITCHES = 8  # of each animal
CHROMIUM = "/usr/bin/chromium"

PEER = """<!doctype html><meta charset="utf-8"><title>peer</title><style>%s
html, body, #map { height: 100%%; margin: 0 }</style><div id="map"></div><script>%s</script><script>
const MAP = L.map("map", { preferCanvas: true, zoomAnimation: false, inertia: false });
const layer = L.geoJSON(%s, { style: { weight: 1, color: "#444", fillOpacity: 0.8 } }).addTo(MAP);
MAP.fitBounds(layer.getBounds());
const TINTS = ["#dfe8c8", "#b9cf9a", "#7fa86a", "#45754a"];
function another(at) {
  let n = 0;
  layer.eachLayer((one) => one.setStyle({ fillColor: TINTS[(n++ * 7 + at) %% 4] }));
}
</script>"""

# Milliseconds from a change to the picture after it, and until its words stand: two frames are
# asked for, the second comes when the first was drawn.
CHANGE = """(change) => new Promise((done) => {
  const start = performance.now();
  const drawn = (then) => requestAnimationFrame(() => requestAnimationFrame(then));
  change();
  drawn(() => {
    const picture = performance.now() - start;
    const read = () => {
      if (document.querySelector("[aria-busy=true]")) setTimeout(read, 1);
      else drawn(() => done([picture, performance.now() - start]));
    };
    read();
  });
})"""
OPEN = """() => {
  document.getElementById("closer").open = true;
  const field = document.getElementById("show");
  field.value = "homes";
  field.dispatchEvent(new Event("change", { bubbles: true }));
}"""
OURS = f"""(at) => ({CHANGE})(() => {{
  const field = document.getElementById("group");
  field.value = field.options[at % field.options.length].value;
  field.dispatchEvent(new Event("change", {{ bubbles: true }}));
}})"""
THEIRS = f"(at) => ({CHANGE})(() => another(at))"
FRAMES = """() => {
  window.frames_ = [];
  let before = null;
  const each = (now) => {
    if (before !== null) window.frames_.push(now - before);
    before = now;
    if (window.frames_ !== null) window.asked = requestAnimationFrame(each);
  };
  window.asked = requestAnimationFrame(each);
}"""


def opened(browser, path, slowed):
    """A page that is loaded and drawn, its processor slowed, and the milliseconds it took."""
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.goto(path.as_uri())
    took = page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => "
        "requestAnimationFrame(() => done(performance.now()))))"
    )
    return page, took


def dragged(page):
    """Milliseconds from picture to picture while the map follows the mouse."""
    box = page.locator(".leaflet-container").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate(FRAMES)
    for step in range(STEPS):
        page.mouse.move(x + 2 * step, y + step)
    frames = page.evaluate("() => { cancelAnimationFrame(window.asked); return window.frames_; }")
    page.mouse.up()
    return frames


def told(times):
    """Median, and the time that nineteen in twenty stay under."""
    ordered = sorted(times)
    return statistics.median(ordered), ordered[max(0, round(0.95 * len(ordered)) - 1)]


def measured(browser, path, *, change, slowed, first=None):
    page, took = opened(browser, path, slowed)
    if first:
        page.evaluate(first)
    for at in range(len(ANIMALS)):  # each is worked out once, when it is first asked for
        page.evaluate(change, at)
    pictures, words = zip(
        *(page.evaluate(change, at) for at in range(SWITCHES * len(ANIMALS))), strict=True
    )
    frames = dragged(page)
    page.close()
    return took, told(pictures), told(words), told(frames)


def write_pages(folder, plots):
    file, ours, peer = folder / "terraces.gpkg", folder / "ours.html", folder / "peer.html"
    write_terraces(plots, file, walled=True)
    animals = [part for one in ANIMALS for part in ("--group", one)]
    subprocess.run(
        [sys.executable, "-m", "patchnet", "map", file, *animals, "--draws", "0", "-o", ours],
        check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    shapes = gpd.read_file(file, layer="plots")[["id", "geometry"]].to_crs("EPSG:4326")
    script, style = leaflet_script("leaflet.js"), leaflet_style("leaflet.css")
    peer.write_text(PEER % (style, script, shapes.to_json()), encoding="utf-8")
    return ours, peer


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--plots", type=int, nargs="+", default=[400, 2000])
    options.add_argument("--slowed", type=float, default=4)
    asked = options.parse_args()
    results = []
    with sync_playwright() as play, tempfile.TemporaryDirectory() as folder:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        print(f"Chromium {browser.version}, {platform.machine()}, slowed {asked.slowed:g} times")
        print(
            "plots  page      MB  opened  another animal  its words too  picture to picture"
            "   (ms: median, 95 %)"
        )
        for plots in asked.plots:
            for name, path in zip(("ours", "peer"), write_pages(Path(folder), plots), strict=True):
                change, first = (OURS, OPEN) if name == "ours" else (THEIRS, None)
                took, switch, words, frame = measured(
                    browser, path, change=change, slowed=asked.slowed, first=first
                )
                size = path.stat().st_size / 1e6
                print(
                    f"{plots:>5}  {name}  {size:>8.2f}  {took:>6.0f}  {switch[0]:>7.0f}"
                    f" {switch[1]:>6.0f}  {words[0]:>6.0f} {words[1]:>6.0f}"
                    f"    {frame[0]:>7.0f} {frame[1]:>6.0f}"
                )
                results.append(
                    {"plots": plots, "page": name, "mb": size, "opened_ms": took,
                     "switch_ms": switch, "words_ms": words, "frame_ms": frame}
                )  # fmt: skip
        browser.close()
    print(json.dumps(results))


if __name__ == "__main__":
    main()
