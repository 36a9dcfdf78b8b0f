"""The form on a plot's card: it answers at once from what was worked out, with the network off."""

import json
import re
from itertools import product

import numpy as np
import pytest
from worlds.axe_findings import violations

from patchnet.assess import assess
from patchnet.assess.what_if import Trials
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.encode import two_digit_codes
from patchnet.pages.map.map_page import map_page
from patchnet.plan.additions import (
    AdditionSize,
    PairAddition,
    PlotAdditions,
    SingleAddition,
    possible_additions,
)
from patchnet.plan.candidates import candidates_for, fitted, hours_of, money_of
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import amounts_at, common_currency
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.space import space_of
from patchnet.plan.waiting import in_time

KNOW = load_knowledge()
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def single(feature, *sizes, groups=("mason_bee",)):
    """A thing with sizes (amount, linked homes, worth); its facts are those of the tables."""
    siting, held = KNOW.sitings[feature], KNOW.features[feature]
    made = tuple(
        AdditionSize(amount, held.ground.value * amount, siting.length.value * amount, won, worth)
        for amount, won, worth in sizes
    )
    asks = ("landlord",) if siting.tenancy == "ask" else ()
    candidate = Candidate(
        feature, made[0].amount, siting.place, made[0].ground_m2, made[0].length_m,
        hours_of(held, KNOW), money_of(held, KNOW), held.months, held.cautions, asks,
    )  # fmt: skip
    return SingleAddition(candidate, made, groups)


# In the tables: a flower border wants sun or half shade and an owner's leave; a native hedge is
# for owners; bulbs grow anywhere between what is there; a window box needs no soil; both ponds are
# open water; upright buried logs stand anywhere.
SINGLES = (
    single("flower_border", (6.0, 3.0, 0.009), (3.0, 1.5, 0.0045), (1.0, 0.5, 0.0015)),
    single("pond", (3.0, 2.0, 0.008), (1.0, 0.5, 0.002), groups=("hedgehog", "mason_bee")),
    single("hedge_native", (8.0, 2.5, 0.007), (2.0, 0.4, 0.001)),
    single("window_box", (1.0, 0.6, 0.004)),
    single("bulbs", (2.0, 0.3, 0.003)),
    single("container_pond", (1.0, 0.2, 0.0025)),
    single("dead_wood_pile", (1.0, 0.0, 0.0), groups=()),
)
PAIRS = (PairAddition((1, 6), 3.5, 4.0, 0.012), PairAddition((0, 6), 6.5, 3.5, 0.01))


def additions(plot, *, soil=True, ground=20.0):
    return PlotAdditions(plot, soil, ground if soil else 0.0, 5.0, 2.0, SINGLES, PAIRS)


@pytest.fixture(scope="module")
def html(make):
    made = make(24, groups=("mason_bee", "hedgehog"))
    plots = [str(plot) for plot in made.neighbourhood.plots.index]
    found = {plot: additions(plot, soil=plot != "p3") for plot in plots[:-1]}
    return map_page(made, title="Alder Row", additions=found)


class Form:
    """The form on the card of one plot."""

    def __init__(self, opened):
        self.opened, self.tab = opened, opened.page

    def at(self, plot):
        self.tab.evaluate(f"document.querySelector('[data-plot=\"{plot}\"]').click()")
        self.tab.wait_for_selector("#additions-found:not(:empty)")
        return self

    def say(self, **said):
        for name, value in said.items():
            if name in ("free", "hours", "money"):
                self.tab.fill(f"#said-{name}", value)
            else:
                self.tab.select_option(f"#said-{name}", value)
        return self

    @property
    def titles(self):
        return self.tab.locator(".additions h4").all_inner_texts()

    @property
    def words(self):
        return " ".join(self.tab.inner_text("#additions-found").split())


@pytest.fixture
def form(html, open_page):
    return Form(open_page(html)).at(0)


