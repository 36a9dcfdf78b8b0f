"""Features of plots: what they are, what they give, and what goes with them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal, get_args

from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import (
    Amount,
    Choice,
    Choices,
    Flag,
    Key,
    Months,
    Ref,
    Refs,
    Text,
    Words,
)
from patchnet.knowledge.parts import Basis, Figures, MonthShares, Number, Quantity
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "About",
    "Caution",
    "DrawnAs",
    "Feature",
    "FeatureTrait",
    "Measure",
    "Resource",
    "Sort",
    "Supply",
    "Visible",
    "read_features",
]

Measure = Literal["m2", "m", "count"]
FeatureTrait = Literal[
    "open_water", "only_one", "lawn", "bed", "for_birds", "way_through", "in_a_pit"
]
"""What a feature is, see `Feature`."""
Visible = Literal["street", "near", "never"]
"""From where a feature can be seen, see `Feature`."""
Sort = Literal[
    "flowers", "grass", "woody", "water", "decay", "soil", "box", "feeding", "habit", "other"
]
"""What sort of thing a feature is, see `Feature`."""
DrawnAs = Literal[
    "lawn", "flower_lawn", "long_grass", "flowers", "vegetables", "bushes", "soil", "marsh",
    "water", "paving", "plastic", "decking", "hedge", "tree", "wood", "stones", "dish", "box",
    "none",
]  # fmt: skip
"""As what a feature is drawn on a plan of the gardens, see `Feature`."""
About = Literal["", "small_children", "neighbour", "street", "load", "cats", "protected", "unseen"]
"""What a caution is about, where it has an effect beyond its words; see `Caution`."""


@table(
    "resources.csv",
    N_("Something an animal needs and a feature can give (flowers in bloom, nest holes ...)."),
    called="resource",
)
@dataclass(frozen=True, slots=True)
class Resource:
    """Something an animal needs and a feature can give (flowers in bloom, nest holes ...).

    Parameters
    ----------
    key, name, unit
        Key in the tables, name in plain words, unit of its amounts.
    plant_roles
        Roles of plants that give something of it.
    by_month
        Whether a month short of it is a hungry month, told by its name (flowers).
    """

    key: Annotated[str, Key(N_("key of the resource"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    unit: Annotated[str, Text(N_("unit in which it is counted"), shown=False)]
    plant_roles: Annotated[
        tuple[str, ...], Words(N_("roles of plants (plant_roles.csv) that give something of it"))
    ] = ()
    by_month: Annotated[
        bool,
        Flag(N_("whether a month short of it is a hungry month, told by its name"), blank=False),
    ] = False


@table("cautions.csv", N_("A warning that goes with features or groups."), called="caution")
@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that goes with a feature, in plain words.

    `about` says what else hangs on it: ``small_children``, what has it is open water;
    ``neighbour``, the neighbour is asked first; ``street``, it goes with all that is put in a
    street; ``load``, with what a balcony or roof bears; ``cats``, with what draws birds where a
    cat is kept; ``protected``, where it applies is told to nobody else; ``unseen``, it is told
    of every plot, for nobody may know, or be told, that it applies.
    """

    key: Annotated[str, Key(N_("key of the caution"))]
    words: Annotated[str, Text(N_("the warning, in sentences"))]
    sources: Annotated[
        tuple[str, ...],
        Refs(N_("where it comes from"), name="source", table="sources.csv", blank="needed"),
    ]
    about: Annotated[
        About,
        Choice(
            N_(
                "what else it means: small_children, what has it is open water; neighbour, ask the "
                "neighbour first; street, shown with everything put in a street; load, with things "
                "on a balcony or roof; cats, with things that attract birds where a cat is kept; "
                "protected, places are never shown to others; unseen, shown for every plot, "
                "because nobody may know that it applies"
            ),
            blank="",
        ),
    ] = ""
    short: Annotated[
        str, Text(N_("the warning in one short sentence; empty: the words are short"), blank="")
    ] = ""

    @property
    def brief(self) -> str:
        """The warning as short as there is."""
        return self.short or self.words


