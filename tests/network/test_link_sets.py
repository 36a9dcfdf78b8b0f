"""Links that win most together: against every set, in the order of what each wins, by hand."""

from itertools import combinations
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.link_cases import growing, patches, random_case

from patchnet.network import link_sets
from patchnet.network.link_sets import best_links
from patchnet.network.more_links import more_links


def linked(network, links, some):
    """Linked homes with some of the links put in, measured anew."""
    there = dict(
        zip(
            zip(network.i.tolist(), network.j.tolist(), strict=True),
            network.length_mm.tolist(),
            strict=True,
        )
    )
    for at in some:
        ends = int(links["a"][at]), int(links["b"][at])
        mm = round(1000 * float(links["cost"][at]))
        there[ends] = min(mm, there.get(ends, mm))
    return growing(patches(network.homes, there, network.d50_m)).numerator ** 0.5


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), most=st.integers(1, 3))
def test_no_set_wins_more_than_the_one_found(seed, most):
    network, links = random_case(seed)
    start = growing(network)
    found = best_links(start, **links, most=most)
    able = range(len(links["a"]))
    best = max(
        linked(network, links, some)
        for size in range(most + 1)
        for some in combinations(able, size)
    )
    now = start.numerator**0.5
    assert now + sum(link.won for link in found) == pytest.approx(best, rel=1e-8, abs=1e-9)
    # Each is counted with those before it.
    for at, link in enumerate(found):
        before, after = (
            linked(network, links, [one.at for one in found[:n]]) for n in (at, at + 1)
        )
        assert link.won == pytest.approx(after - before, rel=1e-6, abs=1e-8)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_where_not_all_sets_are_looked_at_none_is_worse_than_one_link_after_another(seed):
    network, links = random_case(seed)
    with patch.object(link_sets, "_EVERY_SET", 0):
        found = best_links(growing(network), **links, most=3)
    singly = list(more_links(growing(network), **links, most=3))
    won, less = (sum(link.won for link in some) for some in (found, singly))
    assert won >= less * (1 - 1e-8) - 1e-12
    assert len({link.at for link in found}) == len(found) <= 3


def without_every_set(*args, **kwargs):
    with patch.object(link_sets, "_EVERY_SET", 0):
        return best_links(*args, **kwargs)


@pytest.mark.parametrize("search", [best_links, without_every_set])
def test_a_pair_over_a_patch_without_homes(search):
    """Half arrive after 10 m. a and c hold a home, b between them none; d and e hold half a home.

    a-b and b-c of 5 m each: nothing alone, 2 x 0.5 = 1 together. d-e of 10 m: 2 x 0.5 / 4 = 0.25.
    Numerator today 2 + 0.5. One after the other only d-e is found; two links are a-b and b-c.
    """
    network = patches([1, 0, 1, 0.5, 0.5], {}, 10)
    links = {"a": np.array([0, 3, 1]), "b": np.array([1, 4, 2]), "cost": np.array([5.0, 10, 5])}
    assert [one.at for one in more_links(growing(network), **links, most=2)] == [1]
    first, second = search(growing(network), **links, most=2)
    assert (first.at, first.won, second.at) == (0, 0, 2)
    assert second.won == pytest.approx(3.5**0.5 - 2.5**0.5)
    # With three all are taken, and what wins by itself comes first.
    assert [one.at for one in search(growing(network), **links, most=3)] == [1, 0, 2]


@pytest.mark.parametrize("search", [best_links, without_every_set])
def test_what_was_best_by_itself_is_given_up(search):
    """Half arrive after 10 m. a and c hold 4 homes each, b between them 1.

    a-c of 30 m wins 2 x 16 / 8 = 4, a-b and b-c of 10 m each 2 x 4 / 2 = 4, less 1 mm more; both
    of them 4 + 4 + 2 x 16 / 4 = 16, a-c and either only 4 + 4 + 2 x 4 / 16 = 8.5.
    """
    network = patches([4, 1, 4], {}, 10)
    links = {
        "a": np.array([0, 0, 1]),
        "b": np.array([2, 1, 2]),
        "cost": np.array([29.999, 10.0, 10.0]),
    }
    assert [one.at for one in more_links(growing(network), **links, most=1)] == [0]
    found = search(growing(network), **links, most=2)
    assert [one.at for one in found] == [1, 2]
    assert sum(one.won for one in found) == pytest.approx(49**0.5 - 33**0.5)


def test_in_a_town_that_hangs_together_links_are_taken_one_after_the_other():
    network, links = random_case(7)
    with patch.object(link_sets, "_EVERY_SET", 0), patch.object(link_sets, "_EFFORT", 0):
        found = best_links(growing(network), **links, most=3)
    assert found == tuple(more_links(growing(network), **links, most=3))


def test_nothing_to_choose_from():
    none = {"a": np.zeros(0, np.intp), "b": np.zeros(0, np.intp), "cost": np.zeros(0)}
    assert best_links(growing(patches([1, 1], {}, 7)), **none, most=3) == ()
