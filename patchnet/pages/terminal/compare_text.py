"""What was won and lost between two states, in plain words, as a table, and as JSON."""

import csv
import io
import math
from dataclasses import asdict
from typing import Any

import numpy as np
from shapely import LineString

from patchnet.assess.compare import draws_for_sure
from patchnet.assess.comparison import Comparison, FeatureChange, GroupChange
from patchnet.assess.spread import Spread
from patchnet.core.cells import harmless
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.doubt_words import drawn_or_not, of_draws
from patchnet.pages.kit.numbers import ends, figure, month_spans
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text

__all__ = [
    "REAL_CHANGES",
    "break_lines",
    "change_range",
    "change_words",
    "compare_csv",
    "compare_json",
    "compare_text",
    "doubt_words",
    "feature_lines",
    "gains_words",
    "group_words",
    "hardly",
    "signed",
    "signed_often",
    "states_words",
]  # fmt: skip

_NAMED = 8
_LITTLE = 0.02  # smaller changes than this share of the largest are not listed
_FEATURES_NAMED = 20
_HARDLY = 0.001  # share of the linked homes; a smaller change is "hardly any"
_LEAST = 0.005  # homes: less than a two-hundredth of one is "hardly any", whatever its share
_KINDS: Words[str, str] = Words(
    {
        "new": N_("is new"),
        "gone": N_("is gone"),
        "more": N_("has grown"),
        "less": N_("has shrunk"),
    }
)
REAL_CHANGES = frozenset(_KINDS)
"""Kinds of change on the ground; the others are changes of what is known."""


def signed(change: float) -> str:
    """A change with its sign; ``no change`` where it is nothing.

    Parameters
    ----------
    change
        Any unit.

    Examples
    --------
    >>> signed(1.26), signed(-0.034), signed(0.0)
    ('+1.3', '-0.034', 'no change')
    """
    if change == 0:
        return _("no change")
    return f"+{figure(change)}" if change > 0 else f"-{figure(-change)}"


def signed_often(change: float, often: float | None, draws: int) -> str:
    """A change with its sign, and in how many draws it goes that way.

    Parameters
    ----------
    change
        Any unit.
    often
        Share of the draws, 0-1; None: there were none.
    draws
        How many there were.

    Examples
    --------
    >>> signed_often(1.26, 0.97, 100), signed_often(1.26, None, 0)
    ('+1.3 (97 of 100)', '+1.3')
    """
    if often is None:
        return signed(change)
    return f"{signed(change)} ({of_draws(often, draws)})"


def hardly(before: float, after: float) -> bool:
    """Whether a change is too small, by itself or beside what was there, to rely on.

    Parameters
    ----------
    before, after
        The two figures, in one unit.

    Examples
    --------
    >>> hardly(2.1, 2.0997), hardly(140, 140.3), hardly(0, 0.1), hardly(0.00085, 0.000885)
    (True, False, False, True)
    """
    least = max(_LEAST, _HARDLY * max(abs(before), abs(after)))
    return before != after and abs(after - before) < least


def change_words(before: float, after: float) -> tuple[str, str, str]:
    """Two figures and the change between them, so rounded that they add up as they are shown.

    Where the change is too small to rely on there is hardly any.

    Parameters
    ----------
    before, after
        The two figures, in one unit.

    Examples
    --------
    >>> change_words(143.21, 143.44), change_words(143.2, 190.4)
    (('143.21', '143.44', '+0.23'), ('143', '190', '+47'))
    >>> change_words(0.034, 3.2), change_words(1234, 1834)
    (('0.03', '3.20', '+3.17'), ('1,230', '1,830', '+600'))
    >>> change_words(2.1431, 2.1428), change_words(0, 3)
    (('2.1', '2.1', 'hardly any'), ('0', '3.0', '+3.0'))
    """
    if before == after or hardly(before, after):
        told = _("no change") if before == after else _("hardly any")
        return figure(before), figure(before), told  # alike, as nothing is told between them
    # Two digits of the change, and one of each figure unless it is next to nothing.
    most = max(abs(before), abs(after))
    places = max(
        1 - _magnitude(after - before),
        *(min(-_magnitude(one), 3 - _magnitude(most)) for one in (before, after) if one),
    )
    was, now = (round(one, places) for one in (before, after))
    digits = max(0, places)
    sign = "+" if now > was else "-"
    return (
        "0" if before == 0 else f"{was:,.{digits}f}",
        "0" if after == 0 else f"{now:,.{digits}f}",
        f"{sign}{abs(now - was):,.{digits}f}",
    )


def _magnitude(value: float) -> int:
    return math.floor(math.log10(abs(value)))


