"""OpenStreetMap's tags and what each stands for here, as an open table."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import Choice, Choices, Flag, Ref, Tags, Text
from patchnet.knowledge.parts import Basis
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table

__all__ = ["OSM_ROLES", "OsmTag", "read_osm_tags"]

OSM_ROLES: Mapping[str, tuple[str, ...]] = {
    "feature": (),
    "barrier": (),
    "plot": (),
    "building": ("house", "outbuilding", "none"),
    "road": ("street", "lane", "drive", "highway", "footway", "none"),
}
"""What a tag can tell of, and what it can become beside the keys of that table."""
_TABLES = {
    "feature": "features.csv",
    "barrier": "barrier_kinds.csv",
    "plot": "plot_kinds.csv",
    "building": "plot_kinds.csv",
}


@table(
    "osm_tags.csv",
    N_("What tags of OpenStreetMap stand for; the first row that fits a thing is taken."),
    called="tag",
    key=("role", "tags"),
    bases=(Basis("", N_("becomes {becomes}")),),
)
@dataclass(frozen=True, slots=True)
class OsmTag:
    """What tags of OpenStreetMap stand for.

    Parameters
    ----------
    role
        What they tell of: feature, barrier, plot, building or road.
    tags
        Pairs of key and value that must all be there; ``*`` is any value.
    drawn
        How such a thing is drawn: point, line, area.
    becomes
        Key of the feature, barrier kind or plot kind, or a word of the role.
    sure
        Whether the tags say all that the key claims.
    large
        Feature that it becomes where the tags state a large size, or None: the same.
    """

    role: Annotated[str, Choice(N_("what the tags tell of"), of=tuple(OSM_ROLES))]
    tags: Annotated[
        tuple[tuple[str, str], ...], Tags(N_("tags that must all be there; * is any value"))
    ]
    drawn: Annotated[
        tuple[str, ...],
        Choices(N_("how it is drawn"), of=("point", "line", "area"), blank="needed"),
    ]
    becomes: Annotated[
        str,
        Text(
            N_("key of the feature, barrier kind or plot kind, or a word of the role"), shown=False
        ),
    ]
    sure: Annotated[bool, Flag(N_("whether the tags say all that the key claims"))]
    large: Annotated[
        str | None,
        Ref(N_("feature that it becomes where it is large, if another"), table="features.csv",
            blank=None),
    ] = None  # fmt: skip


def read_osm_tags(reader: Reader) -> tuple[OsmTag, ...]:
    """Read the tags; what each becomes must be a key or a word of its role."""
    tags = reader.rows(OsmTag)
    for row, tag in tags:
        known = reader.keys(_TABLES[tag.role]) if tag.role in _TABLES else {}
        choices = {*known, *OSM_ROLES[tag.role]}
        if tag.becomes and tag.becomes not in choices:
            what = _("'{becomes}' is nothing that a tag of the role {role} can become.").format(
                becomes=tag.becomes, role=tag.role
            )
            reader.say(
                row, what, _("Write one of: {choices}.").format(choices=", ".join(sorted(choices)))
            )
    return tuple(tag for __, tag in tags)
