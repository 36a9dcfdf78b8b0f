"""OpenStreetMap's tags and what each stands for here, as an open table."""

from collections.abc import Collection, Mapping

from patchnet.knowledge.cells import Cells
from patchnet.knowledge.records import Origin, OsmTag
from patchnet.knowledge.tables import Row

__all__ = ["OSM_ROLES", "all_osm_tags"]

OSM_ROLES: Mapping[str, tuple[str, ...]] = {
    "feature": (),
    "barrier": (),
    "plot": (),
    "building": ("house", "outbuilding", "none"),
    "road": ("street", "lane", "drive", "highway", "footway", "none"),
}
"""What a tag can tell of, and what it can become beside the keys of that table."""

_DRAWN = ("point", "line", "area")


def all_osm_tags(
    rows: list[Row],
    cells: Cells,
    origins: dict[str, Origin],
    *,
    features: Collection[str],
    barrier_kinds: Collection[str],
    plot_kinds: Collection[str],
) -> tuple[OsmTag, ...]:
    """Build the tags in the order of the file; the first row that fits a thing is taken.

    Parameters
    ----------
    rows
        Rows of ``osm_tags.csv``.
    cells
        Reads them, and keeps the faults.
    origins
        The origin of every row is added here.
    features, barrier_kinds, plot_kinds
        Keys that rows may become.
    """
    known = {
        "feature": features,
        "barrier": barrier_kinds,
        "plot": plot_kinds,
        "building": plot_kinds,
    }
    return tuple(_tag(row, cells, origins, known) for row in rows)


def _tag(
    row: Row,
    cells: Cells,
    origins: dict[str, Origin],
    known: Mapping[str, Collection[str]],
) -> OsmTag:
    role = cells.choice(row, "role", tuple(OSM_ROLES))
    becomes = cells.text(row, "becomes")
    choices = {*known.get(role, ()), *OSM_ROLES.get(role, ())}
    if becomes and becomes not in choices:
        cells.faults.append(
            row.fault(
                f"'{becomes}' is nothing that a tag of the role {role} can become.",
                f"Write one of: {', '.join(sorted(choices))}.",
            )
        )
    tags = tuple(_pair(row, part, cells) for part in cells.text(row, "tags").split("&"))
    drawn = cells.listed(row, "drawn")
    if not drawn or not set(drawn) <= set(_DRAWN):
        cells.faults.append(
            row.fault("The cell 'drawn' is not point, line or area.", "Write them with ; between.")
        )
    sure = cells.flag(row, "sure")
    kind, sources = cells.origin(row, "class", "source")
    key = f"osm_tags/{role}/{row.cells['tags']}"
    origins[key] = Origin(key, f"becomes {becomes}", kind, sources, row.cells["note"], row.place)
    large = row.cells["large"] or None
    if large is not None:
        cells.known(row, "large", known["feature"], "feature")
    return OsmTag(role, tags, drawn, becomes, sure, large)


def _pair(row: Row, text: str, cells: Cells) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not (key and sign and value):
        cells.faults.append(row.fault(f"'{text[:40]}' is no tag.", "Write key=value, or key=*."))
    return key.strip(), value.strip()
