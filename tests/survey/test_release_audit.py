"""Classes that give nothing away: on paper, and against every world written out."""

from functools import cache
from itertools import product
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.survey import release_audit
from patchnet.survey.release_audit import Bound, class_bounds, safe_classes

EDGES = (0.2, 0.5, 0.8)


def people(first, last):
    return frozenset(f"h{at}.v" for at in range(first, last))


def test_bounds_on_paper():
    """Of 15: fewer than 3 are few (20 %), up to 7 some (7.5 is half), up to 11 many (12 = 80 %)."""
    assert class_bounds(15, EDGES) == [(0, 2), (3, 7), (8, 11), (12, 15)]
    assert class_bounds(10, EDGES) == [(0, 1), (2, 4), (5, 7), (8, 10)]


def test_ten_households_cannot_be_told_few():
    """Few of ten is nobody or one: whoever is the one would know that nobody else has it."""
    assert safe_classes([], people(0, 10), class_bounds(10, EDGES))[0] == (0, 1)
    assert safe_classes([], people(0, 11), class_bounds(11, EDGES)) == [
        (0, 0), (1, 1), (2, 2), (3, 3),
    ]  # fmt: skip


def test_five_newcomers_are_not_given_away():
    """4 to 9 of 20 had it; of 25 few are 0 to 4: then none of the five newcomers would have it.

    Few, and what it is joined with, can therefore not be told apart now, whatever is true.
    """
    past = [Bound(people(0, 20), 4, 9)]
    found = safe_classes(past, people(0, 25), class_bounds(25, EDGES))
    assert found[0] != (0, 0)
    assert found[0][0] == 0


def test_one_who_leaves_is_not_given_away():
    """16 to 20 of 20, then 8 to 11 of 19 cannot both be; 13 to 15 of 19 would have the leaver in.

    4 to 9 of 20 and then 0 to 3 of the 19 others: the one who left must have had it.
    """
    found = safe_classes([Bound(people(0, 20), 4, 9)], people(1, 20), class_bounds(19, EDGES))
    assert (0, 0) not in found


def test_an_answer_that_changed_is_its_owners_twice():
    """Who knows both of its own answers knows that they differ: that is no other's to be told."""
    past = [Bound(frozenset({"a.0", *people(0, 11)}), 3, 5)]
    found = safe_classes(past, frozenset({"a.1", *people(0, 11)}), class_bounds(12, EDGES))
    assert found == brute(past, frozenset({"a.1", *people(0, 11)}), class_bounds(12, EDGES))


def brute(past, members, classes):  # noqa: C901 - one thought, written out
    """The same rule with every world written out: the finest classes, joined until all are safe."""
    tokens = sorted({token for one in past for token in one.members} | members)

    def safe(first, last):
        rows = [*past, Bound(members, classes[first][0], classes[last][1])]
        if not rows[-1].tells:
            return True
        worlds = [
            world
            for world in (
                dict(zip(tokens, values, strict=True))
                for values in product((0, 1), repeat=len(tokens))
            )
            if all(one.low <= sum(world[t] for t in one.members) <= one.high for one in rows)
        ]
        if not worlds:
            return True
        for owner in {token.split(".")[0] for token in tokens}:
            mine = [token for token in tokens if token.split(".")[0] == owner]
            for values in {tuple(world[t] for t in mine) for world in worlds}:
                if len(mine) > 1 and len(set(values)) == 1:
                    continue
                seen = [w for w in worlds if tuple(w[t] for t in mine) == values]
                for other in tokens:
                    if other not in mine and len({w[other] for w in seen}) < 2:
                        return False
        return True

    blocks = [(at, at) for at in range(len(classes))]
    while len(blocks) > 1:
        bad = [at for at, block in enumerate(blocks) if not safe(*block)]
        if not bad:
            break
        at = bad[0]
        other = at + 1 if 2 * at < len(blocks) - 1 or at == 0 else at - 1
        low, high = sorted((at, other))
        blocks[low : high + 1] = [(blocks[low][0], blocks[high][1])]
    return blocks


@settings(deadline=None, max_examples=40)
@given(st.data())
def test_as_with_every_world_written_out(data):
    """Up to ten answers in up to three sets: the programme decides as the list of worlds does."""
    names = [f"h{at}.{version}" for at in range(6) for version in "ab"][:9]
    truth = {name: data.draw(st.integers(0, 1)) for name in names}
    edges = (0.3, 0.6)
    past = []
    for _ in range(data.draw(st.integers(0, 2))):
        chosen = frozenset(data.draw(st.lists(st.sampled_from(names), min_size=3, unique=True)))
        count = sum(truth[name] for name in chosen)
        low, high = next(
            (low, high) for low, high in class_bounds(len(chosen), edges) if low <= count <= high
        )
        past.append(Bound(chosen, low, high))
    members = frozenset(data.draw(st.lists(st.sampled_from(names), min_size=3, unique=True)))
    classes = [one for one in class_bounds(len(members), edges) if one[0] <= one[1]]
    assert safe_classes(past, members, classes) == brute(past, members, classes)


