"""The choice of a scheme over draws: on paper, and by a second route that fills every scheme."""

import dataclasses
import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from scheme.test_scheme import GROUPS, road

from patchnet.assess.over_draws import answers_in_draws, draws_of
from patchnet.assess.worth import vote_shares, worth_gained
from patchnet.pages.scheme.certificate import certificate_words, chosen_step, over_draws_words
from patchnet.scheme import in_draws
from patchnet.scheme.drawn_states import state_of
from patchnet.scheme.filled import FilledState
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.in_draws import choose_in_draws
from patchnet.scheme.plan_scheme import plan_scheme
from patchnet.scheme.planter_scheme import SchemeAsk, SchemeDoubt
from patchnet.scheme.search import climbed_schemes, greedy_scheme

__all__ = ["road"]
DRAWS = 5


class Rules:
    """Sites 0 and 1 stand too close for both."""

    conflicts = np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]], dtype=bool)


def test_a_place_counts_where_the_best_scheme_uses_it_or_one_too_close():
    """Best schemes of four draws: {1}, {0, 2}, {2}, {1}. A planter at 0: 3 of 4; at 2: 2 of 4."""
    best = [((1, 0),), ((0, 0), (2, 0)), ((2, 1),), ((1, 1),)]
    assert in_draws.often_there(((0, 0), (2, 0)), best, Rules) == (0.75, 0.5)


def test_places_alike_count_as_one():
    """Sites 0-3 far apart, of which 0, 1, 2 are alike; the choice uses 0 and 1.

    Best schemes: {2}, one of three alike: half of the choice's two each. {0, 3}: 0 is there
    itself, 1 is not (nothing alike is left). {1, 2}: 1 itself, 0 by the one alike. {3}: none.
    Of 0: (1/2 + 1 + 1 + 0) / 4; of 1: (1/2 + 0 + 1 + 0) / 4.
    """
    rules = type("Apart", (), {"conflicts": np.eye(4, dtype=bool)})
    best = [((2, 0),), ((0, 0), (3, 0)), ((1, 0), (2, 0)), ((3, 0),)]
    alike = np.array([0, 0, 0, 1])
    often = in_draws.often_there(((0, 0), (1, 0)), best, rules, alike)
    assert often == (2.5 / 4, 1.5 / 4)


def test_places_on_one_side_that_win_the_same_are_alike():
    """Within 5 % of the best of them: 1.00 and 0.96 on the left; 0.94 begins anew; right apart."""
    sites = [SimpleNamespace(side=side) for side in ("left", "left", "right", "left")]
    asked = SimpleNamespace(sites=sites, alike=0.05)
    alone = np.array([[0.0, 1.0], [0.96, 0.2], [0.99, 0.0], [0.94, 0.94]]).ravel()
    number = in_draws.places_alike(asked, alone).tolist()
    assert number[0] == number[1]
    assert len({number[0], number[2], number[3]}) == 3


@pytest.fixture(scope="module")
def asked(road):
    """What `plan_scheme` asks of the draws, and what comes of it."""
    seen = {}
    assessment, street, sites = road
    few = assessment, street, sites[::3]

    def noted(before, asks, promising, **how):
        found = choose_in_draws(before, asks, promising, **how)
        seen.update(before=before, asked=asks[-1], promising=promising[-1], how=how)
        seen["found"] = found[-1]
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("patchnet.scheme.plan_scheme.choose_in_draws", noted)
        seen["scheme"] = plan_scheme(*few, SchemeAsk(planters=2, groups=GROUPS), draws=DRAWS)
    return seen


def worths(asked, schemes, *, filled):
    """Shape (draws, schemes), draw by draw."""
    before, sought = asked["before"], asked["asked"]
    rows = []
    uncertain = draws_of(before, DRAWS, asked["how"]["seed"])
    for answer in answers_in_draws(uncertain, range(DRAWS)):
        recipes = [answer.knowledge.recipes[key] for key in sought.recipes]
        fields = group_fields(
            answer, sought.sites, sought.ids, recipes, list(sought.groups), sought.amounts
        )
        state = state_of(answer, fields)
        if filled:
            exactly = FilledState(state)
            rows.append([exactly.value(picks) for picks in schemes])
        else:
            rows.append([state.go_to(picks).value for picks in schemes])
    return np.array(rows)


