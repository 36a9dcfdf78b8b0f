"""What the tables hold, as lists for a terminal."""

from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.records import Group, Knowledge
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.text_table import paragraph, text_table

__all__ = ["features_text", "groups_text"]


def groups_text(knowledge: Knowledge) -> str:
    """Every animal: what one home is, what it lives in, its needs and distances."""
    return "\n\n".join(_group(group, knowledge) for group in knowledge.groups.values()) + "\n"


def _group(group: Group, knowledge: Knowledge) -> str:
    anchors = _(" or ").join(
        f"{in_sentence(knowledge.resources[anchor.resource].name)} "
        f"({figure(anchor.per_home.value)} {_(anchor.per_home.unit)})"
        for anchor in group.anchors
    )
    way = _("by air") if group.mode == "air" else _("over the ground")
    rows = [
        (
            need.name,
            f"{figure(need.amount.value)} {_(need.amount.unit)}",
            _("within {reach} m").format(reach=figure(need.reach.value)),
            month_spans(need.months),
            _("vital") if need.vital else _("helpful"),
        )
        for need in group.needs
    ]
    needs = text_table(rows, indent="    ") if rows else _("    It needs nothing else of a garden.")
    asked = "" if group.usual else _(" Worked out when you ask for it.")
    return "\n".join(
        [
            f"{group.key}: {group.name} ({group.latin})",
            paragraph(
                _(
                    "One home is {home_is}; it lives in {anchors}. It moves {way}, at most {hop} "
                    "m in one move. Active: {active_months}.{asked}"
                ).format(
                    home_is=group.home_is,
                    anchors=anchors,
                    way=way,
                    hop=figure(group.hop.value),
                    active_months=month_spans(group.active_months),
                    asked=asked,
                ),
                indent="  ",
            ),
            needs,
        ]
    )


def features_text(knowledge: Knowledge) -> str:
    """Every feature with its measure, usual amount and the other words it goes by."""
    measures = {"m2": "m²", "m": "m", "count": "count"}
    rows = [(_("Key"), _("Name"), _("Measure"), _("Usual"), _("Also written"))]
    rows += [
        (
            feature.key,
            feature.name,
            measures[feature.measure],
            figure(feature.typical.value),
            ", ".join(feature.words),
        )
        for feature in knowledge.features.values()
    ]
    return text_table(rows, header=True) + "\n"
