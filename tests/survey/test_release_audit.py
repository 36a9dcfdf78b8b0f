"""Classes that give nothing away: on paper, and against every world written out."""

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

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
