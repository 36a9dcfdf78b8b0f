"""The plan of the gardens as the page's script draws it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit import materials
from patchnet.pages.kit.encode import flag_codes, path_code
from patchnet.pages.kit.garden_plan import GROUNDS, SIGNS, GardenPlan, garden_plan
from patchnet.pages.kit.place_name import house_numbers
from patchnet.pages.kit.shapes import Frame, area_codes, line_codes
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["garden_payload"]


def garden_payload(
    frame: Frame, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> dict[str, Any]:
    """Write the plan of the gardens, ready for JSON.

    ``cuts``: how each plot is cut across, in rows of two: how many strips and the direction in
    tenths of a degree; then for each strip its place in ``kinds_cut`` and its far end in
    decimetres. ``areas``: ground that is no strip, to its polygons; ``crowns``: x, y and radius in
    cm; ``hedges``: lines; ``signs``: kind to x and y; ``numbers``: of houses, [words, x, y];
    ``laid`` and ``unseen``: a flag for each plot.

    Parameters
    ----------
    frame
        Of the page.
    neighbourhood, knowledge
        As for `garden_plan`.
    """
    plan = garden_plan(neighbourhood, knowledge)
    ids = [str(one) for one in neighbourhood.plots.index]
    crowns = np.column_stack(
        [frame.centimetres(plan.crowns[:, :2]), np.rint(plan.crowns[:, 2] * 100).astype(np.int64)]
    )
    numbers = house_numbers(neighbourhood, knowledge)
    places = frame.centimetres(np.array([one[1:] for one in numbers]).reshape(-1, 2)).tolist()
    return {
        "cuts": path_code(_cuts(plan, len(ids))),
        "kinds_cut": list(GROUNDS),
        "areas": {
            key: "|".join(area_codes(frame, shapes)) for key, shapes in plan.whole.items() if shapes
        },
        "crowns": path_code(crowns),
        "hedges": "|".join(line_codes(frame, plan.hedges)),
        "signs": {
            key: path_code(frame.centimetres(plan.signs[key]))
            for key in SIGNS
            if len(plan.signs[key])
        },
        "numbers": [[one[0], *place] for one, place in zip(numbers, places, strict=True)],
        "laid": flag_codes([one in plan.laid for one in ids]),
        "unseen": flag_codes([one in plan.unseen for one in ids]),
        "kinds": [[key, materials.NAMES[key]] for key in plan.kinds],
        **materials.for_page(),
    }


def _cuts(plan: GardenPlan, plots: int) -> NDArray[np.int64]:
    rows: list[tuple[int, int]] = []
    grounds: tuple[str, ...] = GROUNDS
    for at in range(plots):
        strips = plan.strips.get(at)
        if strips is None:
            rows.append((0, 0))
            continue
        rows.append((len(strips.ends), round(strips.turn_deg * 10)))
        rows += [(grounds.index(key), round(end * 10)) for key, end in strips.ends]
    return np.array(rows, dtype=np.int64).reshape(-1, 2)
