"""The map page as text: whole, closed to the network, the same each time."""

import dataclasses
import json
import re
from html.parser import HTMLParser

import pytest

from patchnet.assess import assess
from patchnet.core.errors import CannotWrite, PatchnetError, WrongUse
from patchnet.knowledge.regions import usual_groups
from patchnet.pages.kit.inline import asset, leaflet_style, local_copy, outside_addresses
from patchnet.pages.kit.page import script_of
from patchnet.pages.map import map_words as words
from patchnet.pages.map.map_page import SCRIPTS, map_page, write_map


class Reader(HTMLParser):
    """Every start tag with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


def payload_of(page: str) -> dict:
    found = re.search(r'<script type="application/json" id="payload">(.*?)</script>', page)
    return json.loads(found[1])


def test_no_address_but_links_to_click(assessment):
    page = map_page(assessment)
    for tag, attrs in Reader(page).tags:
        for name in ("src", "href", "srcset", "data", "action", "poster"):
            value = attrs.get(name)
            if value and not (tag == "a" and name == "href"):
                assert value.startswith(("data:", "#")), (tag, value)
    assert not re.search(r"url\((?!#|data:)", page)
    assert "@import" not in page
    assert "sourceMappingURL" not in page


def test_the_document_says_what_it_is(assessment):
    page = map_page(assessment, title="Alder Row & Mill Lane")
    tags = Reader(page).tags
    assert dict(tags)["html"] == {"lang": "en"}
    assert "<title>Alder Row &amp; Mill Lane</title>" in page
    (viewport,) = [attrs for tag, attrs in tags if attrs.get("name") == "viewport"]
    assert viewport["content"] == "width=device-width, initial-scale=1"
    names = [tag for tag, _ in tags]
    for landmark in ("header", "main", "footer"):
        assert names.count(landmark) == 1
    assert names.count("h1") == 1
    for word in ("jquery", "bootstrap", "fontawesome", "awesome-markers"):
        assert word not in page.lower()


def test_notices_stand_on_the_page(assessment, make):
    page = map_page(assessment)
    assert "Most figures are our own working assumptions, not findings" in page
    assert "not for publishing" in page
    assert "fences have gaps" in page
    assert "fences have gaps" not in map_page(make(6, drawn=False))
    assert "Made up for tests" in page
    assert "map tiles" not in page


def test_the_same_bytes_each_time(make):
    assert map_page(make()) == map_page(make())
    assert map_page(make()) != map_page(make(seed=2))


def test_sources_are_counted(assessment):
    """Counted again here: figures by class, and by the sources they name."""
    page = map_page(assessment)
    figures = assessment.knowledge.figures.values()
    assumed = sum(figure.kind == "assumption" for figure in figures)
    assert f"<li>{assumed:,} our own working assumption</li>" in page
    used = {key for figure in figures for key in figure.sources}
    assert len(re.findall(r"<li><code>", page)) == len(used)


def test_only_the_groups_asked_for_in_the_order_of_the_tables(assessment):
    data = payload_of(map_page(assessment, groups=["bumblebee", "mason_bee"]))
    assert [group["name"] for group in data["groups"]] == ["Red mason bee", "Garden bumblebee"]
    with pytest.raises(WrongUse, match="hedgehog"):
        map_page(assessment, groups=["hedgehogs"])
    with pytest.raises(WrongUse, match="at least one"):
        map_page(assessment, groups=[])


def test_tiles_keep_their_credit_and_are_announced(assessment):
    page = map_page(assessment, tiles="openstreetmap")
    assert "tile.openstreetmap.org" in page
    assert "openstreetmap.org/copyright" in page
    assert "asks the network" in page
    own = map_page(
        assessment, tiles="https://{s}.tiles.example.org/{z}/{x}/{y}.png", tiles_credit="<Us & co>"
    )
    assert "&lt;Us &amp; co&gt;" in own
    assert "img-src data: https://*.tiles.example.org;" in own


@pytest.mark.parametrize(
    ("tiles", "credit", "said"),
    [
        ("ordnance", None, "openstreetmap"),
        ("https://tiles.example.org/{z}.png", "x", "{x}"),
        ("https://tiles.example.org/{z}/{x}/{y}.png'</script>", "x", "address"),
        (None, "somebody", "no tiles"),
    ],
)
def test_tiles_of_no_use_are_refused(assessment, tiles, credit, said):
    with pytest.raises(WrongUse, match=re.escape(said)):
        map_page(assessment, tiles=tiles, tiles_credit=credit)


def test_a_file_that_nobody_carries_is_named():
    with pytest.raises(PatchnetError, match=r"jquery-3\.js"):
        local_copy("https://cdn.example.org/jquery-3.js")


def test_addresses_are_found_wherever_a_browser_would_fetch_them():
    page = (
        '<link href="https://a.example/x.css"><style>b{background:url("https://b.example/y.png")}'
        '@import "c.css";</style><p style="background:url(d.png)"><img src=e.png>'
        '<a href="https://fine.example/">x</a><img src="data:,"><use href="#here">'
    )
    assert outside_addresses(page) == [
        "https://a.example/x.css",
        "https://b.example/y.png",
        "c.css",
        "d.png",
        "e.png",
    ]


def test_leaflet_brings_its_pictures():
    style = leaflet_style("https://cdn.example.org/leaflet.css")
    assert style.count("data:image/png;base64,") == 3
    assert "images/" not in style


def test_written_whole_or_not_at_all(assessment, tmp_path):
    path = write_map(assessment, tmp_path / "street.html", title="Alder Row")
    assert path.read_text(encoding="utf-8") == map_page(assessment, title="Alder Row")
    with pytest.raises(CannotWrite):
        write_map(assessment, tmp_path / "nowhere" / "street.html")


def test_nothing_to_draw_but_plots(make):
    """A file with plots alone, and one plot alone, still make a page."""
    for count in (1, 5):
        data = payload_of(map_page(make(count, drawn=False)))
        assert len(data["plots"]["id"]) == count
        assert data["drawn"]["barriers"]["shape"] == []


def test_a_users_own_kind_of_barrier_is_drawn_by_its_line_and_goes_by_its_name(walked):
    know = walked.knowledge
    own = dataclasses.replace(know.barrier_kinds["hedge"], key="gabion", name="wire basket")
    hood = walked.neighbourhood
    kinds = {**know.barrier_kinds, "gabion": dataclasses.replace(own, line=None)}
    barriers = hood.barriers.assign(
        kind=["gabion" if at else "wall" for at in range(len(hood.barriers))]
    )
    ways = {}
    for key, costs in know.ground_costs.items():
        alike = {
            ("gabion", gap): cost
            for (kind, gap), cost in costs.crossings.items()
            if kind == "hedge"
        }
        ways[key] = dataclasses.replace(costs, crossings={**costs.crossings, **alike})
    made = dataclasses.replace(
        walked,
        neighbourhood=dataclasses.replace(hood, barriers=barriers),
        knowledge=dataclasses.replace(know, barrier_kinds=kinds, ground_costs=ways),
    )
    rows = payload_of(map_page(made))["drawn"]["barrier_kinds"]
    assert rows == [["wall", "wall", "whole"], ["gabion", "wire basket", "short_dashes"]]
    there = {str(kind) for kind in hood.barriers["kind"]}
    drawn = payload_of(map_page(walked))["drawn"]["barrier_kinds"]
    assert {kind for kind, _, _ in drawn} == there == {"wall", "fence", "hedge", "railing"}
    assert [line for _, _, line in drawn] == ["whole", "dashed", "dotted", "dash_dot"]


def test_two_thousand_plots_with_all_usual_groups_stay_under_two_and_a_half_megabytes(
    make, knowledge
):
    page = map_page(make(2000, groups=usual_groups(knowledge), a_row=50))
    assert len(page.encode("utf-8")) <= 2_500_000


def test_two_thousand_plots_with_their_ground_stay_under_that_too(make, knowledge):
    """The same terraces, really assessed: ways, moves and pictures for every group that walks."""
    answer = assess(make(2000, groups=("newt",), a_row=50).neighbourhood, knowledge=knowledge)
    page = map_page(answer)
    assert sum(group["ground"] is not None for group in payload_of(page)["groups"]) == 3
    assert len(page.encode("utf-8")) <= 2_500_000


def test_numbers_without_end_are_written_as_any_number(make):
    made = make(6, groups=("mason_bee",))
    answer = made.groups["mason_bee"]
    sheet = dataclasses.replace(answer.needs[0], enough=answer.needs[0].enough * float("inf"))
    groups = {"mason_bee": dataclasses.replace(answer, needs=(sheet, *answer.needs[1:]))}
    assert payload_of(map_page(dataclasses.replace(made, groups=groups)))


def test_the_script_and_its_words_fit_together():
    """Every word the script asks for exists, and none lies about unused."""
    asked = set(re.findall(r"\bW\.(\w+)", script_of(SCRIPTS)))
    assert asked == set(words.SCRIPT)
    assert set(re.findall(r"\bw\.(\w+)", asset("map/map_page.html"))) <= set(words.PAGE)