# tables as large as those of a street ---------------------------------------------------------


def tables(seed):
    """Return what was handed out of twenty households, and the next class that might be.

    Each time some are away, and some have changed their answer since.
    """
    dice = Random(seed)  # noqa: S311 - no secret
    version = dict.fromkeys(range(20), 0)
    truth = {}
    made = []
    for _ in range(dice.choice([2, 3, 4])):
        for at in dice.sample(range(20), dice.choice([0, 3, 6])):
            version[at] += 1
        members = [f"h{at}.{version[at]}" for at in dice.sample(range(20), dice.randint(10, 20))]
        for name in members:
            truth.setdefault(name, dice.random() < 0.3)
        classes = class_bounds(len(members), EDGES)
        count = sum(truth[name] for name in members)
        first = next(at for at, (low, high) in enumerate(classes) if low <= count <= high)
        last = min(first + dice.choice([0, 0, 1]), len(classes) - 1)
        made.append(Bound(frozenset(members), classes[first][0], classes[last][1]))
    low, high = dice.choice(class_bounds(len(made[-1].members), EDGES))
    return [one for one in made[:-1] if one.tells], Bound(made[-1].members, low, high)


@cache
def by_sums(seed):  # noqa: C901 - one thought
    """The rule by all sums that can come about: answers are counted in one by one."""
    past, new = tables(seed)
    rows = [*past, new]
    tokens = sorted({token for one in rows for token in one.members})
    steps = {token: tuple(int(token in one.members) for one in rows) for token in tokens}
    inside = tuple(slice(one.low, one.high + 1) for one in rows)

    def can_be(fixed):
        reached = np.zeros([len(one.members) + 1 for one in rows], dtype=bool)
        reached[tuple(sum(steps[t][at] * fixed[t] for t in fixed) for at in range(len(rows)))] = 1
        for token in tokens:
            if token not in fixed:
                step = steps[token]
                to = tuple(slice(one, None) for one in step)
                of = tuple(slice(None, -one or None) for one in step)
                more = reached.copy()
                more[to] |= reached[of]
                reached = more
        return bool(reached[inside].any())

    if not can_be({}):
        return True
    looked = set()
    for owner in sorted({token.split(".")[0] for token in tokens}):
        mine = [token for token in tokens if token.split(".")[0] == owner]
        for values in product((0, 1), repeat=len(mine)):
            known = dict(zip(mine, values, strict=True))
            if (len(mine) > 1 and len(set(values)) == 1) or not can_be(known):
                continue
            for other, value in product(tokens, (0, 1)):
                # Who stood in the same tables is as good as another.
                case = (
                    tuple(sorted((steps[t], known[t]) for t in mine)), steps[other], value
                )  # fmt: skip
                if other not in known and case not in looked:
                    looked.add(case)
                    if not can_be(known | {other: value}):
                        return False
    return True


SEEDS = range(14)


@pytest.mark.parametrize("seed", SEEDS)
def test_as_by_all_sums_and_by_the_programme_alone(seed, monkeypatch):
    """Three ways to one verdict: by trying, by the integer programme, and by all sums."""
    past, new = tables(seed)
    verdict = by_sums(seed)
    for tries in (release_audit._TRIES, 3, 0):
        monkeypatch.setattr(release_audit, "_TRIES", tries)
        release_audit._all_free.cache_clear()
        assert release_audit._gives_nothing_away(past, new) == verdict
    release_audit._all_free.cache_clear()


def test_such_tables_are_of_both_kinds():
    assert {by_sums(seed) for seed in SEEDS} == {True, False}


def test_a_ring_of_an_odd_length_cannot_be():
    """One of each two neighbours has it: round a ring of 25 that cannot be, on a line it can.

    On the line it is one way or the other: whoever knows one answer knows them all.
    """
    ring = [Bound(frozenset({f"h{at}.v", f"h{(at + 1) % 25}.v"}), 1, 1) for at in range(25)]
    assert release_audit._gives_nothing_away(ring[:-1], ring[-1])
    assert not release_audit._gives_nothing_away(ring[:-2], ring[-2])