def gains_words(change: GroupChange, draws: int) -> str:
    """In how many of the draws a change goes its way.

    Parameters
    ----------
    change
        With draws.
    draws
        How many there were.
    """
    if change.won is None or change.rises is None or change.falls is None:
        return ""
    if max(change.rises, change.falls) == 0:
        return _("changes in none of {draws}").format(draws=draws)
    gains = _("gains in {n}").format(n=of_draws(change.rises, draws))
    loses = _("loses in {n}").format(n=of_draws(change.falls, draws))
    if not change.falls or not change.rises:
        return gains if change.rises else loses
    first, second = (gains, loses) if change.won.mean > 0 else (loses, gains)
    return _("{first}, {second}").format(first=first, second=second)


def change_range(won: Spread) -> str:
    """The middle 90 in 100 of a change.

    Parameters
    ----------
    won
        Any unit.

    Examples
    --------
    >>> change_range(Spread(20, 3, 40.2)), change_range(Spread(0, 0, 0))
    ('+3 to +40', 'no change')
    >>> change_range(Spread(0.1, -0.000013, 0.26))
    '0 to +0.26'
    """
    low, high = (signed(one) if one else "0" for one in ends(won.low, won.high))
    if low == high == "0":
        return _("no change")
    return low if low == high else _("{low} to {high}").format(low=low, high=high)


def compare_json(comparison: Comparison) -> str:
    """All changes as JSON: draws, seed, groups, plots, features, only_before, only_after, moved.

    Shares of draws are 0-1; null: there were no draws.
    """
    return json_text(
        {
            "before": comparison.before.neighbourhood.name,
            "after": comparison.after.neighbourhood.name,
            "draws": comparison.draws,
            "seed": comparison.seed,
            "groups": [_plain(asdict(change)) for change in comparison.groups],
            "plots": [asdict(change) for change in comparison.plots],
            "features": [asdict(change) for change in comparison.features],
            "only_before": list(comparison.only_before),
            "only_after": list(comparison.only_after),
            "moved": [{"plot": plot, "share": share} for plot, share in comparison.moved],
        }
    )