def test_the_choice_is_the_best_by_a_second_route(asked):
    """Every scheme of that size, filled exactly in each draw: the mean worth of the choice is the
    largest of all, or so near that it does not matter."""
    sought, found = asked["asked"], asked["found"]
    free = list(itertools.product(range(len(sought.sites)), range(len(sought.recipes))))
    every = [
        tuple(sorted(picks))
        for picks in itertools.combinations(free, sought.count)
        if sought.rules.allows(picks)
    ]
    worth = worths(asked, every, filled=True)
    mean = worth.mean(axis=0) - np.array([sought.rules.tolls(picks) for picks in every])
    chosen = every.index(tuple(sorted(found.picks)))
    assert mean[chosen] >= 0.97 * mean.max()
    at_figures_in_use = every.index(tuple(sorted(asked["promising"][0])))
    assert mean[chosen] >= mean[at_figures_in_use] - 1e-9
    assert found.harm == pytest.approx(float((worth[:, chosen] < -1e-9).mean()))
    now = np.array([answer_linked(asked, picks) for picks in ((), found.picks)])
    assert found.won.mean == pytest.approx(float((now[1] - now[0]).mean()))


def answer_linked(asked, picks):
    """Shape (draws,): linked homes of all animals in each draw, filled anew."""
    before, sought = asked["before"], asked["asked"]
    uncertain = draws_of(before, DRAWS, asked["how"]["seed"])
    return [
        FilledState(sought.state(answer)).linked(picks).sum()
        for answer in answers_in_draws(uncertain, range(DRAWS))
    ]


def test_the_scheme_says_how_it_was_chosen(asked):
    scheme, found = asked["scheme"], asked["found"]
    assert scheme.doubt is not None
    assert (scheme.doubt.draws, scheme.doubt.tried) == (DRAWS, found.tried)
    assert [one.often for one in scheme.planters] == list(found.often)
    keys = [sought.key for sought in asked["asked"].sites]
    assert [one.site.key for one in scheme.planters] == [keys[site] for site, _ in found.picks]
    assert scheme.doubt.value <= scheme.curve[-1].value + 1e-12
    assert chosen_step(scheme).value == scheme.doubt.value
    words = over_draws_words(scheme)
    assert f"{found.tried} good schemes" in words
    assert f"{DRAWS} times" in words


def test_nothing_is_said_of_draws_where_none_were_taken(road):
    plain = plan_scheme(*road, SchemeAsk(planters=1, groups=GROUPS))
    assert (plain.doubt, plain.planters[0].often, over_draws_words(plain)) == (None, None, "")


def test_what_is_not_the_best_in_use_is_not_called_proved(asked):
    worse = SchemeDoubt(
        draws=6, tried=3, share=0.9, harm=0.2, value=0.5 * asked["scheme"].doubt.value
    )
    step = chosen_step(dataclasses.replace(asked["scheme"], doubt=worse))
    assert step.within > 0
    assert "proved" not in certificate_words(step, exact=True, wide=9.0, blind=1.0)


def test_two_processes_choose_alike(asked):
    how = asked["how"] | {"processes": 2}
    (again,) = choose_in_draws(asked["before"], [asked["asked"]], [asked["promising"]], **how)
    assert again == asked["found"]


def test_what_is_locked_in_stays(asked):
    sought = asked["asked"]
    lock = (len(sought.sites) - 1, 0)
    locked = dataclasses.replace(sought, locked=(lock,))
    (found,) = choose_in_draws(asked["before"], [locked], [[]], **asked["how"])
    assert lock in found.picks
    assert sought.rules.allows(found.picks)


def test_the_quick_search_is_never_below_the_plain_climb(asked):
    sought = asked["asked"]
    state = sought.state(asked["before"])
    plain = greedy_scheme(state, (), sought.rules)
    quick = climbed_schemes(state, (), sought.rules)
    assert all(quick.value[count] >= plain.value[count] - 1e-12 for count in plain.value)


def test_the_state_counts_as_the_joint_worth_does(asked):
    """One scheme's value in a state against the log currency by hand."""
    before, sought = asked["before"], asked["asked"]
    state = sought.state(before)
    now = state.linked
    picks = asked["found"].picks
    after = state.go_to(picks).linked
    votes = vote_shares(before.knowledge.groups[key] for key in sought.groups)
    first = before.knowledge.setting("worth_first_homes")
    worth = float(votes @ worth_gained(after, now, first))
    assert state.value == pytest.approx(worth - sought.rules.tolls(picks))
