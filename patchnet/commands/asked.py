"""Carry out what the command line asks for: reading, assessing, showing warnings."""

import sys
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from tqdm import tqdm

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.assess.doubt import doubt_of, with_doubt
from patchnet.assess.unknown import Prior
from patchnet.commands.options import (
    WARNINGS,
    Asked,
    AskedDraws,
    AskedGround,
    AskedSurface,
    say_faults,
)
from patchnet.commands.said import say
from patchnet.core.cache import NO_CACHE, Cache
from patchnet.core.errors import CannotRead, CannotWrite, WrongUse
from patchnet.core.freed_memory import keep_freed_memory
from patchnet.core.street_store import form_of, read_journal
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.regions import assumed_present, lives_in
from patchnet.pages.privacy import for_audience, public_answers, public_features, shown_groups
from patchnet.pages.public_table import released_table, waiting_words
from patchnet.plan.additions import PlotAdditions, possible_additions
from patchnet.read.doors import resolve_plot
from patchnet.read.from_file import read_neighbourhood
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.sun.surface_heights import SurfaceHeights, read_surface_heights
from patchnet.survey.release import Released
from patchnet.survey.release_layers import note_written

__all__ = [
    "additions_asked",
    "assess_asked",
    "assess_for",
    "draws_asked",
    "ensure_not_public",
    "in_draws",
    "kept_of",
    "layers_bar",
    "meant_between",
    "meant_plot",
    "note_made",
    "progress_bar",
    "read_asked",
    "released_asked",
    "say_upgraded",
    "say_warnings",
    "say_where_animals_live",
    "surface_asked",
]

Thing = TypeVar("Thing")


def read_asked(asked: Asked) -> Neighbourhood:
    """Read the neighbourhood and say its warnings on standard error."""
    keep_freed_memory()
    neighbourhood = read_neighbourhood(
        asked.file,
        features=asked.features,
        columns=asked.columns,
        crs=asked.crs,
        knowledge=asked.knowledge,
        region=asked.region,
    )
    say_warnings(neighbourhood)
    return neighbourhood


def meant_plot(neighbourhood: Neighbourhood, said: str) -> str:
    """Return the id of the plot that is meant by an id, label or door number; say which."""
    found = resolve_plot(neighbourhood.plots, said, where=neighbourhood.name)
    if found.told:
        say(found.told)
    return found.plot


def meant_between(
    neighbourhood: Neighbourhood, between: tuple[str, str] | None
) -> tuple[str, str] | None:
    """Return the ids of the two plots that a way goes between, if any were named."""
    if between is None:
        return None
    return meant_plot(neighbourhood, between[0]), meant_plot(neighbourhood, between[1])


def assess_asked(
    neighbourhood: Neighbourhood,
    asked: Asked,
    groups: Iterable[str],
    ground: AskedGround,
    *,
    prior: Prior | None = None,
) -> Assessment:
    """Work out the whole answer, or take what is kept of it, and say its warnings."""
    chosen = list(groups)
    work = partial(
        assess,
        neighbourhood,
        knowledge=asked.knowledge,
        groups=chosen or None,
        straight=ground.straight,
        cell_m=ground.cell_m,
        landcover=ground.landcover,
        prior=prior,
        progress=progress_bar,
    )
    name = asked.cache.name("assessment", neighbourhood, asked.tables, chosen, ground, prior)
    answer = asked.cache.kept(name, work)
    say_where_animals_live(answer)
    walked = [each.ground for each in answer.groups.values() if each.ground is not None]
    said = dict.fromkeys(fault for over in walked for fault in over.surface.faults)
    say_faults(list(said))
    return answer


def draws_asked(neighbourhood: Neighbourhood, knowledge: Knowledge, draws: AskedDraws) -> int:
    """Return how many draws to take; say on standard error where a town is worked out once."""
    plots = len(neighbourhood.plots)
    count = draws.count(knowledge, plots)
    if count == 0 and draws.asked is None:
        words = _(
            "With {plots:,} plots this was worked out once, with the figures in use: --draws N "
            "also tells how sure it is, and takes N times as long."
        )
        say(words.format(plots=plots))
    return count


def kept_of(question: "partial[Thing]", cache: Cache, **carried_out: Any) -> Thing:  # noqa: ANN401
    """Return what comes of a question, or what is kept of it.

    `question` is put to an `Assessment`, its first argument, and has all that decides how it comes
    out; how it is `carried_out`, such as in how many processes, decides nothing.
    """
    answer: Assessment = question.args[0]
    asked = (question.func.__qualname__, question.args[1:], question.keywords)
    return cache.kept(
        cache.name(*asked, *answer.made_of()),
        partial(question, **carried_out),
        around=(answer, answer.neighbourhood, answer.knowledge),
    )


def in_draws(answer: Assessment, draws: AskedDraws, cache: Cache = NO_CACHE) -> Assessment:
    """Return the answer with how sure it is, from as many draws as were asked for."""
    count = draws_asked(answer.neighbourhood, answer.knowledge, draws)
    if count == 0:
        return answer
    question = partial(doubt_of, answer, draws=count, seed=draws.seed)
    bar = partial(progress_bar, doing=_("draws"))
    return with_doubt(answer, kept_of(question, cache, processes=None, progress=bar))