def _plain(value: Any) -> Any:  # noqa: ANN401 - walks any record
    if isinstance(value, LineString):
        return [list(point) for point in value.coords]
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def compare_csv(comparison: Comparison) -> str:
    """One row a plot and group that changes, RFC 4180 (commas, CRLF).

    ``share_of_draws`` (0-1) go the way of ``homes_change``; empty where there were no draws.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        (
            "plot",
            "group",
            "homes_change",
            "share_of_draws",
            "months_no_longer_hungry",
            "months_newly_hungry",
        )
    )
    for change in comparison.plots:
        keys = [*change.homes, *change.hungry_closed, *change.hungry_opened]
        for group in dict.fromkeys(keys):
            writer.writerow(
                (
                    harmless(change.plot),
                    harmless(group),
                    f"{change.homes.get(group, 0.0):.6g}",
                    f"{change.often[group]:.6g}" if group in change.often else "",
                    " ".join(map(str, change.hungry_closed.get(group, ()))),
                    " ".join(map(str, change.hungry_opened.get(group, ()))),
                )
            )
    return out.getvalue()


def compare_text(comparison: Comparison, knowledge: Knowledge) -> str:
    """What was won and lost, for whom and where, the largest change first."""
    parts = [
        _("{states_words}: what was won and lost").format(states_words=states_words(comparison)),
        _groups(comparison, knowledge),
        _where(comparison, knowledge),
        _breaks(comparison, knowledge),
        _hungry(comparison, knowledge),
        _features(comparison, knowledge),
        _plots(comparison),
        *(paragraph(words) for words in doubt_words(comparison)),
        paragraph(_("Homes are an index of room for wildlife, not a forecast of animals.")),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def doubt_words(comparison: Comparison) -> list[str]:
    """What the figures of a comparison are, and what sure means.

    Parameters
    ----------
    comparison
        With draws or without.
    """
    said = [
        drawn_or_not(comparison.draws),
        _("What nobody looked at is taken to be the same before and after."),
    ]
    if comparison.draws:
        sure_in = comparison.after.knowledge.setting("sure_in")
        said.append(
            _(
                "Homes are the mean of all draws, and nine draws in ten lie in the range beside "
                "it. 'Sure' means that it goes the same way in at least {sure_in} of 100, of "
                "{least} draws or more. Islands and hungry months are with the figures in use."
            ).format(sure_in=figure(100 * sure_in), least=draws_for_sure(sure_in))
        )
        said.append(
            _("The draws say nothing of what our tables may have wrong beyond their ranges.")
        )
    return said


def states_words(comparison: Comparison) -> str:
    """What is compared: two names, or one of them before and after."""
    first, second = comparison.before.neighbourhood.name, comparison.after.neighbourhood.name
    return (
        _("From {first} to {second}").format(first=first, second=second)
        if first != second
        else _("{first}, before and after").format(first=first)
    )


def group_words(change: GroupChange, knowledge: Knowledge, draws: int = 0) -> str:
    """How things changed for one animal, in a sentence or two.

    Parameters
    ----------
    change
        Of the animal.
    knowledge
        For its name.
    draws
        How many draws there were.
    """
    name = knowledge.groups[change.group].name
    won = change.linked_after - change.linked_before
    none_moves = not change.rises and not change.falls
    if abs(won) < 1e-9 and change.homes_before == change.homes_after and none_moves:
        return _("{name}: no change.").format(name=name)
    before, after, told = change_words(change.linked_before, change.linked_after)
    told = _("hardly any change") if hardly(change.linked_before, change.linked_after) else told
    parts = (
        _("{components_before} islands of linked plots before, {components_after} after").format(
            components_before=change.components_before, components_after=change.components_after
        )
        if change.components_before != change.components_after
        else _("still {components_after} islands of linked plots").format(
            components_after=change.components_after
        )
        if change.components_after > 1
        else _("all its plots are linked, as before")
        if change.components_after
        else _("no plots are linked")
    )
    doubt = ""
    if change.won is not None:
        doubt = (
            _(" Sure: it {often}; {span} in 9 of 10.")
            if change.sure
            else _(" Not sure: it {often}; {span} in 9 of 10.")
        ).format(often=gains_words(change, draws), span=change_range(change.won))
    return _(
        "{name}: {before} homes in reach before, {after} after ({told}); {parts}.{doubt}"
    ).format(name=name, before=before, after=after, told=told, parts=parts, doubt=doubt)


def _groups(comparison: Comparison, knowledge: Knowledge) -> str:
    heads = [_("Animal"), _("Homes in reach before"), _("After"), _("Change"), _("Islands")]
    if comparison.draws:
        heads[4:] = [_("In 9 of 10"), _("Islands"), _("Sure")]
    rows: list[tuple[str, ...]] = [tuple(heads)]
    rows += [_group_row(change, knowledge) for change in comparison.groups]
    table = text_table(rows, indent="  ", header=True)
    if comparison.draws:
        lines = [
            paragraph(
                _("{name} {often}.").format(
                    name=knowledge.groups[change.group].name,
                    often=gains_words(change, comparison.draws),
                ),
                indent="  ",
                then="    ",
            )
            for change in comparison.groups
            if change.rises or change.falls
        ]
        if lines:
            table = "\n".join([table, "", _("  In how many draws:"), *lines])
    return _("FOR WHOM\n") + table


def _group_row(change: GroupChange, knowledge: Knowledge) -> tuple[str, ...]:
    islands = _("{components_before} to {components_after}").format(
        components_before=change.components_before, components_after=change.components_after
    )
    row = (
        knowledge.groups[change.group].name,
        *change_words(change.linked_before, change.linked_after),
    )
    if change.won is None:
        return (*row, islands)
    return (*row, change_range(change.won), islands, _("yes") if change.sure else _("not sure"))


def _where(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = []
    for change in comparison.groups:
        moved = [
            (plot.homes[change.group], plot.plot, plot.often.get(change.group))
            for plot in comparison.plots
            if change.group in plot.homes
        ]
        if not moved:
            continue
        moved.sort(key=lambda one: (-abs(one[0]), one[1]))
        moved = [one for one in moved if abs(one[0]) >= _LITTLE * abs(moved[0][0])]
        named = "; ".join(
            f"{plot} {signed_often(homes, often, comparison.draws)}"
            for homes, plot, often in moved[:_NAMED]
        )
        more = len(moved) - _NAMED
        tail = _("; and {more} more plots").format(more=more) if more > 0 else ""
        name = knowledge.groups[change.group].name
        lines.append(paragraph(f"{name}: {named}{tail}", indent="  ", then="    "))
    if not lines:
        return ""
    head = (
        _("WHERE (room for so many homes more or fewer; in brackets: in how many draws it is so)")
        if comparison.draws
        else _("WHERE (room for so many homes more or fewer)")
    )
    return "\n".join([head, *lines])


def _breaks(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = [
        paragraph(words, indent="  ", then="    ")
        for change in comparison.groups
        for words in break_lines(change, knowledge, comparison.draws)
    ]
    return "\n".join([_("BREAKS IN THE NETWORK"), *lines]) if lines else ""


def break_lines(change: GroupChange, knowledge: Knowledge, draws: int) -> list[str]:
    """What became of an animal's breaks, and in how many draws that is so.

    Parameters
    ----------
    change
        Of the animal.
    knowledge
        For its name.
    draws
        How many draws there were.
    """
    name = knowledge.groups[change.group].name
    closed = _(
        "{name}: the break between {from_plot} and {to_plot} ({width_m} m) is closed{often}."
    )
    opened = _("{name}: the break between {from_plot} and {to_plot} ({width_m} m) is new{often}.")
    lines = []
    for breaks, shares, words in (
        (change.breaks_closed, change.closed_in, closed),
        (change.breaks_opened, change.opened_in, opened),
    ):
        lines += [
            words.format(
                name=name,
                from_plot=gap.from_plot,
                to_plot=gap.to_plot,
                width_m=figure(gap.width_m),
                often=_(", in {n} draws").format(n=of_draws(shares[at], draws)) if shares else "",
            )
            for at, gap in enumerate(breaks[:_NAMED])
        ]
    return lines


def _hungry(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = []
    for change in comparison.groups:
        for what, words in (
            ("hungry_closed", _("no longer short of flowers in")),
            ("hungry_opened", _("newly short of flowers in")),
        ):
            months: dict[int, int] = {}
            for plot in comparison.plots:
                for month in getattr(plot, what).get(change.group, ()):
                    months[month] = months.get(month, 0) + 1
            if months:
                name = knowledge.groups[change.group].name
                most = max(months.values())
                plots = counted(most, "plot")
                lines.append(
                    paragraph(
                        _("{name}: {words} {months}, on up to {plots}.").format(
                            name=name, words=words, months=month_spans(months), plots=plots
                        ),
                        indent="  ",
                        then="    ",
                    )
                )
    return "\n".join([_("HUNGRY MONTHS"), *lines]) if lines else ""


def feature_words(change: FeatureChange, knowledge: Knowledge) -> str:
    """What became of one feature, in a sentence."""
    name = knowledge.features[change.feature].name
    words = f"{change.plot}: {in_sentence(name)} {_KINDS[change.kind]}"
    if change.kind in ("more", "less"):
        words += _(" ({before} to {after})").format(
            before=figure(change.before), after=figure(change.after)
        )
    return f"{words}."


def _features(comparison: Comparison, knowledge: Knowledge) -> str:
    changes = feature_lines(comparison, knowledge)
    lines = [paragraph(line, indent="  ", then="    ") for line in changes[:_FEATURES_NAMED]]
    more = len(changes) - _FEATURES_NAMED
    if more > 0:
        lines.append(
            _("  ... and {more} more changes; --format json lists them all.").format(more=more)
        )
    return "\n".join([_("ON THE PLOTS"), *lines]) if lines else ""


def feature_lines(comparison: Comparison, knowledge: Knowledge) -> list[str]:
    """What became of the features: real changes one by one, changes of knowledge plot by plot."""
    order = {kind: at for at, kind in enumerate(_KINDS)}
    real = [one for one in comparison.features if one.kind in _KINDS]
    real.sort(key=lambda one: (order[one.kind], one.plot, one.feature))
    lines = [feature_words(change, knowledge) for change in real]
    known: dict[tuple[str, str], list[FeatureChange]] = {}
    for one in comparison.features:
        if one.kind not in _KINDS:
            known.setdefault((one.plot, one.kind), []).append(one)
    for (plot, kind), changes in sorted(known.items()):
        amounts = {one.feature: float(np.nanmax([one.before, one.after])) for one in changes}
        there = [
            f"{in_sentence(knowledge.features[key].name)} {figure(amount)}"
            for key, amount in amounts.items()
            if amount > 0
        ]
        words = (
            _("not known before and known now")
            if kind == "now known"
            else _("known before and not known now")
        )
        lines.append(
            _(
                "{plot}: {n_changes} features {words}; of these there: {there}. Not a change on "
                "the ground."
            ).format(
                plot=plot, n_changes=len(changes), words=words, there=", ".join(there) or "none"
            )
        )
    return lines


def _plots(comparison: Comparison) -> str:
    lines = []
    for plots, words in (
        (comparison.only_before, _("Only in the first")),
        (comparison.only_after, _("Only in the second")),
    ):
        if plots:
            lines.append(paragraph(f"{words}: {', '.join(plots)}.", indent="  ", then="    "))
    if comparison.moved:
        names = ", ".join(f"{plot} ({share:.0%})" for plot, share in comparison.moved)
        lines.append(
            paragraph(
                _("Outlines that differ: {names}.").format(names=names), indent="  ", then="    "
            )
        )
    return "\n".join(["PLOTS", *lines]) if lines else ""
