"""The report: in the order it is read, escaped, self-contained, and true to scale on paper."""

import dataclasses
import html
import math
import re
import zlib

import pytest
from worlds.axe_findings import violations

from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.kit.to_scale import A3
from patchnet.pages.scheme import SchemePack, Told, scheme_report
from patchnet.pages.scheme.case import case_html, sure_html
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    levels_off,
)
from patchnet.pages.scheme.duties import permissions_html
from patchnet.pages.scheme.front import front_html, summary_html
from patchnet.pages.scheme.front_figures import figures_of
from patchnet.pages.scheme.places import places_html, stretches_of
from patchnet.pages.scheme.unknown import unknown_words
from patchnet.pages.scheme.upkeep import rota_html
from patchnet.scheme.planter_scheme import SchemeChoice, SchemeStep
from patchnet.scheme.who_gains import addresses_of, people_beside
from patchnet.street import Finding

PAYLOAD = "<script>window.hit=1</script><img src=x onerror='window.hit=2'>\"`"
POINTS = 72 / 25.4  # of a PDF in a millimetre


@pytest.fixture(scope="module")
def report(demo_scheme):
    return scheme_report(SchemePack(demo_scheme, Told()))


@pytest.fixture(scope="module")
def short(demo_scheme):
    """The scheme with few places looked at and few things in the street."""
    used = {one.site.key for one in demo_scheme.planters}
    few = [site for site in demo_scheme.sites if site.key in used or site.chainage_m < 12]
    street = dataclasses.replace(demo_scheme.street, objects=demo_scheme.street.objects[:3])
    return dataclasses.replace(demo_scheme, sites=tuple(few), street=street)


