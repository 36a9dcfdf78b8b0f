"""The front of the report and its summary on one page."""

from collections import Counter

from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.countries import speed_words
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.table import blank, table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.certificate import certificate_words, chosen_step, enough_words
from patchnet.pages.scheme.pack import SchemePack, centimetres, many, width_words
from patchnet.pages.scheme.quantities import litres_a_visit, rotas_of
from patchnet.pages.terminal.compare_text import hardly, signed
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.planter_scheme import Scheme
from patchnet.street.site import Verdict

__all__ = ["NOT_A_PERMISSION", "front_html", "summary_html"]

NOT_A_PERMISSION = "Not a permission; follow your authority's code and its licensing."
_VERDICTS: dict[Verdict, str] = {
    "fits": "meeting every rule that was tested",
    "ask": "to be asked about",
    "measure": "to be measured first",
}


_CLEAR = 0.01  # a share of linked homes: less is not named by itself
_NAMED = 3
_SHORT = Words({"fits": N_("met"), "ask": N_("ask"), "measure": N_("measure"), "no": N_("refused")})


def front_html(pack: SchemePack) -> Markup:
    """The front page: what it is, of whom, and what it is not."""
    told, street = pack.told, pack.scheme.street
    rows = (
        ("Street", street.name),
        ("Planters", str(len(pack.scheme.planters))),
        ("Proposed by", told.by or blank("who proposes it")),
        ("Answers day and night", told.contact or blank("name and number")),
        ("Date", told.date or blank(_("date"))),
        ("Revision", blank(_("revision"))),
        ("Status", _(told.status)),
        ("Made for", _made_for(pack.scheme.neighbourhood)),
        ("Map used", pack.scheme.neighbourhood.name),
    )
    return render(
        "scheme/front.html",
        title=pack.title,
        not_a_permission=NOT_A_PERMISSION,
        facts=rows,
        notes=list(dict.fromkeys([*pack.scheme.notes, *street.notes])),
    )


def _made_for(hood: Neighbourhood) -> str:
    """Whom the report may be handed to, by what it was worked out from."""
    if hood.audience == "public":
        return f"Everybody. {hood.generalised}"
    if hood.audience == "group":
        return f"The group and the authority, not for publishing. Left out: {hood.withheld}"
    return (
        "The group that keeps the survey, and the authority in confidence: what is won was worked "
        "out from single gardens. For everybody, make it with --for public."
    )


def summary_html(pack: SchemePack) -> Markup:
    """Aim, street, planters, cost, who maintains, and what is asked of the council."""
    scheme, know = pack.scheme, pack.knowledge
    litres = sum(litres_a_visit(one.site.size, know) for one in scheme.planters)
    cost = (
        f"About {pack.money(pack.total)} with contingency: box prices and rates are assumed until "
        "offers are in (bill of quantities)."
    )
    water = f"{figure(litres)} litres each visit in summer for all planters together (upkeep)."
    asked = _asked(scheme)
    certificate = certificate_words(
        chosen_step(scheme), exact=scheme.exact, wide=know.scheme_figure("wide_margin")
    )
    items = (
        ("Aim", _aim(scheme)),
        ("Street", _street(pack)),
        ("Planters", _planters(scheme)),
        ("How many are enough", enough_words(scheme) or "Only this number was looked at."),
        ("How good the choice is", certificate),
        ("Cost", cost),
        ("Who looks after them", _keepers(pack)),
        ("Water", water),
        ("What is asked of the council", asked),
    )
    return render(
        "scheme/summary.html", in_short=_in_short(scheme), facts=items, glance=_glance(pack)
    )


def _glance(pack: SchemePack) -> Markup:
    rows = [
        (
            one.plot,
            f"{_(one.site.side)}, {one.site.chainage_m:.1f} m",
            _(one.site.size.name),
            width_words(one.site.clear_m, one.site.clear_basis),
            _SHORT[one.site.verdict],
            one.recipe.name,
            one.keeper or "nobody yet",
        )
        for one in pack.scheme.planters
    ]
    heads = (
        "Planter",
        "Side, chainage",
        "Box",
        "Walking width left",
        "Rules",
        "Planting",
        "Keeper",
    )
    return table("The planters at a glance", heads, rows, css="glance")


