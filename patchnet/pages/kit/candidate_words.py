"""Words for one thing a plot could add: how much of it, where, what it takes, whom to ask first."""

from collections.abc import Iterable

from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import UNITS, currency, figure, month_spans
from patchnet.plan.plot_plan import (
    Candidate,
)

__all__ = [
    "amount_words",
    "asked_first",
    "asked_words",
    "cautions_of",
    "cost_words",
    "hours_words",
    "money_words",
    "place_words",
    "stage_words",
    "takes",
    "thing",
    "upkeep_words",
    "when_words",
]

_ASKS: Words[str, str] = Words(
    {
        "small_children": (
            N_(
                "First answer: do children under six live here, visit, or come in from the "
                "street? Then take a bird bath or a boggy bed for now."
            )
        ),
        "keeper": N_("Ask whoever looks after this place first."),
        "landlord": N_("If you rent, ask the owner first."),
        "neighbour": N_("Ask the neighbour first where it touches the boundary."),
    }
)
_PLACES: Words[str, str] = Words(
    {
        "ground": N_("in the ground"),
        "standing": N_("stands anywhere firm"),
        "wall": N_("on a wall or fence"),
        "fence": N_("on a fence"),
        "sill": N_("on a sill or rail"),
        "roof": N_("on a low roof"),
        "under": N_("between and under what grows there"),
        "habit": N_("on the whole plot"),
    }
)
_FLOORS = {"standing": "floor"}
_LENGTHS: Words[str, str] = Words({"sill": N_("sill or rail")})


def thing(candidate: Candidate, knowledge: Knowledge) -> str:
    """Name and amount of an addition: ``Log pile``, ``Herb bed left to flower, 3 m²``."""
    amount = amount_words(candidate.feature, candidate.amount, knowledge)
    name = knowledge.features[candidate.feature].name
    return f"{name}, {amount}" if amount else name


def amount_words(feature: str, amount: float, knowledge: Knowledge) -> str:
    """An amount with its unit; nothing for one piece.

    Parameters
    ----------
    feature
        Key of the feature.
    amount
        In the feature's unit (m2, m, count).
    knowledge
        For that unit.
    """
    unit = UNITS[knowledge.features[feature].measure]
    if unit:
        return f"{figure(amount)} {unit}"
    return "" if amount == 1 else _("{amount} of them").format(amount=figure(amount))


def place_words(candidate: Candidate) -> str:
    """Where it goes."""
    return _PLACES[candidate.place]


def takes(candidate: Candidate, knowledge: Knowledge) -> str:
    """What it takes: room, upkeep, money, and when to do it."""
    feature = knowledge.features[candidate.feature]
    parts = []
    if candidate.ground_m2 > 0:
        floor = _FLOORS.get(candidate.place, "ground")
        parts.append(
            _("{ground_m2} m² of {floor}").format(
                ground_m2=figure(candidate.ground_m2), floor=floor
            )
        )
    if candidate.length_m > 0 and candidate.place != "ground":
        along = _LENGTHS.get(candidate.place, _("wall or fence"))
        parts.append(
            _("{length_m} m of {along}").format(length_m=figure(candidate.length_m), along=along)
        )
    parts += [
        upkeep_words(candidate.hours_month, knowledge),
        cost_words(feature.cost, knowledge),
        when_words(candidate),
    ]
    years = feature.years_to_work.value
    if years > 1:
        parts.append(_("at its best after about {years:g} years").format(years=years))
    return "; ".join(parts)


def upkeep_words(hours: float, knowledge: Knowledge) -> str:
    """Upkeep in words and hours a month.

    Parameters
    ----------
    hours
        Hours a month.
    knowledge
        For what is little and what is much.
    """
    if hours <= 0:
        return _("no upkeep")
    if hours <= knowledge.setting("effort_low_h"):
        words = _("little upkeep (about {hours} a month)")
    elif hours <= knowledge.setting("effort_some_h"):
        words = _("some upkeep (about {hours} a month)")
    else:
        words = _("much upkeep (about {hours} a month)")
    return words.format(hours=hours_words(hours))


def hours_words(hours: float) -> str:
    """Hours with their unit.

    Parameters
    ----------
    hours
        Hours.

    Examples
    --------
    >>> hours_words(1), hours_words(2.5)
    ('1 hour', '2.5 hours')
    """
    words = figure(hours)
    return counted(1 if words == "1" else 2, "hour", said=words)


def money_words(cost: float, knowledge: Knowledge) -> str:
    """Money with its unit; ``no money`` where it costs nothing.

    Parameters
    ----------
    cost
        In the currency of the tables.
    knowledge
        For the name of the currency.
    """
    return f"{figure(cost)} {currency(knowledge)}" if cost > 0 else _("no money")


def when_words(candidate: Candidate) -> str:
    """When to make it, plant it or put it up."""
    months = month_spans(candidate.months)
    return (
        _("do it in any month")
        if months == "all year"
        else _("do it in {months}").format(months=months)
    )


def cost_words(cost: str, knowledge: Knowledge) -> str:
    """What things of a cost class usually cost, from and to."""
    held = knowledge.settings[f"cost_{cost}"]
    if held.value == 0:
        return _("costs nothing")
    return _("about {low:.0f} to {high:.0f} {unit}").format(
        low=held.low, high=held.high, unit=_(held.unit)
    )


def asked_first(candidate: Candidate) -> list[str]:
    """Questions to answer before it."""
    return asked_words(candidate.asks)


def asked_words(asks: Iterable[str]) -> list[str]:
    """Questions to answer before something is added.

    Parameters
    ----------
    asks
        Keys, as in `Candidate`.
    """
    return [_ASKS[ask] for ask in asks]


def cautions_of(candidates: Iterable[Candidate], knowledge: Knowledge) -> list[str]:
    """Cautions that belong to some additions, each once."""
    keys = dict.fromkeys(key for one in candidates for key in one.cautions)
    return [knowledge.cautions[key].words for key in keys]


def stage_words(additions: Iterable[Candidate], knowledge: Knowledge) -> str:
    """What a stage adds, in one line."""
    return "; ".join(thing(one, knowledge) for one in additions)
