"""The page's own distances, against shapely, in a real browser."""

import json
import re

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon, affinity, box

from patchnet.assess.reach import Reach
from patchnet.movement.distance import Pairs, pairs_within
from patchnet.pages.kit.encode import column_code, flag_codes, path_code, two_digit_codes
from patchnet.pages.kit.inline import asset
from patchnet.pages.map.ground_layers import move_code

pytestmark = pytest.mark.browser


def code(shape) -> str:
    def ring(one) -> str:
        return path_code(np.rint(shapely.get_coordinates(one)[:-1]).astype(np.int64))

    return "|".join(
        ",".join(ring(one) for one in (part.exterior, *part.interiors))
        for part in shapely.get_parts(shape)
    )


def run(browser, shapes, expression: str, columns: list[str] | None = None):
    """Evaluate `expression` with the page's decoder and distances over `shapes` (cm)."""
    plots = {"shape": [code(shape) for shape in shapes], "spot": ""}
    data = {"columns": columns or [], "frame": {"half": 1, "degree": 0, "lon": [0], "lat": [0]}}
    script = "\n".join(
        [
            f"const P = {json.dumps(plots)}, DATA = {json.dumps(data)}, PLOTS = P.shape.length;",
            asset("kit/script/decode.js"),
            asset("map/script/distance.js"),
            f"return {expression};",
        ]
    )
    context = browser.new_context(offline=True)
    try:
        return context.new_page().evaluate(f"() => {{ {script} }}")
    finally:
        context.close()


def shapes_of(rng: np.random.Generator) -> list:
    """Stars, boxes, rings with an island inside, touching and far pairs; whole centimetres."""
    made = [box(0, 0, 600, 2000), box(600, 0, 1200, 2000), box(600, 2000, 900, 2300)]
    ring = Polygon(
        [(5000, 0), (9000, 0), (9000, 4000), (5000, 4000)],
        [[(5500, 500), (5500, 3500), (8500, 3500), (8500, 500)]],
    )
    made += [
        ring,
        box(6000, 1000, 6500, 1500),
        MultiPolygon([box(0, 9000, 10, 9010), box(5100, 100, 5200, 300)]),
    ]
    for _ in range(14):
        angles = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
        radius = rng.uniform(200, 1500, len(angles))
        points = np.c_[np.cos(angles), np.sin(angles)] * radius[:, None]
        star = affinity.translate(Polygon(np.rint(points)), *rng.integers(-6000, 12000, 2))
        if star.is_valid and star.area > 0:
            made.append(star)
    return made


def test_distances_agree_with_shapely(browser):
    shapes = shapes_of(np.random.default_rng(7))
    pairs = [(i, j) for i in range(len(shapes)) for j in range(i)]
    got = run(browser, shapes, f"{json.dumps(pairs)}.map(([i, j]) => distance(i, j))")
    wanted = [shapes[i].distance(shapes[j]) / 100 for i, j in pairs]
    assert got == pytest.approx(wanted, abs=1e-9)
    assert wanted.count(0) > 4


def test_neighbours_are_sorted_and_within_reach(browser):
    shapes = shapes_of(np.random.default_rng(8))
    got = run(browser, shapes, "neighbours(0, 45)")
    wanted = {
        at: shapes[0].distance(shape) / 100
        for at, shape in enumerate(shapes)
        if at and shapes[0].distance(shape) <= 4500
    }
    assert dict(map(tuple, got)) == pytest.approx(wanted)
    assert [gap for _, gap in got] == sorted(gap for _, gap in got)


def test_only_what_a_group_can_get_to(browser):
    """Plots of 10 m with gaps of 20 m between them in a line; hop 25 m, reach 100 m. From the
    first: 20 m, 20 + 20 (over a patch), then 40 + 20 = 60. With the third no patch, the fourth
    is out of reach though it lies 80 m away in a straight line: no stop to rest on."""
    shapes = [box(at * 3000, 0, at * 3000 + 1000, 1000) for at in range(5)]
    call = "gotTo({{hop: 25, patch: '{0}'}}, 0, neighbours(0, 100), 100).map((one) => one[0])"
    assert run(browser, shapes, call.format(flag_codes([one == "1" for one in "11111"]))) == [
        1,
        2,
        3,
    ]
    assert run(browser, shapes, call.format(flag_codes([one == "1" for one in "11011"]))) == [1, 2]
    assert run(browser, shapes, call.format(flag_codes([one == "1" for one in "00000"]))) == [1]


