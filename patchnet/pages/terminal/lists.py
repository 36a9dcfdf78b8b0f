"""What the tables hold, as lists for a terminal."""

from patchnet.core.texts import _
from patchnet.knowledge.records import Group, Knowledge
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.text_table import paragraph, text_table

__all__ = ["features_text", "groups_text"]


def groups_text(knowledge: Knowledge) -> str:
    """Every animal: what one home is, what it lives in, its needs and distances."""
    return "\n\n".join(_group(group, knowledge) for group in knowledge.groups.values()) + "\n"


def _group(group: Group, knowledge: Knowledge) -> str:
    anchors = " or ".join(
        f"{knowledge.resources[anchor.resource].name.lower()} "
        f"({figure(anchor.per_home.value)} {_(anchor.per_home.unit)})"
        for anchor in group.anchors
    )
    way = "by air" if group.mode == "air" else "over the ground"
    rows = [
        (
            need.name,
            f"{figure(need.amount.value)} {_(need.amount.unit)}",
            f"within {figure(need.reach.value)} m",
            month_spans(need.months),
            _("vital") if need.vital else _("helpful"),
        )
        for need in group.needs
    ]
    needs = text_table(rows, indent="    ") if rows else "    It needs nothing else of a garden."
    asked = "" if group.usual else " Worked out when you ask for it."
    return "\n".join(
        [
            f"{group.key}: {group.name} ({group.latin})",
            paragraph(
                f"One home is {group.home_is}; it lives in {anchors}. It moves {way}, at most "
                f"{figure(group.hop.value)} m in one move. Active: "
                f"{month_spans(group.active_months)}.{asked}",
                indent="  ",
            ),
            needs,
        ]
    )


def features_text(knowledge: Knowledge) -> str:
    """Every feature with its measure, usual amount and the other words it goes by."""
    measures = {"m2": "m²", "m": "m", "count": "count"}
    rows = [("Key", "Name", "Measure", "Usual", "Also written")]
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
