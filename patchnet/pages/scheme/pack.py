"""What the pages of a scheme are made from, worked out once."""

from dataclasses import dataclass
from functools import cached_property

import pyproj

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, WordList, Words, _
from patchnet.knowledge.countries import Country, money
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.to_scale import A4, SheetSize
from patchnet.pages.scheme.plants import PlantGroup, plant_groups
from patchnet.scheme.bill import Quantity, bill_of, total_of
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme
from patchnet.scheme.who_gains import Gains, who_gains
from patchnet.scheme.years import Years, years_of
from patchnet.street.findings import whole_centimetres
from patchnet.street.site import Basis
from patchnet.street.to_measure import ToMeasure, places_to_measure

__all__ = ["BASIS_MARKS", "SchemePack", "Told", "centimetres", "rule_words", "width_words"]

BASIS_MARKS: Words[Basis, str] = Words(
    {"measured": N_("meas."), "from the map": N_("map"), "assumed": N_("ass.")}
)
"""How a figure on a drawing says where it comes from."""

# Words of the street's records and of its rules that are stored in English and said translated.
_SAID: WordList[str] = WordList((
    N_("left"), N_("right"), N_("both"), N_("measured"), N_("from the map"), N_("assumed"),
    N_("sun"), N_("part"), N_("shade"), N_("clear width"), N_("on footway"), N_("kerb offset"),
    N_("fire route"), N_("corner"), N_("height"), N_("mapped"), N_("sight junction"),
    N_("sight crossing"), N_("sight driveway"), N_("cover"), N_("hydrant"), N_("furniture"),
    N_("parking"), N_("no."), N_("unlikely"), N_("possible"), N_("likely"),
    N_("slight"), N_("serious"), N_("grave"), N_("slim box"), N_("box"), N_("trough"),
    N_("long box"), N_("roots"), N_("overturning"), N_("fast road"), N_("street objects"),
    N_("sight forward"), N_("gully"), N_("cellar"), N_("tactile"), N_("guidance strip"),
    N_("cycle track"), N_("window"), N_("alley"), N_("bin place"), N_("loading bay"),
    N_("disabled bay"), N_("narrowing length"), N_("narrowing share"), N_("share"),
))  # fmt: skip


def rule_words(rule: str) -> str:
    """What a rule of the street is called."""
    return _(rule.replace("_", " "))


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the people of the scheme say of it; whatever is empty becomes a line to fill in.

    Attributes
    ----------
    by
        Who proposes it.
    contact
        Name and number that answers day and night.
    date
        Date on the drawings, as it is to be printed.
    status
        Draft, for consultation, for approval.
    """

    by: str = ""
    contact: str = ""
    date: str = ""
    status: str = N_("Draft for consultation")


@dataclass(frozen=True, eq=False)
class SchemePack:
    """A scheme with its planting and its bill.

    Attributes
    ----------
    scheme, told
        The scheme, and what its people say of it.
    paper
        What its plans are drawn on.
    """

    scheme: Scheme
    told: Told
    paper: SheetSize = A4

    @property
    def knowledge(self) -> Knowledge:
        """The tables it was made with."""
        return self.scheme.after.knowledge

    @cached_property
    def groups(self) -> tuple[PlantGroup, ...]:
        """Planters that are planted alike, and with what."""
        return plant_groups(self.scheme)

    @cached_property
    def bill(self) -> tuple[Quantity, ...]:
        """The bill of quantities."""
        return bill_of(self.scheme)

    @property
    def total(self) -> float:
        """Sum of the bill."""
        return total_of(self.bill)

    @cached_property
    def years(self) -> Years:
        """Money and hours of the years after building."""
        return years_of(self.scheme, self.total)

    @cached_property
    def gains(self) -> Gains | None:
        """Who lives beside it; None for the public, whose map has no single homes."""
        public = self.scheme.neighbourhood.audience == "public"
        return None if public else who_gains(self.scheme)

    @property
    def to_measure(self) -> tuple[ToMeasure, ...]:
        """Places whose measure would change the choice: they stand on the tape-measure sheet."""
        chosen = {one.site.key for one in self.scheme.planters}
        return places_to_measure(self.scheme.sites, chosen, knowledge=self.knowledge)

    @property
    def country(self) -> Country:
        """The country that the street lies in."""
        return self.knowledge.countries[self.scheme.neighbourhood.country]

    def money(self, pounds: float) -> str:
        """An amount of pounds in the money of the country."""
        return money(pounds, self.country)

    @property
    def credits(self) -> tuple[str, ...]:
        """Source and licence lines."""
        return self.scheme.neighbourhood.credits

    @property
    def title(self) -> str:
        """What it is called."""
        return _("Street planters in {street_name}").format(street_name=self.scheme.street.name)

    @cached_property
    def crs_name(self) -> str:
        """The coordinate system by name and code."""
        crs = pyproj.CRS(self.scheme.neighbourhood.plots.crs)
        code = crs.to_authority()
        return crs.name + (f" ({code[0]}:{code[1]})" if code else "")

    def group_of(self, planter: PlacedPlanter) -> PlantGroup:
        """The planting that a planter belongs to."""
        return next(group for group in self.groups if planter in group.planters)


def centimetres(metres: float) -> str:
    """A width that people rely on, in metres: whole centimetres, never rounded up.

    A millimetre is forgiven, as no drawing is truer.

    Parameters
    ----------
    metres
        Metres.

    Examples
    --------
    >>> centimetres(1.996), centimetres(2.0), centimetres(1.5995)
    ('1.99', '2.00', '1.60')
    """
    return number(whole_centimetres(metres), ".2f")


def width_words(metres: float | None, basis: Basis) -> str:
    """A width with where it comes from, or that it is to be measured.

    Parameters
    ----------
    metres
        Metres; None: not known.
    basis
        Where it comes from.

    Examples
    --------
    >>> width_words(2.1, "measured"), width_words(None, "assumed")
    ('2.10 m (measured)', 'not known: measure this')
    """
    if metres is None:
        return _("not known: measure this")
    return _("{width} m ({basis})").format(width=centimetres(metres), basis=_(basis))
