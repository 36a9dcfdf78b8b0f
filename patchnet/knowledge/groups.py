"""Animals: what they live in, what else they need, how far they go."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import Choice, Flag, Key, Months, Ref, Text
from patchnet.knowledge.parts import Basis, Figures, Number, Quantities, Quantity, RowsOf
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Anchor", "Group", "Need", "read_groups"]


@table(
    "needs.csv",
    N_("Something that one home of a group needs, beside what it lives in."),
    called="need",
    key=("group", "key"),
    bases=(Basis("months", N_("months {months}"), at="months"),),
    figures=Figures("need_figures.csv", ("group", "need")),
)
@dataclass(frozen=True, slots=True)
class Need:
    """What one home of a group takes of one resource, when, and from how far away."""

    key: Annotated[str, Key(N_("key of the need: its name in small letters"))]
    group: Annotated[str, Ref(N_("the group"), table="groups.csv")]
    name: Annotated[str, Text(N_("name in plain words"))]
    resource: Annotated[str, Ref(N_("what it is met by"), table="resources.csv")]
    months: Annotated[tuple[int, ...], Months(N_("when it counts"))]
    month_rule: Annotated[
        Literal["mean", "worst"], Choice(N_("whether the months' mean or the worst of them counts"))
    ]
    amount: Annotated[
        Figure, Quantity(N_("what one home takes in a month"), unit="{resource.unit}", over=True)
    ]
    reach: Annotated[Figure, Quantity(N_("from how far away"), unit="m", over=True)]
    weight: Annotated[
        Figure, Quantity(N_("share of a home that depends on it"), unit="share", most=1)
    ]
    floor: Annotated[
        Figure,
        Quantity(N_("quality that is left without any; 0: no home at all"), unit="share", most=1),
    ]

    @property
    def vital(self) -> bool:
        """Whether there is no home at all without it (floor 0)."""
        return self.floor.value == 0


@dataclass(frozen=True, slots=True)
class Anchor:
    """What a group lives or breeds in, and how much of it one home takes."""

    resource: Annotated[str, Ref(N_("what it lives or breeds in"), table="resources.csv")]
    per_home: Annotated[Figure, Number(N_("how much of it one home takes"))]


@table(
    "groups.csv",
    N_("A animal."),
    called="group",
    bases=(Basis("months", N_("months {active_months}"), at="active_months"),),
    figures=Figures("group_figures.csv", ("group",)),
)
@dataclass(frozen=True, slots=True)
class Group:
    """A animal: what it lives in, what else it needs, how far it goes."""

    key: Annotated[str, Key(N_("key of the group"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    latin: Annotated[str, Text(N_("Latin names of what is meant"), shown=False)]
    mode: Annotated[Literal["air", "ground"], Choice(N_("whether it flies or walks"))]
    hop: Annotated[Figure, Quantity(N_("farthest gap that it crosses"), unit="m", over=True)]
    d50: Annotated[
        Figure, Quantity(N_("gap at which half of those who set out arrive"), unit="m", over=True)
    ]
    active_months: Annotated[tuple[int, ...], Months(N_("when it is about"))]
    anchors: Annotated[
        tuple[Anchor, ...],
        Quantities(
            N_("anchor: nothing that it lives or breeds in"),
            called="anchor",
            unit="{resource.unit}",
            over=True,
            record=Anchor,
            by="resource",
        ),
    ]
    anchor_reach: Annotated[
        Figure, Quantity(N_("how far apart what one home lives in may lie"), unit="m", over=True)
    ]
    step_resource: Annotated[
        str, Ref(N_("what makes a plot a stepping stone"), table="resources.csv")
    ]
    step_min: Annotated[
        Figure,
        Quantity(N_("least of it that makes a plot one"), unit="{step_resource.unit}", over=True),
    ]
    weight: Annotated[Figure, Quantity(N_("how much the group counts among all"), unit="votes")]
    caution: Annotated[str, Ref(N_("warning that goes with it"), table="cautions.csv", blank="")]
    home_is: Annotated[str, Text(N_("what one home is, such as one nesting female"))]
    needs: Annotated[tuple[Need, ...], RowsOf(Need, by="group")]
    usual: Annotated[
        bool,
        Flag(
            N_("whether it is among the animals that are worked out where none is named"),
            blank=True,
        ),
    ] = True
    feeds_elsewhere: Annotated[
        bool, Flag(N_("whether it finds all its food outside gardens: it has no need"), blank=False)
    ] = False


def read_groups(reader: Reader, supplied: Collection[str]) -> dict[str, Group]:
    """Read the groups with their needs; some feature must give what they cannot do without.

    Parameters
    ----------
    reader
        Reads them.
    supplied
        Resources that some feature gives.
    """
    groups = reader.keyed(Group)
    resources = reader.keys("resources.csv")
    lived_in = [
        (row, row.cells["resource"])
        for row in reader.tables["group_figures.csv"]
        if row.cells["quantity"] == "anchor"
    ]
    lived_in += [(row, row.cells["resource"]) for row in reader.tables["needs.csv"]]
    for row, resource in lived_in:
        if resource in resources and resource not in supplied:
            what = _(
                "No feature gives '{resource}', so no plot could ever hold this group."
            ).format(resource=resource)
            reader.say(row, what, _("Add a row to supplies.csv."))
    return groups
