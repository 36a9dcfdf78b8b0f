"""Roads put together to streets, each with its course from one end to the other."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.folding import folded
from patchnet.street.one_name import streets_of_one_name

__all__ = ["Course", "Streets", "street_codes", "streets_of"]

Shapes = NDArray[np.object_]
_TIE = 1.0  # metres
UNNAMED = "unnamed "


@dataclass(frozen=True, eq=False)
class Course:
    """Pieces of one street in walking order, and the metres walked before each."""

    pieces: Shapes
    before: NDArray[np.float64]

    def place(self, x: float, y: float) -> tuple[float, NDArray[np.float64]]:
        """Return metres walked to the point of the street nearest to (x, y), and the heading."""
        point = shapely.Point(x, y)
        piece = int(np.argmin(shapely.distance(self.pieces, point)))
        line = self.pieces[piece]
        along = float(line.project(point))
        span = min(_TIE, line.length / 2)
        ahead, behind = line.interpolate(along + span), line.interpolate(max(along - span, 0.0))
        way = np.array([ahead.x - behind.x, ahead.y - behind.y])
        return float(self.before[piece]) + along, way / max(np.hypot(*way), 1e-9)


@dataclass(frozen=True, eq=False)
class Streets:
    """Roads by the street they belong to.

    Attributes
    ----------
    lines
        Lines of the roads, shape (r,).
    kind
        street, highway, lane or drive, shape (r,).
    street
        Position of each road's street, shape (r,).
    names
        Name of each street; roads without a name are told apart by numbers.
    named
        Whether the name is its own.
    courses
        Course of each street; of one that only addresses tell of, the line along its houses.
    folded
        What is compared of each street's name; a second street of a name has the same.
    bridge
        Whether each road is a bridge there, shape (r,): no house faces it.
    """

    lines: Shapes
    kind: NDArray[np.object_]
    street: NDArray[np.intp]
    names: tuple[str, ...]
    named: tuple[bool, ...]
    courses: tuple[Course, ...]
    folded: tuple[str, ...]
    bridge: NDArray[np.bool_]

    def called(self, folded: str) -> list[int]:
        """Positions of the streets of a name (see `folded`)."""
        return [at for at, one in enumerate(self.folded) if one == folded and self.named[at]]

    def nearest_called(self, folded: str, shape: shapely.Geometry) -> int:
        """Position of the nearest street of a name; -1 where there is none."""
        found = self.called(folded)
        away = [float(shapely.distance(self.courses[at].pieces, shape).min()) for at in found]
        return found[int(np.argmin(away))] if found else -1

    def at_end(self, street: NDArray[np.intp], points: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether points are at the end of their street, shape (n,)."""
        ends = np.array(
            [shapely.union_all(shapely.boundary(course.pieces)) for course in self.courses],
            dtype=object,
        )
        near: NDArray[np.bool_] = shapely.distance(ends[street], shapely.points(points)) < _TIE
        return near


def streets_of(
    roads: gpd.GeoDataFrame,
    *,
    apart_m: float = np.inf,
    addressed: Mapping[str, NDArray[np.float64]] | None = None,
) -> Streets:
    """Put roads together: those of one name; those without a name where they run on.

    Parameters
    ----------
    roads
        Table of roads.
    apart_m
        Roads of one name further apart than this, with no house of that name between them, are
        different streets: the second, counted from the south-west, is called ``Elm Road (2)``.
    addressed
        Streets that addresses name: name -> places of the houses, shape (k, 2). Where no road so
        near is called so, the street is there all the same, without a road.
    """
    lines = roads.geometry.to_numpy()
    kind = roads["kind"].to_numpy(dtype=object)
    own, extra = _told_apart(
        [str(name).strip() for name in roads["name"]], lines, addressed or {}, apart_m
    )
    unnamed = np.array([not name for name in own], dtype=bool)
    label = np.array(own, dtype=object)
    number = 0
    for sort in sorted(set(kind[unnamed].tolist())):
        some = np.flatnonzero(unnamed & (kind == sort))
        merged = shapely.get_parts(shapely.line_merge(shapely.union_all(lines[some])))
        order = sorted(range(len(merged)), key=lambda at: merged[at].bounds)
        merged = merged[order]
        middles = shapely.line_interpolate_point(lines[some], 0.5, normalized=True)
        nearest = shapely.STRtree(merged).nearest(middles)
        for at in np.unique(nearest).tolist():
            number += 1
            label[some[nearest == at]] = f"{UNNAMED}{sort} {number}"
    names = sorted({*label.tolist(), *extra})
    place = {name: at for at, name in enumerate(names)}
    street = np.array([place[name] for name in label], dtype=np.intp)
    mine = {*own, *extra} - {""}
    courses = [
        _along_houses(extra[name]) if name in extra else _course(lines[street == at])
        for at, name in enumerate(names)
    ]
    bridge = roads["bridge"].to_numpy(dtype=bool) if "bridge" in roads.columns else kind == ""
    return Streets(
        lines,
        kind,
        street,
        tuple(names),
        tuple(name in mine for name in names),
        tuple(courses),
        tuple(folded(_without_count(name)) for name in names),
        np.asarray(bridge, dtype=bool),
    )


