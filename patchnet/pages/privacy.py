"""The one door to other people's eyes: what a group, and what everybody, may see of a street.

There are three audiences. *Own* has everything. *Group* is for those who work on the street.
*Public* is for everybody. A neighbourhood goes through here **before** anything is computed from
it, so that no figure, line or shade of a public page can tell what is not in the neighbourhood
that comes out. Surveyors, notes and photo names are in no neighbourhood to begin with.

Public: no household's plot is shown by itself. What may be told is a table of classes, for units
of many households that are fixed once, and it is made so that no two of its editions give a
household back (`patchnet.survey.release`); all results are worked out from that table. Ids, labels
and names of buildings are replaced or dropped; so are fences with their gaps, everything drawn,
and whatever tells of protected roosts and nests.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment
from patchnet.assess.sharing import Form
from patchnet.core.errors import WrongUse
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import N_, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.regions import usual_groups
from patchnet.pages.public_results import Progress, public_assessment
from patchnet.pages.public_view import class_means, public_neighbourhood
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.survey.release import Released

__all__ = [
    "assessment_for",
    "for_audience",
    "plots_for_public",
    "public_answers",
    "public_features",
    "sensitive_features",
    "shown_groups",
]

_NEVER = N_(
    "Addresses and labels, surveyors, notes, names of photos, fences and walls and the gaps in "
    "them, and what tells of protected animals"
)


def for_audience(
    neighbourhood: Neighbourhood,
    audience: Audience,
    *,
    knowledge: Knowledge | None = None,
    released: Released | None = None,
) -> Neighbourhood:
    """Return what an audience may see of a neighbourhood.

    Parameters
    ----------
    neighbourhood
        Column ``consent`` of its plots counts.
    audience
        Whom it is for.
    knowledge
        For what is sensitive, and the settings.
    released
        For the public: the table that may be told (`public_table.released_table`).

    Returns
    -------
    Neighbourhood
        With `audience`, `generalised` and `withheld` filled in. For the public one row a unit,
        and public land as it is.

    Raises
    ------
    WrongUse
        If it was made for more eyes than it would be now, or there is no table for the public.

    Examples
    --------
    >>> import patchnet
    >>> street = patchnet.read_demo()
    >>> group = patchnet.for_audience(street, "group")
    >>> group.audience, len(group.plots) == len(street.plots)
    ('group', True)
    """
    knowledge = knowledge or load_knowledge()
    if neighbourhood.audience == audience:
        return neighbourhood
    if neighbourhood.audience != "own":
        raise WrongUse(
            _("It was made for {audience}: begin with the group's file.").format(
                audience=neighbourhood.audience
            )
        )
    if audience == "group":
        return _for_group(neighbourhood, knowledge)
    hidden = _hidden(knowledge)
    names = _names(hidden, knowledge)
    return public_neighbourhood(
        neighbourhood,
        _table(released),
        hidden,
        knowledge=knowledge,
        withheld=f"{_(_NEVER)} ({names}).",
    )


def assessment_for(
    assessment: Assessment, audience: Audience, *, released: Released | None = None
) -> Assessment:
    """Return an assessment that an audience may see, worked out anew from what it may see.

    Raises
    ------
    WrongUse
        As `for_audience`; also if every wildlife group of it is a sensitive one.
    """
    if assessment.neighbourhood.audience == audience:
        return assessment
    know = assessment.knowledge
    groups = shown_groups(know, list(assessment.groups), audience)
    if audience == "public":
        return public_answers(
            assessment.neighbourhood, released, knowledge=know, groups=groups,
            quality=assessment.quality,
        )  # fmt: skip
    seen = for_audience(assessment.neighbourhood, audience, knowledge=know)
    return assess(seen, knowledge=know, groups=groups, **assessment.asked.options)


def public_answers(
    neighbourhood: Neighbourhood,
    released: Released | None,
    *,
    knowledge: Knowledge,
    groups: Sequence[str],
    quality: Form = "scarcest",
    progress: Progress | None = None,
) -> Assessment:
    """Work out what the public may know, from the released classes alone.

    Raises
    ------
    WrongUse
        As `for_audience`.
    """
    seen = for_audience(neighbourhood, "public", knowledge=knowledge, released=released)
    return public_assessment(
        neighbourhood, _table(released), seen, _hidden(knowledge), knowledge=knowledge,
        groups=list(groups), quality=quality, progress=progress,
    )  # fmt: skip


def plots_for_public(
    neighbourhood: Neighbourhood, released: Released | None, *, knowledge: Knowledge
) -> Neighbourhood:
    """Return the plots with what the public table says of their units, under new ids.

    It is for what is computed on plots and told of something else, such as planters in the street;
    no row of it is to be shown.

    Raises
    ------
    WrongUse
        If there is no table.
    """
    means = class_means(neighbourhood, _table(released), _hidden(knowledge), knowledge=knowledge)
    idents = pd.Index([f"s{at}" for at in range(1, len(means.plots) + 1)], name="plot")
    return replace(
        means,
        plots=means.plots.set_axis(idents),
        answers=replace(means.answers, plots=idents),
        withheld=f"{_(_NEVER)} ({_names(_hidden(knowledge), knowledge)}).",
    )


def public_features(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the features that a public table may tell of."""
    hidden = set(_hidden(knowledge))
    return tuple(key for key in knowledge.features if key not in hidden)


