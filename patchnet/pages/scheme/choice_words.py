"""Three schemes side by side, stages that only win as a whole, and what the case rests on."""

from collections.abc import Sequence

from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.countries import money
from patchnet.pages.kit.numbers import figure
from patchnet.scheme.planter_scheme import Scheme, SchemeChoice

__all__ = ["case_limit_words", "choice_name", "choice_rows", "together_words"]

_BOTH = 2
_NAMES: Words[str, str] = Words(
    {
        "fits": N_("Only places that fit"),
        "ask": N_("With places to ask about"),
        "measure": N_("After measuring"),
    }
)


def choice_name(choice: SchemeChoice) -> str:
    """What a choice is called: by the last of its verdicts."""
    return _NAMES[choice.verdicts[-1]]


def choice_rows(scheme: Scheme, *, people: Sequence[int] = ()) -> list[tuple[str, ...]]:
    """Heading and rows: the choices, planters, homes won, money, how many to ask and to measure.

    Parameters
    ----------
    scheme
        Its `choices`.
    people
        Homes of people beside each, as from `patchnet.scheme.who_gains.people_beside`; empty: no
        such column.
    """
    country = scheme.after.knowledge.countries[scheme.neighbourhood.country]
    rows: list[tuple[str, ...]] = [(
        _("Choice"), _("Planters"), _("Linked homes won"), _("Whole bill, at most"), _("To ask"),
        _("To measure"), *((_("Homes of people near"),) if people else ()), "",
    )]  # fmt: skip
    for at, one in enumerate(scheme.choices):
        homes = figure(one.homes)
        if one.low is not None and one.high is not None:
            homes = _("{homes} ({low} to {high})").format(
                homes=homes, low=figure(one.low), high=figure(one.high)
            )
        rows.append((
            choice_name(one), str(len(one.sites)), homes, money(one.cost, country), str(one.ask),
            str(one.measure), *((str(people[at]),) if people else ()),
            _("proposed") if one.taken else "",
        ))  # fmt: skip
    return rows


def case_limit_words(scheme: Scheme) -> str:
    """How far the figure that decides may move before the case fails; nothing if none decides.

    Parameters
    ----------
    scheme
        Its `limit`.
    """
    limit = scheme.limit
    if limit is None:
        return ""
    animal = scheme.after.knowledge.groups[limit.group].name.lower()
    said = {
        "animal": animal,
        "value": figure(limit.value),
        "below": "" if limit.below is None else f"{limit.below:.0f}",
        "above": "" if limit.above is None else f"{limit.above:.0f}",
        "low": figure(limit.looked[0]),
        "high": figure(limit.looked[1]),
        "share": f"{100 * limit.share:.0f}",
    }
    if limit.below is None and limit.above is None:
        return _(
            "Most is won by the {animal}. The case holds however far it crosses in one move, from "
            "{low} to {high} m; {value} m is assumed."
        ).format(**said)
    if limit.below is None:
        words = _("This case fails if the {animal} crosses more than {above} m in one move")
    elif limit.above is None:
        words = _("This case fails if the {animal} crosses less than {below} m in one move")
    else:
        words = _(
            "This case fails if the {animal} crosses more than {above} m or less than {below} m "
            "in one move"
        )
    return _(
        "{words}: it then wins less than {share} % of what it wins now. {value} m is assumed, and "
        "it may be anything from {low} to {high} m."
    ).format(words=words.format(**said), **said)


def together_words(scheme: Scheme) -> list[str]:
    """Say of each stage of several planters that it is to be built as a whole.

    Parameters
    ----------
    scheme
        Its `stages`.
    """
    plots = {one.number: one.plot for one in scheme.planters}
    words = []
    for stage in scheme.stages:
        if stage.together:
            named = ", ".join(plots[number] for number in stage.numbers)
            if len(stage.numbers) == _BOTH:
                said = _("{named}: build both or neither; one alone wins next to nothing.")
            else:
                said = _("{named}: build all of them or none; part wins next to nothing.")
            words.append(said.format(named=named))
    return words
