"""The streets of the demo neighbourhood: footways, their widths, and what stands in them."""

from patchnet.demo.drawing import Plan, Shape, Street
from patchnet.demo.scenario import (
    BUILT_OUT,
    NARROWED,
    STREET_OBJECTS,
    TERRACE,
    TERRACE_STREET,
    UNMEASURED,
    VILLA,
    VILLA_STREET,
)

__all__ = ["draw_streets"]

_NODES = 12  # pieces that a road's line is drawn with


def draw_streets(plan: Plan, terrace: Street, villa: Street) -> None:
    """Draw the roads with their footways and what stands in them.

    Along Wickthorn Street the north footway is built out in the middle, where cars drive slowly:
    wide enough for planters in one part, barely in the next, and in the last nobody has measured
    it yet.
    """
    kerb, front = TERRACE["kerb"], TERRACE["front"]
    last = terrace.length
    nodes = [terrace.at(last * i / _NODES, 0.0) for i in range(_NODES + 1)]
    plan.roads += [
        *(
            Shape(TERRACE_STREET, tuple(nodes[first : stop + 1]), 2 * kerb - less)
            for first, stop, less in NARROWED
        ),
        Shape(
            VILLA_STREET,
            tuple(villa.at(villa.length * i / _NODES, 0.0) for i in range(_NODES + 1)),
            2 * VILLA["kerb"],
        ),
    ]
    walk = last - VILLA["front"]
    north = f"{TERRACE_STREET} north footway"
    begin, end = BUILT_OUT[0][0], UNMEASURED[1]
    plan.footways += [
        Shape(north, terrace.strip(2.0, begin, kerb, front), front - kerb),
        *(Shape(north, terrace.strip(a, b, near, front), wide) for a, b, near, wide in BUILT_OUT),
        Shape(
            north,
            tuple(terrace.at(UNMEASURED[0] + (end - UNMEASURED[0]) * i / 3, 3.4) for i in range(4)),
            line=True,
        ),
        Shape(north, terrace.strip(end, walk, kerb, front)),
        Shape(f"{TERRACE_STREET} south footway", terrace.strip(2.0, walk, -kerb, -front)),
        Shape(
            f"{VILLA_STREET} east footway",
            villa.strip(2.0, villa.length, -VILLA["verge"], -VILLA["front"]),
            VILLA["front"] - VILLA["verge"],
        ),
        Shape(
            f"{VILLA_STREET} west footway", villa.strip(2.0, 98.0, VILLA["verge"], VILLA["front"])
        ),
        Shape(
            f"{VILLA_STREET} west footway",
            villa.strip(110.5, villa.length, VILLA["verge"], VILLA["front"]),
        ),
    ]
    for kind, which, place, offset, width in STREET_OBJECTS:
        street = terrace if which == "t" else villa
        plan.street_objects.append((kind, Shape("", (street.at(place, offset),), width)))
