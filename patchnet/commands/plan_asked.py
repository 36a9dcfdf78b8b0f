"""The plan that a command was asked for: worked out, or taken from what is kept of it."""

from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from patchnet.commands.options import Asked, AskedDraws, AskedGround, AskedSurface
from patchnet.commands.said import heard, say
from patchnet.core.texts import _
from patchnet.plan.facts import PlotFacts

if TYPE_CHECKING:
    from patchnet.plan.plot_plan import PlotPlan

__all__ = ["AskedPlan", "plan_asked"]

_WHOLE = {".gpkg", ".geojson", ".json", ".fgb", ".parquet"}  # nothing of it stands elsewhere
_LOGS = ("-wal", "-journal")  # of a GeoPackage that another program has open
_MOST_BYTES = 100_000_000  # of files: to look through more takes longer than to read a street


class AskedPlan(NamedTuple):
    """What was asked for about a plot: its id as it was given, what its household says, and how.

    `month` is 1-12, or None: this one.
    """

    plot: str
    facts: PlotFacts
    groups: tuple[str, ...]
    ground: AskedGround
    surface: AskedSurface
    draws: AskedDraws
    month: int | None
    cautious: bool


class _Advice(NamedTuple):
    """A plan without the answer that it came from, and what was said on the way."""

    plan: "PlotPlan"
    said: tuple[str, ...]


def plan_asked(asked: Asked, wanted: AskedPlan, *, whole: bool) -> "PlotPlan":
    """Return a plan, with the answer that it came from where the `whole` is needed.

    Where the files are the same, byte for byte, not even they are read again.
    """
    if whole:
        return _plan(asked, wanted)

    def advised() -> _Advice:
        with heard() as said:
            plan = _plan(asked, wanted)
        return _Advice(replace(plan, assessment=None), tuple(said))

    files = _files(asked, wanted)
    if files is None:
        return _plan(asked, wanted)
    name = asked.cache.name(
        "advice", files, str(asked.file), asked.features, asked.columns, asked.crs, asked.region,
        asked.tables, wanted, datetime.now(UTC).date().isoformat(),
    )  # fmt: skip
    known: _Advice | None = asked.cache.get(name)
    if known is None:
        return asked.cache.kept(name, advised).plan
    for words in known.said:
        say(words)
    return known.plan


def _files(asked: Asked, wanted: AskedPlan) -> list[tuple[str, Path]] | None:
    """All files that the street is read from, by name; None where that is not surely all of it."""
    path = asked.file
    if wanted.ground.landcover is not None or wanted.surface.heights is not None:
        return None  # rasters may have more files beside them
    try:
        if path.is_dir():
            files = sorted(one for one in path.iterdir() if one.is_file())
        elif path.suffix.casefold() in _WHOLE:
            files = [path, *(log for end in _LOGS if (log := Path(f"{path}{end}")).exists())]
        else:
            return None
        size = sum(one.stat().st_size for one in files)
    except OSError:
        return None
    return [(one.name, one) for one in files] if size <= _MOST_BYTES else None


def _plan(asked: Asked, wanted: AskedPlan) -> "PlotPlan":
    # Slow to load, and not needed where the advice is kept.
    from patchnet.commands.asked import (  # noqa: PLC0415
        assess_asked,
        draws_asked,
        kept_of,
        meant_plot,
        progress_bar,
        read_asked,
        surface_asked,
    )
    from patchnet.plan.plan_plot import month_meant, plan_plot  # noqa: PLC0415

    hood, knowledge = read_asked(asked), asked.knowledge
    plot = meant_plot(hood, wanted.plot)
    answer = assess_asked(hood, asked, wanted.groups, wanted.ground)
    heights = surface_asked(wanted.surface, hood, knowledge)
    draws = draws_asked(hood, knowledge, wanted.draws)
    month = month_meant(wanted.month)
    question = partial(
        plan_plot,
        answer,
        plot,
        facts=wanted.facts,
        month=month,
        heights=heights,
        draws=draws,
        seed=wanted.draws.seed,
        cautious=wanted.cautious,
    )
    bar = partial(progress_bar, doing=_("draws"))
    return kept_of(question, asked.cache, processes=None, progress=bar)