@table(
    "features.csv",
    N_("Something a plot can have: a pond, a hedge, a window box."),
    called="feature",
    bases=(Basis("months", "{months}", at="months"),),
    figures=Figures("feature_figures.csv", ("feature",)),
)
@dataclass(frozen=True, slots=True)
class Feature:
    """Something a plot can have: a pond, a hedge, a window box.

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    measure
        In what it is counted: m2, m, or pieces.
    typical, smallest
        Amount that one household adds, and the least worth listing, in `measure`.
    ground
        Ground it takes, m2 per unit of `measure`.
    years_to_work
        Years until it gives most of what the supply table says.
    container
        Whether it can stand in a pot, tub or planter.
    effort, cost
        low, some, much; none, low, mid, high.
    free
        Whether it can be had for nothing (found, made or grown from what is there).
    months
        When it is usually made, planted or put up.
    cautions
        Keys of `Caution` records.
    addable, green
        Whether it can be offered as an addition, and whether it counts as living ground.
    words
        Other names people write for it.
    traits
        What it is: ``open_water``; ``only_one``, a plot needs no second; ``lawn``; ``bed``, a
        bed, pot or box in which flowers can be chosen; ``for_birds``; ``way_through`` a barrier;
        ``in_a_pit``, a tree that stands in the footway where it is mapped in a street.
    gives_way
        Place in the order in which ground covers are taken up for something else, or None:
        it stays.
    sort
        What sort of thing it is, where single things are not sure: ``flowers``, ``grass`` left to
        grow, ``woody``, ``water``, ``decay`` (dead wood, leaves), ``soil`` (bare, or stones),
        ``box``, ``feeding``, ``habit``; else ``other``.
    visible
        From where it can be seen: the ``street``, ``near`` by, or ``never`` (mortar, roofs, holes
        in trees). What can never be seen is not known where nobody mentions it, even if all
        was looked at; how much is taken to be there, `Unseen` says.
    drawn
        As what it is drawn on a plan of the gardens: a ground (``lawn`` to ``decking``), a
        ``hedge``, the crown of a ``tree``, a small sign, or ``none``.
    crown
        How wide the crown of a tree is drawn, metres; None: it is no tree.
    """

    key: Annotated[str, Key(N_("key of the feature"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    measure: Annotated[Measure, Choice(N_("in what it is counted"))]
    typical: Annotated[
        Figure, Quantity(N_("amount that one household adds at once"), unit="{measure}", over=True)
    ]
    smallest: Annotated[
        Figure, Quantity(N_("least amount worth listing"), unit="{measure}", over=True)
    ]
    ground: Annotated[
        Figure, Quantity(N_("ground that one unit of it takes"), unit="m2 ground per {measure}")
    ]
    years_to_work: Annotated[
        Figure, Quantity(N_("years until it gives most of what supplies.csv says"), unit="years")
    ]
    container: Annotated[bool, Flag(N_("whether it can stand in a pot, tub or planter"))]
    effort: Annotated[str, Choice(N_("how much work it is"), of=("low", "some", "much"))]
    cost: Annotated[str, Choice(N_("what it costs"), of=("none", "low", "mid", "high"))]
    free: Annotated[bool, Flag(N_("whether it can be had for nothing: found, made or grown"))]
    months: Annotated[tuple[int, ...], Months(N_("when it is usually made, planted or put up"))]
    cautions: Annotated[tuple[str, ...], Refs(N_("warnings that go with it"), table="cautions.csv")]
    addable: Annotated[bool, Flag(N_("whether it can be offered as something to add"))]
    green: Annotated[bool, Flag(N_("whether it counts as living ground"))]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]
    traits: Annotated[
        frozenset[FeatureTrait],
        Choices(
            N_(
                "what it is: open_water; only_one, a plot needs no second; lawn; bed, in which "
                "flowers can be chosen; for_birds; way_through a barrier; in_a_pit, a tree that "
                "stands in the footway where it is mapped in a street"
            ),
            of=get_args(FeatureTrait),
            blank=frozenset(),
            into=frozenset,
        ),
    ] = frozenset()
    gives_way: Annotated[
        int | None,
        Amount(
            N_("order in which ground covers make room; empty: it stays"),
            blank=None,
            least=0,
            whole=True,
        ),
    ] = None
    sort: Annotated[
        Sort,
        Choice(
            N_(
                "what sort of thing it is: woody, bushes, hedges and trees; decay, dead wood and "
                "leaves; soil, bare soil or stones; habit, something done or not done"
            ),
            blank="other",
        ),
    ] = "other"
    visible: Annotated[
        Visible,
        Choice(
            N_(
                "from where it can be seen; never: not mentioned means not known, even if all was "
                "looked at"
            ),
            blank="near",
        ),
    ] = "near"
    drawn: Annotated[
        DrawnAs,
        Choice(
            N_(
                "as what it is drawn on a plan of the gardens: a ground (lawn to decking), a "
                "hedge, the crown of a tree, a sign (wood to box), or none"
            ),
            blank="none",
        ),
    ] = "none"
    crown: Annotated[
        Figure | None,
        Quantity(N_("breadth of a tree's crown on a plan"), unit="m", needed=False),
    ] = None

    @property
    def unseen(self) -> bool:
        """Whether it cannot be seen from anywhere outside."""
        return self.visible == "never"

    @property
    def open_water(self) -> bool:
        """Whether small children could drown in it."""
        return "open_water" in self.traits

    @property
    def tree(self) -> bool:
        """Whether it is a tree that stands free: woody, and counted."""
        return self.sort == "woody" and self.measure == "count"

    @property
    def rooted(self) -> bool:
        """Whether it takes ground and can stand in no pot."""
        return self.ground.value > 0 and not self.container


@table(
    "supplies.csv",
    N_("What one unit of a feature gives of one resource, and when."),
    called="supply",
    key=("feature", "resource"),
)
@dataclass(frozen=True, slots=True)
class Supply:
    """What one unit of a feature gives of one resource; `month_weights` are twelve, 0-1."""

    feature: Annotated[str, Ref(N_("the feature"), table="features.csv")]
    resource: Annotated[str, Ref(N_("the resource"), table="resources.csv")]
    amount: Annotated[
        Figure,
        Number(
            N_("what one unit gives in its best month"),
            unit="{resource.unit} per {feature.measure}",
        ),
    ]
    month_weights: Annotated[
        tuple[float, ...], MonthShares(N_("share of the amount that it gives in this month"))
    ]


def read_features(reader: Reader, cautions: Mapping[str, Caution]) -> dict[str, Feature]:
    """Read the features; what carries the caution about small children is open water."""
    return {
        row.key[0]: _as_it_is(reader, row, feature, cautions)
        for row, feature in reader.rows(Feature)
    }


def _as_it_is(
    reader: Reader, row: Row, feature: Feature, cautions: Mapping[str, Caution]
) -> Feature:
    if feature.gives_way is not None and feature.measure != "m2":
        what = _("Only what is measured in m2 can give way to something else.")
        reader.say(row, what, _("Leave the cell 'gives_way' empty."))
    if "small_children" in {cautions[key].about for key in feature.cautions if key in cautions}:
        return replace(feature, traits=feature.traits | {"open_water"})
    if feature.open_water and set(feature.cautions) <= set(cautions):
        what = _("It is open water, but has no caution about small children.")
        keys = [key for key, one in cautions.items() if one.about == "small_children"]
        mend = _("Add it to its cautions: {keys}.").format(keys=_(" or ").join(keys))
        reader.say(row, what, mend)
    return feature
