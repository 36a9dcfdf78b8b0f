"""What a base map holds and what in it was guessed, in plain words."""

from collections.abc import Iterable

from patchnet.base.grounds import BASIS
from patchnet.base.make import BaseMap
from patchnet.core.texts import _, counted

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
                _("Beside them {n_buildings},").format(
                    n_buildings=_number(len(base.buildings), "building")
                ),
                f"{_number(len(base.roads), 'piece of road', 'pieces of road')},",
                f"{_number(len(base.barriers), 'barrier')}.",
            )
        ),
    ]
    paragraphs += _doors(base)
    guessed = list(_guessed(base))
    if guessed:
        paragraphs.append(
            _("Guessed, and marked so: {guessed}.").format(guessed="; ".join(guessed))
        )
    on = len(set(base.features["plot"]) - {""})
    told = (
        _("OpenStreetMap tells of {n_features} on plots ({on} with at least one)").format(
            n_features=_number(len(base.features), "thing"), on=_number(on, "plot")
        )
        if len(base.features)
        else _("Nobody has said yet what grows on any plot")
    )
    left = (
        _("; {not_placed} more on no plot").format(not_placed=_number(base.not_placed, "thing"))
        if base.not_placed
        else ""
    )
    paragraphs.append(
        _(
            "{told}{left}. All else is not known: what is missing on the map may well be there."
        ).format(told=told, left=left)
    )
    if base.earlier:
        gone = base.numbered.gone
        more = (
            _(" and {n_gone} more").format(n_gone=len(gone) - _NAMED) if len(gone) > _NAMED else ""
        )
        lost = (
            _(" Gone: {gone}{more}.").format(gone=", ".join(gone[:_NAMED]), more=more)
            if gone
            else ""
        )
        paragraphs.append(
            _(
                "Against the earlier base {kept:,} plots kept their number, {new:,} are new, "
                "{n_gone:,} are gone.{lost}"
            ).format(kept=base.numbered.kept, new=base.numbered.new, n_gone=len(gone), lost=lost)
        )
    lines = list(dict.fromkeys(base.credits["attribution"]))
    if lines:
        paragraphs.append(
            _("Credits, which every page and file from this base carries: ")
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
            _(
                "Door numbers on the map: {n_doors:,}; on a plot: {there:,}; left out: "
                "{n_doors_2:,}."
            ).format(n_doors=len(doors), there=there, n_doors_2=len(doors) - there)
        )
    else:
        told.append(_("The map has no door number here: plots are numbered along the walk."))
    by_reason: dict[str, list[str]] = {}
    for street, door, osm, reason in zip(
        without["street"], without["door"], without["osm"], without["reason"], strict=True
    ):
        called = " ".join(one for one in (street, door) if one) or _("a house ({osm})").format(
            osm=osm or _("no id")
        )
        by_reason.setdefault(reason, []).append(called)
    for reason, names in sorted(by_reason.items()):
        more = (
            _(" and {n_names} more (layer left_out)").format(n_names=len(names) - _NAMED)
            if len(names) > _NAMED
            else ""
        )
        told.append(
            _("Left out, {reason}: {names}{more}.").format(
                reason=reason, names=", ".join(names[:_NAMED]), more=more
            )
        )
    noted = int((base.plots["note"] != "").sum())
    if noted:
        told.append(
            _("{noted} with a note to look at (column note).").format(noted=_number(noted, "plot"))
        )
    return told


def _on_streets(count: int) -> str:
    return (
        _(" on {count}").format(count=_number(count, "named street"))
        if count
        else _(", on streets without a name")
    )


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
