"""Countries: whom to ask, what money is called, how speed is written, whose law is named.

What the tables tell of law, prices and speeds is British. In another country a page names that
country's authority, converts no law, and says prices in its own money by a rate that is an
assumption; where the country is not known it says whom to ask in general words.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import Amount, Choice, Key, Text, Words
from patchnet.knowledge.parts import Basis, Figures, Quantity
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "ELSEWHERE",
    "Country",
    "country_at",
    "exact_money",
    "money",
    "read_countries",
    "speed_words",
]

ELSEWHERE = "elsewhere"
Box = tuple[float, float, float, float]
_SMALL = 10  # amounts below this are said to the hundredth


@table(
    "countries.csv",
    N_("A country: whom to ask there, its money, how speed is written, whose law is named."),
    called="country",
    bases=(Basis("", "{name}"),),
    figures=Figures("country_figures.csv", ("country",)),
)
@dataclass(frozen=True, slots=True)
class Country:
    """One country; `grids` and `box` tell that a place lies in it."""

    key: Annotated[
        str, Key(N_("two letters of ISO 3166-1 in small; elsewhere: where it is not known"))
    ]
    name: Annotated[str, Text(N_("what it is called"))]
    authority: Annotated[str, Text(N_("who answers for the street"))]
    ask: Annotated[str, Text(N_("how one says there: ask them"))]
    currency: Annotated[str, Text(N_("its money as ISO 4217 has it"), shown=False)]
    sign: Annotated[
        str, Text(N_("what stands before an amount; nothing: the currency"), blank="", shown=False)
    ]
    per_pound: Annotated[
        Figure,
        Quantity(
            N_("units of its money for a British pound, in which prices were collected"),
            unit="{currency} per GBP",
            over=True,
        ),
    ]
    speed_unit: Annotated[Literal["mph", "km/h"], Choice(N_("how speed is written"))]
    law: Annotated[str, Text(N_("whose law the tables name there; nothing: no law"), blank="")]
    grids: Annotated[
        tuple[str, ...], Words(N_("EPSG codes of coordinate systems that are used there alone"))
    ]
    west: Annotated[
        float | None,
        Amount(
            N_("western edge of a piece wholly inside it, degrees"),
            least=-180,
            most=180,
            blank=None,
        ),
    ]
    south: Annotated[
        float | None, Amount(N_("its southern edge, degrees"), least=-90, most=90, blank=None)
    ]
    east: Annotated[
        float | None, Amount(N_("its eastern edge, degrees"), least=-180, most=180, blank=None)
    ]
    north: Annotated[
        float | None, Amount(N_("its northern edge, degrees"), least=-90, most=90, blank=None)
    ]

    @property
    def box(self) -> Box | None:
        """West, south, east, north of a piece wholly inside it; None where there is none."""
        if self.west is None or self.south is None or self.east is None or self.north is None:
            return None
        return self.west, self.south, self.east, self.north


def read_countries(reader: Reader) -> dict[str, Country]:
    """Read the countries; a box has all its edges, and what stands for elsewhere must be there."""
    found = {}
    for row, one in reader.rows(Country):
        found[one.key] = one
        edges = (one.west, one.south, one.east, one.north)
        if None in edges and any(edge is not None for edge in edges):
            what = _("The piece inside the country has no four edges.")
            reader.say(
                row, what, _("Fill in west, south, east and north, or leave all four empty.")
            )
        for grid in one.grids:
            if not grid.isdecimal():
                what = _("'{grid}' in the column 'grids' is not an EPSG code.").format(grid=grid)
                reader.say(row, what, _("Write digits, with ; between several."))
    reader.must_have("countries.csv", (ELSEWHERE,), "country")
    return found


def country_at(
    countries: Mapping[str, Country],
    *,
    said: str = "",
    grid: int | None = None,
    place: tuple[float, float] | None = None,
) -> Country:
    """Return the country of a place: as said, by its national grid, or by where it lies.

    The boxes lie wholly inside their countries: near a border the country must be said.

    Parameters
    ----------
    countries
        By key.
    said
        Two letters, as ``addr:country`` has them; wins.
    grid
        EPSG code of the coordinate system that the data came in.
    place
        Longitude and latitude, degrees.
    """
    if said.strip().casefold() in countries:
        return countries[said.strip().casefold()]
    for one in countries.values():
        if grid is not None and str(grid) in one.grids:
            return one
    if place is not None:
        x, y = place
        for one in countries.values():
            if one.box and one.box[0] <= x <= one.box[2] and one.box[1] <= y <= one.box[3]:
                return one
    return countries[ELSEWHERE]


def money(pounds: float, country: Country) -> str:
    """Return an amount of British pounds as it is said in a country: whole, small ones not.

    Parameters
    ----------
    pounds
        Amount in pounds sterling.
    country
        Where it is read.
    """
    amount = pounds * country.per_pound.value
    sign = country.sign or f"{country.currency} "
    whole = amount >= _SMALL or amount == 0
    return f"{sign}{amount:,.0f}" if whole else f"{sign}{amount:.2f}"


def exact_money(pounds: float, country: Country) -> str:
    """Return an amount as it stands in a bill, to the hundredth, so that it can be added up.

    Parameters
    ----------
    pounds
        Amount in pounds sterling.
    country
        Where it is read.
    """
    sign = country.sign or f"{country.currency} "
    return f"{sign}{pounds * country.per_pound.value:,.2f}"


def speed_words(mph: float, country: Country) -> str:
    """Return a speed in the unit of a country: ``20 mph``, ``32 km/h``.

    Parameters
    ----------
    mph
        Miles an hour.
    country
        For its unit of speed.
    """
    if country.speed_unit == "mph":
        return _("{mph:g} mph").format(mph=mph)
    from scipy import constants  # slow to import, and rarely needed

    return f"{mph * constants.mph / constants.kmh:.0f} km/h"
