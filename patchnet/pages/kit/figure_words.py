"""What a figure of the tables says, in plain words, with its value and range."""

from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.drawn import Uncertain
from patchnet.knowledge.families import What
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import figure

__all__ = ["figure_value", "figure_words"]

_SAYS: Words[What, str] = Words(
    {
        "hop": N_("{animal}: how far it goes in one move"),
        "d50": N_("{animal}: how far half of its moves go"),
        "anchor_reach": N_("{animal}: how far apart what one home lives in may lie"),
        "reach": N_("{animal}: how far it goes for {need}"),
        "anchor": N_("{animal}: how much of this one home lives in: {resource}"),
        "amount": N_("{animal}: how much one home needs of {need}"),
        "floor": N_("{animal}: how well a home does without {need}"),
        "step": N_("{animal}: how much makes a plot a stopping place"),
        "density": N_("{animal}: how close together homes lie"),
        "use": N_("{animal}: how often it uses a place of this kind: {feature}"),
        "supply": N_("{feature}: how much of this there is in it: {resource}"),
        "unseen": N_("{feature}: how much of it nobody sees"),
        "usual": N_("{feature}: how much of it one household has"),
        "years": N_("{feature}: how long it takes to be of use"),
        "cost": N_("{animal}: how hard this is to walk over: {cover}"),
        "crossing": N_("{animal}: how hard this is to get past: {barrier}"),
    }
)


def figure_words(one: Uncertain, knowledge: Knowledge) -> str:
    """Say what a figure says, and of whom.

    Parameters
    ----------
    one
        The figure.
    knowledge
        For the names.

    Examples
    --------
    >>> from patchnet.knowledge.drawn import uncertain_figures
    >>> knowledge = patchnet.load_knowledge()
    >>> figure_words(uncertain_figures(knowledge, ["wren"])[0], knowledge)
    'Wren: how far it goes in one move'
    """
    of = one.of
    group = knowledge.groups.get(of.get("group", ""))
    needs = {need.key: need.name for need in group.needs} if group else {}
    names = {
        "animal": group.name if group else "",
        "need": needs.get(of.get("need", ""), ""),
    }
    for what, records in (
        ("resource", knowledge.resources),
        ("feature", knowledge.features),
        ("cover", knowledge.ground_covers),
        ("barrier", knowledge.barrier_kinds),
    ):
        key = of.get(what, "")
        record = records.get(key)
        names[what] = key if record is None else str(record.name)
    return _SAYS[one.what].format(**names)


def figure_value(one: Uncertain) -> str:
    """Say the value in use with its range and unit; shares as so many in 100.

    Parameters
    ----------
    one
        The figure.
    """
    value = one.figure
    if value.unit == "share":
        low, mid, high = (figure(100 * part) for part in (value.low, value.value, value.high))
        return _("{value} in 100 (from {low} to {high})").format(value=mid, low=low, high=high)
    low, mid, high = (figure(part) for part in (value.low, value.value, value.high))
    unit = _(value.unit).replace("m2", "m²").replace("m3", "m³")
    return _("{value} {unit} (from {low} to {high})").format(
        value=mid, unit=unit, low=low, high=high
    )
