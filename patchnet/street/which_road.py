"""The road that is meant: by its name, or by points beside it where it has none."""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.folding import folded
from patchnet.core.texts import _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.street.no_name import roads_without_a_name
from patchnet.street.one_name import streets_of_one_name
from patchnet.street.road_line import Piece, RoadLine, joined, line_of, pieces_of

__all__ = ["meant_road"]

_MOST_NAMES = 20  # in a list of roads


class _Bare(NamedTuple):
    """A piece of road without a name, and the labels of the rows that draw it."""

    rows: frozenset[Hashable]
    piece: Piece


def meant_road(
    roads: gpd.GeoDataFrame,
    name: str,
    *,
    knowledge: Knowledge,
    at: Sequence[shapely.Point] = (),
    plots: gpd.GeoDataFrame | None = None,
    called: str = "",
) -> RoadLine:
    """Find a road, and make one line of its pieces.

    Parameters
    ----------
    roads
        Columns ``name`` (empty: none), ``width_m``, metres, and perhaps ``speed_mph``.
    name
        Name of the road, in any spelling that `patchnet.core.folding` folds alike; empty: the road
        nearest to the points, whether it has a name or not.
    knowledge
        For the settings of the road line.
    at
        Points by it, where several roads bear that name or it has none.
    plots
        Named so that people can tell roads apart.
    called
        What a road without a name is to be called.

    Raises
    ------
    WrongUse
        If there is no road, none of this name (with the nearest names), none drawn as a line, or
        several that lie far apart and no point says which; each with the way out.
    """
    if not len(roads):
        if not name.strip():
            raise WrongUse(_("There is no layer of roads in the neighbourhood: draw one."))
        raise WrongUse(
            _("The road {name!r} cannot be found: {why} in the neighbourhood.").format(
                name=name, why=_("there is no layer of roads")
            )
        )
    wanted = folded(name)
    if not wanted:
        return _beside(roads, at, knowledge, plots, called)
    names = list(dict.fromkeys(text for text in roads["name"] if text))
    rows = roads[[folded(text) == wanted for text in roads["name"]]]
    if not len(rows):
        raise WrongUse(_unknown(name, names, roads))
    return _named(rows, at, knowledge, plots)


def _unknown(name: str, names: Sequence[str], roads: gpd.GeoDataFrame) -> str:
    """Say that no road has this name, and what can be asked for."""
    if names:
        said = _("There is no road called {name!r}.{hint} The roads are: {listed}.").format(
            name=name, hint=nearest_hint(name, names), listed=", ".join(sorted(names)[:_MOST_NAMES])
        )
    else:
        said = _("The road {name!r} cannot be found: {why} in the neighbourhood.").format(
            name=name, why=_("no road has a name")
        )
    bare = int((roads["name"] == "").sum())
    return " ".join(filter(None, [said, _nameless_words(bare)]))


def _nameless_words(bare: int) -> str:
    if not bare:
        return ""
    return ngettext(
        "{n} road has no name on the map: choose it by a plot on it or a point by it (--at, in "
        "Python: at), without its name.",
        "{n} roads have no name on the map: choose one by a plot on it or a point by it (--at, in "
        "Python: at), without a name.",
        bare,
    ).format(n=bare)


def _named(
    rows: gpd.GeoDataFrame,
    at: Sequence[shapely.Point],
    knowledge: Knowledge,
    plots: gpd.GeoDataFrame | None,
) -> RoadLine:
    pieces = pieces_of(rows)
    title = str(rows["name"].iloc[0])
    if not pieces:
        raise WrongUse(
            _(
                "{title} is drawn as an area only: draw the line along its middle in the layer of "
                "roads, with its width in width_m."
            ).format(title=title)
        )
    road = joined(title, _one_road(title, pieces, at, plots, knowledge), knowledge)
    return replace(road, rows=frozenset(rows.index))


def _one_road(
    name: str,
    pieces: list[Piece],
    at: Sequence[shapely.Point],
    plots: gpd.GeoDataFrame | None,
    knowledge: Knowledge,
) -> list[Piece]:
    """Return the pieces of the one road that is meant: those far apart are roads of one name."""
    shapes = [shapely.LineString(piece.corners) for piece in pieces]
    group = streets_of_one_name(shapes, knowledge.setting("base_same_street_m"))
    count = int(group.max()) + 1
    roads = [np.flatnonzero(group == one).tolist() for one in range(count)]
    if count == 1:
        return pieces
    lines = [shapely.union_all([shapes[each] for each in road]) for road in roads]
    if at:
        return [pieces[each] for each in roads[_nearest(lines, at)]]
    listed = "\n".join(_described(line, plots) for line in lines)
    raise WrongUse(
        _(
            "{count} roads are called {name}:\n{listed}\nSay which one is meant: --at with a plot "
            "on it or a point by it (in Python: at)."
        ).format(count=count, name=name, listed=listed)
    )


