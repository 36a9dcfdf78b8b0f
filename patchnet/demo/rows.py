"""The rows of houses of the demo neighbourhood, with their gardens and party fences."""

import random
from collections.abc import Sequence

from patchnet.core.texts import _
from patchnet.demo.drawing import Barrier, Plan, Plot, Point, Shape, Street
from patchnet.demo.scenario import (
    PASSAGE_AFTER,
    TERRACE,
    TERRACE_STREET,
    TERRACE_WIDTH,
    VILLA,
    VILLA_DEPTH,
    VILLA_HOUSES,
    VILLA_STREET,
    VILLA_WIDTH,
)

__all__ = ["terrace_row", "villa_row"]


def _stations(
    rng: random.Random,
    count: int,
    width: tuple[float, float],
    span: tuple[float, float],
    extra: dict[int, float],
) -> list[float]:
    """House widths drawn at random, then stretched so that the row fills its span."""
    first, stop = span
    widths = [rng.uniform(*width) + extra.get(i, 0.0) for i in range(count)]
    scale = (stop - first) / sum(widths)
    stations = [first]
    for item in widths:
        stations.append(stations[-1] + item * scale)
    return stations


def terrace_row(
    plan: Plan,
    rng: random.Random,
    street: Street,
    *,
    side: int,
    houses: Sequence[int],
    span: tuple[float, float],
    depth: tuple[float, float],
    steps: dict[int, float],
) -> None:
    """Draw a row of terraced houses on one side of `street` (1 left, -1 right of it).

    `span` is where the row starts and ends along the street, `depth` the offset of the garden
    ends there, `steps` what single gardens are longer or shorter by; all in metres.

    Parameters
    ----------
    plan
        Drawn into.
    rng
        Decides how wide each house is.
    street
        Where the row stands.
    side
        1 left of the street, -1 right.
    houses
        Numbers of the houses in turn.
    span
        Start and end along the street, metres.
    depth
        Offset of the garden ends there, metres.
    steps
        Position in the row -> how much longer a garden is, metres.
    """
    front, house, rear, out = (TERRACE[k] for k in ("front", "house", "rear", "outrigger"))
    stations = _stations(rng, len(houses), TERRACE_WIDTH, span, PASSAGE_AFTER)

    def at(along: float, offset: float) -> Point:
        return street.at(along, side * offset)

    def end(index: int, along: float) -> float:
        share = (along - span[0]) / (span[1] - span[0])
        return depth[0] + share * (depth[1] - depth[0]) + steps.get(index, 0.0)

    for i, number in enumerate(houses):
        left, right = stations[i], stations[i + 1] - PASSAGE_AFTER.get(i, 0.0)
        middle = (left + right) / 2
        far_left, far_right = at(left, end(i, left)), at(right, end(i, right))
        if i in PASSAGE_AFTER:
            walk = street.strip(right, stations[i + 1], side * front, side * end(i, right))
            plan.footways.append(Shape("Passage", walk))
        tail = i % 2 == 0  # the outriggers of two neighbours stand back to back
        wall = (
            [at(left, rear), at(middle, rear), at(middle, out), at(right, out)]
            if tail
            else [at(left, out), at(middle, out), at(middle, rear), at(right, rear)]
        )
        corner = [at(left, rear)] if not tail else []
        corner_right = [at(right, rear)] if tail else []
        plan.buildings.append(
            Shape(
                f"{number} {TERRACE_STREET}",
                (
                    at(left, house),
                    at(right, house),
                    *corner_right,
                    *reversed(wall),
                    *corner,
                ),
            )
        )
        code = f"W{number:02d}"
        yard = (at(left, front), at(right, front), at(right, house), at(left, house))
        plan.plots += [
            Plot(
                f"{code}F",
                "garden_front",
                _("{number} front").format(number=number),
                TERRACE_STREET,
                yard,
            ),
            Plot(
                f"{code}B",
                "garden_back",
                _("{number} back").format(number=number),
                TERRACE_STREET,
                (*wall, far_right, far_left),
            ),
        ]
        plan.barriers.append(
            Barrier(rng.choice(("wall", "wall", "railing")), "yes", 0.8, (yard[0], yard[1]))
        )
        far_wall = "wall" if side > 0 or i % 3 else "fence"
        plan.barriers += [
            Barrier(far_wall, rng.choice(("", "", "no", "yes")), 1.9, (far_left, far_right)),
            Barrier(
                rng.choice(("fence", "fence", "wall")),
                rng.choice(("", "", "no", "no", "yes")),
                rng.choice((1.5, 1.8)),
                (wall[-1], far_right),
            ),
        ]
        if i == 0 or i - 1 in PASSAGE_AFTER:
            plan.barriers.append(Barrier("wall", "", 1.8, (wall[0], far_left)))


def villa_row(plan: Plan, rng: random.Random, street: Street) -> None:
    """Semi-detached houses on the east side, from south to north."""
    span = (6.0, 120.0)
    stations = _stations(rng, len(VILLA_HOUSES), VILLA_WIDTH, span, {})

    def at(along: float, offset: float) -> Point:
        return street.at(along, -offset)

    setback = ends = 0.0
    for i, number in enumerate(VILLA_HOUSES):
        left, right = stations[i], stations[i + 1]
        if i % 2 == 0:
            setback = VILLA["house"] + rng.uniform(-0.7, 0.9)
            ends = rng.uniform(-1.5, 1.5)
        share = i / (len(VILLA_HOUSES) - 1)
        far = VILLA_DEPTH[0] + share * (VILLA_DEPTH[1] - VILLA_DEPTH[0]) + ends
        near, rear = setback, setback + VILLA["deep"]
        wall_left = left + (VILLA["side"] if i % 2 == 0 else 0.0)
        wall_right = right - (VILLA["side"] if i % 2 else 0.0)
        low, high = at(wall_left, near), at(wall_right, near)
        low_rear, high_rear = at(wall_left, rear), at(wall_right, rear)
        plan.buildings.append(Shape(f"{number} {VILLA_STREET}", (low, high, high_rear, low_rear)))
        edge = (at(left, VILLA["front"]), at(right, VILLA["front"]))
        back_end = (at(right, far), at(left, far))
        around = (
            (at(left, near), low, low_rear, high_rear)
            if i % 2 == 0
            else (low_rear, high_rear, high, at(right, near))
        )
        garden = (*edge, *((high, low, at(left, near)) if i % 2 == 0 else (around[3], high, low)))
        code = f"M{number:02d}"
        plan.plots += [
            Plot(
                f"{code}F",
                "garden_front",
                _("{number} front").format(number=number),
                VILLA_STREET,
                garden,
            ),
            Plot(
                f"{code}B",
                "garden_back",
                _("{number} back").format(number=number),
                VILLA_STREET,
                (*around, *back_end),
            ),
        ]
        # The closed row: from number 9 on no fence lets a hedgehog through, save one.
        closed = number >= 9
        party = "no" if closed else rng.choice(("", "yes", ""))
        if number == 15:
            party = "yes"
        kind = "hedge" if number in {3, 21} else "wall"
        plan.barriers += [
            Barrier(kind, "yes", 1.1 if kind == "hedge" else 0.7, edge),
            Barrier("fence", party, 1.8, (around[-1], back_end[0])),
            Barrier("fence", "no" if closed else "", 1.8, back_end),
        ]
        if i == 0:
            plan.barriers.append(Barrier("hedge", "", 2.2, (around[0], back_end[1])))
