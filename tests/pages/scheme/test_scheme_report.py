"""The report: in the order it is read, escaped, self-contained, and true to scale on paper."""

import dataclasses
import html
import math
import re
import zlib

import pytest
from axe_playwright_python.sync_playwright import Axe

from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.kit.to_scale import A3
from patchnet.pages.scheme import SchemePack, Told, scheme_report
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    levels_off,
)
from patchnet.scheme.planter_scheme import SchemeStep

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
        "Not a permission", "<h2>Summary</h2>", "Location plan", "Existing street",
        "Footway widths", "Proposal plan", "Setting out", "Typical section",
        "What the street rules say", "Plant schedule", "Bill of quantities", "<h2>Upkeep</h2>",
        "Watering rota", "Risk sheet", "Permissions and consultees", "<h2>Phasing</h2>",
        "The ecological case", "Places not used", "<h2>Sources</h2>",
    )  # fmt: skip
    places = []
    for words in order:
        start = places[-1] if places else 0
        assert words in report[start:], words
        places.append(report.index(words, start))
    front = report[: report.index("<h2>Summary</h2>")]
    assert "Not a permission; follow your authority's code" in html.unescape(front)


def test_every_planter_and_every_place_not_used_is_told(report, demo_scheme):
    setting_out = report[report.index("<h2>Setting out") : report.index("<h2>Typical section")]
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
    unused = report[report.index("<h2>Places not used") :]
    used = {one.site.key for one in demo_scheme.planters}
    for site in demo_scheme.sites:
        assert (f'<th scope="row">{site.key}</th>' in unused) == (site.key not in used)
    no = next(site for site in demo_scheme.sites if site.verdict == "no")
    row = re.search(rf'<th scope="row">{no.key}</th>(.*?)</tr>', unused)[1]
    for finding in no.findings:
        if finding.verdict != "fits":
            assert finding.rule.replace("_", " ") in row


def test_every_risk_task_and_consent_of_the_tables_is_there(report, knowledge):
    plain = html.unescape(report)
    for risk in knowledge.scheme_risks:
        assert risk.hazard in plain
        assert risk.control in plain
    for task in knowledge.upkeep_tasks:
        assert task.task in plain
    for consent in knowledge.scheme_consents:
        assert consent.name in plain


def test_what_is_missing_is_said(report):
    assert "2 planters without a keeper: S03, S04" in report
    assert "more is asked than was promised" in report
    assert "ask them again before this report is published" in report
    assert "£2,000" in report


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


def test_the_first_sentence_says_what_is_won_and_what_is_asked(short):
    """100 to 112 is 12 %; 200 to 201 is half a per cent, told as little; what is not sure is not
    promised."""
    words = short_words(short, [("mason_bee", 100, 112, True), ("bumblebee", 200, 201, True)])
    assert "raise the linked homes of red mason bee by 12 %" in words
    assert "1 other group by less" in words
    assert "the council is asked for a licence for these 4 places" in words
    assert words.count(".") == 1
    words = short_words(short, [("mason_bee", 100, 100, True), ("bumblebee", 200, 201, True)])
    assert "garden bumblebee gain most, 0.5 % more linked homes" in words
    words = short_words(short, [("mason_bee", 100, 112, False), ("bumblebee", 9, 8, True)])
    assert "no gain in linked homes that is sure" in words


def test_the_certificate_is_the_bound_over_the_gain():
    """Bound 5 over gain 4: another could win a quarter more. From `wide` on that is said to be
    wide, below it is not."""
    plain = certificate_words(step(3, 4.0, 5.0), exact=False, wide=0.3)
    assert "can win more than 25 % more" in plain
    assert "wide margin" not in plain
    assert "wide margin" in certificate_words(step(3, 4.0, 5.0), exact=False, wide=0.25)
    assert "It is proved" in certificate_words(step(3, 4.0, 4.0), exact=True, wide=0.1)
    assert "Nothing is won" in certificate_words(step(3, 0.0, 5.0), exact=False, wide=0.1)


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
    found = Axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]})
    assert found.violations_count == 0, found.generate_report()


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
    scales = [
        int(one.replace(",", ""))
        for one in re.findall(r"Bar of [\d.]+ m, scale 1 to ([\d,]+)", report)
    ]
    lengths = [float(one) for one in re.findall(r"Bar of ([\d.]+) m, scale", report)]
    assert scales[1:3] == [500, 500]
    assert set(scales[3:]) == {200}
    assert len(scales) == len(lying)
    for scale, metres, filled in zip(scales, lengths, lying, strict=True):
        half = metres * 1000 / scale / 2
        bars = [one for one in filled if one == pytest.approx((half, 1.6), abs=0.02)]
        assert len(bars) == 2, (scale, half)


@pytest.mark.browser
def test_plans_print_on_a3_at_the_same_scales(short, shown):
    """A3 is 297 x 420 mm (ISO 216); half of a 10 m bar at 1:200 is 25 mm there as well. On 373 mm
    of paper the street of 172 m takes one sheet at 1:500, and 3 of 57.3 m at 1:200."""
    html = scheme_report(SchemePack(short, Told(), A3))
    assert "1:200 at A3" in html
    assert " at A4" not in html
    assert html.count("Existing street, 0 to 172 m") > 0
    assert "Proposal plan, 57 to 115 m" in html
    pages = printed(shown(html))
    lying = [(size, filled) for size, filled in pages if size[0] > size[1]]
    assert len(lying) == html.count('class="sheet"')
    for size, _ in lying:
        assert size == pytest.approx((420, 297), abs=0.5)
    for size, _ in pages:
        assert size[0] > size[1] or size == pytest.approx((210, 297), abs=0.5)
    bars = [one for one in lying[-1][1] if one == pytest.approx((25, 1.6), abs=0.02)]
    assert len(bars) == 2


@pytest.mark.browser
def test_the_summary_fits_one_page(report, shown):
    """A4 is 297 mm high; with margins of 14 and 16 mm there are 267 mm to print on."""
    page = shown(report, width=round(180 * 96 / 25.4))
    page.emulate_media(media="print")
    high = page.evaluate("document.querySelector('.summary').getBoundingClientRect().height")
    assert high * 25.4 / 96 < 267


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
    line = demo_scheme.street.line
    # The front and the location; two sheets of the existing street; the second of four of the
    # proposal.
    expected = [0.0, 0.0]
    for count, sheets in ((2, (0, 1)), (4, (1,))):
        for at in sheets:
            first = line.interpolate(line.length * at / count)
            last = line.interpolate(line.length * (at + 1) / count)
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
