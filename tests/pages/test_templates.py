"""Templates: each is filled in by some page, each escapes, and tags stand nowhere else."""

import ast
import dataclasses
import re
import tomllib
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from jinja2 import UndefinedError
from worlds.axe_findings import violations
from worlds.laced import laced_neighbourhood, laced_tables
from worlds.made_city import made_city
from worlds.made_scheme import made_scheme

from patchnet.assess import assess
from patchnet.core.files import MADE_BY
from patchnet.pages.kit import templates
from patchnet.pages.kit.planting_calendar import calendar_figure
from patchnet.pages.map.map_page import map_page
from patchnet.pages.privacy import assessment_for, public_features
from patchnet.pages.public_table import table_of
from patchnet.pages.scheme import SchemePack, Told, scheme_report
from patchnet.pages.scheme.tape_sheet import tape_sheet
from patchnet.pages.sheets import plan_cards
from patchnet.pages.sheets.city_page import city_page
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.pages.sheets.plan_card import plan_card
from patchnet.pages.sheets.plan_cards import Cards
from patchnet.pages.sheets.poster import poster
from patchnet.pages.sheets.progress_page import progress_page
from patchnet.pages.sheets.residents_notice import residents_notice, residents_picture
from patchnet.pages.sheets.street_sheet import street_sheet
from patchnet.pages.sheets.tile_page import TileTold, tile_page
from patchnet.pages.survey import SurveyRound, survey_phone_page, survey_sheets
from patchnet.pages.survey.progress import survey_progress
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import plan_plot
from patchnet.plan.plan_together import plan_together
from patchnet.read import read_neighbourhood
from patchnet.read.neighbourhood import Answers
from patchnet.street import find_street, planter_sites
from patchnet.street.to_measure import places_to_measure
from patchnet.sun.at_plot import plot_sun
from patchnet.survey.release import Ledger
from patchnet.survey.survey_layers import read_records_if_any

DEMO = Path(__file__).parents[2] / "data_demo"
PAGES = Path(templates.__file__).parents[1]
TEMPLATES = sorted(
    str(path.relative_to(PAGES)) for end in ("html", "svg") for path in PAGES.rglob(f"*.{end}")
)
PAYLOAD = " <b class='hit' onclick=\"hit()\">&</b></script></style><!--"

# The only places that say of text that it need not be escaped, and why each may.
UNESCAPED = {
    "kit/escape.py": "scripts, their data and style sheets, none of which can end its element",
    "kit/templates.py": "what a template of ours has written",
    "sheets/plan_card.py": "both sides of a card that a template of ours has written",
    "sheets/plan_cards.py": "the same, without the patterns that another of them brings",
    "map/map_page.py": "the box that folium makes for the map: no text of a user is in it",
}


