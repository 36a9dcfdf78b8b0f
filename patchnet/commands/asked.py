"""Carry out what the command line asks for: reading, assessing, showing warnings."""

import sys
from collections.abc import Iterable, Mapping
from functools import partial
from typing import TypeVar

import click
from tqdm import tqdm

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.commands.options import WARNINGS, Asked, AskedGround, AskedSurface, say_faults
from patchnet.core.errors import WrongUse
from patchnet.knowledge.records import Knowledge
from patchnet.pages.privacy import for_audience, shown_groups
from patchnet.plan.additions import PlotAdditions, possible_additions
from patchnet.read.doors import resolve_plot
from patchnet.read.from_file import read_neighbourhood
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.sun.surface_heights import SurfaceHeights, read_surface_heights

__all__ = [
    "additions_asked",
    "assess_asked",
    "assess_for",
    "ensure_not_public",
    "layers_bar",
    "meant_between",
    "meant_plot",
    "progress_bar",
    "read_asked",
    "say_warnings",
    "surface_asked",
]

Thing = TypeVar("Thing")


def read_asked(asked: Asked) -> Neighbourhood:
    """Read the neighbourhood and say its warnings on standard error."""
    neighbourhood = read_neighbourhood(
        asked.file,
        features=asked.features,
        columns=asked.columns,
        crs=asked.crs,
        knowledge=asked.knowledge,
    )
    say_warnings(neighbourhood)
    return neighbourhood


def meant_plot(neighbourhood: Neighbourhood, said: str) -> str:
    """Return the id of the plot that is meant by an id, label or door number; say which."""
    found = resolve_plot(neighbourhood.plots, said, where=neighbourhood.name)
    if found.told:
        click.echo(found.told, err=True)
    return found.plot


def meant_between(
    neighbourhood: Neighbourhood, between: tuple[str, str] | None
) -> tuple[str, str] | None:
    """Return the ids of the two plots that a way goes between, if any were named."""
    if between is None:
        return None
    return meant_plot(neighbourhood, between[0]), meant_plot(neighbourhood, between[1])


def assess_asked(
    neighbourhood: Neighbourhood, knowledge: Knowledge, groups: Iterable[str], ground: AskedGround
) -> Assessment:
    """Work out the whole answer and say the warnings about the ground on standard error."""
    answer = assess(
        neighbourhood,
        knowledge=knowledge,
        groups=list(groups) or None,
        straight=ground.straight,
        cell_m=ground.cell_m,
        landcover=ground.landcover,
        progress=progress_bar,
    )
    walked = [each.ground for each in answer.groups.values() if each.ground is not None]
    said = dict.fromkeys(fault for over in walked for fault in over.surface.faults)
    say_faults(list(said))
    return answer


def assess_for(
    neighbourhood: Neighbourhood,
    asked: Asked,
    groups: Iterable[str],
    ground: AskedGround,
    audience: Audience,
) -> Assessment:
    """Work out the answer from what an audience may see."""
    seen = for_audience(neighbourhood, audience, knowledge=asked.knowledge)
    chosen = list(groups)
    if audience != "own":
        chosen = shown_groups(asked.knowledge, chosen, audience)
    if audience == "public":
        ground = AskedGround(straight=True)
    return assess_asked(seen, asked.knowledge, chosen, ground)


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
        click.echo(str(fault), err=True)
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
            "A page for the public cannot show additions, because they reveal what is in single "
            "gardens: leave out one of the two."
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
        assessment, progress=partial(progress_bar, doing="what could be added")
    )


def say_warnings(neighbourhood: Neighbourhood) -> None:
    """List the warnings of a file on standard error, the first dozen of them."""
    say_faults(neighbourhood.faults)
    more = len(neighbourhood.faults) - WARNINGS
    if more > 0:
        click.echo(f"... and {more} more warnings: 'patchnet check' lists them all.", err=True)


def progress_bar(things: Iterable[Thing], *, doing: str = "animals") -> Iterable[Thing]:
    """Show a progress bar, on a terminal only."""
    bar: Iterable[Thing] = tqdm(
        things, desc=doing, unit="done", leave=False, file=sys.stderr, disable=None
    )
    return bar


def layers_bar(answers: Iterable[GroupAnswer]) -> Iterable[GroupAnswer]:
    """Show a progress bar while each animal's layers are worked out and drawn."""
    return progress_bar(answers, doing="layers of the page")
