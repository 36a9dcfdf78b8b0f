"""Planter schemes: recipes, rates and weights, upkeep, risks, permissions and whom to ask."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import MONTHS, Choice, Key, Months, Reading, Ref, Refs, Text
from patchnet.knowledge.parts import Basis, Number, RowsOf, SourcesOf
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "PRICED",
    "ConsentPart",
    "Recipe",
    "RecipeAmount",
    "SchemeConsent",
    "SchemeFigure",
    "SchemePrice",
    "SchemeRisk",
    "UpkeepTask",
    "read_scheme_figures",
]

ConsentPart = Literal["permission", "evidence", "consultee"]
_FIGURES = {
    "soil_light_kg_m3": "kg/m3",
    "soil_loam_kg_m3": "kg/m3",
    "soil_check_kg_m3": "kg/m3",
    "stones_kg_m3": "kg/m3",
    "settling_share": "share",
    "drainage_m": "m",
    "mulch_m": "m",
    "contrast_band_m": "m",
    "kerb_upstand_m": "m",
    "water_can_l": "l",
    "hand_lift_kg": "kg",
    "liability_gbp": "GBP",
    "contingency_share": "share",
    "replace_share": "share",
    "cost_drainage_m3": "GBP",
    "cost_mulch_m3": "GBP",
    "cost_label": "GBP",
    "cost_band_m": "GBP",
    "cost_delivery": "GBP",
    "cost_kit": "GBP",
    "level_share": "share",
    "wide_margin": "share",
    "blind_margin": "share",
    "bay_m": "m",
    "review_months": "months",
    "planters": "planters",
    "thrifty_share": "share",
    "cost_water_m3": "GBP",
    "cost_compost_year": "GBP",
    "cost_keeper_year": "GBP",
    "renew_share_year": "share",
    "repair_share_year": "share",
    "cost_insurance_year": "GBP",
    "cost_licence": "GBP",
    "cost_licence_year": "GBP",
    "cost_traffic_day": "GBP",
    "soil_renewed_years": "years",
    "soil_renewed_share": "share",
    "repaint_years": "years",
    "cost_repaint": "GBP",
    "box_life_years": "years",
    "cost_removal": "GBP",
    "visit_minutes": "minutes",
    "other_hours_year": "hours",
    "cost_hour": "GBP",
    "years_told": "years",
    "gain_reach_m": "m",
    "gain_least_told": "addresses",
    **{f"visits_{month}": "visits a week" for month in MONTHS},
    **{f"dry_week_{month}": "l/m2/week" for month in MONTHS},
}
_POSITIVE = (
    "stones_kg_m3", "water_can_l", "bay_m", "soil_renewed_years", "repaint_years",
    "box_life_years", "years_told",
)  # fmt: skip
PRICED = (
    "boxes", "soil", "drainage", "mulch", "plants", "label", "band", "delivery", "kit", "years",
)  # fmt: skip
"""What prices are told for: the parts of the bill, and the years after it."""
_NUMBERS = {key: Number("", unit=unit, over=key in _POSITIVE) for key, unit in _FIGURES.items()}


@table(
    "planter_recipe_figures.csv",
    N_("How much of a feature a square metre of a planter's soil gives."),
    called=N_("part of a recipe"),
    address="planter_recipes/{recipe}/{feature}",
    key=("recipe", "feature"),
    also={"recipe": Ref(N_("the recipe"), table="planter_recipes.csv")},
)
@dataclass(frozen=True, slots=True)
class RecipeAmount:
    """How much of a feature a square metre of soil gives."""

    feature: Annotated[str, Ref(N_("what grows in it"), table="features.csv")]
    amount: Annotated[Figure, Number(N_("how much of it"), unit="m2 per m2 of soil")]


@table("planter_recipes.csv", N_("What can grow in a street planter."), called=N_("planter recipe"))
@dataclass(frozen=True, slots=True)
class Recipe:
    """What can grow in a street planter.

    Attributes
    ----------
    key, name, words
        Key in the table, name in plain words, and what it is in a sentence.
    mixes
        Mixes that its boxes are planted from, one after the other along a road; those for the
        light of the place first.
    amounts
        m2 of features per m2 of soil before the plants are chosen: what places are sought with.
        What is planted then stays within the ranges (`patchnet.plan.box_planting`).
    """

    key: Annotated[str, Key(N_("key of the recipe"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    words: Annotated[str, Text(N_("what it is, in a sentence"), blank="")]
    mixes: Annotated[
        tuple[str, ...], Refs(N_("mixes that its boxes are planted from"), table="mixes.csv")
    ]
    amounts: Annotated[
        Mapping[str, Figure],
        RowsOf(
            RecipeAmount,
            by="recipe",
            mapped=("feature", "amount"),
            missing=N_("Nothing says what grows in it."),
        ),
    ]


def _scheme_numbers(at: Reading) -> Mapping[str, Number]:
    del at
    return _NUMBERS


@table(
    "scheme_figures.csv",
    N_("A rate, weight or share that planter schemes are worked out with."),
    called=N_("figure of a scheme"),
    address="scheme/{key}",
)
@dataclass(frozen=True, slots=True)
class SchemeFigure:
    """A rate, weight or share that planter schemes are worked out with."""

    key: Annotated[str, Choice(N_("key of the figure"), of=tuple(_FIGURES))]
    figure: Annotated[Figure, Number(N_("the figure"), by_key=_scheme_numbers)]


@table(
    "scheme_prices.csv",
    N_("How well founded a price is: assumed or quoted, from when, by whom."),
    called=N_("price of a scheme"),
    bases=(Basis("", "{how}"),),
)
@dataclass(frozen=True, slots=True)
class SchemePrice:
    """How well founded a price of the bill is.

    Parameters
    ----------
    key
        Part of the bill.
    how
        ``assumed``, or ``quoted`` by somebody who would deliver at it.
    dated
        Month that the price is from, such as 2026-11.
    by
        Who quoted it; empty: nobody.
    """

    key: Annotated[str, Choice(N_("part of the bill"), of=PRICED)]
    how: Annotated[str, Choice(N_("assumed, or quoted by somebody"), of=("assumed", "quoted"))]
    dated: Annotated[str, Text(N_("month that it is from, such as 2026-11"), shown=False)]
    by: Annotated[str, Text(N_("who quoted it"), blank="", shown=False)]
    sources: Annotated[tuple[str, ...], SourcesOf()]


@table(
    "scheme_upkeep.csv",
    N_("A task of the year round a street planter."),
    called="task",
    bases=(Basis("", "{task}"),),
)
@dataclass(frozen=True, slots=True)
class UpkeepTask:
    """A task of the year round a street planter; `who` is keeper, group or all."""

    key: Annotated[str, Key(N_("key of the task"))]
    task: Annotated[str, Text(N_("what is done"))]
    months: Annotated[tuple[int, ...], Months("when")]
    who: Annotated[str, Choice(N_("who does it"), of=("keeper", "group", "all"))]
    sources: Annotated[tuple[str, ...], SourcesOf()]


@table(
    "scheme_risks.csv",
    N_("What can go wrong with planters in a street."),
    called="risk",
    bases=(Basis("", "{hazard}"),),
)
@dataclass(frozen=True, slots=True)
class SchemeRisk:
    """What can go wrong with planters in a street.

    Parameters
    ----------
    hazard, who
        What happens, and to whom.
    likelihood, harm
        ``unlikely``, ``possible``, ``likely``; ``slight``, ``serious``, ``grave``: before
        anything is done about it, by our own reading.
    control, left
        What is done about it, and what is left then: low, medium ...
    """

    key: Annotated[str, Key(N_("key of the risk"))]
    hazard: Annotated[str, Text(N_("what happens"))]
    who: Annotated[str, Text(N_("to whom"))]
    likelihood: Annotated[
        str,
        Choice(N_("how likely, before anything is done"), of=("unlikely", "possible", "likely")),
    ]
    harm: Annotated[str, Choice(N_("how bad"), of=("slight", "serious", "grave"))]
    control: Annotated[str, Text(N_("what is done about it"))]
    left: Annotated[str, Text(N_("what is left then, such as low or medium"))]
    sources: Annotated[tuple[str, ...], SourcesOf()]


@table(
    "scheme_consents.csv",
    N_("A permission to get, a paper to bring with the application, or somebody to ask."),
    called="permission",
    bases=(Basis("", "{name}"),),
)
@dataclass(frozen=True, slots=True)
class SchemeConsent:
    """A permission to get, a paper to bring with the application, or somebody to ask."""

    key: Annotated[str, Key(N_("key of the permission"))]
    part: Annotated[
        ConsentPart, Choice(N_("permission to get, evidence to bring, or consultee to ask"))
    ]
    name: Annotated[str, Text(N_("whose, or what"))]
    about: Annotated[str, Text(N_("what it is about"))]
    where: Annotated[
        tuple[str, ...], Refs(N_("countries it is for; nothing: all"), table="countries.csv")
    ]
    sources: Annotated[tuple[str, ...], SourcesOf()]

    def holds_in(self, country: str) -> bool:
        """Whether it is asked for in a country."""
        return not self.where or country in self.where


def read_scheme_figures(reader: Reader) -> dict[str, Figure]:
    """Read the figures of schemes; every one must be there."""
    found = {row.key[0]: one.figure for row, one in reader.rows(SchemeFigure)}
    reader.must_have("scheme_figures.csv", _FIGURES, "figure")
    return found
