"""How a planting is got and what to know of it, in sentences shared by card and terminal."""

from collections.abc import Iterable

from patchnet.core.language_forms import capital_first, listed
from patchnet.core.texts import N_, Words, _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import currency, figure, month_spans
from patchnet.plan.plot_plan import Planting, PlantingLine

__all__ = [
    "beds_words",
    "harm_words",
    "hazard_words",
    "how_to_get",
    "planting_notes",
]

_FREE: Words[str, str] = Words(
    {
        "sow": N_("sow {names}"),
        "divide": N_("ask neighbours for a piece of {names}"),
        "cuttings": N_("grow {names} from cuttings"),
    }
)
_STRENGTHS: Words[str, str] = Words(
    {
        "low": N_("hardly ever harmful"),
        "mild": N_("mild harm"),
        "serious": N_("serious harm"),
        "grave": N_("grave harm"),
    }
)
_WHOM: Words[str, str] = Words(
    {
        "children": N_("children"),
        "cat": N_("cats"),
        "dog": N_("dogs"),
        "livestock": N_("livestock"),
    }
)
_EDIBLE = N_(
    "Nothing here is food unless it says so; where no hazard is told, none was found, which is "
    "not a proof."
)

_GAPS = N_("For gaps between what grows there, {percent} in 100 of each bed.")


def beds_words(planting: Planting, knowledge: Knowledge) -> str:
    """Which plants go where, in a sentence for each bed, pot or box; the largest has the rest.

    Parameters
    ----------
    planting
        The plants.
    knowledge
        For names.
    """
    beds: dict[str, list[str]] = {}
    for line in planting.lines:
        beds.setdefault(line.place, []).append(knowledge.plants[line.plant].name)
    order = sorted(beds, key=lambda key: len(beds[key]))
    said = []
    for at, key in enumerate(order, 1):
        plants = _("all else") if at == len(order) > 1 else listed(beds[key])
        plants = _("all of these") if len(order) == 1 else plants
        name = capital_first(knowledge.features[key].name.split(" (")[0])
        said.append(_("{bed}: {plants}.").format(bed=name, plants=plants))
    return " ".join(said)


def how_to_get(planting: Planting, knowledge: Knowledge) -> list[str]:
    """How to come by the plants, what is free first, then the money and when to plant.

    Parameters
    ----------
    planting
        The plants.
    knowledge
        For names, forms and money.
    """
    if not planting.lines:
        return []
    share = figure(100 * planting.gap_share)
    said = [_(_GAPS).format(percent=share)] if planting.gap_share else []
    ways = [
        _FREE[way].format(names=_named(lines, knowledge))
        for way in ("sow", "divide", "cuttings")
        if (lines := [one for one in planting.lines if one.free[:1] == (way,)])
    ]
    if ways:
        said.append(_("Free first: {ways}.").format(ways="; ".join(ways)))
    least, __, most = planting.cost
    if most > 0:
        said.append(
            _("All of it bought: about {least} to {most} {unit}.").format(
                least=figure(least), most=figure(most), unit=currency(knowledge)
            )
        )
    if planting.planted_share < 1:
        said.append(
            _(
                "The money is enough for {percent} in 100 of the ground this year: plant that part "
                "closely and the rest next year, from seed and pieces of these."
            ).format(percent=figure(100 * planting.planted_share))
        )
    whens: dict[str, list[str]] = {}
    for form in dict.fromkeys(one.form for one in planting.lines if one.form):
        record = knowledge.plant_forms[form]
        whens.setdefault(month_spans(record.months), []).append(record.name)
    if whens:
        parts = [
            _("{names} in {months}").format(names=", ".join(names), months=months)
            for months, names in whens.items()
        ]
        said.append(_("Plant {parts}.").format(parts="; ".join(parts)))
    return said


def planting_notes(planting: Planting, knowledge: Knowledge, *, short: bool = False) -> list[str]:
    """Where the planting comes from, what neighbours have, and that nothing of it is food.

    Parameters
    ----------
    planting
        The plants.
    knowledge
        For names.
    short
        Whether only what must be known is told.
    """
    if not planting.lines:
        return []
    said: list[str] = []
    if short:
        return [_(_EDIBLE)]
    for key in dict.fromkeys(mix for __, mix in planting.mixes):
        mix = knowledge.mixes[key]
        words = _("From the mix '{name}': {why}.").format(name=mix.name, why=mix.why)
        said.append(f"{words} {mix.note}." if mix.note else words)
    if planting.thread:
        names = ", ".join(knowledge.plants[key].name for key in planting.thread)
        said.append(
            ngettext(
                "{names} is meant to be in many plots, so that bees find it all along the street.",
                "{names} are meant to be in many plots, so that bees find them all along the "
                "street.",
                len(planting.thread),
            ).format(names=names)
        )
    said.append(_(_EDIBLE))
    return said


def hazard_words(line: PlantingLine) -> str:
    """A plant's hazard with how bad it is; empty where none is known."""
    if not line.hazard or line.strength not in _STRENGTHS:
        return line.hazard
    return _("{hazard} ({strength})").format(hazard=line.hazard, strength=_STRENGTHS[line.strength])


def harm_words(line: PlantingLine, knowledge: Knowledge) -> str:
    """How bad the harm of a plant is and to whom, in few words; else its hazard as it stands.

    Parameters
    ----------
    line
        The plant.
    knowledge
        For the lists of poisonous and of thorny plants.
    """
    whom: dict[str, None] = {}
    for name in ("toxic", "sharp"):
        listed = knowledge.plant_lists.get(name, {}).get(line.plant)
        whom |= dict.fromkeys(() if listed is None else listed.what)
    if not whom or line.strength not in _STRENGTHS:
        return line.hazard
    return _("{strength}: {whom}").format(
        strength=_STRENGTHS[line.strength],
        whom=", ".join(_WHOM[one] for one in whom if one in _WHOM),
    )


def _named(lines: Iterable[PlantingLine], knowledge: Knowledge) -> str:
    return ", ".join(dict.fromkeys(knowledge.plants[one.plant].name for one in lines))
