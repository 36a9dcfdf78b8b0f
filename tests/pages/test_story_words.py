"""What a page says first: each form of sentence on a street of its own; numbers that agree."""

import dataclasses
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from worlds.story_streets import KNOW, SURE, answered, emptied, halves, row_street

from patchnet.assess import assess
from patchnet.assess.spread import Spread
from patchnet.pages.kit.numbers import before_after, figure
from patchnet.pages.kit.story_words import plot_names, room_of, story
from patchnet.plan.most_help import Helped, Thing, most_help

LAWN = f"lawn_short 60; bird_bath 1; {SURE}"
MUCH = f"shrub 100; long_grass 300; pond 20; dead_wood_pile 5; leaf_pile 30; {SURE}"


def told(assessment):
    return story(most_help(assessment), assessment)


@pytest.fixture(scope="module")
def crossed():
    return answered(halves(), ["moth", "robin"])


def texts(one):
    yield one.headline
    yield one.why
    yield one.note
    for thing in one.things:
        yield from (thing.title, thing.words, thing.small, *thing.cautions)
    for room in one.rooms:
        yield from (room.animal, room.about)


def sound(one):
    """Whole sentences, nothing left to fill in, nothing that is no number, no talk of groups."""
    assert one.headline.endswith(".")
    assert one.headline[0].isupper()
    for text in texts(one):
        assert not re.search(r"[{}]|\bnan\b|\binf\b|None|  |\.\.| ,", text), text
        assert not re.search(r"\bgroups?\b", text), text
    assert len(one.things) <= 3
    assert [thing.number for thing in one.things] == list(range(1, len(one.things) + 1))
    for room in one.rooms:
        assert 0 <= room.solid <= room.solid + room.dashed <= 10


def test_two_lawns_have_no_home_for_a_blackbird_for_want_of_bush():
    one = told(answered(row_street([LAWN] * 2), ["blackbird"]))
    sound(one)
    assert one.headline == "Not even one home here for the blackbird."
    assert one.why == "It would take more thick bush to hide in for the blackbird."
    assert one.note == "No single thing on one plot would make much of a difference here."
    assert [(room.solid, room.about) for room in one.rooms] == [(0, "not even one yet")]


def test_one_paved_garden_has_no_home_for_anybody():
    one = told(answered(row_street([f"paving 140; {SURE}"]), ["blackbird", "mason_bee", "frog"]))
    sound(one)
    assert one.headline == "No animal we asked about has room for even one home here."
    assert all("not one whole home yet" in thing.words for thing in one.things)


def test_nothing_on_the_map():
    one = told(emptied(answered(row_street([LAWN]), ["blackbird"])))
    sound(one)
    assert one.headline == "There is nothing on this map yet."
    assert (one.why, one.things, one.note) == ("", (), "")


def test_nobody_has_looked():
    one = told(answered(row_street([""] * 6, seen=False), ["mason_bee", "frog"]))
    sound(one)
    assert one.headline == "Nobody has looked at what grows here yet."
    assert one.why.startswith("6 of 6 plots")
    [thing] = one.things
    assert thing.title == "Tell us about the 6 plots nobody has seen."
    assert (len(thing.plots), thing.cautions) == (6, ())


def test_what_lacks_nothing_is_told_to_keep_it():
    one = told(answered(row_street([MUCH] * 6, side=30), ["frog"]))
    sound(one)
    assert one.headline == "Nothing is clearly short here: keep what there is."


def test_a_paved_middle_stops_the_way(crossed):
    one = told(crossed)
    sound(one)
    assert one.headline == (
        "The middle of Elm Road is mostly paving: the moth and the robin cannot get past."
    )
    assert one.why.startswith("Most would be won by a way past the middle of Elm Road")
    assert "Elm Road" in one.things[0].title


def test_without_street_names_nothing_is_placed():
    one = told(answered(halves(streets=False), ["moth", "robin"]))
    sound(one)
    assert one.headline == "On the way through here the moth and the robin cannot get on."


def test_something_short_says_for_whom():
    """Bush for some wrens and blackbirds; with as much again there would be more."""
    bushy = f"shrub 150; long_grass 300; leaf_pile 40; bird_bath 2; ivy_mature 20; {SURE}"
    one = told(answered(row_street([bushy] * 6, side=30), ["wren"]))
    sound(one)
    assert one.headline == "Not enough insects on leaves for the wren."


def test_what_is_short_in_one_part_is_said_with_its_place():
    """Green ends and a paved middle for animals that cross it: bush is short, least there."""
    one = told(answered(halves(), ["blackbird"]))
    sound(one)
    assert one.headline.startswith("The middle of Elm Road is mostly paving: not enough ")


def test_what_is_not_sure_is_said_so(crossed):
    facts = most_help(crossed)
    unsure = dataclasses.replace(
        facts, finding=dataclasses.replace(facts.finding, sure=False, cover="")
    )
    one = story(unsure, crossed)
    sound(one)
    assert "perhaps" in one.headline
    assert "cannot tell" in one.why


def test_for_the_public_nothing_points_at_a_door(everybody, walked):
    groups = ["mining_bee", "bumblebee", "wren"]
    public = everybody(assess(walked.neighbourhood, knowledge=walked.knowledge, groups=groups))
    facts = most_help(public)
    one = story(facts, public)
    sound(one)
    assert one.headline.startswith("Perhaps not enough ")
    assert facts.public
    assert all(thing.kind == "street" for thing in facts.things)
    assert all(not thing.plots and thing.point is None for thing in facts.things)
    assert all(thing.worth is None and thing.animals == () for thing in facts.things)
    assert one.things
    labels = walked.neighbourhood.plots["label"]
    for text in texts(one):
        assert not any(re.search(rf"\b{re.escape(label)}\b", text) for label in labels if label)
    ids = set(map(str, walked.neighbourhood.plots.index))
    assert not ids & set(re.findall(r"\w+", " ".join(texts(one))))