def test_reach_agrees_with_that_of_the_balance_sheets(browser):
    """The page's way of finding who can be got to, against the one the figures come from."""
    rng = np.random.default_rng(9)
    corners = rng.integers(0, 24_000, (70, 2))
    sides = rng.integers(300, 1500, (70, 2))
    shapes = [box(x, y, x + w, y + h) for (x, y), (w, h) in zip(corners, sides, strict=True)]
    stops = rng.random(70) < 0.5
    metres = np.array([affinity.scale(one, 0.01, 0.01, origin=(0, 0)) for one in shapes])
    reach = Reach(pairs_within(metres, 90.0), stops, hop_m=15.0)
    patch = flag_codes(stops)
    for plot in range(0, 70, 7):
        call = f"gotTo({{hop: 15, patch: '{patch}'}}, {plot}, neighbours({plot}, 90), 90)"
        got = {one[0] for one in run(browser, shapes, call)}
        assert got == set(reach.row(90.0, plot).tolist()) - {plot}


def test_reach_over_the_ground_agrees_with_that_of_the_balance_sheets(browser):
    """Random moves (some free, some beyond a hop) between plots, some of which are stops."""
    rng = np.random.default_rng(10)
    count = 60
    corners = rng.integers(0, 20_000, (count, 2))
    shapes = [box(x, y, x + 800, y + 800) for x, y in corners.tolist()]
    stops = rng.random(count) < 0.6
    ends = np.unique(np.sort(rng.integers(0, count, (160, 2))), axis=0)
    ends = ends[(ends[:, 0] < ends[:, 1]) & stops[ends].any(axis=1)].astype(np.int32)
    cost = np.where(rng.random(len(ends)) < 0.2, 0, rng.integers(0, 30_000, len(ends)))
    moves = Pairs(i=ends[:, 0], j=ends[:, 1], length_mm=cost.astype(np.int64))
    metres = np.array([affinity.scale(one, 0.01, 0.01, origin=(0, 0)) for one in shapes])
    reach = Reach(pairs_within(metres, 90.0), stops, hop_m=22.0, moves=moves)
    patch = flag_codes(stops)
    group = json.dumps({"hop": 22, "patch": patch, "ground": {"moves": move_code(moves, 22.0)}})
    call = (
        f"((group) => P.shape.map((_, plot) => [15, 45, 90].map((reach) =>"
        f" gotTo(group, plot, neighbours(plot, 90), reach).map((one) => one[0]))))({group})"
    )
    kept = straight = 0
    for plot, found in enumerate(run(browser, shapes, call)):
        for metres_, got in zip((15.0, 45.0, 90.0), found, strict=True):
            assert set(got) == set(reach.row(metres_, plot).tolist()) - {plot}
            kept += len(got)
            straight += sum(0 < shapes[plot].distance(other) <= metres_ * 100 for other in shapes)
    assert 0.1 * straight < kept < 0.9 * straight


def test_reach_over_the_ground_agrees_on_the_demo(walked, walked_page, open_page):
    """What the card of a newt's plot lists, against the reach its balance sheets come from."""
    newt = walked.groups["newt"]
    need = newt.group.needs[0]
    data = json.loads(re.search(r'id="payload">(.*?)</script>', walked_page)[1])
    (sent,) = [one for one in data["groups"] if one["ground"]]
    context = open_page(walked_page).context
    script = re.sub(r'^"use strict";', "", asset("kit/script/decode.js")) + asset(
        "map/script/distance.js"
    )
    kept = [data["plots"], {"columns": [], "frame": data["frame"]}, sent, need.reach.value]
    got = context.new_page().evaluate(
        "([P, DATA, group, reach]) => { const PLOTS = P.shape.length;"
        + script
        + "return P.shape.map((_, plot) =>"
        " gotTo(group, plot, neighbours(plot, reach), reach).map((one) => one[0])); }",
        kept,
    )
    for plot, found in enumerate(got):
        assert set(found) == set(newt.reach.row(need.reach.value, plot).tolist()) - {plot}


def test_numbers_and_paths_read_as_written(browser):
    values = [0, 1, 9.96, 34.4, 0.0449, 128, 99_900, 1e-5]
    got = run(browser, [box(0, 0, 1, 1)], "[...column(0)]", [two_digit_codes(values)])
    assert got == pytest.approx([0, 1, 10, 34, 0.045, 130, 100_000, 1e-5])
    few = [7, 0, np.nan, 0.25] * 9
    got = run(browser, [box(0, 0, 1, 1)], "[...column(0)]", [column_code(few)])
    assert column_code(few)[0] == "."
    assert got == pytest.approx(few, nan_ok=True)
    points = np.array([[5, -7], [-123456, 987654], [0, 0]])
    got = run(browser, [box(0, 0, 1, 1)], f"path({json.dumps(path_code(points))})")
    assert got == points.ravel().tolist()
