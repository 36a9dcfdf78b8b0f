"""Which column of a table is which: by its name, by other usual names, or as the user says."""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import geopandas as gpd
import pandas as pd

from patchnet.core.cells import texts
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest, nearest_hint
from patchnet.core.table import heading
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_feature
from patchnet.read.feature_lists import Problem, parse_cell

__all__ = [
    "ROLES",
    "Columns",
    "bare_heading",
    "check_columns",
    "column_names",
    "find_columns",
    "id_candidates",
]

# What people call a column, the plainest first: the first that is there is taken.
ROLES: Mapping[str, tuple[str, ...]] = {
    "id": (
        "id", "plot id", "plotid", "plot", "plot no", "plot number", "plot ref", "plot code", "ref",
        "reference", "parcel id", "parcel no", "parcel", "uid", "uprn", "toid", "code", "number",
        "no", "nr", "site id", "garden id", "garden", "fid", "objectid", "gml id", "osm id",
    ),
    "plot": ("plot", "plot id", "plotid", "in plot", "plot no", "plot ref", "plot code"),
    "kind": ("kind", "plot kind", "plot type", "type", "category", "class", "land use", "landuse",
             "barrier", "barrier type"),
    "label": ("label", "name", "title", "address", "addr", "house", "house number"),
    "country": ("country", "addr country"),
    "region": ("region",),
    "door": ("door", "door number", "addr housenumber", "housenumber"),
    "also": ("also", "also called", "other addresses", "second address"),
    "street": ("street", "street name", "road", "road name", "addr street"),
    "consent": ("consent", "public consent", "agreed to be shown"),
    "seen": ("seen", "surveyed", "looked at", "how much seen", "share seen"),
    "features": (
        "features", "feature", "habitat features", "habitats", "habitat", "what is there",
        "features seen", "things there",
    ),
    "amount": ("amount", "size", "quantity", "qty", "how much", "how many", "area or count"),
    "gap": ("gap", "gaps", "has gap", "opening", "hole", "passable"),
    "height": ("height", "height m", "height in m", "high"),
    "storeys": (
        "storeys", "stories", "levels", "building levels", "floors", "number of storeys",
        "no of storeys", "number of floors",
    ),
    "width": ("width", "width m", "width in m", "wide"),
    "basis": ("basis",),
    "speed": (
        "speed", "speed mph", "maxspeed", "max speed", "speed limit", "limit", "mph", "speed kmh",
        "speed km h", "kmh",
    ),
}  # fmt: skip

_UNITS = re.compile(
    r"[\s(\[_]+(?:m2|m\N{SUPERSCRIPT TWO}|sqm|sq m|m|count|number|no|qty|area|length|"
    r"y/?n|yes/?no)[)\]]?$",
    re.IGNORECASE,
)
_ABOUT = re.compile(r"^(?:has|is there an?|is there|any|number of|no of)[\s_]+", re.IGNORECASE)
# Mention a column that nothing used if it is spelt nearly like a feature.
_LIKENESS = 0.8


@dataclass(frozen=True)
class Columns:
    """Columns of one table by what they are.

    Attributes
    ----------
    role
        Role -> name of the column.
    feature
        Name of the column -> feature key, for tables with one column a feature.
    misspelt
        Name of a column that is spelt nearly like a feature -> that feature's key.
    said
        Roles and features whose column the user named, as far as the table has it.
    missing
        The same that the table does not have.
    unreadable
        Column that is called like a feature, but holds no cell that could be about one.
    """

    role: Mapping[str, str]
    feature: Mapping[str, str] = field(default_factory=dict)
    misspelt: Mapping[str, str] = field(default_factory=dict)
    said: frozenset[str] = frozenset()
    missing: frozenset[str] = frozenset()
    unreadable: Mapping[str, str] = field(default_factory=dict)


def check_columns(columns: Mapping[str, str] | None, knowledge: Knowledge) -> dict[str, str]:
    """Return the user's column names with each field as a role or a feature key.

    Raises
    ------
    WrongUse
        If a field is neither.
    """
    checked = {}
    for field_name, column in (columns or {}).items():
        word = heading(field_name)
        key = word if word in ROLES else match_feature(field_name, knowledge)
        if key is None:
            hint = nearest_hint(word, ROLES)
            raise WrongUse(
                f"There is no field {field_name!r} to name a column for.{hint} "
                f"The fields are {', '.join(ROLES)}, and every feature."
            )
        checked[key] = column
    return checked


