"""Which of the returns that were handed in are of this street."""

from collections.abc import Sequence

from patchnet.core.fault_list import FaultList
from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.one_return import Return

__all__ = ["returns_of_street"]


def returns_of_street(
    returns: Sequence[Return],
    streets: Sequence[str],
    neighbourhood: Neighbourhood,
    *,
    knowledge: Knowledge,
    faults: FaultList,
    same_street: bool,
    alone: bool,
) -> list[Return]:
    """Leave out the returns of other streets, and say so.

    Plots of two streets often have the same numbers, so a return of the next street that lies
    among the others would be believed. Where the user says that it is the same street, a return
    that does not say of which street it is is taken. One that names another is taken if more than
    half of its plots (``base_same_street_share``) are on this map and it calls its street as a
    street of this map is called; or if the user merges it alone, and so means just this one.

    Parameters
    ----------
    returns
        As they were read.
    streets
        Ids that this street goes by, the present one first.
    neighbourhood
        The map.
    knowledge
        For ``base_same_street_share``.
    faults
        List that faults are added to.
    same_street
        Whether the user says that it is the same street.
    alone
        Whether the user named no other file.
    """
    return [
        one
        for one in returns
        if one.street in streets
        or (same_street and (alone or not one.street or _may_be(one, neighbourhood, knowledge)))
        or _left_out(one, streets[0], neighbourhood, faults, same_street=same_street)
    ]


def _may_be(one: Return, neighbourhood: Neighbourhood, knowledge: Knowledge) -> bool:
    """Whether nothing speaks against that a return of another id is of this street after all."""
    there, named = _plots(one, neighbourhood)
    if there <= knowledge.setting("base_same_street_share") * named:
        return False
    called = f" {folded(one.called)} "
    names = {folded(name) for name in neighbourhood.plots["street"].astype(str) if name.strip()}
    return not names or any(f" {name} " in called for name in names)


def _plots(one: Return, neighbourhood: Neighbourhood) -> tuple[int, int]:
    """How many of the plots that a return names are on the map, and how many it names."""
    plots = {str(ident) for ident in neighbourhood.plots.index}
    named = {str(plot).strip() for plot in one.said["plot"]} - {""}
    return len(named & plots), len(named)


def _left_out(
    one: Return,
    street: str,
    neighbourhood: Neighbourhood,
    faults: FaultList,
    *,
    same_street: bool,
) -> bool:
    """Say that a return was left out; False."""
    there, named = _plots(one, neighbourhood)
    share = _("{n_named} of its {n_named_2} plots have a number that is on this map").format(
        n_named=there, n_named_2=named
    )
    if one.street:
        other = f"{one.street[:40]}, {one.called[:60]}" if one.called else one.street[:40]
        what = _("It is of another street ({street}; this one is {street_2}); {share}.").format(
            street=other, street_2=street, share=share
        )
    else:
        what = _("It does not say which street it is of; {share}.").format(share=share)
    mend = (
        _("Merge it into its own street; if you know that it is this one, merge it by itself.")
        if same_street
        else _("Merge it into its own street; if you know that it is this one, say --same-street.")
    )
    faults.error(one.where, _("{what} It was left out.").format(what=what), mend)
    return False
