"""What a base map holds and what in it was guessed, in plain words."""

from collections.abc import Iterable

from patchnet.base.grounds import BASIS
from patchnet.base.make import BaseMap
from patchnet.core.texts import counted

__all__ = ["summary_of"]

_NAMED = 12  # earlier numbers listed before the rest is only counted


def summary_of(base: BaseMap) -> tuple[str, ...]:
    """Return the summary as paragraphs."""
    knowledge = base.knowledge
    plots = base.plots
    streets = len(set(plots["street"]) - {""})
    part, kind = plots["part"], plots["kind"]
    whole, verge = (kind.isin(knowledge.plot_kinds_with(part)) for part in ("whole", "strip"))
    halves = [*knowledge.plot_kinds_with("front"), *knowledge.plot_kinds_with("back")]
    gardens = whole | kind.isin(halves)
    listed = ", ".join(
        words
        for words in (
            _some((part == "front").sum(), "front garden"),
            _some((part == "back").sum(), "back garden"),
            _some(whole.sum(), "garden not split", "gardens not split"),
            _some(verge.sum(), "verge"),
            _some((~gardens & ~verge).sum(), "piece of other ground", "pieces of other ground"),
        )
        if words
    )
    paragraphs = [
        f"{_number(len(plots), 'plot')}{_on_streets(streets)}: {listed}.",
        " ".join(
            (
                f"Beside them {_number(len(base.buildings), 'building')},",
                f"{_number(len(base.roads), 'piece of road', 'pieces of road')},",
                f"{_number(len(base.barriers), 'barrier')}.",
            )
        ),
    ]
    paragraphs += _doors(base)
    guessed = list(_guessed(base))
    if guessed:
        paragraphs.append(f"Guessed, and marked so: {'; '.join(guessed)}.")
    on = len(set(base.features["plot"]) - {""})
    told = (
        f"OpenStreetMap tells of {_number(len(base.features), 'thing')} on plots "
        f"({_number(on, 'plot')} with at least one)"
        if len(base.features)
        else "Nobody has said yet what grows on any plot"
    )
    left = f"; {_number(base.not_placed, 'thing')} more on no plot" if base.not_placed else ""
    paragraphs.append(
        f"{told}{left}. All else is not known: what is missing on the map may well be there."
    )
    if base.earlier:
        gone = base.numbered.gone
        more = f" and {len(gone) - _NAMED} more" if len(gone) > _NAMED else ""
        lost = f" Gone: {', '.join(gone[:_NAMED])}{more}." if gone else ""
        paragraphs.append(
            f"Against the earlier base {base.numbered.kept:,} plots kept their number, "
            f"{base.numbered.new:,} are new, {len(gone):,} are gone.{lost}"
        )
    lines = list(dict.fromkeys(base.credits["attribution"]))
    if lines:
        paragraphs.append(
            "Credits, which every page and file from this base carries: "
            + " | ".join(lines)
            + ("." if not lines[-1].endswith(".") else "")
        )
    return tuple(paragraphs)


def _doors(base: BaseMap) -> list[str]:
    """Say how many doors the map tells of, how many are on a plot, and name each that is not."""
    doors = base.houses[base.houses["door"] != ""]
    there = int((doors["plots"] != "").sum())
    without = base.houses[base.houses["plots"] == ""]
    told = []
    if len(doors):
        told.append(
            f"Door numbers on the map: {len(doors):,}; on a plot: {there:,}; left out: "
            f"{len(doors) - there:,}."
        )
    else:
        told.append("The map has no door number here: plots are numbered along the walk.")
    by_reason: dict[str, list[str]] = {}
    for street, door, osm, reason in zip(
        without["street"], without["door"], without["osm"], without["reason"], strict=True
    ):
        called = " ".join(one for one in (street, door) if one) or f"a house ({osm or 'no id'})"
        by_reason.setdefault(reason, []).append(called)
    for reason, names in sorted(by_reason.items()):
        more = f" and {len(names) - _NAMED} more (layer left_out)" if len(names) > _NAMED else ""
        told.append(f"Left out, {reason}: {', '.join(names[:_NAMED])}{more}.")
    noted = int((base.plots["note"] != "").sum())
    if noted:
        told.append(f"{_number(noted, 'plot')} with a note to look at (column note).")
    return told


def _on_streets(count: int) -> str:
    return f" on {_number(count, 'named street')}" if count else ", on streets without a name"


def _guessed(base: BaseMap) -> Iterable[str]:
    plots = base.plots
    basis, split = plots["basis"], plots["front_back_basis"]
    number = plots["code"] + "-" + plots["number"]
    counts = (
        _some((basis == BASIS["derived"]).sum(), "outline is derived, not a boundary",
                "outlines are derived, not boundaries"),
        _some((basis == BASIS["joined"]).sum(), "plot joined of two parcels",
                "plots joined of several parcels"),
        _some(number[split.str.contains("guessed")].nunique(),
                "corner house whose front was guessed", "corner houses whose front was guessed"),
        _some(number[split.str.contains("by its drive")].nunique(), "house reached by a drive",
                "houses reached by a drive"),
        _some((basis == BASIS["verge"]).sum(), "strip of verge, green or paved not known",
                "strips of verge, green or paved not known"),
        _some((basis == BASIS["pit"]).sum(), "tree pit"),
    )  # fmt: skip
    return filter(None, counts)


def _some(count: int, one: str, several: str = "") -> str:
    """A number with its noun; nothing for none."""
    return _number(count, one, several) if count else ""


def _number(count: int, one: str, several: str = "") -> str:
    return counted(int(count), one, several, said=f"{count:,}")