def say_where_animals_live(answer: Assessment) -> None:
    """Say on standard error which animals are only taken to live here, and which do not."""
    knowledge, region = answer.knowledge, answer.neighbourhood.region

    def names(keys: Iterable[str]) -> str:
        return ", ".join(knowledge.groups[key].name.lower() for key in keys)

    where = (
        _("in {region_name}").format(region_name=knowledge.regions[region].name)
        if region
        else _("here")
    )
    taken = assumed_present(answer.groups, region, knowledge)
    if taken:
        mend = "" if region else _(" Say where this is by --region.")
        say(
            _("Taken to live {where}, though not everywhere: {names}.{mend}").format(
                where=where, names=names(taken), mend=mend
            )
        )
    absent = [key for key in answer.groups if lives_in(key, region, knowledge) == "no"]
    if absent:
        say(
            _("As far as we know, not wild {where}: {names}.").format(
                where=where, names=names(absent)
            )
        )


def assess_for(
    neighbourhood: Neighbourhood,
    asked: Asked,
    groups: Iterable[str],
    ground: AskedGround,
    audience: Audience,
) -> Assessment:
    """Work out the answer from what an audience may see."""
    chosen = list(groups)
    if audience != "own":
        chosen = shown_groups(asked.knowledge, chosen, audience, neighbourhood.region)
    if audience == "public":
        return public_answers(
            neighbourhood,
            released_asked(neighbourhood, asked),
            knowledge=asked.knowledge,
            groups=chosen,
            progress=progress_bar,
        )
    seen = for_audience(neighbourhood, audience, knowledge=asked.knowledge)
    return assess_asked(seen, asked, chosen, ground)


def released_asked(neighbourhood: Neighbourhood, asked: Asked) -> Released:
    """Return the table for the public, and say on standard error which one it is.

    Raises
    ------
    WrongUse
        If features are given in a file of their own, or as `released_table`.
    """
    if asked.features is not None:
        raise WrongUse(
            _(
                "What is for the public is made from the street's own file alone, which remembers "
                "what was handed out: merge the features into it instead of giving --features."
            )
        )
    found = released_table(
        asked.file,
        neighbourhood,
        public_features(asked.knowledge),
        knowledge=asked.knowledge,
        today=datetime.now(UTC).date(),
    )
    say(waiting_words(found, asked.knowledge))
    return found


def say_upgraded(path: Path, earlier: int) -> None:
    """Say in one sentence that a street's file got the form of today, where it did."""
    now = form_of(path)
    if earlier < now and len(read_journal(path)) > 1:
        say(
            _(
                "{path} was of an earlier form: it was upgraded to form {now}, with all that was "
                "in it, and its journal begins here."
            ).format(path=path, now=now)
        )


def note_made(street: Path, *made: Path | None, audience: Audience = "own") -> None:
    """Note down in the street's file what was made from it: 'patchnet forget' lists it.

    Every command that writes something from a street calls this, once and last. A street that
    cannot be written to is used all the same, and it is said that nothing is noted.
    """
    files = [one for one in made if one is not None]
    try:
        note_written(street, files, audience, datetime.now(UTC))
    except (CannotWrite, CannotRead):
        say(
            _(
                "{street} cannot be changed, so 'patchnet forget' will not list what was made from "
                "it now: {made}."
            ).format(street=street, made=", ".join(map(str, files)))
        )


def surface_asked(
    asked: AskedSurface, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> SurfaceHeights | None:
    """Read the measured heights that were asked for, if any, and say its warnings."""
    if asked.heights is None:
        return None
    found = read_surface_heights(
        asked.heights, neighbourhood.plots, knowledge, bare_earth=asked.bare_earth
    )
    for fault in found.faults:
        say(str(fault))
    return found


def ensure_not_public(*, additions: bool | None, public: bool) -> None:
    """Refuse additions on a page to be published, before anything is worked out.

    Raises
    ------
    WrongUse
        If both were asked for.
    """
    if additions and public:
        raise WrongUse(
            _(
                "A page for the public cannot show additions, because they reveal what is in "
                "single gardens: leave out one of the two."
            )
        )


def additions_asked(
    assessment: Assessment, *, additions: bool | None, public: bool
) -> Mapping[str, PlotAdditions] | None:
    """Work out what could be added where it was asked for, or the map is small; else None.

    Raises
    ------
    WrongUse
        As `ensure_not_public`.
    """
    ensure_not_public(additions=additions, public=public)
    few = assessment.knowledge.setting("page_additions_plots")
    if additions is None:
        additions = len(assessment.neighbourhood.plots) <= few
    if public or not additions:
        return None
    return possible_additions(
        assessment, progress=partial(progress_bar, doing=_("what could be added"))
    )


def say_warnings(neighbourhood: Neighbourhood) -> None:
    """List the warnings of a file on standard error, the first dozen of them."""
    say_faults(neighbourhood.faults)
    more = len(neighbourhood.faults) - WARNINGS
    if more > 0:
        say(_("... and {more} more warnings: 'patchnet check' lists them all.").format(more=more))


def progress_bar(things: Iterable[Thing], *, doing: str = "animals") -> Iterable[Thing]:
    """Show a progress bar, on a terminal only."""
    bar: Iterable[Thing] = tqdm(
        things, desc=doing, unit="done", leave=False, file=sys.stderr, disable=None
    )
    return bar


def layers_bar(answers: Iterable[GroupAnswer]) -> Iterable[GroupAnswer]:
    """Show a progress bar while each animal's layers are worked out and drawn."""
    return progress_bar(answers, doing=_("layers of the page"))
