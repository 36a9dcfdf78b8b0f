"""Names of plants as people write them, plants the law keeps out, and faults in what is asked."""

import functools
import math
import re
from collections.abc import Iterable, Mapping

from patchnet.core.faults import nearest, nearest_hint
from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge, Plant, UnlawfulPlant
from patchnet.knowledge.words import plain
from patchnet.plan.facts import PlotFacts

__all__ = ["match_plant", "near_plants", "plant_roles", "planting_mistakes", "unlawful"]


def match_plant(word: str, knowledge: Knowledge) -> str | None:
    """Return the key of the plant that `word` names (key, English or Latin name), or None.

    Parameters
    ----------
    word
        As somebody wrote it.
    knowledge
        For the plants.
    """
    return _by_word(knowledge).get(plain(word))


@functools.lru_cache(maxsize=8)  # a planting leaves out hundreds of plants, each by its name
def _by_word(knowledge: Knowledge) -> Mapping[str, str]:
    found: dict[str, str] = {}
    for plant in knowledge.plants.values():
        for word in (plant.key, plant.name, plant.latin):
            found.setdefault(plain(word), plant.key)
    return found


def near_plants(word: str, knowledge: Knowledge) -> list[str]:
    """Return names of the plants spelt most like `word`, best first (may be empty).

    Parameters
    ----------
    word
        As somebody wrote it.
    knowledge
        For the plants.
    """
    spelt = {
        name: plant.name
        for plant in knowledge.plants.values()
        for name in (plant.name, plant.latin)
    }
    close = nearest(folded(word), spelt)
    return list(dict.fromkeys(spelt[name] for name in close))


def unlawful(plant: Plant, knowledge: Knowledge) -> UnlawfulPlant | None:
    """Return the entry of the law's lists that the plant is, by Latin or English name, or None.

    A hybrid sign, "agg." and marks do not matter; an entry that names a genus alone holds for
    all of it, and one that names a species for its garden forms.

    Parameters
    ----------
    plant
        A plant of the tables, or a user's own.
    knowledge
        For the law's lists.
    """
    return _listed(plant.latin, plant.name, knowledge)


@functools.lru_cache(maxsize=2048)  # every planting asks it of all plants
def _listed(latin_name: str, english: str, knowledge: Knowledge) -> UnlawfulPlant | None:
    latin, name = _latin(latin_name), plain(english)
    for entry in knowledge.unlawful_plants.values():
        listed = [_latin(one) for one in entry.latin]
        if name == plain(entry.name) or any(latin[: len(one)] == one for one in listed):
            return entry
    return None


@functools.lru_cache(maxsize=4096)  # each name of the lists is asked for with each plant
def _latin(name: str) -> tuple[str, ...]:
    words = re.split(r"[^\w-]+", name.casefold().replace("\N{MULTIPLICATION SIGN}", " "))
    return tuple(word for word in words if word not in {"", "x", "agg", "subsp", "ssp", "var"})


def plant_roles(knowledge: Knowledge) -> tuple[str, ...]:
    """Return every job of plants: those of the table, then what a user's own plants do.

    Parameters
    ----------
    knowledge
        For the roles and the plants.
    """
    own = (role for plant in knowledge.plants.values() for role in plant.roles)
    return tuple(dict.fromkeys((*knowledge.plant_roles, *own)))


def planting_mistakes(
    knowledge: Knowledge,
    facts: PlotFacts,
    *,
    hungry: Mapping[int, float],
    features: Mapping[str, float],
    wants: Mapping[str, float],
    exclude: Iterable[str],
) -> list[str]:
    """Return everything wrong with what is asked of a planting, one sentence or two each.

    Parameters
    ----------
    knowledge
        For months, roles, features and plants.
    facts
        What the householder said.
    hungry
        Month, 1-12 -> weight, no unit.
    features
        Feature -> amount in its unit (m2, m, count).
    wants
        Role of a plant -> weight, no unit.
    exclude
        Keys of plants that must not be chosen.
    """
    wrong = []
    for month, weight in hungry.items():
        if month not in range(1, 13):
            wrong.append(_("{month} is not a month: months go from 1 to 12.").format(month=month))
        wrong += _amount(_("The weight of month {month}").format(month=month), weight)
    roles = plant_roles(knowledge)
    for role, weight in wants.items():
        if role not in roles:
            hint = nearest_hint(role, roles)
            wrong.append(
                _("'{role}' is not a job of a plant.{hint} Use one of: {roles}.").format(
                    role=role, hint=hint, roles=", ".join(roles)
                )
            )
        wrong += _amount(_("The weight of '{role}'").format(role=role), weight)
    for key, amount in features.items():
        if key not in knowledge.features:
            wrong.append(
                _("'{key}' is not a known feature.{nearest_hint}").format(
                    key=key, nearest_hint=nearest_hint(key, knowledge.features)
                )
            )
            continue
        feature = knowledge.features[key]
        wrong += _amount(_("The amount of '{key}'").format(key=key), amount)
        if facts.pots_only and key in knowledge.planting_places and not feature.container:
            wrong.append(
                _(
                    "{feature_name} needs open ground, but everything here is to stand in pots. "
                    "Leave it out, or say that there is ground."
                ).format(feature_name=feature.name)
            )
    for word in exclude:
        if match_plant(word, knowledge) is None:
            close = _(" or ").join(near_plants(word, knowledge))
            hint = _(" Did you mean {close}?").format(close=close) if close else ""
            wrong.append(
                _("'{word}' is not a plant of the tables.{hint}").format(word=word, hint=hint)
            )
    return wrong


def _amount(what: str, value: float) -> list[str]:
    if math.isfinite(value) and value >= 0:
        return []
    return [_("{what} must be 0 or more, not {value:g}.").format(what=what, value=value)]
