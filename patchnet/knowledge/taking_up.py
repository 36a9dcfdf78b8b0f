"""Covers that are taken up to make open ground: slabs, plastic grass."""

from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Amount, Choice, Ref, Refs, Text
from patchnet.knowledge.parts import Basis, Figures, Quantity, RowsOf
from patchnet.knowledge.schema import table
from patchnet.knowledge.siting import Step
from patchnet.knowledge.sources import Figure

__all__ = ["TakingUp", "TakingUpStep"]


@table(
    "taking_up_steps.csv",
    N_("One plain step of taking a cover up."),
    called="step",
    key=("feature", "step"),
    also={
        "feature": Ref(N_("the cover"), table="taking_up.csv"),
        "step": Amount(N_("its place in the order")),
    },
)
@dataclass(frozen=True, slots=True)
class TakingUpStep(Step):
    """One plain step of taking a cover up, and where it comes from (source keys)."""


@table(
    "taking_up.csv",
    N_("A cover that can be taken up to make open ground, where nobody said more."),
    called=N_("cover to take up"),
    address="taking_up/{feature}",
    key=("feature",),
    bases=(Basis("rules", N_("tenancy, cautions"), at="rules"),),
    figures=Figures("taking_up_figures.csv", ("feature",)),
)
@dataclass(frozen=True, slots=True)
class TakingUp:
    """A cover that can be taken up to make open ground for something else.

    Parameters
    ----------
    feature
        Key of the cover.
    said
        What one calls it in a sentence.
    tenancy
        ``free``: a tenant can do it; ``ask``: a tenant asks the owner first; ``own``: only for
        who owns the plot.
    cautions
        Warnings that go with it.
    share, left
        Share of it that may be taken up where nobody said more; what stays in any case, m2.
    hours, cost
        Work, hours per m2; money per m2, in the currency of the ``cost`` settings.
    steps
        How it is done, in order.
    """

    feature: Annotated[str, Ref(N_("the cover"), table="features.csv")]
    said: Annotated[str, Text(N_("what one calls it in a sentence"))]
    tenancy: Annotated[
        Literal["free", "ask", "own"],
        Choice(
            N_(
                "free: a tenant can do it; ask: a tenant asks the owner first; own: only for who "
                "owns the plot"
            )
        ),
    ]
    cautions: Annotated[tuple[str, ...], Refs(N_("warnings that go with it"), table="cautions.csv")]
    share: Annotated[
        Figure,
        Quantity(N_("share of it that may go, where nobody said more"), unit="share", most=1),
    ]
    left: Annotated[Figure, Quantity(N_("what stays in any case"), unit="m2")]
    hours: Annotated[Figure, Quantity("work", unit="hours per m2")]
    cost: Annotated[Figure, Quantity("money", unit="pounds per m2")]
    steps: Annotated[
        tuple[TakingUpStep, ...],
        RowsOf(
            TakingUpStep, by="feature", order="step", missing=N_("Nothing says how it is done.")
        ),
    ]
