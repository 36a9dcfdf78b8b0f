"""The option about what could be added to each plot of a map page, and how it is carried out."""

import sys
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

import click
from tqdm import tqdm

from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.plan.additions import PlotAdditions, possible_additions

__all__ = ["additions_asked", "additions_option", "ensure_not_public"]

Command = TypeVar("Command", bound=Callable[..., Any])


def additions_option(command: Command) -> Command:
    """Add --additions and --no-additions; the command gets `additions`, None if neither is said."""
    return click.option(
        "--additions/--no-additions",
        default=None,
        help="Also work out what could be added to each plot: a form on its card. Takes up to a "
        "second a plot; done by itself on small maps, never on a page to be published.",
    )(command)


def ensure_not_public(*, additions: bool | None, public: bool) -> None:
    """Refuse additions on a page to be published, before anything is worked out.

    Raises
    ------
    WrongUse
        If both were asked for.
    """
    if additions and public:
        raise WrongUse(
            "A page to be published carries no additions, which would tell what is in single "
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
    return possible_additions(assessment, progress=_bar)


def _bar(plots: Iterable[str]) -> Iterable[str]:
    """Show a bar while the plots are worked through, on a terminal only."""
    bar: Iterable[str] = tqdm(
        plots, desc="what could be added", unit="plot", leave=False, file=sys.stderr, disable=None
    )
    return bar
