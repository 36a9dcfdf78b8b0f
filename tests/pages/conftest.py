"""A small made-up assessment, and a browser with the network off."""

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from shapely import LineString, box
from worlds.page_texts import written

from patchnet.assess import assess
from patchnet.assess.assessment import Assessment, Break, GroupAnswer, NeedSheet
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.records import Group, Knowledge
from patchnet.network.measures import NetworkMeasures
from patchnet.network.patch_graph import PatchGraph
from patchnet.pages.map.map_page import map_page
from patchnet.pages.privacy import assessment_for, public_features
from patchnet.pages.public_table import table_of
from patchnet.pages.survey import SurveyRound
from patchnet.read import read_neighbourhood
from patchnet.read.neighbourhood import Answers, Neighbourhood
from patchnet.survey.release import Ledger

DEMO = Path(__file__).parents[2] / "data_demo"
CRS = "EPSG:27700"
EAST, NORTH = 451_000.0, 206_000.0
WIDE, DEEP, ROAD = 6.0, 20.0, 9.0
ADDRESS_LISTS = ("WebUIOmniboxPopup", "WebUIOmniboxFullPopup", "WebUIOmniboxAimPopup")


def _plots(count: int, a_row: int) -> gpd.GeoDataFrame:
    """Terraces of plots 6 x 20 m, a road of 9 m after every second row."""
    shapes, labels, streets = [], [], []
    for at in range(count):
        row, place = divmod(at, a_row)
        south = NORTH + row * DEEP + (row // 2) * ROAD
        west = EAST + place * WIDE
        shapes.append(box(west, south, west + WIDE, south + DEEP))
        street = f"Street {row // 2 + 1}"
        streets.append(street)
        labels.append(f"{street} {at + 1} {'front' if row % 2 else 'back'}")
    index = pd.Index([f"p{at + 1}" for at in range(count)], name="plot")
    return gpd.GeoDataFrame(
        {
            "kind": ["garden_front" if (at // a_row) % 2 else "garden_back" for at in range(count)],
            "label": labels,
            "street": streets,
            "area_m2": [shape.area for shape in shapes],
        },
        geometry=shapes,
        index=index,
        crs=CRS,
    )


def _lines(table: dict[str, list[object]], shapes: list[object]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def _neighbourhood(
    know: Knowledge, count: int, a_row: int, rng: np.random.Generator, *, drawn: bool, bare: bool
) -> Neighbourhood:
    plots = _plots(count, a_row)
    features = tuple(know.features)
    amount = np.where(rng.random((count, len(features))) < 0.12, 4.0, 0.0)
    amount *= np.round(rng.uniform(0.5, 3, amount.shape), 1)
    amount[rng.random(amount.shape) < 0.25] = np.nan
    amount[::7] = np.nan
    if bare:
        amount[:] = 0.0
    # Plot 1 has a pond of 3 m2 without a stated size, plot 4 one of 5 m2; plots 2, 3 have none.
    pond = features.index("pond")
    amount[:4, pond] = (3.0, 0.0, 0.0, 5.0)[:count]
    sized = rng.random(amount.shape) < 0.7
    sized[:4, pond] = (False, True, True, True)[:count]
    sure = rng.random(amount.shape) < 0.9
    sure[:4, pond] = (False, True, True, True)[:count]
    answers = Answers(plots.index, features, amount, sized, sure)
    if not drawn:
        none = _lines({"name": []}, [])
        barriers = _lines({"kind": [], "gap": [], "height_m": []}, [])
        mapped = _lines({"plot": [], "feature": [], "amount": []}, [])
        return Neighbourhood("Long Street", plots, answers, mapped, barriers, none, none, none)
    rows = -(-count // a_row)
    roads = [
        box(EAST - 5, south, EAST + a_row * WIDE + 5, south + ROAD)
        for south in (NORTH + (r + 2) * DEEP + (r // 2) * ROAD for r in range(0, rows, 2))
    ]
    houses = [
        box(shape.bounds[0], shape.bounds[1] + 12, shape.bounds[2], shape.bounds[1] + 18)
        for shape, kind in zip(plots.geometry, plots["kind"], strict=True)
        if kind == "garden_back"
    ]
    fences = [
        LineString([(s.bounds[2], s.bounds[1]), (s.bounds[2], s.bounds[1] + 11)])
        for s in plots.geometry[:24]
    ]
    kinds = [("wall", "fence", "hedge", "railing")[at % 4] for at in range(len(fences))]
    gaps = [("yes", "no", "not_known")[at % 3] for at in range(len(fences))]
    return Neighbourhood(
        "Long Street",
        plots,
        answers,
        _lines({"plot": [], "feature": [], "amount": []}, []),
        _lines({"kind": kinds, "gap": gaps, "height_m": [np.nan] * len(fences)}, fences),
        _lines({"name": [""] * len(houses)}, houses),
        _lines({"name": [f"Street {at + 1}" for at in range(len(roads))]}, roads),
        _lines({"name": ["cut"]}, [LineString([(EAST, NORTH - 4), (EAST + 60, NORTH - 4)])]),
        credits=("Made up for tests",),
    )


def _group(group: Group, hood: Neighbourhood, rng: np.random.Generator) -> GroupAnswer:
    index = hood.plots.index
    n = len(index)

    def series(low: float, high: float, nought: float = 0.0) -> "pd.Series[float]":
        values = rng.uniform(low, high, n)
        values[rng.random(n) < nought] = 0
        return pd.Series(values, index=index)

    room = series(0.2, 3, 0.4)
    within = room + series(0, 20, 0.1)
    quality = series(0, 1, 0.2)
    homes = room * quality
    needs = []
    for need in group.needs:
        months = pd.DataFrame(np.nan, index=index, columns=range(1, 13))
        for month in need.months:
            months[month] = rng.uniform(0, 30, n)
        enough = months[list(need.months)].mean(axis=1)
        hungry = months.lt(within, axis=0) & (within > 0).to_numpy()[:, None]
        needs.append(
            NeedSheet(
                need=need,
                enough=enough,
                enough_low=enough * 0.6,
                enough_high=enough * 1.5,
                room=within,
                met=series(0, 1),
                by_month=months,
                hungry=hungry,
            )
        )
    patch = pd.Series(rng.random(n) < 0.8, index=index)
    component = pd.Series(np.where(patch, (np.arange(n) * 3) // n, -1), index=index)
    ids = index[patch.to_numpy()]
    numbers = component[ids].to_numpy()
    ends = [
        (i, j)
        for i in range(len(ids))
        for j in range(i + 1, min(i + 6, len(ids)))
        if numbers[i] == numbers[j]
    ]
    i, j = np.array(ends, dtype=np.int32).reshape(-1, 2).T
    network = PatchGraph(
        ids, homes[ids].to_numpy(), i, j, (j - i).astype(np.int64) * 3000, group.d50.value
    )
    measures = NetworkMeasures(
        1.0, float(homes.sum()) / 2, 0.0, 1.0, 1.0, 1.0, 3, 1.0, 1.0, 1.0, 0.5, component[ids]
    )
    one, other = index[n // 3 - 1], index[n // 3]
    line = LineString([hood.plots.geometry[one].centroid, hood.plots.geometry[other].centroid])
    breaks = (
        Break(
            one,
            other,
            float(line.length),
            float(line.length),
            line,
            (index[n // 2],),
            2,
            3.4,
            (5.0, 6.0),
        ),
        Break(
            index[0],
            index[-1],
            8.25,
            8.25,
            LineString([(EAST, NORTH), (EAST + 8.25, NORTH)]),
            (),
            0,
            0.4,
            (1.0, 2.0),
        ),
    )
    choice = ["anchor", *(need.key for need in group.needs)]
    scarcest = pd.Series([choice[at % len(choice)] for at in range(n)], index=index)
    return GroupAnswer(
        group=group,
        room=room,
        room_within=within,
        quality=quality,
        homes=homes,
        homes_low=homes * (rng.random(n) < 0.7),
        homes_high=homes * 1.4,
        patch=patch,
        needs=tuple(needs),
        scarcest=scarcest,
        shortage=pd.Series([None] * n, index=index, dtype=object),
        component=component,
        network=network,
        measures=measures,
        breaks=breaks,
        reach=None,
        ground=None,
        places=np.repeat(room.to_numpy()[:, None], 4, axis=1),
        pool=None,
    )


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="session")
def make(knowledge: Knowledge) -> Callable[..., Assessment]:
    """Make an assessment with believable but invented numbers; figures differ with `seed`."""

    def made(
        count: int = 48,
        *,
        groups: tuple[str, ...] | None = ("mason_bee", "hedgehog", "bumblebee"),
        a_row: int = 12,
        drawn: bool = True,
        bare: bool = False,
        seed: int = 1,
        know: Knowledge | None = None,
    ) -> Assessment:
        tables = know or knowledge
        rng = np.random.default_rng(seed)
        hood = _neighbourhood(tables, count, a_row, rng, drawn=drawn, bare=bare)
        chosen = tables.groups if groups is None else {key: tables.groups[key] for key in groups}
        answers = {key: _group(group, hood, rng) for key, group in chosen.items()}
        known = ~np.isnan(hood.answers.amount)
        return Assessment(
            hood,
            tables,
            answers,
            np.nan_to_num(hood.answers.amount),
            np.zeros((count, len(tables.resources), 12)),
            pd.Series(known.mean(axis=1), index=hood.plots.index),
        )

    return made


@pytest.fixture(scope="session")
def assessment(make: Callable[..., Assessment]) -> Assessment:
    return make()


@pytest.fixture(scope="session")
def assessment_page(assessment: Assessment) -> str:
    return map_page(assessment)


@pytest.fixture(scope="session")
def walked(knowledge: Knowledge) -> Assessment:
    """The demo, really assessed, for a group that flies and one that walks."""
    hood = read_neighbourhood(DEMO, knowledge=knowledge)
    return assess(hood, knowledge=knowledge, groups=["mason_bee", "newt"])


@pytest.fixture(scope="session")
def walked_page(walked: Assessment) -> str:
    return map_page(walked)


@pytest.fixture(scope="session")
def walked_public(walked: Assessment) -> str:
    return map_page(for_everybody(walked), public=True)


def for_everybody(assessment: Assessment) -> Assessment:
    """For the public, from the first table of a street that never handed one out."""
    know = assessment.knowledge
    _, found = table_of(
        Ledger(), assessment.neighbourhood, public_features(know), knowledge=know,
        today=date(2026, 6, 1),
    )  # fmt: skip
    return assessment_for(assessment, "public", released=found)


@pytest.fixture(scope="session")
def everybody() -> Callable[[Assessment], Assessment]:
    return for_everybody


@pytest.fixture(scope="session")
def survey_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A street of eight plots of 6 x 20 m along a road from west to east: 1, 3, 5, 7 north of it,
    2, 4, 6, 8 south of it."""
    path = tmp_path_factory.mktemp("street") / "alder row.gpkg"
    shapes = [
        box(EAST + place * WIDE, south, EAST + (place + 1) * WIDE, south + DEEP)
        for place in range(4)
        for south in (NORTH + 5, NORTH - 5 - DEEP)
    ]
    numbers = [str(at + 1) for at in range(8)]
    plots = {
        "id": numbers,
        "kind": "garden_front",
        "label": [f"{number} Alder Row" for number in numbers],
        "street": "Alder Row",
    }
    road = [LineString([(EAST - 5, NORTH), (EAST + 4 * WIDE + 5, NORTH)])]
    gpd.GeoDataFrame(plots, geometry=shapes, crs=CRS).to_file(path, layer="plots", driver="GPKG")
    roads = gpd.GeoDataFrame({"name": ["Alder Row"], "width_m": [6.0]}, geometry=road, crs=CRS)
    roads.to_file(path, layer="roads", driver="GPKG")
    return path


@pytest.fixture(scope="session")
def survey_street(survey_file: Path, knowledge: Knowledge) -> SurveyRound:
    return SurveyRound(read_neighbourhood(survey_file, knowledge=knowledge), knowledge)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Where the browser is; none found is a failure."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = next((path for path in map(shutil.which, names) if path), None)
    if found is None:
        pytest.fail(f"No browser on the PATH: none of {', '.join(names)}.")
    return found


@pytest.fixture(scope="session")
def browser_args(chromium: str) -> list[str]:
    """What a browser is started with.

    Each context is a window, for which Chromium makes the lists under its address bar too: two
    pages that take longer than ours, and that nobody sees.
    """
    with sync_playwright() as playwright:
        plain = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--enable-automation"]
        )
        asked = plain.new_browser_cdp_session().send("Browser.getBrowserCommandLine")["arguments"]
        plain.close()
    # Of several such lists the last counts: it begins with what Playwright switches off.
    off = [one for one in asked if one.startswith("--disable-features=")][-1]
    return ["--no-sandbox", ",".join((off, *ADDRESS_LISTS))]


@pytest.fixture(scope="session")
def browser(chromium: str, browser_args: list[str]) -> Iterator[Browser]:
    """One browser for all tests; each page has a context of its own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=browser_args)
        yield browser
        browser.close()


class Opened:
    """A page opened from disk without network, with everything it complained of."""

    def __init__(self, context: BrowserContext, page: Page, path: Path, at: str = "") -> None:
        self.context = context
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", self._dialog)
        page.goto(path.as_uri() + at)
        page.wait_for_selector("html.drawn", timeout=20_000)
        written(page)

    def _dialog(self, dialog) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    @property
    def fetched(self) -> list[str]:
        """Requests other than the page's own file and pictures inside it."""
        return [url for url in self.requests if not url.startswith(("data:", "blob:", "file:"))] + [
            url for url in self.requests if url.startswith("file:")
        ][1:]


@pytest.fixture
def open_page(browser: Browser, tmp_path: Path) -> Iterator[Callable[..., Opened]]:
    """Open HTML text as a file in an offline context; phone=True: 360 x 740 with touch.

    A map opens where one looks closer, with the homes of its first animal; at="" as people find it.
    """
    contexts: list[BrowserContext] = []

    def opened(html: str, *, phone: bool = False, at: str = "#show=homes") -> Opened:
        path = tmp_path / "page.html"
        path.write_text(html, encoding="utf-8")
        size = {"width": 360, "height": 740} if phone else {"width": 1280, "height": 860}
        context = browser.new_context(
            viewport=size, has_touch=phone, is_mobile=phone, offline=True, service_workers="block"
        )
        contexts.append(context)
        context.set_default_timeout(10_000)
        return Opened(context, context.new_page(), path, at)

    yield opened
    for context in contexts:
        context.close()