class Tags(HTMLParser):
    """Tags of a page, and what stands between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_comment(self, data) -> None:
        self.tags.append(("!--", {}))

    def handle_data(self, data) -> None:
        self.said.append(data)


@pytest.fixture(scope="module")
def laced_pages(knowledge):
    """Every kind of page, drawn from texts that are markup; and which templates drew them."""
    used = set()
    old = templates.environment
    env = old()
    load = env._load_template

    def watched(name, found):
        used.add(name)
        return load(name, found)

    env._load_template = watched
    templates._macros.cache_clear()
    try:
        pages = dict(drawn(knowledge))
    finally:
        del env._load_template
    return pages, used


def drawn(knowledge):
    tables = laced_tables(knowledge, PAYLOAD)
    hood = laced_neighbourhood(read_neighbourhood(DEMO, knowledge=knowledge), PAYLOAD)
    answer = assess(hood, knowledge=tables, groups=["mason_bee", "newt"])
    yield "map", map_page(answer)
    address = "https://tiles.example.org/{z}/{x}/{y}.png"
    flies = answer.of_groups(["mason_bee"])  # what the page of one that walks has, "map" has too
    yield "tiles", map_page(flies, tiles=address, tiles_credit=PAYLOAD)
    yield "openstreetmap", map_page(flies, tiles="openstreetmap")
    yield "poster", poster(answer, title=PAYLOAD, meet=PAYLOAD)
    _, given = table_of(
        Ledger(), hood, public_features(tables), knowledge=tables, today=date(2026, 6, 1)
    )
    everybody = assessment_for(answer, "public", released=given)
    yield "notice", residents_notice(everybody, title=PAYLOAD, meet=PAYLOAD)
    assert residents_picture(everybody, title=PAYLOAD, meet=PAYLOAD).startswith(b"\x89PNG")
    plot = hood.plots.index[hood.plots["kind"] == "garden_back"][0]
    sun = plot_sun(hood, plot, knowledge=tables)
    plan = plan_plot(answer, plot, facts=PlotFacts(keep=("seat_evening",)), month=4)
    assert plan.best is not None
    assert plan.places is not None
    card = plan_card(plan, answer, sun=sun)
    yield "card", card
    yield "stack", plan_cards._stack([card, card], 1)
    other = str(hood.plots.index[0])
    held = Cards(Path(PAYLOAD), {str(plot): PAYLOAD}, 0, {other: PAYLOAD}, (PAYLOAD,))
    yield "cards", plan_cards._index(held, answer)
    yield "figure", calendar_figure(plan.planting, tables, ident=PAYLOAD)
    gardens = [str(one) for one in hood.plots.index[hood.plots["kind"] == "garden_back"][:2]]
    yield "street", street_sheet(plan_together(answer, plots=gardens), tables)
    for audience in ("own", "public"):
        records = read_records_if_any(Path("no such file"))
        features = public_features(tables)
        _, table = table_of(Ledger(), hood, features, knowledge=tables, today=date(2026, 6, 1))
        found = survey_progress(hood, records, knowledge=tables, audience=audience, released=table)
        yield f"progress {audience}", progress_page(found, knowledge=tables, title=PAYLOAD)
    survey = SurveyRound(some_plots(hood), tables, PAYLOAD, PAYLOAD, PAYLOAD)
    yield "sheets", survey_sheets(survey)
    yield "phone", survey_phone_page(survey)
    street = find_street(hood, f"Wickthorn Street{PAYLOAD}", knowledge=tables)
    scheme = made_scheme(hood, street, planter_sites(hood, street, knowledge=tables), tables)
    yield "change", compare_page(scheme.comparison)
    told = Told(by=PAYLOAD, contact=PAYLOAD, date=PAYLOAD, status=PAYLOAD)
    yield "report", scheme_report(SchemePack(scheme, told))
    whole = small_city(tables)
    yield "city", city_page(whole, knowledge=tables, title=PAYLOAD)
    yield "tile", tile_page(laced_tile(), whole, knowledge=tables, title=PAYLOAD)
    places = places_to_measure(scheme.sites, knowledge=tables)
    yield "tape", tape_sheet(places, street, hood, knowledge=tables)


def some_plots(hood):
    """Two plots of each kind in each street: sheets have pages of boxes for every few plots."""
    plots = hood.plots.groupby(["street", "kind"], sort=False).head(2)
    rows = hood.plots.index.get_indexer(plots.index)
    told = hood.answers
    answers = Answers(
        plots.index, told.features, told.amount[rows], told.sized[rows], told.sure[rows]
    )
    features = hood.features[hood.features["plot"].isin(plots.index)]
    return dataclasses.replace(hood, plots=plots, answers=answers, features=features)


def small_city(tables):
    """Two tiles whose texts are markup."""
    animal = {"name": tables.groups["newt"].name, "breaks": 1, "shared": "portions",
              "tried_on": 3, "homes_off": -0.01, "plots_off": 0.02}  # fmt: skip
    file = f"tiles/{PAYLOAD}"
    worst = {"group": "newt", "from_plot": PAYLOAD, "to_plot": PAYLOAD, "width_m": 9.0,
             "homes_won": 0.5, "share": 0.25}  # fmt: skip
    tiles = {"a": {"file": file}, PAYLOAD: {"file": file, "homes_newt": 2.0}}
    return made_city(tiles, animal=animal, worst={"a": worst}, credits=(PAYLOAD,))


def laced_tile():
    """Two plots and a break whose texts are markup."""
    plots = gpd.GeoDataFrame(
        {"id": ["a", PAYLOAD], "label": PAYLOAD, "street": [PAYLOAD, ""], "area_m2": 300.0,
         "known_share": 0.5, "homes_newt": [1.0, 2.0], "room_newt": 3.0,
         "scarcest_newt": "damp_cover_on_land"},
        geometry=[shapely.box(0, 0, 10, 30), shapely.box(10, 0, 20, 30)], crs="EPSG:27700",
    )  # fmt: skip
    breaks = gpd.GeoDataFrame(
        {"group": ["newt"], "from_plot": PAYLOAD, "to_plot": PAYLOAD, "width_m": 9.0,
         "homes_won": 0.5}, geometry=[shapely.LineString([(0, 0), (20, 30)])], crs="EPSG:27700",
    )  # fmt: skip
    return TileTold(PAYLOAD, plots, breaks)


def test_every_template_is_filled_in_by_some_page(laced_pages):
    assert sorted(laced_pages[1]) == TEMPLATES


def test_text_is_text_on_every_page(laced_pages):
    """The payload would make an element, an attribute, a comment, or end a script or a style."""
    pages, _ = laced_pages
    for name, page in pages.items():
        read = Tags(page)
        for tag, attributes in read.tags:
            assert tag != "!--", name
            assert attributes.get("class") != "hit", name
            assert "onclick" not in attributes, name
        if "payload" not in page:  # a page with a script carries its texts as data
            assert PAYLOAD.strip() in "".join(read.said), name


def test_every_page_has_the_same_head(laced_pages):
    pages, _ = laced_pages
    for name, page in pages.items():
        if name == "figure":
            continue
        assert page.startswith('<!DOCTYPE html>\n<html lang="en">\n<head>\n'), name
        assert MADE_BY in page[:4096], name
        kinds = [tag for tag, _ in Tags(page).tags]
        assert kinds.count("main") == kinds.count("body") == 1, name
        assert "h1" in kinds, name
        policy = next(
            one["content"]
            for tag, one in Tags(page).tags
            if tag == "meta" and one.get("http-equiv") == "Content-Security-Policy"
        )
        assert policy.startswith("default-src 'none'; "), name
        assert policy.endswith("; base-uri 'none'; form-action 'none'"), name
        assert "script-src 'unsafe" not in policy, name


# Pages with a script are gone through by axe where they are used (test_map_access,
# test_survey_phone), the report in test_scheme_report; the others here, wherever they come from.
ELSEWHERE = {"map", "tiles", "openstreetmap", "phone", "report"}
HERE = (
    "poster", "notice", "card", "stack", "cards", "street", "progress own", "progress public",
    "sheets", "change", "tape", "city", "tile",
)  # fmt: skip


@pytest.mark.browser
def test_axe_finds_nothing_on_any_page(laced_pages, browser, tmp_path):
    pages, _ = laced_pages
    assert set(pages) - {"figure"} == {*HERE, *ELSEWHERE}
    context = browser.new_context(viewport={"width": 1000, "height": 800}, offline=True)
    tab = context.new_page()
    found = {}
    for name in HERE:
        path = tmp_path / "page.html"
        path.write_text(pages[name], encoding="utf-8")
        tab.goto(path.as_uri())
        # Each drawing is one picture with a name; to go through its lines takes most of the time.
        tab.evaluate(
            "document.querySelectorAll('svg[role=img] > :not(title, desc), svg[aria-hidden] > *')"
            ".forEach((one) => one.remove())"
        )
        broken = violations(tab)
        if broken:
            found[name] = broken
    context.close()
    assert found == {}


@pytest.mark.parametrize("name", TEMPLATES)
def test_no_template_lifts_the_escaping(name):
    source = (PAGES / name).read_text(encoding="utf-8")
    assert not re.search(r"\|\s*safe|autoescape|Markup|\{%-?\s*raw|\|\s*tojson", source)
    beside = [path.stem for path in (PAGES / name).parent.glob("*.py")]
    assert (PAGES / name).parent.name in {"kit", "map", "sheets", "survey", "scheme"}
    assert beside


def test_no_text_of_a_script_runs_over_lines():
    """Else it would be changed when the indents are taken out of a page's script."""
    for path in PAGES.rglob("*.js"):
        for line in path.read_text(encoding="utf-8").splitlines():
            assert line.count("`") % 2 == 0, (path.name, line)