def _hidden(knowledge: Knowledge) -> tuple[str, ...]:
    return (*sensitive_features(knowledge), *knowledge.features_with("way_through"))


def _table(released: Released | None) -> Released:
    if released is None:
        raise WrongUse(
            _(
                "What is for the public is made from the table of its street's file, which "
                "remembers what was handed out: patchnet.pages.public_table.released_table, or "
                "--for public."
            )
        )
    return released


def shown_groups(
    knowledge: Knowledge, groups: Sequence[str], audience: Audience, region: str = ""
) -> list[str]:
    """Return which animals may be shown; `groups` empty: the usual ones of the region.

    Raises
    ------
    WrongUse
        If none of those asked for may be.
    """
    asked = list(groups or usual_groups(knowledge, region))
    if audience == "own":
        return asked
    protected = knowledge.cautions_about("protected")
    shown = [
        key
        for key in asked
        if key not in knowledge.groups or knowledge.groups[key].caution not in protected
    ]
    if not shown:
        raise WrongUse(
            _(
                "{asked}: where such protected animals live is shown to nobody but those who keep "
                "the file."
            ).format(asked=", ".join(asked))
        )
    return shown


def sensitive_features(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the features that tell of protected roosts and nests.

    Whoever adds a feature or a group of protected roosts, setts or nests gives it a caution that
    is about ``protected``.
    """
    protected = set(knowledge.cautions_about("protected"))
    return tuple(key for key, one in knowledge.features.items() if protected & set(one.cautions))


def _for_group(hood: Neighbourhood, knowledge: Knowledge) -> Neighbourhood:
    refused = _consent(hood) == "no"
    amount = hood.answers.amount.copy()
    amount[refused] = np.nan
    hidden = [hood.answers.features.index(key) for key in sensitive_features(knowledge)]
    amount[:, hidden] = np.nan
    drawn = hood.features
    if len(drawn):
        away = drawn["plot"].isin(hood.plots.index[refused])
        away |= drawn["feature"].isin(sensitive_features(knowledge))
        drawn = drawn[~away].reset_index(drop=True)
    names = _names(sensitive_features(knowledge), knowledge)
    withheld = [_("Protected roosts and nests ({names}).").format(names=names)]
    if refused.any():
        count = int(refused.sum())
        plots = _("the plot") if count == 1 else _("the {count} plots").format(count=count)
        withheld.append(_("What is on {plots} whose household said no.").format(plots=plots))
    return replace(
        hood,
        answers=replace(hood.answers, amount=amount),
        features=drawn,
        audience="group",
        withheld=" ".join([*withheld, _("Surveyors, notes and names of photos.")]),
    )


def _consent(hood: Neighbourhood) -> NDArray[np.object_]:
    if "consent" not in hood.plots.columns:
        return np.full(len(hood.plots), "", dtype=object)
    said: NDArray[np.object_] = hood.plots["consent"].to_numpy(dtype=object)
    return said


def _names(keys: Sequence[str], knowledge: Knowledge) -> str:
    return ", ".join(in_sentence(knowledge.features[key].name) for key in keys) or "none"
