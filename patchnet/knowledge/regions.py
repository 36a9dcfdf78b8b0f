"""Which animals live in which region at all."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import Choice, Key, Ref, Text, Words
from patchnet.knowledge.parts import Basis
from patchnet.knowledge.schema import table
from patchnet.knowledge.words import plain, word_index

if TYPE_CHECKING:
    from patchnet.knowledge.knowledge import Knowledge

__all__ = [
    "Lives",
    "Region",
    "RegionAnimal",
    "assumed_present",
    "lives_in",
    "match_region",
    "usual_groups",
]

Lives = Literal["yes", "no", "not_known"]


@table("regions.csv", N_("A region that an animal may or may not live in."), called="region")
@dataclass(frozen=True, slots=True)
class Region:
    """A region: a country, or a part of one."""

    key: Annotated[str, Key(N_("key of the region"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    country: Annotated[str, Ref(N_("country that it belongs to"), table="countries.csv")]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]


@table(
    "region_animals.csv",
    N_("Whether an animal lives in a region at all."),
    called=N_("animal of a region"),
    key=("region", "group"),
    bases=(Basis("", "{lives}"),),
)
@dataclass(frozen=True, slots=True)
class RegionAnimal:
    """Whether an animal lives in a region at all: yes, no, or not known."""

    region: Annotated[str, Ref(N_("the region"), table="regions.csv")]
    group: Annotated[str, Ref(N_("the animal"), table="groups.csv")]
    lives: Annotated[Lives, Choice(N_("whether it lives there: yes, no, or not_known"))]


def match_region(said: str, knowledge: "Knowledge") -> str:
    """Return the key of the region that somebody means.

    Raises
    ------
    WrongUse
        If none is called so; the message names the nearest and lists all.
    """
    found = word_index(knowledge.regions.values()).get(plain(said), [])
    if len(found) == 1:
        return found[0]
    hint = nearest_hint(said, knowledge.regions)
    raise WrongUse(
        _("There is no region {said!r}.{hint} Regions: {regions}.").format(
            said=said, hint=hint, regions=", ".join(knowledge.regions)
        )
    )


def lives_in(group: str, region: str, knowledge: "Knowledge") -> Lives:
    """Whether an animal lives in a region; not known where no table says it, or no region is."""
    held = knowledge.region_animals.get(f"{region}/{group}")
    return "not_known" if held is None else held.lives


def usual_groups(knowledge: "Knowledge", region: str = "") -> tuple[str, ...]:
    """Keys of the animals worked out where none is named: the usual ones, less those not there."""
    return tuple(
        key
        for key, group in knowledge.groups.items()
        if group.usual and lives_in(key, region, knowledge) != "no"
    )


def assumed_present(groups: Iterable[str], region: str, knowledge: "Knowledge") -> tuple[str, ...]:
    """Of some animals those that do not live everywhere, and of which nobody knows it here."""
    lacking = {one.group for one in knowledge.region_animals.values() if one.lives != "yes"}
    return tuple(
        key for key in groups if key in lacking and lives_in(key, region, knowledge) == "not_known"
    )
