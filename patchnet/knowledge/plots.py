"""Kinds of plot, and kinds of barrier between them."""

from dataclasses import dataclass
from typing import Annotated, Literal, get_args

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Choices, Flag, Key, Ref, Text, Words
from patchnet.knowledge.schema import table

__all__ = ["PLAIN_LINE", "BarrierKind", "BarrierLine", "PlotKind", "PlotTrait"]

PlotTrait = Literal[
    "plain", "home", "asks_keeper", "in_street", "nobodys", "raised", "pots_only", "sill",
    "whole", "front", "back", "strip", "pit", "box", "unnamed", "passers_by",
]  # fmt: skip
"""What a kind of plot is, see `PlotKind`."""

BarrierLine = Literal["whole", "dashed", "dotted", "dash_dot", "short_dashes"]
"""How a kind of barrier is drawn: which of the lines of the map."""

PLAIN_LINE: BarrierLine = "short_dashes"
"""How barriers are drawn of which no table says how."""


@table("plot_kinds.csv", N_("A kind of plot."), called="plot kind")
@dataclass(frozen=True, slots=True)
class PlotKind:
    """A kind of plot.

    Parameters
    ----------
    key, name, words
        Key in the tables, name in plain words, other names people write for it.
    implies
        Feature that the whole plot is (a planter is one), or None.
    traits
        What it is: ``plain``, ground with soil that somebody keeps; somebody's ``home``;
        ``asks_keeper``, no household's: who looks after it is asked first; ``in_street``;
        ``nobodys``, telling of it tells of no person; ``raised`` above the ground;
        ``pots_only``, without soil of its own; ``sill``, with window sills or a rail. Parts that
        a base map makes: the ``whole`` garden, its ``front`` and ``back``, the ``strip`` of a
        verge, the ``pit`` of a tree, a planter's ``box``; ``unnamed``, what stands for a kind
        that nobody named. ``passers_by``: children and dogs come there, so that nothing poisonous
        or thorny is planted.
    """

    key: Annotated[str, Key(N_("key of the kind"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]
    implies: Annotated[
        str | None,
        Ref(N_("feature that the whole plot is, if any"), table="features.csv", blank=None),
    ]
    traits: Annotated[
        frozenset[PlotTrait],
        Choices(
            N_(
                "what it is: plain, ground with soil that somebody keeps; somebody's home; "
                "asks_keeper, no household's; in_street; nobodys, telling of it tells of no "
                "person; raised above the ground; pots_only, without soil of its own; sill, with "
                "window sills or a rail; and the parts of a base map that it stands for: whole "
                "garden, front, back, strip of a verge, pit of a tree, box of a planter, unnamed; "
                "passers_by, children and dogs come there: nothing poisonous or thorny"
            ),
            of=get_args(PlotTrait),
            blank=frozenset(),
            into=frozenset,
        ),
    ] = frozenset()


@table("barrier_kinds.csv", N_("A kind of barrier between plots."), called="barrier kind")
@dataclass(frozen=True, slots=True)
class BarrierKind:
    """A kind of barrier line.

    Parameters
    ----------
    key, name, words
        Key in the tables, name in plain words, other names people write for it.
    bears
        Whether things are hung on it as on a ``wall`` or a ``fence``; None: on neither.
    see_through
        Whether the sun shines through it.
    unnamed
        Whether it stands for a barrier of which nobody said what it is.
    line
        How it is drawn; with short dashes where the table does not say.
    """

    key: Annotated[str, Key(N_("key of the kind"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]
    bears: Annotated[
        Literal["wall", "fence"] | None,
        Choice(N_("whether things are hung on it as on a wall or a fence"), blank=None),
    ] = None
    see_through: Annotated[bool, Flag(N_("whether the sun shines through it"), blank=False)] = False
    unnamed: Annotated[
        bool, Flag(N_("whether it stands for a barrier that nobody named"), blank=False)
    ] = False
    line: Annotated[
        BarrierLine | None,
        Choice(N_("line that it is drawn as; blank: with short dashes"), blank=None),
    ] = None
