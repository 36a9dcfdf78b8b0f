"""The progress page: how much of the street is known, and where to go next. No script in it."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import shapely

from patchnet.assess.next_door import NextDoors
from patchnet.core.files import write_text
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import N_, WordList, Words, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.part_words import part_words
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.plan_parts import draw_words
from patchnet.pages.kit.templates import Markup, render, together
from patchnet.pages.kit.to_scale import Paper
from patchnet.pages.kit.where_words import WHERE_WORDS
from patchnet.pages.survey.progress import Progress

__all__ = ["progress_page", "write_progress"]

_WIDE_MM, _HIGH_MM = 180.0, 150.0
_LEAST_HIGH_MM = 45.0
_MARGIN_MM = 6.0
_FONT_MM = 3.0
_LETTER = 0.62  # width of a digit, of the font's size
_LISTED = 8
_THINNEST = 3
_NAMED = 14
_DOORS = 3
_LOOKS = 3

_MAP_TITLE = N_("Map of how much is known of each plot; the table below tells the same by stretch")

# What a plot is shaded by: class, words, and the share from which it holds.
_STEPS = WordList(
    (
        ("none", N_("nobody has looked")),
        ("little", N_("less than half of the street's questions answered")),
        ("much", N_("half or more answered")),
        ("whole", N_("all answered")),
    )
)
_REST = N_(
    "of what is asked from the street is answered: take the sheets along again for the rest."
)
_NONE = "\N{EN DASH}"
_NOTICES: Words[str, str] = Words(
    {
        "own": N_("For those who keep the file."),
        "group": N_("For the group, not for publishing."),
        "public": N_("Made for publishing: it tells of units of many households, not of plots."),
    }
)
_HEADS: WordList[str] = WordList(
    (
        N_("Stretch"),
        N_("Side"),
        N_("Plots"),
        N_("Looked at"),
        N_("Asked from the street"),
        N_("All questions"),
        N_("People differ"),
    )
)
_UNIT_HEADS: WordList[str] = WordList(
    (N_("Unit"), N_("Households taking part"), N_("Features told of"))
)
_UNIT_CAPTION = N_(
    "Taking part: few, some, many or most of a unit's households. Of a feature nothing is told "
    "where fewer than ten households answered, or where it could give an answer away."
)
_MEANING = N_(
    "A question counts as answered when somebody saw the thing, or saw that it is not there. "
    "'Cannot see' and an empty cell answer nothing; nor does an answer that people differ on."
)


def progress_page(
    progress: Progress,
    *,
    knowledge: Knowledge,
    title: str | None = None,
    doors: NextDoors | None = None,
) -> str:
    """Return the page as HTML text that holds everything it needs.

    Parameters
    ----------
    progress
        From `survey_progress`.
    knowledge
        For the names of features.
    title
        Heading; None: its streets.
    doors
        Which door to knock on next, as from `next_doors`; None: that is not told.
    """
    hood = progress.neighbourhood
    heading = _("{title}: how far the survey has come").format(
        title=title if title is not None else place_name(hood)
    )
    public = progress.audience == "public"
    own: dict[str, Any] = {}
    if not public:
        own = {
            "summary": _summary(progress),
            "next": _doors(doors) + _next(progress, knowledge),
            "map": _map(progress),
            "steps": _STEPS,
            "heads": _HEADS,
            "stretches": [_row(row) for row in progress.stretches.to_dict("records")],
            "meaning": _(_MEANING),
        }
    return sheet(
        "sheets/progress_page.html",
        title=heading,
        style=asset("kit/overview.css") + asset("sheets/progress_page.css"),
        notice=_notice(progress),
        public=public,
        unit_heads=_UNIT_HEADS,
        unit_caption=_(_UNIT_CAPTION),
        units=progress.stretches.to_dict("records") if public else [],
        generalised=hood.generalised,
        **own,
        credits=hood.credits,
    )


def write_progress(
    progress: Progress,
    path: Path | str,
    *,
    knowledge: Knowledge | None = None,
    title: str | None = None,
    doors: NextDoors | None = None,
) -> Path:
    """Write the page to `path`, whole or not at all, and return the path.

    Parameters
    ----------
    progress
        From `patchnet.survey_progress`.
    path
        The HTML file.
    knowledge
        For the names of features; None: the tables that ship with patchnet.
    title
        Title of the page; None: the neighbourhood's name.
    doors
        From `patchnet.next_doors`: the page says which door next, and why; None: it does not.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    CannotWrite
        If it cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> progress = patchnet.survey_progress(patchnet.read_demo())
    >>> patchnet.write_progress(progress, "progress.html").name
    'progress.html'
    """
    knowledge = knowledge or load_knowledge()
    write_text(path, progress_page(progress, knowledge=knowledge, title=title, doors=doors))
    return Path(path)


def _notice(progress: Progress) -> str:
    words = [_NOTICES[progress.audience]]
    if progress.audience != "own":
        words.append(_("Left out: {withheld}").format(withheld=progress.neighbourhood.withheld))
    return " ".join(words)


def _percent(share: float) -> str:
    """Whole percent; never 0 or 100 where it is not quite none or all."""
    whole = round(100 * share)
    if whole == 0 and share > 0:
        return "under 1 %"
    return "99 %" if whole == 100 and share < 1 else f"{whole} %"


def _summary(progress: Progress) -> list[tuple[str, str]]:
    table = progress.stretches
    plots = int(table["plots"].sum())
    looked = int(table["looked_at"].sum())
    weight = table["plots"] / max(plots, 1)
    street = float((table["street_share"] * weight).sum())
    whole = float((table["all_share"] * weight).sum())
    facts = [
        (_("{looked} of {plots}").format(looked=looked, plots=plots), _("plots looked at")),
        (_percent(street), _("of what is asked from the street answered")),
        (_percent(whole), _("of all questions answered")),
        (str(len(progress.disputes)), _("answers that people differ on")),
    ]
    twice, of = progress.twice
    if of:
        facts.append(
            (_("{twice} of {of}").format(twice=twice, of=of), _("plots seen by two people"))
        )
    return facts


def _step(share: float, *, looked: bool) -> int:
    if not looked:
        return 0
    if share >= 1:
        return 3
    return 2 if share >= 0.5 else 1


def _map(progress: Progress) -> Markup:
    """Draw the plots, shaded by how much is known."""
    hood, plots = progress.neighbourhood, progress.plots
    if not len(plots):
        return Markup()
    shapes = hood.plots.geometry.reindex(plots.index)
    west, south, east, north = shapes.total_bounds
    # No taller than the street needs: a long street lies flat on the paper.
    wide, high = max(east - west, 1.0), max(north - south, 1.0)
    high_mm = min(_HIGH_MM, max(_LEAST_HIGH_MM, _WIDE_MM * high / wide + 2 * _MARGIN_MM))
    need = 1000 * max(wide / (_WIDE_MM - 2 * _MARGIN_MM), high / (high_mm - 2 * _MARGIN_MM))
    paper = Paper(((west + east) / 2, (south + north) / 2), math.ceil(need), _WIDE_MM, high_mm)
    parts = [
        render("sheets/progress_motifs.svg"),
        _drawn(paper, hood.roads.geometry, "road"),
        _drawn(paper, hood.footways.geometry, "way"),
    ]
    for plot, shape in shapes.items():
        row = plots.loc[plot]
        step, words = _STEPS[_step(float(row["street_share"]), looked=bool(row["looked_at"]))]
        disputed = _(", people differ") if row["disputed"] else ""
        parts.append(paper.path(shape, css=f"plot {step}", label=f"{plot}: {words}{disputed}"))
    parts.append(_drawn(paper, hood.buildings.geometry, "house"))
    parts += [_number(paper, str(plot), shape, plots.loc[plot, "disputed"] > 0)
              for plot, shape in shapes.items()]  # fmt: skip
    parts.append(paper.bar_and_north())
    return paper.svg(together(parts), title=_(_MAP_TITLE))


def _drawn(paper: Paper, shapes: Sequence[shapely.Geometry], css: str) -> Markup:
    return together(paper.path(shape, css=css) for shape in shapes if shape is not None)


def _number(paper: Paper, plot: str, shape: shapely.Geometry, disputed: bool) -> Markup:  # noqa: FBT001 - private
    """Write the plot's number where it fits, and a mark where people differ."""
    words = f"{plot} !" if disputed else plot
    x, y = paper.place(shapely.point_on_surface(shape))
    room = paper.mm(shapely.get_coordinates(shape))
    wide, high = room.max(axis=0) - room.min(axis=0)
    fits = len(words) * _LETTER * _FONT_MM <= wide and high >= _FONT_MM
    if not fits:
        words = "!" if disputed else ""
    return draw_words("number", x, y, words, anchor="") if words else Markup()