def test_the_three_best_with_all_that_belongs_to_them(form):
    assert form.titles == [
        "Flower border, 6 m²",
        "Mixed native hedge, 8 m",
        KNOW.features["window_box"].name,
    ]
    first = " ".join(form.tab.locator(".additions li").first.inner_text().split())
    assert "For red mason bee. Wins 3 linked homes by itself." in first
    assert "In the ground; 6 m² of ground" in first
    assert "If you rent, ask the owner first." in first
    hours = hours_of(KNOW.features["flower_border"], KNOW)
    assert f"(about {hours:g} hours a month)" in first
    assert (
        "Only for whoever owns the plot" in form.tab.locator(".additions > li").nth(1).inner_text()
    )
    for key in KNOW.features["flower_border"].cautions:
        assert KNOW.cautions[key].words.rstrip(".") in form.words
    assert "1 more thing fits and is worth less here." in form.words
    assert "Things chosen together" in form.tab.inner_text("#card")
    assert form.opened.fetched == []
    assert form.opened.complaints == []


def test_a_pond_waits_for_the_question_about_children(form):
    ponds = [KNOW.features[key].name for key in ("pond", "container_pond")]
    question = form.tab.locator(".pond-question")
    assert not set(form.titles) & {f"{ponds[0]}, 3 m²", ponds[1]}
    assert ponds[0] in question.inner_text()
    assert "do children under six live here" in question.inner_text()
    assert "Small children drown" in form.words
    # The pair with the pond waits too; the other one is told: 3.5 together, 3 and nothing apart.
    assert "flower border" in form.words.lower()
    pairs = form.tab.locator("#additions-found > ul > li", has_text="linked homes together")
    assert pairs.count() == 1
    assert pairs.first.inner_text().startswith(
        "Flower border and log pile: 3.5 linked homes together, 3 if each is reckoned alone."
    )
    for key in KNOW.features["flower_border"].cautions:
        assert KNOW.cautions[key].words.rstrip(".") in pairs.first.inner_text()

    form.say(children="no")
    assert form.titles[1] == f"{ponds[0]}, 3 m²"
    assert question.count() == 0
    assert "Small children drown" in form.words  # its caution stays with it
    assert pairs.count() == 2

    form.say(children="yes")
    assert not any(name in form.words for name in ponds)
    assert "2 because of small children" in form.words
    assert pairs.count() == 1


def test_what_is_said_changes_the_list_at_once(form):
    form.say(tenure="rent")
    assert "Mixed native hedge, 8 m" not in form.titles
    assert "2 that only an owner should make" in form.words  # hedge and pond
    form.say(light="shade", children="yes")
    # Left: bulbs alone; border and box for the light, the hedge for owners, ponds for children.
    assert len(form.titles) == 1
    assert form.titles[0].startswith(KNOW.features["bulbs"].name)
    assert "2 for the light" in form.words
    assert "1 thing listed" in form.tab.inner_text("#say")
    form.say(pots="yes")
    assert form.titles == []
    assert "Nothing that suits what you said would win anything here." in form.words
    form.tab.click("text=Clear answers")
    assert len(form.titles) == 3
    assert form.tab.input_value("#said-light") == ""


def test_less_ground_takes_the_smaller_size_that_was_worked_out(form):
    form.say(free="4")
    # Border 6 m2 -> 3 m2 (0.0045); hedge of 8 m2 -> 2 m2 (0.001) falls behind box and bulbs.
    assert form.titles[0] == "Flower border, 3 m²"
    assert "Wins 1.5 linked homes" in form.words
    assert "hedge" not in " ".join(form.titles).lower()
    form.say(free="0,5")
    # The smallest border takes 1 m2, pond 1 m2, hedge 2 m2.
    assert "3 for want of ground" in form.words
    form.say(free="30")
    assert form.titles[0] == "Flower border, 6 m²"
    assert "The map knows of 20 m² here" in form.words


def test_time_and_money_leave_out_what_takes_more(form):
    form.say(hours="0.5")
    able = [
        key
        for key in ("flower_border", "hedge_native", "window_box", "bulbs")
        if hours_of(KNOW.features[key], KNOW) <= 0.5
    ]
    assert len(form.titles) == len(able) < 4
    assert "for want of time" in form.words
    form.say(hours="", money="0")
    free = [
        key
        for key in ("flower_border", "hedge_native", "window_box", "bulbs")
        if KNOW.features[key].cost == "none"
    ]
    assert len(form.titles) == len(free)
    assert "for want of money" in form.words