def find_columns(
    table: pd.DataFrame,
    roles: Sequence[str],
    knowledge: Knowledge,
    *,
    said: Mapping[str, str],
    with_features: bool,
) -> Columns:
    """Find the columns of one table.

    Parameters
    ----------
    table
        Any table; its geometry column is ignored.
    roles
        Roles that the table may have.
    knowledge
        For the words of features.
    said
        The user's own words (`check_columns`): role or feature key -> name of the column.
    with_features
        Whether columns may stand for features.
    """
    names = column_names(table)
    by_plain: dict[str, str] = {}
    for name in names:
        by_plain.setdefault(heading(name), name)
    role: dict[str, str] = {}
    feature: dict[str, str] = {}
    had: set[str] = set()
    missing: set[str] = set()
    for key, column in said.items():
        if key not in roles if key in ROLES else not with_features:
            continue  # it is about another table
        found = column if column in names else by_plain.get(heading(column))
        if found is None:
            missing.add(key)
            continue
        had.add(key)
        if key in ROLES:
            role[key] = found
        else:
            feature[found] = key
    taken = {*role.values(), *feature}
    for key in roles:
        free = (by_plain.get(word) for word in _role_words(key, knowledge))
        first = next((name for name in free if name is not None and name not in taken), None)
        if key not in role and first is not None:
            role[key] = first
            taken.add(first)
    misspelt: dict[str, str] = {}
    unreadable: dict[str, str] = {}
    if with_features:
        rest = [name for name in names if name not in taken]
        _find_features(table, rest, knowledge, feature, misspelt, unreadable)
    return Columns(
        role,
        feature,
        misspelt=misspelt,
        unreadable=unreadable,
        said=frozenset(had),
        missing=frozenset(missing),
    )


@lru_cache(maxsize=256)
def _role_words(role: str, knowledge: Knowledge) -> tuple[str, ...]:
    """Return what a column is called, in English and then in other languages."""
    others = knowledge.table_words.of("column", "plot" if role == "id" else role)
    return (*ROLES[role], *map(heading, others))


def id_candidates(table: pd.DataFrame) -> list[str]:
    """Return names of columns that have another value in every row.

    Parameters
    ----------
    table
        Any table, with or without geometries.
    """
    found = []
    for name in column_names(table):
        cells = texts(table[name])
        if cells and all(cells) and len(set(cells)) == len(cells):
            found.append(name)
    return found


def column_names(table: pd.DataFrame) -> list[str]:
    """Return the names of the columns without that of the geometry.

    Parameters
    ----------
    table
        Any table, with or without geometries.
    """
    geometry = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    return [str(name) for name in table.columns if name != geometry]


def _find_features(
    table: pd.DataFrame,
    names: Iterable[str],
    knowledge: Knowledge,
    feature: dict[str, str],
    misspelt: dict[str, str],
    unreadable: dict[str, str],
) -> None:
    for name in names:
        key, sure = _meant(name, knowledge)
        if key is None:
            continue
        if _readable(table, name, knowledge, key):
            (feature if sure else misspelt)[name] = key
        elif sure:
            unreadable[name] = key


def bare_heading(name: str) -> str:
    """Return a heading without a unit behind it, and without "number of" before it.

    Parameters
    ----------
    name
        As it stands there.
    """
    return _ABOUT.sub("", _UNITS.sub("", name.strip().rstrip("?")))


@lru_cache(maxsize=512)
def _meant(name: str, knowledge: Knowledge) -> tuple[str | None, bool]:
    """Return the feature that a heading means, if any, and whether it is spelt as a word for it.

    Kept: the same few files are read again and again while answers are put into them.
    """
    bare = bare_heading(name)
    key = match_feature(name, knowledge) or match_feature(bare, knowledge)
    if key is not None:
        return key, True
    words, folded = _words(knowledge), heading(bare)
    close = [word for word in nearest(folded, words) if _like(folded, word)]
    return (words[close[0]] if close else None), False


@lru_cache(maxsize=8)
def _words(knowledge: Knowledge) -> Mapping[str, str]:
    return {
        heading(word): record.key
        for record in knowledge.features.values()
        for word in (record.key, *record.words)
    }


def _readable(table: pd.DataFrame, name: str, knowledge: Knowledge, key: str) -> bool:
    """Whether any cell of the column says something of a feature (or all are empty)."""
    said = [
        parse_cell(cell, knowledge.features[key], knowledge) for cell in set(texts(table[name]))
    ]
    filled = [one for one in said if one is not None]
    return not filled or any(not isinstance(one, Problem) for one in filled)


def _like(one: str, other: str) -> bool:
    return difflib.SequenceMatcher(None, one, other).ratio() >= _LIKENESS