def test_classes_in_which_nothing_stands_out_do_not_say_that_all_is_well(everybody, walked):
    public = everybody(walked)
    one = told(public)
    sound(one)
    assert one.headline == "Told in classes, nothing here stands out as short."
    assert (one.why, one.things, one.note) == ("", (), "")


def test_names_are_told_as_they_were_written():
    hood = row_street(
        [MUCH] * 3,
        side=30,
        labels=["<b>1</b>", "花 2", "3"],
        streets=["<i>Elm</i>", "花街", "花街"],
    )
    assert list(plot_names(hood, ["1", "2", "3"]).values()) == ["<b>1</b>", "花 2", "花街 3"]
    sound(told(answered(hood, ["hoverfly", "mason_bee"])))


def test_labels_that_several_plots_share_are_told_with_their_street():
    hood = row_street([LAWN] * 3, labels=["Oak", "Oak", "Elm Road 3"], streets=["Elm Road"] * 3)
    assert list(plot_names(hood, ["1", "2", "3"]).values()) == [
        "Elm Road Oak", "Elm Road Oak", "Elm Road 3",
    ]  # fmt: skip


def test_the_demo_over_draws_is_sound(walked):
    one = told(walked)
    sound(one)
    assert any("nobody has seen" in thing.title for thing in one.things)


def test_what_answers_the_headline_is_pointed_at(crossed):
    """Where it is not the first thing, its number is told, and why another comes before it; where
    it is, and where nothing gives what is short, that is said or nothing need be."""
    facts = most_help(crossed)
    lack = next(one for one in facts.lacks if not one.broken)
    short = dataclasses.replace(facts.finding, kind="short", lack=lack, animals=lack.animals)
    first, other = (dataclasses.replace(one, lack=None) for one in facts.things[:2])
    answers = dataclasses.replace(other, lack=lack)

    def lead(*things, finding=short):
        return story(dataclasses.replace(facts, finding=finding, things=things), crossed).lead

    assert re.match(r"Thing 2 gives .+\. Thing 1 comes first: .+ together\.$", lead(first, answers))
    assert lead(answers, first) == ""
    assert lead(first, other).startswith("One plot alone cannot give enough ")
    assert lead(Thing("doors", ("1",))) == ""
    assert (
        lead(first, other, finding=facts.finding) == ""
    )  # the way is broken: many things close it


def test_a_home_is_said_for_each_animal_whose_homes_are_told_and_for_no_other(crossed):
    facts = most_help(crossed)
    one = story(facts, crossed)
    told_of = [re.search(r"Homes for the (\w+)", thing.words) for thing in one.things]
    for key in {found[1] for found in told_of if found}:
        assert f"{KNOW.groups[key].home_is} ({key})" in one.homes
    assert bool(one.homes) == any(told_of)
    assert story(dataclasses.replace(facts, things=()), crossed).homes == ""


def test_every_number_told_is_the_records(crossed):
    facts = most_help(crossed)
    for thing, said in zip(facts.things, story(facts, crossed).things, strict=True):
        numbers = set(re.findall(r"\d[\d,.]*\d|\d", f"{said.words} {said.small}"))
        helped = thing.animals[0]
        own = {
            *before_after(helped.before, helped.won), figure(thing.amount),
            *(figure(end) for end in thing.cost), figure(max(1, round(thing.hours))),
        }  # fmt: skip
        assert numbers <= own, (said, own)


def test_a_gap_names_both_doors(crossed):
    facts = most_help(crossed)
    gap = Thing(
        "gap", ("4", "5"), facts.things[0].point, barriers=("wall",), amount=1.0,
        feature="fence_gap", months=tuple(range(1, 13)), cautions=("neighbour_consent",),
        animals=(Helped("robin", 2.0, 1.0),),
    )  # fmt: skip
    one = story(dataclasses.replace(facts, things=(gap,)), crossed).things[0]
    assert one.title == "Open the wall between Elm Road 4 back and Elm Road 5 back."
    assert "2 today, 3 with it" in one.words
    assert one.cautions == (KNOW.cautions["neighbour_consent"].brief,)
    alone = dataclasses.replace(gap, plots=("4",), barriers=())
    one = story(dataclasses.replace(facts, things=(alone,)), crossed).things[0]
    assert one.title == "Make a gap at Elm Road 4 back."


def as_number(text):
    return float(text.replace(",", ""))


@given(st.floats(0, 1e5), st.floats(1e-3, 1e5))
def test_before_and_change_make_after(before, won):
    first, change, after = (as_number(text) for text in before_after(before, won))
    assert first + change == pytest.approx(after, rel=1e-9, abs=1e-9)
    assert change > 0
    # each within a step of what it stands for
    step = max(10 ** -len(text.partition(".")[2]) for text in before_after(before, won))
    assert abs(first - before) <= max(0.5 * step, 0.05 * (before + won)) + 1e-9
    assert abs(change - won) <= 0.5 * max(won, step) + 1e-9


@given(st.floats(0, 1e4), st.floats(0, 1), st.floats(1, 3))
def test_houses_are_never_more_than_ten_and_never_promise(mean, low, high):
    room = room_of("Wren", Spread(mean, mean * low, mean * high))
    assert room.solid + room.dashed <= 10
    assert room.solid <= mean + 0.5
    assert (room.solid == 0) == (room.about == "not even one yet")
    assert room.more == (int(mean * high + 0.5) > 10)