def test_a_number_that_is_none_is_told_and_not_used(form):
    form.say(free="about 3")
    assert form.tab.get_attribute("#said-free", "aria-invalid") == "true"
    assert form.tab.inner_text("#said-free-wrong") == "Write a number, 0 or more."
    assert len(form.titles) == 3
    form.say(free="-2")
    assert form.tab.get_attribute("#said-free", "aria-invalid") == "true"
    form.say(free="3")
    assert form.tab.get_attribute("#said-free", "aria-invalid") == "false"
    assert form.tab.locator("#said-free-wrong").inner_text() == ""


def test_what_was_said_is_kept_for_the_next_plot(form):
    form.say(light="shade", free="4")
    form.at(4)
    assert form.tab.input_value("#said-light") == "shade"
    assert form.tab.input_value("#said-free") == "4"
    assert not any("border" in title for title in form.titles)
    form.tab.keyboard.press("Escape")
    form.tab.select_option("#show", "need")
    form.at(4)  # the card is written anew
    assert form.tab.input_value("#said-light") == "shade"


def test_light_that_was_worked_out_holds_until_another_is_said(html, open_page):
    """Plot 1 has 2 hours at midsummer: shade. Plot 2 has 8: full sun. Plot 3 is not known. Plot
    4 has 8, or 2 if buildings are tall: not surely known."""
    hours = two_digit_codes([2.0, 8.0, np.nan, 8.0, *[5.0] * 20])
    least = two_digit_codes([2.0, 8.0, np.nan, 2.0, *[5.0] * 20])
    sun = {
        "hours": [hours] * 12, "least": [least] * 12, "morning": [hours] * 12, "open": [16] * 12,
        "uncounted": two_digit_codes(np.zeros(24)), "midsummer": 6, "bounds": [1, 3, 6, 9],
        "measured": False,
    }  # fmt: skip
    data = payload_of(html)
    data["sun"] = sun
    lit = re.sub(
        r'(id="payload">)(.*?)(</script>)',
        lambda found: found[1] + json.dumps(data).replace("<", "\\u003c") + found[3],
        html,
        flags=re.DOTALL,
    )
    form = Form(open_page(lit)).at(0)
    first = form.tab.locator("#said-light option").first
    assert first.inner_text() == "Shade (worked out)"
    assert "Left out: 4 for the light." in form.words  # border, pond, window box, tub pond
    form.at(1)
    assert first.inner_text() == "Full sun (worked out)"
    assert "Left out" not in form.words
    form.say(light="shade")
    assert "4 for the light" in form.words
    form.say(light="")
    for unsure in (2, 3):
        form.at(unsure)
        assert first.inner_text() == "Not said"
    assert form.opened.complaints == []


def test_a_plot_with_nothing_to_add_says_so(form):
    form.at(23)
    assert "Nothing that fits on this plot would win anything." in form.words


def test_by_keyboard_alone(form):
    tab = form.tab
    tab.focus("#said-children")
    tab.keyboard.press("ArrowDown")
    tab.keyboard.press("ArrowDown")
    assert tab.input_value("#said-children") == "no"
    assert form.titles[1].startswith(KNOW.features["pond"].name)
    assert tab.evaluate("document.activeElement.id") == "said-children"
    seen = []
    for _ in range(7):
        tab.keyboard.press("Tab")
        seen.append(tab.evaluate("document.activeElement.id || document.activeElement.textContent"))
    assert seen == [
        "said-light", "said-tenure", "said-pots", "said-free", "said-hours", "said-money",
        "Clear answers",
    ]  # fmt: skip
    tab.focus("#said-free")
    tab.keyboard.type("4")
    tab.keyboard.press("Enter")
    assert "3 things listed: " in tab.inner_text("#say")
    assert "; Flower border, 3 m²;" in tab.inner_text("#say")
    assert form.opened.complaints == []


@pytest.mark.parametrize("phone", [False, True])
def test_axe_finds_nothing_and_nothing_sticks_out(html, open_page, phone):
    form = Form(open_page(html, phone=phone)).at(0).say(free="x", tenure="rent")
    assert violations(form.tab, tags=TAGS) == []
    wide = 360 if phone else 1280
    assert form.tab.evaluate("document.documentElement.scrollWidth") <= wide
    if phone:
        for box in form.tab.locator(".said select, .said input, .said button").all():
            assert box.bounding_box()["height"] >= 40


