"""Boxes to plant in: those of the tables, and a user's own by their measures."""

import re
from collections.abc import Sequence
from dataclasses import replace

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import PlanterSize

__all__ = ["planter_boxes"]

_SIZE = re.compile(
    r"(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)", re.IGNORECASE
)


def planter_boxes(
    words: Sequence[str],
    *,
    price: float | None = None,
    knowledge: Knowledge | None = None,
    wrong: list[str] | None = None,
) -> list[PlanterSize]:
    """Return boxes of the tables by their key, own boxes by their measures.

    Parameters
    ----------
    words
        Keys of the table of planter sizes, or length x width x height x depth of soil in metres,
        such as ``"1.2x0.5x0.6x0.5"``.
    price
        What an own box costs, in the currency of the tables; None: as the most like it.
    knowledge
        The tables; None: those that ship with patchnet.
    wrong
        A list that what is wrong is added to; None: it is raised.

    Returns
    -------
    list of PlanterSize
        In the order of `words`; lengths in metres.

    Raises
    ------
    WrongUse
        If a box is not in the tables and no box either, and `wrong` is None.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.planter_boxes(["1.2x0.5x0.6x0.5"])[0].length_m
    1.2
    """
    knowledge = knowledge or load_knowledge()
    if wrong is None:
        wrong = []
        boxes = planter_boxes(words, price=price, knowledge=knowledge, wrong=wrong)
        if wrong:
            raise WrongUse("\n".join(wrong))
        return boxes
    known = knowledge.planter_sizes
    found = []
    for word in words:
        own = _SIZE.fullmatch(word.strip())
        if word in known:
            found.append(known[word])
        elif own is not None:
            found.append(_own_size(word, own, price, knowledge, wrong))
        else:
            wrong.append(
                _(
                    "There is no box {word!r}.{nearest_hint} Write one of {known}, or length x "
                    "width x height x depth of soil in metres, such as 1.2x0.5x0.6x0.5."
                ).format(word=word, nearest_hint=nearest_hint(word, known), known=", ".join(known))
            )
    return found


def _own_size(
    word: str,
    own: "re.Match[str]",
    price: float | None,
    knowledge: Knowledge,
    wrong: list[str],
) -> PlanterSize:
    """An own box; plants spread, and the box weighs and costs, as the table's most like it."""
    length, width, height, depth = (float(part) for part in own.groups())
    if depth > height or not min(length, width, height, depth) > 0:
        wrong.append(
            _(
                "A box of {word} is impossible: every measure must be above 0, and the soil no "
                "deeper than the box."
            ).format(word=word)
        )
    like = min(
        knowledge.planter_sizes.values(),
        key=lambda size: (abs(size.plan_m2 - length * width), size.key),
    )
    return replace(
        like,
        key=word,
        name=_("own box {word} m").format(word=word),
        length_m=length,
        width_m=width,
        height_m=height,
        soil_depth_m=depth,
        cost=like.cost if price is None else price,
    )
