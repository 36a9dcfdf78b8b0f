"""Street rules and permissions of other countries, and what holds where none is known.

The street rules of the tables are British. Where a figure of another country was found it is taken
there; where none was, the British one stands, and says that the authority is to be asked. A user's
own street rules (an overlay) hold everywhere.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Reading, Ref
from patchnet.knowledge.parts import Number
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure
from patchnet.knowledge.street import street_numbers, street_rule_names

if TYPE_CHECKING:
    from patchnet.knowledge.knowledge import Knowledge

__all__ = ["CountryRule", "rules_in"]

_HOME = "gb"  # the country whose rules the tables hold
_ASK = "ask_authority"  # source that says: a figure of elsewhere
_SHIPPED = "street_rules.csv "  # how the place of a figure of ours begins
_OURS = ("assumption", "common-practice")  # figures of no country


def _names(at: Reading) -> "tuple[str, ...]":
    return tuple(street_rule_names(at))


@table(
    "country_rules.csv",
    N_("A street rule as it is in another country."),
    called=N_("street rule of a country"),
    key=("rule", "country"),
    address="country_rules/{country}/{rule}",
)
@dataclass(frozen=True, slots=True)
class CountryRule:
    """A street rule as it is in another country, or in towns of it."""

    rule: Annotated[
        str, Choice(N_("which rule it is"), of=_names, told=N_("a key of street_rules.csv"))
    ]
    country: Annotated[str, Ref(N_("the country"), table="countries.csv")]
    figure: Annotated[Figure, Number(N_("the limit there"), by_key=street_numbers)]


@lru_cache(maxsize=16)
def rules_in(knowledge: "Knowledge", country: str) -> "Knowledge":
    """Return the tables with the street rules as they hold in a country.

    Parameters
    ----------
    knowledge
        The tables, another authority's rules laid over if need be: those win.
    country
        Key of the country; ``elsewhere`` where it is not known.
    """
    if country == _HOME:
        return knowledge
    theirs = {one.rule: one.figure for one in knowledge.country_rules if one.country == country}
    rules = {}
    for key, figure in knowledge.street_rules.items():
        if not figure.place.startswith(_SHIPPED):
            rules[key] = figure  # of a user's own file, whose place is a path
        elif key in theirs:
            rules[key] = theirs[key]
        elif figure.kind in _OURS:
            rules[key] = figure
        else:
            rules[key] = replace(figure, sources=(*figure.sources, _ASK))
    return replace(knowledge, street_rules=rules)
