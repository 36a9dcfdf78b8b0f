"""Why a thing is asked for, in sentences that one can check."""

from collections.abc import Mapping
from dataclasses import replace

from patchnet.core.language_forms import in_sentence, listed
from patchnet.core.texts import _, counted, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import metres, month_spans
from patchnet.pages.kit.plan_words import need_name
from patchnet.plan.plot_plan import Addition, Reason, Suggestion

__all__ = ["homes_given", "named_reason", "reason_words", "reasons_words"]

_NAMED = 2  # animals named for a home


def reasons_words(addition: Addition, best: Suggestion, knowledge: Knowledge) -> str:
    """Why a thing is asked for, in two or three sentences.

    Parameters
    ----------
    addition
        The thing.
    best
        The set that it is part of.
    knowledge
        For names.
    """
    habit = knowledge.features[addition.candidate.feature].sort == "habit"
    near, *others = addition.reasons
    home = "" if habit else homes_given(addition, knowledge)
    # What neighbours do or leave be cannot be seen over the fence.
    words = ["" if habit else reason_words(near, knowledge), home]
    # What it links, then when it feeds, says more than how many it feeds.
    order = ("joins", "months", "shared", "feeds")
    others.sort(key=lambda one: order.index(one.kind))
    words += [reason_words(one, knowledge) for one in others[: 1 if home else 2]]
    if not any(words[1:]) and best.groups:
        names = [in_sentence(knowledge.groups[key].name) for key, _won in addition.groups[:_NAMED]]
        if names:
            words.append(_("It gives more room to the {names}.").format(names=listed(names)))
    return " ".join(word for word in words if word)


def named_reason(reason: Reason, names: Mapping[str, str]) -> Reason:
    """A reason that calls plots by other names than their ids.

    Parameters
    ----------
    reason
        The reason.
    names
        By id; plots that are not in it keep theirs.
    """
    plots = tuple((names.get(plot, plot), away) for plot, away in reason.plots)
    return replace(reason, plots=plots)


def homes_given(addition: Addition, knowledge: Knowledge) -> str:
    """For which of the animals that win by it a thing is a home; empty where for none."""
    given = knowledge.given_by(addition.candidate.feature)
    names = [
        in_sentence(knowledge.groups[key].name)
        for key, _won in addition.groups
        if any(anchor.resource in given for anchor in knowledge.groups[key].anchors)
    ][:_NAMED]
    if not names:
        return ""
    return _("It is a home for the {names}.").format(names=_(" and the ").join(names))


def reason_words(reason: Reason, knowledge: Knowledge) -> str:
    """One reason as a sentence.

    Parameters
    ----------
    reason
        The reason.
    knowledge
        For names.

    Examples
    --------
    >>> import patchnet
    >>> tables = patchnet.load_knowledge()
    >>> reason_words(Reason("few", metres=100, plots=(("A4", 23.4),)), tables)
    'Within 100 m only A4 has one (23 m), and one more still helps.'
    >>> reason_words(Reason("joins", group="moth", counts=(43, 31)), tables)
    'It joins two parts of the neighbourhood for the moth: 43 plots with 31.'
    """
    return _WORDS[reason.kind](reason, knowledge)


def _nobody(reason: Reason, knowledge: Knowledge) -> str:
    del knowledge
    return _("No plot seen within {metres} has one.").format(metres=metres(reason.metres))


def _few(reason: Reason, knowledge: Knowledge) -> str:
    del knowledge
    near = [f"{plot} ({metres(away)})" for plot, away in reason.plots]
    if len(near) == 1:
        plot, away = reason.plots[0]
        return _("Within {metres} only {plot} has one ({away}), and one more still helps.").format(
            metres=metres(reason.metres), plot=plot, away=metres(away)
        )
    return _("Within {metres} only {plots} have one, and one more still helps.").format(
        metres=metres(reason.metres), plots=listed(near)
    )


def _some(reason: Reason, knowledge: Knowledge) -> str:
    del knowledge
    ((plot, away),) = reason.plots
    return _("{plots} within {metres} have one, and one more still helps; the nearest is {plot}, "
             "{away}.").format(
        plots=counted(reason.counts[0], "plot"), metres=metres(reason.metres), plot=plot,
        away=metres(away),
    )  # fmt: skip


def _joins(reason: Reason, knowledge: Knowledge) -> str:
    first, *rest = reason.counts
    return ngettext(
        "It joins two parts of the neighbourhood for the {animal}: {first} with {rest}.",
        "It joins {n} parts of the neighbourhood for the {animal}: {first} with {rest}.",
        len(rest),
    ).format(
        n=len(reason.counts),
        animal=in_sentence(knowledge.groups[reason.group].name),
        first=counted(first, "plot"),
        rest=listed([str(one) for one in rest]),
    )


def _feeds(reason: Reason, knowledge: Knowledge) -> str:
    return _("It gives {need} to the {animal} on {plots}.").format(
        need=need_name(reason.group, reason.need, knowledge),
        animal=in_sentence(knowledge.groups[reason.group].name),
        plots=counted(reason.counts[0], "plot"),
    )


def _months(reason: Reason, knowledge: Knowledge) -> str:
    del knowledge
    return _("Within {metres} too few flowers are open in {months}: this helps.").format(
        metres=metres(reason.metres), months=month_spans(reason.months)
    )


def _shared(reason: Reason, knowledge: Knowledge) -> str:
    return _("The whole place is short of {need} for the {animal}: {plots} share it.").format(
        need=need_name(reason.group, reason.need, knowledge),
        animal=in_sentence(knowledge.groups[reason.group].name),
        plots=counted(reason.counts[0], "plot"),
    )


_WORDS = {
    "nobody": _nobody,
    "few": _few,
    "some": _some,
    "joins": _joins,
    "feeds": _feeds,
    "months": _months,
    "shared": _shared,
}