def _nearest(lines: Sequence[shapely.Geometry], at: Sequence[shapely.Point]) -> int:
    """Return which line lies nearest to the points, the sum of their distances."""
    return int(np.argmin(sum(shapely.distance(lines, point) for point in at)))


def _described(line: shapely.Geometry, plots: gpd.GeoDataFrame | None) -> str:
    """Return a line of the list of roads of one name: how long, where, and a plot by it."""
    longest = max(shapely.get_parts(line).tolist(), key=lambda part: part.length)
    point = longest.interpolate(0.5, normalized=True)
    near = ""
    if plots is not None and len(plots):
        near = str(plots.index[int(np.argmin(plots.geometry.distance(line).to_numpy()))])
    return _("- {length:.0f} m long, at {x:.0f},{y:.0f}, beside plot {near}").format(
        length=line.length, x=point.x, y=point.y, near=near or "?"
    )


def _beside(
    roads: gpd.GeoDataFrame,
    at: Sequence[shapely.Point],
    knowledge: Knowledge,
    plots: gpd.GeoDataFrame | None,
    called: str,
) -> RoadLine:
    """Return the road nearest to some points: the one with a name, or the pieces without one."""
    if not at:
        names = sorted({text for text in roads["name"] if text})
        said = _(
            "Say which road is meant: its name (--road), or a plot on it or a point by it (--at; "
            "in Python: at)."
        )
        if names:
            said += " " + _("The roads are: {listed}.").format(
                listed=", ".join(names[:_MOST_NAMES])
            )
        raise WrongUse(said)
    lined = roads[shapely.get_dimensions(roads.geometry.to_numpy()) == 1]
    if not len(lined):
        raise WrongUse(
            _(
                "The roads are drawn as areas only: draw the line along the middle of each in the "
                "layer of roads, with its width in width_m."
            )
        )
    named = lined[lined["name"] != ""]
    spelt = named["name"].map(folded)
    by_name = [named[spelt == one] for one in dict.fromkeys(spelt)]
    bare = _bare_pieces(lined[lined["name"] == ""])
    own = roads_without_a_name(
        [each.piece for each in bare],
        bend_deg=knowledge.setting("street_bend_deg"),
        snap_m=knowledge.setting("street_snap_m"),
    )
    lines = [shapely.union_all(rows.geometry.to_numpy()) for rows in by_name]
    lines += [
        shapely.union_all([shapely.LineString(piece.corners) for _, piece in road]) for road in own
    ]
    which = _nearest(lines, at)
    if which < len(by_name):
        return _named(by_name[which], at, knowledge, plots)
    road = own[which - len(by_name)]
    used = {place for place, _ in road}
    rows = frozenset[Hashable]().union(*(bare[place].rows for place in used))
    rest = [each.piece for place, each in enumerate(bare) if each.rows & rows and place not in used]
    return _bare_road([piece for _, piece in road], rest, rows, called)


def _bare_pieces(roads: gpd.GeoDataFrame) -> list[_Bare]:
    """Return every line of roads without a name; what was drawn twice comes once."""
    found: dict[bytes, _Bare] = {}
    for row in roads.index:
        for piece in pieces_of(roads.loc[[row]]):
            key = shapely.LineString(piece.corners).normalize().wkb
            same = found.get(key, _Bare(frozenset(), piece))
            found[key] = same._replace(rows=same.rows | {row})
    return list(found.values())


def _bare_road(
    chain: Sequence[Piece], rest: Sequence[Piece], rows: frozenset[Hashable], called: str
) -> RoadLine:
    """Return a road without a name as one line, called by where its middle is if nobody says."""
    line = line_of("", chain).line
    middle = line.interpolate(0.5, normalized=True)
    where = _("road without a name ({x:.0f},{y:.0f})").format(x=middle.x, y=middle.y)
    road = line_of(called.strip() or where, chain)
    (x, y), (x_2, y_2) = shapely.get_coordinates(line)[[0, -1]].tolist()
    told = _(
        "The map gives this road no name. It was chosen by where it lies: {length:.0f} m, from "
        "{x:.0f},{y:.0f} to {x_2:.0f},{y_2:.0f}, as far as it runs straight on."
    ).format(length=line.length, x=x, y=y, x_2=x_2, y_2=y_2)
    return replace(road, notes=(told, *road.notes), rest=tuple(rest), rows=rows)
