"""Which figures an answer turns on, in words for a terminal and as JSON."""

from typing import Any

from patchnet.assess.deciding_figures import DecidingFigures, FigureFamily
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import N_, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.doubt_words import drawn_words
from patchnet.pages.kit.figure_words import figure_value, figure_words
from patchnet.pages.kit.part_words import part_words
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.map.map_words import CLASS_WORDS
from patchnet.pages.terminal.json_text import json_text

__all__ = ["why_json", "why_text"]


def why_json(found: DecidingFigures) -> str:
    """Figures that an answer turns on, as JSON.

    Keys: neighbourhood, groups, draws, explained, unknown_answers, told_from_chance (shares of all
    doubt, 0-1), families (order, share, figures: key, words, share, value, unit, low, high,
    class).

    Parameters
    ----------
    found
        The figures.
    """
    knowledge = found.assessment.knowledge
    return json_text(
        {
            "neighbourhood": found.assessment.neighbourhood.name,
            "groups": list(found.assessment.groups),
            "draws": found.draws,
            "explained": found.explained,
            "unknown_answers": float(found.answers.mean()),
            "told_from_chance": found.least,
            "families": [
                {"order": order, "share": one.share, "figures": _figures(one, knowledge)}
                for order, one in enumerate(found.families, 1)
            ],
        }
    )


def why_text(found: DecidingFigures, limit: int) -> str:
    """Figures that an answer turns on, in words.

    Parameters
    ----------
    found
        The figures.
    limit
        How many lines at most; figures that are drawn together are one.
    """
    assessment = found.assessment
    groups = list(assessment.groups.values())
    animals = (
        in_sentence(groups[0].group.name)
        if len(groups) == 1
        else counted(len(groups), N_("animal"), N_("animals"))
    )
    head = _("What the answer for {animals} in {neighbourhood} turns on").format(
        animals=animals, neighbourhood=assessment.neighbourhood.name
    )
    parts = [head, paragraph(drawn_words(found.draws))]
    if found.families:
        parts.append(
            paragraph(_("What comes out differs from time to time. So much of that is because of:"))
        )
        parts += [
            _family(one, order, assessment.knowledge)
            for order, one in enumerate(found.families[:limit], 1)
        ]
    else:
        parts.append(paragraph(_("No single figure stands out from chance.")))
    return "\n\n".join([*parts, *map(paragraph, _closing(found))]) + "\n"


def _family(one: FigureFamily, order: int, knowledge: Knowledge) -> str:
    lines = [f"{order}. {part_words(one.share)}"]
    if len(one.figures) > 1:
        lines[0] += _(", {n} figures that go up and down together").format(n=len(one.figures))
    for figure in one.figures:
        words = _("{words}: {value}; {class_words}.").format(
            words=figure_words(figure, knowledge),
            value=figure_value(figure),
            class_words=CLASS_WORDS[figure.figure.kind],
        )
        lines.append(paragraph(words, indent="   ", then="   "))
        lines.append(f"   patchnet source {figure.figure.key}")
    return "\n".join(lines)


def _figures(one: FigureFamily, knowledge: Knowledge) -> list[dict[str, Any]]:
    return [
        {
            "key": each.figure.key,
            "words": figure_words(each, knowledge),
            "share": share,
            "value": each.figure.value,
            "unit": each.figure.unit,
            "low": each.figure.low,
            "high": each.figure.high,
            "class": each.figure.kind,
        }
        for each, share in zip(one.figures, one.shares, strict=True)
    ]


def _closing(found: DecidingFigures) -> list[str]:
    answers = float(found.answers.mean())
    words = []
    if answers > 0:
        words.append(
            _(
                "All answers that nobody gave, together: {part}. 'patchnet next' says which door "
                "to knock on."
            ).format(part=part_words(answers))
        )
    else:
        words.append(_("Nothing that could be seen is unknown, so no answer adds to it."))
    words.append(
        _(
            "The figures that stand out make {part}, as far as this tells; the rest is spread over "
            "many that each make little difference, or is what they do together. With {draws} "
            "draws no part smaller than {least} can be told from chance. Give --draws for more."
        ).format(part=part_words(found.explained), draws=found.draws, least=part_words(found.least))
    )
    words.append(
        _(
            "Know better? Put your own value in a table ('patchnet tables') and give it with "
            "--knowledge."
        )
    )
    return words