def _without_count(name: str) -> str:
    return re.sub(r" \(\d+\)$", "", name)


def _told_apart(
    names: list[str], lines: Shapes, addressed: Mapping[str, NDArray[np.float64]], apart: float
) -> tuple[list[str], dict[str, NDArray[np.float64]]]:
    """Names in the spelling that is seen most, two streets of one name told apart by a number.

    Returns the name of each road's street, and the streets that only houses tell of.
    """
    roads: dict[str, list[int]] = {}
    for at, name in enumerate(names):
        if name:
            roads.setdefault(folded(name) or name, []).append(at)
    houses: dict[str, list[str]] = {}
    for name in sorted(addressed):
        houses.setdefault(folded(name), []).append(name)
    out, extra = list(names), {}
    for key in dict.fromkeys([*roads, *houses]):
        members, said = roads.get(key, []), houses.get(key, [])
        spelt = [names[at] for at in members] or said
        best = min(set(spelt), key=lambda name: (-spelt.count(name), name))
        places = np.vstack([np.empty((0, 2)), *(addressed[name] for name in said)])
        shapes = np.array([*lines[members], *shapely.points(places)], dtype=object)
        street = streets_of_one_name(shapes, apart)
        of_road, of_house = street[: len(members)], street[len(members) :]
        grounds = [shapely.union_all(shapes[street == one]) for one in range(street.max() + 1)]
        order = sorted(
            range(len(grounds)),
            key=lambda one: (one not in of_road, sum(grounds[one].bounds[:2]), grounds[one].bounds),
        )
        for turn, one in enumerate(order):
            called = f"{best} ({turn + 1})" if turn else best
            for at in np.array(members, dtype=np.intp)[of_road == one].tolist():
                out[at] = called
            if one not in of_road:
                extra[called] = places[of_house == one]
    return out, extra


def _along_houses(places: NDArray[np.float64]) -> Course:
    """Return the straight line along houses, as the course of a street without a road."""
    middle = places.mean(axis=0)
    way = np.array([1.0, 0.0])
    if len(places) > 1:
        way = np.linalg.svd(places - middle, full_matrices=False)[2][0]
    reach = (places - middle) @ way
    ends = middle + np.outer([reach.min() - _TIE, reach.max() + _TIE], way)
    return _course(np.array([shapely.LineString(ends)], dtype=object))


def _course(lines: Shapes) -> Course:
    """Join the lines of a street and walk them from the end that lies further south-west."""
    joined = shapely.line_merge(shapely.multilinestrings(list(lines)))
    pieces = [_from_south_west(piece) for piece in shapely.get_parts(joined)]
    pieces.sort(key=lambda piece: (sum(piece.coords[0][:2]), piece.wkb))
    length = np.array([piece.length for piece in pieces])
    return Course(np.array(pieces, dtype=object), np.concatenate([[0.0], np.cumsum(length)[:-1]]))


def _from_south_west(line: shapely.LineString) -> shapely.LineString:
    first, last = line.coords[0][:2], line.coords[-1][:2]
    turned = (sum(first), first) > (sum(last), last)
    return shapely.reverse(line) if turned else line


def street_codes(names: Iterable[str], taken: dict[str, str]) -> dict[str, str]:
    """Return a short code for each street: its initials, else its first letters.

    Parameters
    ----------
    names
        Names of streets.
    taken
        Street -> code of an earlier base, which are kept.
    """
    codes = dict(taken)
    for name in sorted(set(names) - set(codes)):
        words = re.findall(r"[A-Z0-9]+", _ascii(name).upper()) or ["X"]
        tries = [f"U{words[-1]}"] if name.startswith(UNNAMED) else []
        tries += ["".join(word[0] for word in words)[:4]]
        tries += [words[0][:size] for size in (2, 3, 4)]
        tries += [f"{words[0][:3]}{letter}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]
        tries += [f"S{number}S" for number in range(1, 10_000)]
        codes[name] = next(one for one in tries if len(one) > 1 and one not in codes.values())
    return codes


def _ascii(text: str) -> str:
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