def _row(row: Mapping[Any, Any]) -> dict[str, object]:
    """One stretch of the table."""
    return {
        "stretch": row["stretch"],
        "side": row.get("side") or _NONE,
        "plots": row["plots"],
        "looked_at": row["looked_at"],
        "street": (row["street_share"], _percent(row["street_share"])),
        "all": (row["all_share"], _percent(row["all_share"])),
        "disputed": row.get("disputed") or "",
    }


def _next(progress: Progress, knowledge: Knowledge) -> list[tuple[str, str]]:
    """Where to go: what stands out, and the rest of its sentence."""
    items = _unseen(progress) + _thin(progress)
    items += _to_settle(progress, knowledge) + _second_look(progress) + _old(progress)
    return items or [
        ("", _("Every question that is asked from the street is answered on every plot."))
    ]


def _doors(doors: NextDoors | None) -> list[tuple[str, str]]:
    """Name the doors whose answers would settle most, and why: what nobody knows there."""
    if doors is None:
        return []
    plots, features = doors.assessment.neighbourhood.plots, doors.assessment.knowledge.features
    items = []
    for one in doors.doors[:_DOORS]:
        label = str(plots.loc[one.plot, "label"])
        name = one.plot if label in ("", one.plot) else f"{one.plot}, {label}"
        things = "; ".join(
            _("{feature} ({where})").format(
                feature=features[look.feature].name.lower(), where=WHERE_WORDS[look.where]
            )
            for look in one.looks[:_LOOKS]
        )
        why = _(": a look there would settle {part} of all that is open, because nobody knows of "
                "{things}.").format(part=part_words(one.share), things=things)  # fmt: skip
        items.append((_("Door {name}").format(name=name), why))
    return items


