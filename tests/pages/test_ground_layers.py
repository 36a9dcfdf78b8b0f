"""What the page carries for groups that walk, and what a page for the public does not."""

import dataclasses
import json
import re

import numpy as np
import pytest
import shapely

from patchnet.assess import assess
from patchnet.assess.fences import break_corridors, fence_gaps
from patchnet.pages.kit.encode import ALPHABET
from patchnet.pages.kit.shapes import frame_of
from patchnet.pages.map.map_page import map_page
from patchnet.read.neighbourhood import Neighbourhood


def _path(code: str) -> list[tuple[int, int]]:
    """Read a path as the docstring of `path_code` says."""
    steps, number, shift = [], 0, 0
    for sign in code:
        digit = ALPHABET.index(sign)
        number |= (digit & 31) << shift
        shift += 5
        if digit < 32:
            steps.append(-(number + 1) // 2 if number % 2 else number // 2)
            number, shift = 0, 0
    return [tuple(one) for one in np.cumsum(np.array(steps).reshape(-1, 2), axis=0).tolist()]


def payload_of(page: str) -> dict:
    found = re.search(r'<script type="application/json" id="payload">(.*?)</script>', page)
    return json.loads(found[1])


def newt_of(page: str) -> dict:
    (group,) = [one for one in payload_of(page)["groups"] if one["name"] == "Smooth newt"]
    return group


def frame(hood: Neighbourhood):
    layers = (hood.plots, hood.buildings, hood.roads, hood.footways, hood.barriers)
    return frame_of(layers, hood.plots.crs)


def metres(hood: Neighbourhood, code: str) -> np.ndarray:
    return np.array(_path(code)) / 100 + np.array(frame(hood).origin)


def test_only_groups_that_walk_have_ground(walked, walked_page):
    by_name = {group["name"]: group for group in payload_of(walked_page)["groups"]}
    assert by_name["Red mason bee"]["ground"] is None
    assert by_name["Smooth newt"]["ground"] is not None
    straight = assess(
        walked.neighbourhood, knowledge=walked.knowledge, groups=["newt"], straight=True
    )
    assert newt_of(map_page(straight))["ground"] is None


def test_each_plot_has_the_class_of_most_of_its_ground(walked, walked_page):
    """Counted again cell by cell: up to 1.5, up to 3, more, and no way through."""
    surface = walked.groups["newt"].ground.surface
    drawn = newt_of(walked_page)["ground"]["cover"]["plots"]
    plots = walked.neighbourhood.plots.index
    assert len(drawn) == len(plots)
    for at, plot in enumerate(plots):
        costs = surface.cost[surface.labels == list(surface.plots).index(plot) + 1]
        counts = [
            (costs <= 1.5).sum(),
            ((costs > 1.5) & (costs <= 3)).sum(),
            ((costs > 3) & np.isfinite(costs)).sum(),
            np.isinf(costs).sum(),
        ]
        assert counts[int(drawn[at])] == max(counts)


def test_links_run_along_their_ways(walked, walked_page):
    """Each drawn way begins and ends by its two plots, and is nearly as long as the link."""
    hood, ground = walked.neighbourhood, walked.groups["newt"].ground
    group = newt_of(walked_page)
    ends = _path(group["links"][0])
    assert len(ends) == len(group["ground"]["lines"])
    shapes = hood.plots.geometry.to_numpy()
    cell = ground.surface.cell_m
    for (i, j), code in zip(ends, group["ground"]["lines"], strict=True):
        way = shapely.LineString(metres(hood, code))
        first, last = shapely.points(way.coords[0]), shapely.points(way.coords[-1])
        near = min(
            max(shapes[i].distance(first), shapes[j].distance(last)),
            max(shapes[j].distance(first), shapes[i].distance(last)),
        )
        assert near <= 1.5 * cell
        assert way.hausdorff_distance(ground.line(i, j)[0]) <= 1.5 * cell


def test_corridors_are_those_of_the_first_breaks(walked, walked_page):
    hood = walked.neighbourhood
    drawn = newt_of(walked_page)["ground"]["corridors"]
    wanted = break_corridors(walked, "newt")
    assert [one["break"] for one in drawn] == [0, 1, 2]
    cell = walked.groups["newt"].ground.surface.cell_m
    for one, corridor in zip(drawn, wanted, strict=True):
        parts = [
            shapely.Polygon(rings[0], rings[1:])
            for rings in (
                [metres(hood, ring) for ring in part.split(",")] for part in one["band"].split("|")
            )
        ]
        area = shapely.union_all(parts).area
        assert area == pytest.approx(corridor.band.sum() * cell**2, rel=0.1)
        assert (
            shapely.LineString(metres(hood, one["line"])).hausdorff_distance(corridor.line)
            <= 2 * cell
        )


def test_gaps_to_make_come_in_their_order(walked, walked_page):
    hood = walked.neighbourhood
    drawn = newt_of(walked_page)["ground"]["gaps"]
    wanted = fence_gaps(walked, "newt", together=True)
    assert len(drawn) == len(wanted) > 2
    plots = list(hood.plots.index)
    for one, gap in zip(drawn, wanted, strict=True):
        assert one["won"] == pytest.approx(gap.homes_won, rel=0.01)
        assert [None if at < 0 else plots[at] for at in one["plots"]] == list(gap.plots)
        assert [plots[at] for at in one["joins"]] == list(gap.joins)
        place = np.array(one["place"]) / 100 + np.array(frame(hood).origin)
        assert place.tolist() == pytest.approx([gap.place.x, gap.place.y], abs=0.01)
        assert one["now"] == gap.now
    assert "A shared fence needs its owner's consent: ask first." in walked_page


def test_the_same_bytes_each_time(walked, walked_page):
    """With a progress bar too, which hears of every group."""
    heard = []

    def told(answers):
        for answer in answers:
            heard.append(answer.group.key)
            yield answer

    assert map_page(walked, progress=told) == walked_page
    assert heard == list(walked.groups)


def test_a_page_for_the_public_tells_of_no_gap(walked, walked_public):
    """No fence at all, and nothing worked out over the ground; straight breaks."""
    data = payload_of(walked_public)
    assert data["drawn"]["barriers"] == {"shape": [], "kind": [], "gap": []}
    group = newt_of(walked_public)
    assert group["ground"] is None
    for one in group["breaks"]:
        assert len(_path(one["line"])) == 2
        assert one["way"] == []
    assert data["plots"]["id"] == [f"s{at + 1}" for at in range(len(data["plots"]["id"]))]
    payload = json.dumps({key: value for key, value in data.items() if key != "words"})
    for key in ("pinch", "corridors", "moves", "joins", "now", "not_known"):
        assert f'"{key}"' not in payload.replace('"pinch": "#', "")
    notice = re.search(r'<p class="notice">(.*?)</p>', walked_public)[1]
    assert "Made for publishing" in notice
    assert "not for publishing" not in walked_public


def test_gap_states_leave_no_trace_on_a_page_for_the_public(make, everybody):
    """Two neighbourhoods that differ in nothing but their gaps give the same public page."""
    made = make()
    barriers = made.neighbourhood.barriers
    other = barriers.assign(gap=list(barriers["gap"])[::-1])
    assert list(other["gap"]) != list(barriers["gap"])
    hood = dataclasses.replace(made.neighbourhood, barriers=other)
    changed = dataclasses.replace(made, neighbourhood=hood)
    assert map_page(made) != map_page(changed)
    pages = [map_page(everybody(one), public=True) for one in (made, changed)]
    assert pages[0] == pages[1]
