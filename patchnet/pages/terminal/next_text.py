"""Which door to knock on next, in words for a terminal, as JSON and as a table."""

import csv
import io
from typing import Any

from patchnet.assess.next_door import Door, NextDoors
from patchnet.core.cells import harmless
from patchnet.core.language_forms import in_sentence, number
from patchnet.core.texts import N_, _, counted, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.part_words import part_words
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.kit.where_words import WHERE_WORDS
from patchnet.pages.terminal.json_text import json_text

__all__ = ["next_csv", "next_json", "next_text"]

_NAMED = 3
_HARDLY = 0.01  # of what choosing now wins


def next_json(found: NextDoors, limit: int) -> str:
    """Doors as JSON, all that is to be looked for at each.

    Keys: neighbourhood, plot (null: the whole street), groups, unknown_answers, draws, doors
    (order, plot, label, share and cumulative of all that is open, look_for: feature, name, where,
    share).

    Parameters
    ----------
    found
        The doors.
    limit
        How many at most.
    """
    return json_text(
        {
            "neighbourhood": found.assessment.neighbourhood.name,
            "plot": found.plot,
            "groups": list(found.assessment.groups),
            "unknown_answers": found.unknown,
            "draws": found.draws,
            "doors": [_facts(found, one, at) for at, one in enumerate(found.doors[:limit], 1)],
        }
    )


def next_csv(found: NextDoors, limit: int) -> str:
    """One row a door and feature, in the order in which to ask: for a spreadsheet.

    Parameters
    ----------
    found
        The doors.
    limit
        How many doors at most.
    """
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("order", "plot", "label", "feature", "name", "where", "share"))
    for at, one in enumerate(found.doors[:limit], 1):
        door = _facts(found, one, at)
        for look in door["look_for"]:
            cells = (at, door["plot"], door["label"], look["feature"], look["name"])
            where = WHERE_WORDS[look["where"]]
            rows.writerow([harmless(str(cell)) for cell in (*cells, where, look["share"])])
    return out.getvalue()


def next_text(found: NextDoors, limit: int) -> str:
    """Doors in words, with the two or three things to look for at each.

    Parameters
    ----------
    found
        The doors.
    limit
        How many at most.
    """
    hood, knowledge = found.assessment.neighbourhood, found.assessment.knowledge
    head = _("Which door next in {neighbourhood}: to know {what}").format(
        neighbourhood=hood.name, what=_what(found)
    )
    if not found.unknown:
        none = _("All that can be seen from outside is known: there is no door left to knock on.")
        return f"{head}\n\n{paragraph(none)}\n"
    if not found.doors:
        return f"{head}\n\n{paragraph(_none(found))}\n"
    parts = [head, paragraph(_open(found))]
    parts += [
        _door(_facts(found, one, at), knowledge) for at, one in enumerate(found.doors[:limit], 1)
    ]
    return "\n\n".join([*parts, paragraph(_closing(found))]) + "\n"


def _facts(found: NextDoors, one: Door, order: int) -> dict[str, Any]:
    plots = found.assessment.neighbourhood.plots
    features = found.assessment.knowledge.features
    return {
        "order": order,
        "plot": one.plot,
        "label": str(plots.loc[one.plot, "label"]),
        "kind": str(plots.loc[one.plot, "kind"]),
        "share": one.share,
        "cumulative": one.cumulative,
        "look_for": [
            {
                "feature": look.feature,
                "name": features[look.feature].name,
                "where": look.where,
                "share": look.share,
            }
            for look in one.looks
        ],
    }


def _door(door: dict[str, Any], knowledge: Knowledge) -> str:
    name = door["plot"]
    if door["label"] and door["label"] != door["plot"]:
        name = f"{name}, {door['label']}"
    kind = knowledge.plot_kinds.get(door["kind"])
    if kind is not None:
        name = f"{name} ({kind.name})"
    share = _("would settle {part} of what is open").format(part=part_words(door["share"]))
    if door["order"] > 1:
        share = _("{share}; with those above {part}").format(
            share=share, part=part_words(door["cumulative"])
        )
    things = "; ".join(
        f"{look['name']} ({WHERE_WORDS[look['where']]})" for look in door["look_for"][:_NAMED]
    )
    return "\n".join(
        [
            paragraph(f"{door['order']}. {name}: {share}.", then="   "),
            paragraph(_("Look for: {things}.").format(things=things), indent="   ", then="   "),
        ]
    )


def _what(found: NextDoors) -> str:
    groups = list(found.assessment.groups.values())
    if found.plot is not None:
        return _("what {plot} should add").format(plot=found.plot)
    if len(groups) == 1:
        return _("how many homes there are for the {animal}").format(
            animal=in_sentence(groups[0].group.name)
        )
    return _("what is there for {animals}").format(
        animals=counted(len(groups), N_("animal"), N_("animals"))
    )


def _open(found: NextDoors) -> str:
    words = ngettext(
        "{n} answer that somebody could give is not known yet.",
        "{n} answers that somebody could give are not known yet.",
        found.unknown,
    ).format(n=number(found.unknown, ","))
    if found.plot is None:
        return words
    more = found.worth / found.now_wins if found.now_wins > 0 else 0.0
    parts = [
        words,
        _(
            "We worked this out {draws} times with other guesses of them, and chose for {plot} "
            "each time. Knowing them all would win {part} more than choosing now."
        ).format(draws=found.draws, plot=found.plot, part=part_words(more)),
    ]
    if more < _HARDLY:
        parts.append(_("So it can choose now. If somebody goes and looks all the same:"))
    return " ".join(parts)


def _none(found: NextDoors) -> str:
    if found.plot is None:
        return _(
            "Nothing that is still open would change this answer much, or nobody is to be asked "
            "about it."
        )
    return _(
        "None of the {n} answers that are still open would change what {plot} should add, as far "
        "as {draws} draws can tell: it can choose now."
    ).format(n=number(found.unknown, ","), plot=found.plot, draws=found.draws)


def _closing(found: NextDoors) -> str:
    del found
    return _(
        "Households that said no or asked to be forgotten are left in peace and not listed. Look "
        "only from where everybody may stand, and ask before you go in. Shares are rough: each "
        "answer was tried by itself. This list is for the group, not for publishing."
    )