def _thin(progress: Progress) -> list[tuple[str, str]]:
    """Name the stretches that were looked at and whose answers are fewest, fewest first."""
    table = progress.stretches
    begun = table[(table["looked_at"] > 0) & (table["street_share"] < 1)]
    fewest = begun.sort_values("street_share", kind="stable").head(_THINNEST)
    return [
        (
            _where(row),
            f": {_percent(float(row['street_share']))} {_(_REST)}",
        )
        for __, row in fewest.iterrows()
    ]


def _where(row: "pd.Series[Any]") -> str:
    return ", ".join(word for word in (row["stretch"], row["side"]) if word)


def _unseen(progress: Progress) -> list[tuple[str, str]]:
    """Name the stretches with most plots that nobody has looked at."""
    table = progress.stretches
    left = (table["plots"] - table["looked_at"]).astype(int)
    order = left[left > 0].sort_values(ascending=False, kind="stable").index[:_LISTED]
    items: list[tuple[str, str]] = []
    for at in order:
        row = table.loc[at]
        where = _where(row)
        plots = progress.plots
        mine = plots[(plots.get("stretch") == row["stretch"]) & (plots.get("side") == row["side"])]
        ids = _listed([str(one) for one in mine.index[~mine["looked_at"]]]) if len(mine) else ""
        told = _(": {left} of {plots} plots not looked at").format(
            left=left[at], plots=row["plots"]
        )
        items.append((where, f"{told} ({ids})." if ids else f"{told}."))
    return items


def _to_settle(progress: Progress, knowledge: Knowledge) -> list[tuple[str, str]]:
    rows = progress.disputes
    named = [
        f"{plot} {in_sentence(knowledge.features[key].name)}"
        for plot, key in zip(rows["plot"], rows["feature"], strict=True)
        if key in knowledge.features
    ]
    words = _(", for people differ and it counts as not known: {named}.").format(
        named=_listed(named, "; ")
    )
    return [(_("Look again together"), words)] if named else []


def _second_look(progress: Progress) -> list[tuple[str, str]]:
    if not progress.wanted_twice:
        return []
    words = _(", who has not seen the first sheet: {wanted_twice}.").format(
        wanted_twice=_listed(progress.wanted_twice)
    )
    why = _("Plots seen twice tell how far the answers can be trusted.")
    return [(_("A second pair of eyes"), f"{words} {why}")]


def _old(progress: Progress) -> list[tuple[str, str]]:
    plots = progress.plots
    old = plots[(plots["year"] > 0) & (plots["year"] < progress.year)]
    if not len(old):
        return []
    ids = _listed([str(one) for one in old.index])
    return [
        (
            _("Not looked at again in {year}").format(year=progress.year),
            _(": {ids}. The earlier answers stand.").format(ids=ids),
        )
    ]


def _listed(names: Sequence[str], between: str = ", ") -> str:
    more = (
        _(" and {n_names} more").format(n_names=len(names) - _NAMED) if len(names) > _NAMED else ""
    )
    return between.join(names[:_NAMED]) + more
