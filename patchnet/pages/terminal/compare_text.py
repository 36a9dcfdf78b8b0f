"""What was won and lost between two states, in plain words, as a table, and as JSON."""

import csv
import io
import math
from dataclasses import asdict
from typing import Any

import numpy as np
from shapely import LineString

from patchnet.assess.compare import Comparison, FeatureChange, GroupChange
from patchnet.core.cells import harmless
from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text

__all__ = [
    "change_words", "compare_csv", "compare_json", "compare_text", "feature_lines", "group_words",
    "hardly", "pair", "signed", "states_words",
]  # fmt: skip

_NAMED = 8
_LITTLE = 0.02  # smaller changes than this share of the largest are not listed
_FEATURES_NAMED = 20
_HARDLY = 0.001  # share of the linked homes; a smaller change is "hardly any"
_KINDS: Words[str, str] = Words(
    {
        "new": N_("is new"),
        "gone": N_("is gone"),
        "more": N_("has grown"),
        "less": N_("has shrunk"),
    }
)


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


def hardly(before: float, after: float) -> bool:
    """Whether a change is too small, beside what was there, to rely on.

    Parameters
    ----------
    before, after
        The two figures, in one unit.

    Examples
    --------
    >>> hardly(2.1, 2.0997), hardly(140, 140.3), hardly(0, 0.1)
    (True, False, False)
    """
    return before != after and abs(after - before) < _HARDLY * max(abs(before), abs(after))


def pair(before: float, after: float) -> tuple[str, str]:
    """Two figures with as many digits as it takes to see the change between them.

    Parameters
    ----------
    before, after
        The two figures, in one unit.

    Examples
    --------
    >>> pair(143.21, 143.44), pair(140, 190), pair(2.1431, 2.1428), pair(0, 3)
    (('143.21', '143.44'), ('140', '190'), ('2.1', '2.1'), ('0', '3'))
    """
    change = abs(after - before)
    if change == 0 or hardly(before, after) or figure(before) != figure(after):
        return figure(before), figure(after)
    places = max(0, 1 - math.floor(math.log10(change)))
    return f"{before:.{places}f}", f"{after:.{places}f}"


def change_words(before: float, after: float) -> str:
    """A change with its sign, or that there is hardly any.

    Parameters
    ----------
    before, after
        The two figures, in one unit.

    Examples
    --------
    >>> change_words(2.1431, 2.1428), change_words(143.2, 143.4)
    ('hardly any', '+0.2')
    """
    return _("hardly any") if hardly(before, after) else signed(after - before)


def compare_json(comparison: Comparison) -> str:
    """All changes as JSON: groups, plots, features, only_before, only_after, moved."""
    return json_text(
        {
            "before": comparison.before.neighbourhood.name,
            "after": comparison.after.neighbourhood.name,
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
    """One row a plot and group that changes, RFC 4180 (commas, CRLF)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        ("plot", "group", "homes_change", "months_no_longer_hungry", "months_newly_hungry")
    )
    for change in comparison.plots:
        keys = [*change.homes, *change.hungry_closed, *change.hungry_opened]
        for group in dict.fromkeys(keys):
            writer.writerow(
                (
                    harmless(change.plot),
                    harmless(group),
                    f"{change.homes.get(group, 0.0):.6g}",
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
        paragraph(
            _(
                "Homes are an index of room for wildlife, not a forecast of animals. 'Not sure' "
                "marks a change that things nobody has seen yet could explain."
            )
        ),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def states_words(comparison: Comparison) -> str:
    """What is compared: two names, or one of them before and after."""
    first, second = comparison.before.neighbourhood.name, comparison.after.neighbourhood.name
    return (
        _("From {first} to {second}").format(first=first, second=second)
        if first != second
        else _("{first}, before and after").format(first=first)
    )


def group_words(change: GroupChange, knowledge: Knowledge) -> str:
    """How things changed for one animal, in a sentence."""
    name = knowledge.groups[change.group].name
    won = change.linked_after - change.linked_before
    if abs(won) < 1e-9 and change.homes_before == change.homes_after:
        return _("{name}: no change.").format(name=name)
    doubt = "" if change.sure else _(" Not sure: things nobody has seen yet could explain it.")
    before, after = pair(change.linked_before, change.linked_after)
    told = change_words(change.linked_before, change.linked_after)
    told = _("hardly any change") if told == "hardly any" else told
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
    return _(
        "{name}: {before} homes in reach before, {after} after ({told}); {parts}.{doubt}"
    ).format(name=name, before=before, after=after, told=told, parts=parts, doubt=doubt)


def _groups(comparison: Comparison, knowledge: Knowledge) -> str:
    rows: list[tuple[str, ...]] = [
        (_("Animal"), _("Homes in reach before"), _("After"), _("Change"), _("Islands"), _("Sure"))
    ]
    rows += [
        (
            knowledge.groups[change.group].name,
            *pair(change.linked_before, change.linked_after),
            change_words(change.linked_before, change.linked_after),
            _("{components_before} to {components_after}").format(
                components_before=change.components_before, components_after=change.components_after
            ),
            _("yes") if change.sure else _("not sure"),
        )
        for change in comparison.groups
    ]
    return _("FOR WHOM\n") + text_table(rows, indent="  ", header=True)


def _where(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = []
    for change in comparison.groups:
        moved = [
            (plot.homes[change.group], plot.plot)
            for plot in comparison.plots
            if change.group in plot.homes
        ]
        if not moved:
            continue
        moved.sort(key=lambda pair: (-abs(pair[0]), pair[1]))
        moved = [pair for pair in moved if abs(pair[0]) >= _LITTLE * abs(moved[0][0])]
        named = "; ".join(f"{plot} {signed(homes)}" for homes, plot in moved[:_NAMED])
        more = len(moved) - _NAMED
        tail = _("; and {more} more plots").format(more=more) if more > 0 else ""
        name = knowledge.groups[change.group].name
        lines.append(paragraph(f"{name}: {named}{tail}", indent="  ", then="    "))
    return "\n".join([_("WHERE (room for so many homes more or fewer)"), *lines]) if lines else ""


def _breaks(comparison: Comparison, knowledge: Knowledge) -> str:
    lines = []
    for change in comparison.groups:
        name = knowledge.groups[change.group].name
        for breaks, words in ((change.breaks_closed, "closed"), (change.breaks_opened, "new")):
            lines += [
                paragraph(
                    _(
                        "{name}: the break between {from_plot} and {to_plot} ({width_m} m) is "
                        "{words}."
                    ).format(
                        name=name,
                        from_plot=gap.from_plot,
                        to_plot=gap.to_plot,
                        width_m=figure(gap.width_m),
                        words=words,
                    ),
                    indent="  ",
                    then="    ",
                )
                for gap in breaks[:_NAMED]
            ]
    return "\n".join([_("BREAKS IN THE NETWORK"), *lines]) if lines else ""


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
    words = f"{change.plot}: {name.lower()} {_KINDS[change.kind]}"
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
            f"{knowledge.features[key].name.lower()} {figure(amount)}"
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
