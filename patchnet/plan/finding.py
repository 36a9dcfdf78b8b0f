"""What a first sentence can truly say of a neighbourhood."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.supply import resource_months, supply_of
from patchnet.knowledge.records import Knowledge
from patchnet.plan.help_search import Answering, living_features
from patchnet.plan.lacks import Held, Lack
from patchnet.plan.stretches import Stretch

__all__ = ["Finding", "answering", "finding_of", "served_by", "supplied_for_size", "unseen_plots"]

Array = NDArray[np.float64]
_ONE = 0.5  # homes, from which on it is told as one


@dataclass(frozen=True, slots=True, eq=False)
class Finding:
    """What is wrong, or that nothing is.

    Attributes
    ----------
    kind
        ``"nothing"`` (no plot is on the map), ``"unseen"`` (nobody has looked yet), ``"bare"`` (not
        one home for any animal), ``"short"`` (a resource is), ``"broken"`` (the way is) or
        ``"enough"`` (nothing is clearly short).
    lack
        What is short or broken; of a bare place what would be worth most.
    animals
        The animals of which it can be said, most worth first.
    sure
        Whether it holds in most draws (``settings/lack_sure_share``); True where there are none.
    stretch
        The part of a street where it is; None: not in one place.
    cover
        Key of the hard cover that most of that ground is under; empty where none is.
    cover_share
        Its share of the known ground there, 0-1.
    unseen, plots
        Plots that nobody has seen, and all of them.
    """

    kind: Literal["nothing", "unseen", "bare", "short", "broken", "enough"]
    lack: Lack | None = None
    animals: tuple[Held, ...] = ()
    sure: bool = True
    stretch: Stretch | None = None
    cover: str = ""
    cover_share: float = 0.0
    unseen: int = 0
    plots: int = 0


def unseen_plots(assessment: Assessment) -> tuple[str, ...]:
    """Return the ids of plots of which nothing that can be seen is known.

    Parameters
    ----------
    assessment
        The answer.
    """
    share = assessment.known_share
    return tuple(str(plot) for plot in share.index[share.to_numpy() <= 0])


def finding_of(
    assessment: Assessment, lacks: tuple[Lack, ...], stretches: tuple[Stretch, ...]
) -> Finding:
    """Choose what to say first.

    Parameters
    ----------
    assessment
        The answer.
    lacks
        All that is short, from `patchnet.plan.lacks.lacks_of`.
    stretches
        Of its streets.
    """
    know = assessment.knowledge
    count, unseen = len(assessment.neighbourhood.plots), len(unseen_plots(assessment))
    if not count:
        return Finding("nothing")
    if unseen >= know.setting("unseen_share") * count:
        return Finding("unseen", unseen=unseen, plots=count)
    sure_share = know.setting("lack_sure_share")
    # What nothing planted or opened gives (a hole, a crevice) is said only where nothing else is.
    planted = [one for one in lacks if one.broken or served_by(assessment, one) is not None]
    able = planted or list(lacks)
    if _bare(assessment, sure_share):
        first, animals = (able[0], able[0].animals) if able else (None, ())
        return Finding("bare", first, animals, unseen=unseen, plots=count)
    if not able:
        return Finding("enough", unseen=unseen, plots=count)
    least = know.setting("lack_near_share") * able[0].worth
    # Classes are too coarse to be sure of anything, and must not gainsay the group's own page.
    for one in () if assessment.neighbourhood.audience == "public" else able:
        animals = tuple(
            each for each in one.animals if each.often is None or each.often >= sure_share
        )
        if animals and sum(each.worth for each in animals) >= least:
            return _said(assessment, one, animals, stretches, unseen, sure=True)
    return _said(assessment, able[0], able[0].animals, stretches, unseen, sure=False)


def _bare(assessment: Assessment, sure_share: float) -> bool:
    """Whether there is not one home for any animal, in most draws where there are any."""
    shares = []
    for one in assessment.groups.values():
        if one.drawn is None:
            shares.append(np.array([one.all_homes_told.mean < _ONE]))
        else:
            shares.append(one.drawn.homes.sum(axis=1) < _ONE)
    return bool(np.all(shares, axis=0).mean() >= sure_share) if shares else False


def _said(
    assessment: Assessment,
    lack: Lack,
    animals: tuple[Held, ...],
    stretches: tuple[Stretch, ...],
    unseen: int,
    *,
    sure: bool,
) -> Finding:
    stretch = lack.stretch if lack.broken else _poorest(assessment, lack, stretches)
    if stretch is not None and not stretch.street:
        stretch = None
    cover, share = ("", 0.0) if stretch is None else _cover(assessment, stretch)
    return Finding(
        "broken" if lack.broken else "short", lack, animals, sure, stretch, cover, share,
        unseen, len(assessment.neighbourhood.plots),
    )  # fmt: skip


def _months(lack: Lack) -> tuple[int, ...]:
    return tuple(dict.fromkeys(month for one in lack.animals for month in one.months))


def supplied_for_size(assessment: Assessment, lack: Lack, stretch: Stretch) -> float:
    """What a part of a street gives of what is short, on a m2 of its ground.

    Parameters
    ----------
    assessment
        The answer.
    lack
        What is short: a resource.
    stretch
        The part of a street.

    Returns
    -------
    float
        In the unit of the resource on a m2.
    """
    if lack.broken:
        return 0.0
    months = _months(lack)
    given = resource_months(assessment.supply, assessment.knowledge, lack.resource, months)
    area = assessment.neighbourhood.plots["area_m2"].to_numpy(dtype=float)[stretch.rows].sum()
    return float(given[stretch.rows].mean(axis=1).sum() / area) if area > 0 else 0.0


def _poorest(assessment: Assessment, lack: Lack, stretches: tuple[Stretch, ...]) -> Stretch | None:
    """The part of a street that has least, if it is much less than there is elsewhere."""
    know = assessment.knowledge
    known = assessment.known_share.to_numpy()
    least = know.setting("stretch_plots_least")
    able = [
        one for one in stretches
        if one.street and len(one.rows) >= least and (known[one.rows] > 0).mean() >= 0.5
    ]  # fmt: skip
    if not able or len(stretches) == 1:
        return None
    best = min(able, key=lambda one: supplied_for_size(assessment, lack, one))
    rest = [row for one in stretches if one is not best for row in one.rows.tolist()]
    other = supplied_for_size(assessment, lack, Stretch("", "", np.array(rest, dtype=np.intp)))
    here = supplied_for_size(assessment, lack, best)
    return best if here <= know.setting("lack_poor_share") * other and other > 0 else None


def _cover(assessment: Assessment, stretch: Stretch) -> tuple[str, float]:
    """The hard cover that most of the known ground of a part of a street is under."""
    know, hood = assessment.knowledge, assessment.neighbourhood
    area = hood.plots["area_m2"].to_numpy(dtype=float)[stretch.rows]
    best, share = "", 0.0
    for column, key in enumerate(hood.answers.features):
        feature = know.features[key]
        if feature.green or feature.measure != "m2" or feature.addable:
            continue
        said = ~np.isnan(hood.answers.amount[stretch.rows, column])
        if area[said].sum() < know.setting("lack_covered_share") * area.sum():
            continue  # of too much of it nobody knows
        under = assessment.amounts[stretch.rows, column][said].sum() / area[said].sum()
        if under > share:
            best, share = key, float(under)
    return (best, share) if share >= know.setting("lack_covered_share") else ("", 0.0)


def served_by(assessment: Assessment, lack: Lack, *, besides: Collection[str] = ()) -> str | None:
    """Return the feature, planted, watered or opened, that gives most of what is short.

    Parameters
    ----------
    assessment
        The answer.
    lack
        What is short; where the way is broken, what the animal most held back stops at.
    besides
        Sorts of features that are left out.

    Returns
    -------
    str or None
        Key of the feature that gives most in its usual amount; None where there is none.
    """
    know = assessment.knowledge
    keys = [key for key in living_features(know) if know.features[key].sort not in besides]
    if not keys:
        return None
    given = _given(lack, keys, know)
    return keys[int(given.argmax())] if given.max() > 0 else None


def answering(assessment: Assessment, finding: Finding) -> Answering | None:
    """Return what answers to a finding: features, planted, watered or opened, and for whom.

    Parameters
    ----------
    assessment
        The answer.
    finding
        What is wrong there.

    Returns
    -------
    Answering or None
        The features that give at least ``settings/help_serving_share`` of what the best one
        gives of what is short, each in its usual amount; None where nothing is short, or the way
        is broken, which many things can close.
    """
    lack = finding.lack
    if lack is None or lack.broken:
        return None
    know = assessment.knowledge
    keys = list(living_features(know))
    given = _given(lack, keys, know)
    least = know.setting("help_serving_share") * given.max(initial=0.0)
    features = frozenset(
        key for key, one in zip(keys, given.tolist(), strict=True) if 0 < one >= least
    )
    return (
        Answering(features, frozenset(one.group for one in finding.animals)) if features else None
    )


def _given(lack: Lack, keys: list[str], know: Knowledge) -> Array:
    """What the usual amount of each feature gives of what is short, a month."""
    first = know.groups[lack.animals[0].group]
    resource = lack.resource or first.step_resource
    months = _months(lack) or first.active_months
    amounts = np.zeros((len(keys), len(know.features)))
    for row, key in enumerate(keys):
        amounts[row, list(know.features).index(key)] = know.features[key].typical.value
    given = resource_months(supply_of(amounts, know), know, resource, months)
    return np.asarray(given.mean(axis=1))