@pytest.fixture
def shown(browser, tmp_path):
    contexts = []

    def show(html, width=1200):
        path = tmp_path / "report.html"
        path.write_text(html, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": 800}, offline=True)
        contexts.append(context)
        page = context.new_page()
        page.requests_made = []
        said = []
        page.on("console", lambda message: said.append(message.text))
        page.on("request", lambda request: page.requests_made.append(request.url))
        page.goto(path.as_uri())
        assert said == []
        return page

    yield show
    for context in contexts:
        context.close()


def test_stands_in_the_order_a_council_officer_reads(report):
    order = (
        "What we ask of you", "What we do not know yet", "Not a permission",
        "<h2>The planters at a glance</h2>", "<h2>Who lives beside it</h2>", "The proposal",
        "<h2>Sections across the footway</h2>", "<h2>Before and after</h2>", "<h2>Planting</h2>",
        "<h2>What it costs</h2>", "<h2>Money and hours over the years</h2>", "<h2>Upkeep</h2>",
        "<h2>Risk sheet</h2>", "<h2>Permissions and consultees</h2>", "<h2>Places not used</h2>",
        "<h2>Appendix</h2>", "<h2>Order of building</h2>", "Location plan", "Footway widths",
        "<h2>Setting out</h2>", "What the street rules say", "Watering rota", "<h2>Sources</h2>",
    )  # fmt: skip
    places = []
    for words in order:
        start = places[-1] if places else 0
        assert words in report[start:], words
        places.append(report.index(words, start))
    front = report[: report.index("<h2>The planters at a glance</h2>")]
    assert "Not a permission; follow your authority's code" in html.unescape(front)


def test_every_planter_is_set_out(report, demo_scheme):
    setting_out = report[report.index("<h2>Setting out") : report.index("What the street rules")]
    for one in demo_scheme.planters:
        site = one.site
        row = re.search(rf'<th scope="row">{one.plot}</th>(.*?)</tr>', setting_out)[1]
        for words in (
            f"{site.chainage_m:.1f} m",
            f"{site.centre.x:.2f}",
            f"{site.centre.y:.2f}",
            f"{site.offset_m:.2f} m (from the map)",
            f"{site.clear_m:.2f} m ({site.clear_basis})",
        ):
            assert words in row


def test_refused_places_stand_in_stretches_with_the_box_that_came_closest(demo_scheme):
    """Three places on the left fail by their width by 0.1, 0.4 and 0.2 m of 1.5 m, one is to be
    asked about, one on the right fails by two rules: two stretches, the nearest of each named."""

    def no(rule, figure):
        return Finding(rule, "no", figure, 1.5, "m", "measured", "", "")

    def site(key, side, chainage, *findings, verdict="no"):
        return dataclasses.replace(
            demo_scheme.sites[0], key=key, side=side, chainage_m=chainage, verdict=verdict,
            findings=findings,
        )  # fmt: skip

    sites = (
        site("L001.0", "left", 1.0, no("clear_width", 1.4)),
        site("L002.0", "left", 2.0, no("clear_width", 1.1)),
        site("L003.0", "left", 3.0, no("clear_width", 1.3)),
        site("L004.0", "left", 4.0, verdict="ask"),
        site("R001.0", "right", 1.0, no("clear_width", 1.2), no("driveway", 0.3)),
    )
    assert [[one.key for one in own] for own in stretches_of(sites)] == [
        ["L001.0", "L002.0", "L003.0"],
        ["R001.0"],
    ]
    scheme = dataclasses.replace(demo_scheme, sites=sites)
    said = html.unescape(str(places_html(SchemePack(scheme, Told()))))
    assert "at L001.0: 1.40 of 1.5 m (measured)" in said
    assert "1 to 3 m" in said
    assert "driveway" in said
    assert "at R001.0: 0.30 of 1.5 m" in said  # farther from its limit: 0.8 against 0.2
    assert "1 places could be used" in said
    assert "L002.0" not in said


def test_every_risk_and_task_is_there_and_the_permissions_of_the_country(report, knowledge):
    plain = html.unescape(report)
    for risk in knowledge.scheme_risks:
        assert risk.hazard in plain
        assert risk.control in plain
    for task in knowledge.upkeep_tasks:
        assert task.task in plain
    here = {one.name for one in knowledge.scheme_consents if one.holds_in("gb")}
    for consent in knowledge.scheme_consents:
        assert (consent.name in plain) == (consent.name in here)


def test_each_country_has_a_permission_of_its_own(demo_scheme, knowledge):
    for country in knowledge.countries:
        hood = dataclasses.replace(demo_scheme.neighbourhood, country=country)
        scheme = dataclasses.replace(demo_scheme, neighbourhood=hood)
        said = html.unescape(str(permissions_html(SchemePack(scheme, Told()))))
        own = [
            one.name
            for one in knowledge.scheme_consents
            if one.part == "permission" and country in one.where
        ]
        assert own
        assert all(name in said for name in own)
        assert ("section 142" in said) == (country == "gb")


def test_what_is_missing_is_said(report, demo_scheme):
    assert "2 planters without a keeper: S03, S04" in report
    assert "Who waters S03, S04: nobody is named." in report
    assert "ask them again before this report is published" in report
    assert "£2,000" in report
    keeper = dataclasses.replace(demo_scheme.ask.keepers[0], litres=1.0)
    ask = dataclasses.replace(demo_scheme.ask, keepers=(keeper,))
    pack = SchemePack(dataclasses.replace(demo_scheme, ask=ask), Told())
    assert "more is asked than was promised" in str(rota_html(pack))


def test_what_is_known_is_not_told_as_unknown(demo_scheme):
    planters = tuple(
        dataclasses.replace(
            one,
            keeper="Ann",
            site=dataclasses.replace(one.site, verdict="fits", clear_basis="measured"),
        )
        for one in demo_scheme.planters
    )
    street = dataclasses.replace(demo_scheme.street, speed_basis="measured", objects_known=True)
    said = unknown_words(
        SchemePack(dataclasses.replace(demo_scheme, planters=planters, street=street), Told())
    )
    assert len(said) == 2
    assert said[0].startswith("What firms would charge")
    assert said[1].startswith("What grows in gardens")


def test_before_and_change_make_after(demo_scheme):
    """Whatever the figures are: of the three that are shown the first two add up to the third."""
    kept = demo_scheme.comparison.groups[0]
    pairs = [(270.4, 347.2), (0.034, 3.26), (16.492, 16.565), (1234, 1834.4), (99.6, 100.4)]
    for before, after in pairs:
        change = dataclasses.replace(kept, linked_before=before, linked_after=after, sure=None)
        comparison = dataclasses.replace(demo_scheme.comparison, groups=(change,))
        scheme = dataclasses.replace(demo_scheme, comparison=comparison)
        said = html.unescape(str(case_html(SchemePack(scheme, Told()))))
        row = re.search(r'<th scope="row">.*?</th>(.*?)</tr>', said)[1]
        cells = [float(one.replace(",", "")) for one in re.findall(r"<td>([+\d.,]+)</td>", row)[:3]]
        assert cells[0] + cells[2] == pytest.approx(cells[1], abs=1e-9)


def test_a_share_of_next_to_nothing_is_hardly_any(demo_scheme):
    """By 4.1 % was 0.000035 homes: no share is told, and nothing is won on the front."""
    kept = demo_scheme.comparison.groups[0]
    change = dataclasses.replace(
        kept, linked_before=0.00085, linked_after=0.000885, sure=True, breaks_closed=(),
        components_before=2, components_after=2,
    )  # fmt: skip
    comparison = dataclasses.replace(demo_scheme.comparison, groups=(change,))
    pack = SchemePack(dataclasses.replace(demo_scheme, comparison=comparison), Told())
    assert "Hardly any change, less than a twentieth of a home" in str(case_html(pack))
    assert "hardly any" in str(sure_html(pack))
    assert figures_of(pack)[0][0] == "0"
    assert "hardly any gain" in str(front_html(pack))
    assert " %" not in re.search(r'<p class="lead">(.*?)</p>', str(front_html(pack)))[1]


def choice(verdicts, sites, **more):
    return SchemeChoice(
        verdicts=verdicts, sites=sites, value=1.0, homes=2.0, low=None, high=None, linked={},
        within=0.0, taken=False, **more,
    )  # fmt: skip


def test_schemes_side_by_side_where_some_were_compared(demo_scheme):
    """Two choices: money, questions and the homes of people within reach of each, counted by hand
    from the edge of its boxes."""
    alone = dataclasses.replace(demo_scheme, choices=demo_scheme.choices[:1])
    assert "Schemes side by side" not in str(summary_html(SchemePack(alone, Told())))
    placed = [one.site for one in demo_scheme.planters]
    first = choice(("fits",), ((placed[0].key, "x"),), cost=99.0, ask=0, measure=0)
    both = choice(
        ("fits", "ask", "measure"), tuple((one.key, "x") for one in placed), cost=4321.0, ask=1,
        measure=2,
    )  # fmt: skip
    laid = dataclasses.replace(demo_scheme, choices=(first, both))
    hood, know = demo_scheme.before.neighbourhood, demo_scheme.after.knowledge
    reach = know.scheme_figure("gain_reach_m")
    counted = [
        sum(any(one.polygon.distance(home.shape) <= reach for one in sites)
            for home in addresses_of(hood, know))
        for sites in (placed[:1], placed)
    ]  # fmt: skip
    assert people_beside(laid) == tuple(counted)
    assert counted[0] > 0
    said = html.unescape(str(summary_html(SchemePack(laid, Told()))))
    for words in ("Only places that fit", "After measuring", "£99", "£4,321"):
        assert words in said
    assert re.search(rf"£4,321</td><td[^>]*>1</td><td[^>]*>2</td><td[^>]*>{counted[1]}</td>", said)


def test_nothing_is_fetched_and_there_is_no_script(report):
    assert outside_addresses(report) == []
    assert "<script" not in report
    assert set(re.findall(r"https?://[^\"' ]+", report)) == {"http://www.w3.org/2000/svg"}


def test_same_scheme_same_report(report, demo_scheme):
    assert scheme_report(SchemePack(demo_scheme, Told())) == report


def step(planters, value, bound=None):
    return SchemeStep(planters, (), value, {}, 0.0, value if bound is None else bound)


def test_the_curve_says_where_more_stops_helping():
    """Gains 50, 40, 8, 2 of 100: from 3 planters on each further one adds under 5 %. A straight
    line never levels off."""
    values = (0, 50, 90, 98, 100)
    assert levels_off(tuple(step(*pair) for pair in enumerate(values)), 0.05) == 3
    assert levels_off(tuple(step(k, 10.0 * k) for k in range(5)), 0.05) is None
    assert levels_off(tuple(step(k, 0.0) for k in range(5)), 0.05) is None


def test_how_many_are_enough_is_said_in_words(demo_scheme):
    """Gains 50, 40, 8, 2 of 100: three planters win 98 % of what four win."""
    values = (0, 50, 90, 98, 100)
    steps = tuple(step(*pair) for pair in enumerate(values))
    words = enough_words(dataclasses.replace(demo_scheme, curve=steps))
    assert "The best 3 planters win 98 % of what the best 4 win" in words
    only_three = dataclasses.replace(demo_scheme, curve=steps, planters=demo_scheme.planters[:3])
    assert chosen_step(only_three).planters == 3
    rising = tuple(step(k, 10.0 * k) for k in range(5))
    assert "still helps" in enough_words(dataclasses.replace(demo_scheme, curve=rising))


def short_words(scheme, changes):
    """The summary's first sentence for changes given as group, linked before, after, sure."""
    kept = {change.group: change for change in scheme.comparison.groups}
    groups = tuple(
        dataclasses.replace(
            kept[group], linked_before=before, linked_after=after, sure=sure, breaks_closed=()
        )
        for group, before, after, sure in changes
    )
    comparison = dataclasses.replace(scheme.comparison, groups=groups)
    html = scheme_report(SchemePack(dataclasses.replace(scheme, comparison=comparison), Told()))
    return re.search(r'<p class="lead">(.*?)</p>', html)[1]


def test_the_first_sentence_says_what_is_won(short):
    """Before and after, no share; what is not sure is not promised."""
    words = short_words(short, [("mason_bee", 100, 112, True), ("bumblebee", 200, 201, True)])
    assert "red mason bee from 100 to 112 and garden bumblebee from 200.0 to 201.0" in words
    assert "%" not in words
    words = short_words(short, [("mason_bee", 100, 100, True), ("bumblebee", 200, 200.02, True)])
    assert "hardly any gain in homes" in words
    words = short_words(short, [("mason_bee", 100, 112, False), ("bumblebee", 9, 8, True)])
    assert "no gain in homes that is sure" in words


def test_the_certificate_is_the_bound_over_the_gain():
    """Bound 5 over gain 4: another could win a quarter more. From `wide` on that is said to be
    wide, below it is not."""
    plain = certificate_words(step(3, 4.0, 5.0), exact=False, wide=0.3, blind=1.0)
    assert "can win more than 25 % more" in plain
    assert "wide margin" not in plain
    assert "wide margin" in certificate_words(step(3, 4.0, 5.0), exact=False, wide=0.25, blind=1.0)
    # Where another could win twice as much or more, the bound says nothing of the choice.
    loose = certificate_words(step(3, 4.0, 56.0), exact=False, wide=0.1, blind=1.0)
    assert "cannot be told" in loose
    assert "up to 14 times as much" in loose
    assert "It is proved" in certificate_words(step(3, 4.0, 4.0), exact=True, wide=0.1, blind=1.0)
    assert "no two planters win more" in certificate_words(
        step(2, 4.0, 4.0), exact=False, wide=0.1, blind=1.0
    )
    assert "Nothing is won" in certificate_words(
        step(3, 0.0, 5.0), exact=False, wide=0.1, blind=1.0
    )


@pytest.mark.browser
def test_text_of_others_is_text(short, shown):
    keeper = dataclasses.replace(short.planters[0], keeper=PAYLOAD, plot=PAYLOAD)
    hood = dataclasses.replace(short.neighbourhood, credits=(PAYLOAD,), name=PAYLOAD)
    objects = tuple(dataclasses.replace(one, name=PAYLOAD) for one in short.street.objects)
    laced = dataclasses.replace(
        short,
        planters=(keeper, *short.planters[1:]),
        neighbourhood=dataclasses.replace(hood, roads=hood.roads.assign(name=PAYLOAD)),
        street=dataclasses.replace(short.street, name=PAYLOAD, objects=objects, notes=(PAYLOAD,)),
        notes=(PAYLOAD,),
    )
    told = Told(by=PAYLOAD, contact=PAYLOAD, date=PAYLOAD, status=PAYLOAD)
    page = shown(scheme_report(SchemePack(laced, told)))
    assert page.evaluate("window.hit") is None
    assert page.locator("script, img").count() == 0
    assert PAYLOAD in page.inner_text("h1")
    assert len(page.requests_made) == 1


@pytest.mark.browser
def test_reads_on_a_phone_and_passes_axe(short, shown):
    page = shown(scheme_report(SchemePack(short, Told())), width=360)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    # Each drawing is one picture with a name; checking its lines would take most of the time.
    page.evaluate("document.querySelectorAll('.plan > *').forEach((one) => one.remove())")
    rules = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
    assert violations(page, tags=rules) == []


def printed(page):
    """Pages of the PDF: size in millimetres, and the rectangles filled on it (width, height)."""
    pdf = page.pdf(prefer_css_page_size=True)

    def stream(number):
        at = pdf.index(b"\n%d 0 obj" % number)
        at = pdf.index(b"stream\n", at) + len(b"stream\n")
        return zlib.decompressobj().decompress(pdf[at:]).decode("latin-1")

    kinds = rb"/Type\s*/Page\b(?!s)(.*?)/Contents\s+(\d+) 0 R"
    found = []
    for head, number in re.findall(kinds, pdf, re.DOTALL):
        box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", head)
        size = tuple(float(side) / POINTS for side in box.groups())
        found.append((size, list(rectangles(stream(int(number))))))
    return found


def rectangles(content):
    """Read the filled rectangles of a page: ``re`` then ``f``, under the matrices of cm, q, Q.

    Only matrices that scale and shift are met here (ISO 32000-1, 8.3.4 and 8.5).
    """
    scale, kept = (1.0, 1.0), []
    last = None
    for line in content.splitlines():
        words = line.split()
        operator = words[-1] if words else ""
        if operator == "q":
            kept.append(scale)
        elif operator == "Q":
            scale = kept.pop()
        elif operator == "cm":
            scale = scale[0] * float(words[0]), scale[1] * float(words[3])
        elif operator == "re":
            sides = zip(words[2:4], scale, strict=True)
            last = tuple(abs(float(side) * by) / POINTS for side, by in sides)
        elif operator == "f" and last is not None:
            yield last
        if operator not in ("re", "rg", "RG", "gs"):
            last = None


@pytest.mark.browser
def test_the_printed_page_is_a4_and_the_bar_is_as_long_as_it_says(report, shown):
    """Measured in the PDF: half of a 10 m bar at 1:200 is 25 mm long and 1.6 mm thick; half of a
    20 m bar at 1:500 is 20 mm; A4 is 210 x 297 mm (ISO 216)."""
    pages = printed(shown(report))
    assert 12 <= len(pages) <= 32
    for size, _ in pages:
        assert sorted(size) == pytest.approx([210, 297], abs=0.5)
    lying = [filled for (wide, high), filled in pages if wide > high]
    assert len(lying) == report.count('class="sheet"')
    sheets = report[report.index('class="sheet"') :]
    told = re.findall(r"Bar of ([\d.]+) m, scale 1 to ([\d,]+)", sheets)
    scales = [int(scale.replace(",", "")) for _, scale in told]
    lengths = [float(metres) for metres, _ in told]
    assert scales[0] == 200
    assert scales[2:4] == [500, 500]
    assert len(scales) == len(lying)
    for scale, metres, filled in zip(scales, lengths, lying, strict=True):
        half = metres * 1000 / scale / 2
        bars = [one for one in filled if one == pytest.approx((half, 1.6), abs=0.02)]
        assert len(bars) == 2, (scale, half)


@pytest.mark.browser
def test_plans_print_on_a3_at_the_same_scales(short, shown):
    """A3 is 297 x 420 mm (ISO 216); half of a 10 m bar at 1:200 is 25 mm there as well. On 373 mm
    of paper the street of 172 m takes one sheet at 1:500."""
    html = scheme_report(SchemePack(short, Told(), A3))
    assert "1:200 at A3" in html
    assert " at A4" not in html
    assert html.count("Existing street, 0 to 172 m") > 0
    pages = printed(shown(html))
    lying = [(size, filled) for size, filled in pages if size[0] > size[1]]
    assert len(lying) == html.count('class="sheet"')
    for size, _ in lying:
        assert size == pytest.approx((420, 297), abs=0.5)
    for size, _ in pages:
        assert size[0] > size[1] or size == pytest.approx((210, 297), abs=0.5)
    bars = [one for one in lying[0][1] if one == pytest.approx((25, 1.6), abs=0.02)]
    assert len(bars) == 2


@pytest.mark.browser
def test_the_report_has_ten_pages_and_an_appendix(report, shown):
    """Printed without its appendix; the refused places take one page (267 mm of an A4 sheet)."""
    page = shown(report, width=round(180 * 96 / 25.4))
    page.emulate_media(media="print")
    parts = page.evaluate(
        """() => [...document.querySelectorAll('section.part')]
            .map((one) => [one.querySelector('h2').textContent,
                           one.getBoundingClientRect().height])"""
    )
    high = {name: height * 25.4 / 96 for name, height in parts}
    for name in ("Places not used", "Planting", "What it costs", "Risk sheet",
                 "Permissions and consultees"):  # fmt: skip
        assert high[name] < 267, name
    page.evaluate("document.querySelector('.appendix').remove()")
    assert len(printed(page)) <= 10


@pytest.mark.browser
def test_north_arrow_on_paper_points_north(report, shown, demo_scheme):
    """Measured on the printed layout: the tip of the arrow lies from its foot where a step to the
    north lies on the ground, turned as the road is turned."""
    page = shown(report)
    page.emulate_media(media="print")
    ways = page.evaluate(
        """() => [...document.querySelectorAll('.north path')].map((path) => {
            const at = (x, y) => new DOMPoint(x, y).matrixTransform(path.getScreenCTM());
            const foot = at(0, 1), tip = at(0, -7);
            return [tip.x - foot.x, foot.y - tip.y];
        })"""
    )
    line, along = demo_scheme.street.line, [one.site.chainage_m for one in demo_scheme.planters]
    # The front; the proposal, 8 m beyond its planters; before and after; the location; two sheets
    # of the existing street.
    parts = [None, (min(along) - 8, max(along) + 8), None, None, None,
             (0, line.length / 2), (line.length / 2, line.length)]  # fmt: skip
    expected = []
    for part in parts:
        first, last = (line.interpolate(end) for end in part or (0, 0))
        expected.append(math.degrees(math.atan2(last.y - first.y, last.x - first.x)))
    turned = [math.degrees(math.atan2(right, up)) for right, up in ways]
    assert turned == pytest.approx(expected, abs=0.05)


@pytest.mark.browser
def test_sheets_hold_on_one_page_with_long_credits(short, shown):
    hood = dataclasses.replace(
        short.neighbourhood,
        credits=("Contains data of the map people of the whole county and their friends. " * 6,),
    )
    scheme = dataclasses.replace(short, neighbourhood=hood)
    html = scheme_report(SchemePack(scheme, Told(by="The Wickthorn Street Wildlife Group " * 2)))
    pages = printed(shown(html))
    assert sum(wide > high for (wide, high), _ in pages) == html.count('class="sheet"')