def _in_short(scheme: Scheme) -> str:
    """What the scheme does for wildlife and what is asked of the council, in one sentence."""
    knowledge = scheme.after.knowledge
    risen = sorted(
        (
            (change.linked_after - change.linked_before) / change.linked_before,
            knowledge.groups[change.group].name.lower(),
        )
        for change in scheme.comparison.groups
        if change.linked_after > change.linked_before > 0 and change.sure
    )[::-1]
    clear = [f"{name} by {figure(100 * share)} %" for share, name in risen if share >= _CLEAR]
    closed = sum(len(change.breaks_closed) for change in scheme.comparison.groups)
    if clear:
        does = f"raise the linked homes of {_listed(clear[:_NAMED])}"
        rest = len(risen) - min(len(clear), _NAMED)
        does += f" and those of {many(rest, 'other group')} by less" if rest else ""
    elif risen:
        does = (
            f"add a little: {risen[0][1]} gain most, {figure(100 * risen[0][0])} % more linked "
            "homes"
        )
    else:
        does = "bring flowers to the street, with no gain in linked homes that is sure"
    if closed:
        does += f", and close {many(closed, 'break')} in the network"
    count = len(scheme.planters)
    return (
        f"{many(count, 'planter')} in {scheme.street.name} would {does}; the council is asked "
        f"for {_asked_short(scheme)}."
    )


def _listed(names: list[str]) -> str:
    """Names with commas and an 'and'."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _asked_short(scheme: Scheme) -> str:
    counts = Counter(one.site.verdict for one in scheme.planters)
    count = len(scheme.planters)
    wanted = [f"a licence for {'this place' if count == 1 else f'these {count} places'}"]
    if counts["ask"]:
        wanted.append(f"its word on {counts['ask']} of them")
    if counts["measure"]:
        wanted.append(
            f"a visit with the group to {counts['measure']} where something is still unknown"
        )
    return _listed(wanted)


def _asked(scheme: Scheme) -> str:
    wanted = _asked_short(scheme)
    return (
        f"{wanted[0].upper()}{wanted[1:]}. Also the names of those to be consulted (permissions) "
        "and the speed that drivers keep to, if it has been measured."
    )


def _aim(scheme: Scheme) -> str:
    knowledge = scheme.after.knowledge
    won, little = [], []
    for change in scheme.comparison.groups:
        name = knowledge.groups[change.group].name.lower()
        gain = change.linked_after - change.linked_before
        if hardly(change.linked_before, change.linked_after):
            little.append(name)
        elif gain:
            won.append(f"{name} {signed(gain)}" + ("" if change.sure else " (not sure)"))
    words = "Flowers and stepping stones for wildlife that flies. "
    if scheme.ask.goal == "cover":
        words += (
            f"Chosen so that {scheme.curve[-1].value:.0%} of what homes lack within reach of the "
            "road gets something towards it. "
        )
    words += f"Linked homes: {'; '.join(won)}. " if won else "By the measure used little is won. "
    if little:
        words += f"Hardly any change: {', '.join(little)}. "
    return words + "Homes are an index of room for wildlife, not a forecast of animals."


def _street(pack: SchemePack) -> str:
    scheme, street = pack.scheme, pack.scheme.street
    looked = Counter(site.verdict for site in scheme.sites)
    return (
        f"{street.name}, {street.length_m:.0f} m, {speed_words(street.speed_mph, pack.country)} "
        f"({street.speed_basis}). {many(len(scheme.sites), 'place')} looked at: {looked['fits']} "
        f"meet every rule tested, {looked['ask']} to be asked about, {looked['measure']} to be "
        f"measured first, {looked['no']} refused."
    )


def _planters(scheme: Scheme) -> str:
    rule = scheme.after.knowledge.street_rule
    counts = Counter(one.site.verdict for one in scheme.planters)
    split = ", ".join(
        f"{counts[verdict]} {words}" for verdict, words in _VERDICTS.items() if counts[verdict]
    )
    widths = [one.site.clear_m for one in scheme.planters if one.site.clear_m is not None]
    least = (
        f" The least walking width left beside one is {centimetres(min(widths))} m."
        if len(widths) == len(scheme.planters) and widths
        else " Not every walking width is known."
    )
    return (
        f"{many(len(scheme.planters), 'planter')}: {split}.{least} The rule used: "
        f"{rule('clear_width_fits_m'):g} m; the authority is asked about less, down to "
        f"{rule('clear_width_ask_m'):g} m."
    )


def _keepers(pack: SchemePack) -> str:
    rotas = rotas_of(pack.scheme)
    named = [
        f"{rota.name} ({many(len(rota.planters), 'planter')})"
        for rota in rotas
        if rota.name is not None and rota.planters
    ]
    nobody = sum(len(rota.planters) for rota in rotas if rota.name is None)
    words = f"Watered by {', '.join(named)}." if named else "Nobody is named yet."
    if named and nobody:
        words += f" {many(nobody, 'planter')} without a keeper."
    return words