def test_on_paper_the_answers_stand_in_one_line(form):
    form.say(light="part", children="yes", money="50")
    assert not form.tab.is_visible("#additions-said")
    form.tab.emulate_media(media="print")
    form.tab.wait_for_selector("html.on-paper")
    assert not form.tab.is_visible(".said")
    assert form.tab.inner_text("#additions-said") == (
        "Worked out for: half shade; small children come here; 50 pounds."
    )
    assert form.tab.is_visible(".additions")


def test_nobody_is_told_to_run_a_command(html, make, open_page):
    """Neither with what could be added nor without: a resident has a page, no shell."""
    for page in (html, map_page(make(12, groups=("mason_bee",)))):
        opened = open_page(page)
        opened.page.evaluate("document.querySelector('[data-plot=\"0\"]').click()")
        opened.page.evaluate("document.getElementById('card-whole').open = true")
        words = opened.page.inner_text("#card")
        assert "patchnet" not in words
        assert "FILE" not in words
        assert opened.complaints == []


def payload_of(page):
    return json.loads(re.search(r'id="payload">(.*?)</script>', page, re.DOTALL)[1])


def test_a_page_to_be_published_carries_none(walked, walked_public, open_page):
    assert payload_of(walked_public)["additions"] is None
    with pytest.raises(WrongUse, match="carries no additions"):
        map_page(walked, additions={}, public=True)
    opened = open_page(walked_public)
    opened.page.locator("[data-plot]").first.click()
    words = opened.page.inner_text("#card")
    assert "What could be added" not in words
    assert "patchnet advise" not in words


def test_what_the_page_carries_stays_small(html):
    """A thing is 4 two-character codes, and 3 for each size; a pair is 5; all plots share the rest.

    3 sizes: (4 + 9) x 2 = 26; 2 sizes: 20; 1 size: 14. Together 26 + 20 + 20 + 4 x 14 = 122
    characters, a full stop, and two pairs of 10.
    """
    data = payload_of(html)["additions"]
    assert [len(line) for line in data["plots"]] == [122 + 1 + 20] * 23 + [0]
    assert len(data["kinds"]) == len(SINGLES)
    assert data["groups"] == ["Hedgehog", "Red mason bee"]
    assert data["soil"][:4] == "1101"


def test_the_page_lists_what_candidates_and_trials_say(make, open_page):
    """Another way to the same list: every answer said to `candidates_for`, each thing judged."""
    hood = make(6, groups=("mason_bee", "bumblebee"), a_row=3).neighbourhood
    answer = assess(hood, knowledge=KNOW, groups=["mason_bee", "bumblebee"])
    form = Form(open_page(map_page(answer, additions=possible_additions(answer))))
    trials = Trials(answer)
    currency = common_currency(answer)
    hours = KNOW.setting("effort_some_h")
    for at, plot in ((1, "p2"), (4, "p5")):
        form.at(at)
        for light, tenure, children, pots in product(
            ("sun", "shade"), ("rent", "own"), ("yes", "no"), ("yes", "no")
        ):
            facts = PlotFacts(
                light=light, tenure=tenure, small_children=children == "yes",
                pots_only=pots == "yes", hours_month=hours,
            )  # fmt: skip
            space = space_of(hood, plot, facts, KNOW, amounts=amounts_at(answer, plot))
            kind = hood.plots["kind"][plot]
            offered, _ = candidates_for(KNOW, facts, space, kind=kind)
            fits = [
                (one, result[1])
                for one in offered
                if (result := fitted([one], space, KNOW, facts)) is not None
            ]
            linked = trials.at(plot).linked_homes([in_time(change, KNOW) for _, change in fits])
            won = (linked - currency.now).sum(axis=1)
            worth = currency.worth(linked)
            ranked = sorted(range(len(fits)), key=lambda k: -worth[k])
            best = [
                KNOW.features[fits[k][0].feature].name
                for k in ranked
                if won[k] >= KNOW.setting("plan_gain_least") and worth[k] > 0
            ][:3]
            form.say(light=light, tenure=tenure, children=children, pots=pots, hours=str(hours))
            assert [title.split(",")[0] for title in form.titles] == [
                name.split(",")[0] for name in best
            ], facts
