"""Text that would like to be markup does nothing, in every field, in a real browser."""

import dataclasses

import pytest
from playwright.sync_api import expect
from worlds.page_texts import written

from patchnet.pages.map.map_page import map_page
from patchnet.read.neighbourhood import Answers

pytestmark = pytest.mark.browser

PAYLOADS = (
    "<script>window.hit = 1</script>",
    "</script><script>window.hit = 2</script>",
    "<img src=x onerror='window.hit = 3'>",
    "`${window.hit = 4}`",
    '"><svg onload="window.hit = 5">',
    "'; window.hit = 6; //",
    "\u202eesrever\u2066 <!-- {from} $& $title %s \u2028",
    "javascript:window.hit=7",
)


def laced(made):
    """Put the payloads into every text that a user's file or a user's tables can bring."""
    hood, know = made.neighbourhood, made.knowledge

    def text(at: int) -> str:
        return f"{PAYLOADS[at % len(PAYLOADS)]} {at}"

    plots = hood.plots.copy()
    renamed = {old: text(at) for at, old in enumerate(plots.index)}
    plots.index = plots.index.map(renamed)
    plots["label"] = [text(at + 1) for at in range(len(plots))]
    plots["street"] = [PAYLOADS[at % len(PAYLOADS)] for at in range(len(plots))]
    plots["kind"] = [PAYLOADS[at % len(PAYLOADS)] for at in range(len(plots))]
    answers = hood.answers
    roads = hood.roads.assign(name=[text(at) for at in range(len(hood.roads))])
    barriers = hood.barriers.assign(
        kind=[text(at) for at in range(len(hood.barriers))],
        gap=[text(at) for at in range(len(hood.barriers))],
    )
    hood = dataclasses.replace(
        hood,
        name=" ".join(PAYLOADS),
        plots=plots,
        answers=Answers(plots.index, answers.features, answers.amount, answers.sized, answers.sure),
        roads=roads,
        barriers=barriers,
        credits=PAYLOADS,
    )
    features = {
        key: dataclasses.replace(feature, name=text(at))
        for at, (key, feature) in enumerate(know.features.items())
    }
    cautions = {
        key: dataclasses.replace(caution, words=text(at))
        for at, (key, caution) in enumerate(know.cautions.items())
    }
    resources = {
        key: dataclasses.replace(resource, name=text(at), unit=text(at))
        for at, (key, resource) in enumerate(know.resources.items())
    }
    sources = {
        key: dataclasses.replace(source, citation=text(at), doi=text(at))
        for at, (key, source) in enumerate(know.sources.items())
    }
    know = dataclasses.replace(
        know, features=features, cautions=cautions, resources=resources, sources=sources
    )
    groups = {}
    for at, (key, answer) in enumerate(made.groups.items()):
        group = dataclasses.replace(
            answer.group, name=text(at), latin=text(at + 1), home_is=text(at + 2)
        )
        series = {
            name: getattr(answer, name).rename(index=renamed)
            for name in (
                "room", "room_within", "quality", "homes", "homes_low", "homes_high", "patch",
                "scarcest", "component",
            )
        }  # fmt: skip
        needs = tuple(
            dataclasses.replace(
                sheet,
                need=dataclasses.replace(sheet.need, name=text(at)),
                **{
                    name: getattr(sheet, name).rename(index=renamed)
                    for name in (
                        "enough", "enough_low", "enough_high", "room", "met", "by_month", "hungry",
                    )
                },
            )
            for sheet in answer.needs
        )  # fmt: skip
        breaks = tuple(
            dataclasses.replace(
                one,
                from_plot=renamed[one.from_plot],
                to_plot=renamed[one.to_plot],
                plots_on_the_way=tuple(renamed[plot] for plot in one.plots_on_the_way),
            )
            for one in answer.breaks
        )
        network = dataclasses.replace(answer.network, ids=answer.network.ids.map(renamed))
        groups[key] = dataclasses.replace(
            answer, group=group, needs=needs, breaks=breaks, network=network, **series
        )
    known = made.known_share.rename(index=renamed)
    return dataclasses.replace(
        made, neighbourhood=hood, knowledge=know, groups=groups, known_share=known
    )


def test_payloads_do_nothing(make, open_page):
    made = laced(make(24))
    opened = open_page(map_page(made))
    tab = opened.page
    tab.locator("#network").set_checked(True)
    tab.locator("#breaks").set_checked(True)
    for group in ("0", "1", "2", "-1"):
        tab.select_option("#group", group)
        for show in ("scarcest", "feature", "known", "connected"):
            tab.select_option("#show", show)
    for plot in range(0, 24, 3):
        tab.evaluate(f"document.querySelector('[data-plot=\"{plot}\"]').click()")
        tab.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        expect(tab.locator("#card details.sheet[open]:not(:has(.balance))")).to_have_count(0)
    tab.keyboard.press("Escape")
    tab.select_option("#group", "0")
    written(tab)
    tab.click("text=Show 1")
    assert tab.evaluate("window.hit") is None
    assert opened.complaints == []
    assert opened.fetched == []
    assert tab.locator("img, svg[onload], script:not([id])").count() == 3  # our own scripts
    # The text itself is there to read, as text.
    assert '<svg onload="window.hit = 5">' in tab.inner_text(".place")
    assert "window.hit = 3" in tab.inner_text("#plots-body")
    assert tab.locator("a[href^='javascript']").count() == 0
    assert "\u202e" not in tab.inner_text("#plots-body")