def calls_of(tree, name):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args:
            called = node.func
            if (called.id if isinstance(called, ast.Name) else getattr(called, "attr", "")) == name:
                yield node


def test_few_places_say_that_text_need_not_be_escaped():
    found = {
        str(path.relative_to(PAGES))
        for path in PAGES.rglob("*.py")
        if any(calls_of(ast.parse(path.read_text(encoding="utf-8")), "Markup"))
    }
    assert found == set(UNESCAPED)


def test_tags_stand_in_templates_alone():
    """No string of a module holds a tag; docstrings may name one."""
    tag = re.compile(r"</?[a-z][a-z0-9]*/?>|<[a-z][a-z0-9]*\s+[a-z-]+=")
    for path in PAGES.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        told = {
            id(node.value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        }
        for node in ast.walk(tree):
            if id(node) in told or not isinstance(node, ast.Constant):
                continue
            assert not tag.search(str(node.value)), f"{path.name}: {node.value}"


def test_the_kit_knows_none_of_the_pages():
    for path in (PAGES / "kit").glob("*.py"):
        source = path.read_text(encoding="utf-8")
        assert set(re.findall(r"patchnet\.pages\.(\w+)", source)) <= {"kit"}, path.name


def test_an_installed_package_holds_every_file_of_the_pages():
    project = tomllib.loads((PAGES.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = project["tool"]["setuptools"]["package-data"]["patchnet"]
    packed = {path for pattern in patterns for path in PAGES.parent.glob(pattern)}
    beside = {
        path
        for path in PAGES.rglob("*.*")
        if path.suffix not in {".py", ".pyc"} and "__pycache__" not in path.parts
    }
    assert beside <= packed


def test_what_is_not_given_is_an_error():
    with pytest.raises(UndefinedError):
        templates.render("kit/sun_figure.svg", left=1)


def test_lines_that_are_joined():
    """Breaks between tags leave nothing, breaks beside words one blank, and errors their line."""
    tags = "<p>one\n  two</p>\n\n<b>{{ x }}</b>\n{{ y }}\nthree\n"
    source = f"{{% joined %}}\n{tags}{{% endjoined %}}\nfour"
    made = templates.environment().from_string(source)
    assert made.render(x="<", y=3) == "<p>one two</p><b>&lt;</b>3 threefour"
    with pytest.raises(UndefinedError) as caught:
        made.render(x=1)
    lines = [entry.lineno + 1 for entry in caught.traceback if str(entry.path) == "<template>"]
    assert lines[-1] == 6
