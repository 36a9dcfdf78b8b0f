"""The front of the report and its summary on one page."""

from collections import Counter

from patchnet.assess.compare import GroupChange
from patchnet.core.language_forms import in_sentence, listed, number
from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.countries import speed_words
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.table import blank, table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    over_draws_words,
)
from patchnet.pages.scheme.front_figures import figures_of, front_drawing
from patchnet.pages.scheme.pack import SchemePack, centimetres, width_words
from patchnet.pages.scheme.quantities import litres_a_visit, rotas_of
from patchnet.pages.terminal.compare_text import hardly, signed
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.planter_scheme import Scheme
from patchnet.street.site import Verdict

__all__ = ["NOT_A_PERMISSION", "front_html", "summary_html"]

NOT_A_PERMISSION = N_("Not a permission; follow your authority's code and its licensing.")
_VERDICTS: Words[Verdict, str] = Words(
    {
        "fits": N_("meeting every rule that was tested"),
        "ask": N_("to be asked about"),
        "measure": N_("to be measured first"),
    }
)


_CLEAR = 0.01  # a share of linked homes: less is not named by itself
_HOLDS = 0.9  # share of the draws that a headline holds in
_NAMED = 3
_SHORT = Words({"fits": N_("met"), "ask": N_("ask"), "measure": N_("measure"), "no": N_("refused")})


def front_html(pack: SchemePack) -> Markup:
    """The front page: what it is, of whom, and what it is not."""
    told, street = pack.told, pack.scheme.street
    rows = (
        (_("Street"), street.name),
        (_("Planters"), str(len(pack.scheme.planters))),
        (_("Proposed by"), told.by or blank(_("who proposes it"))),
        (_("Answers day and night"), told.contact or blank(_("name and number"))),
        (_("Date"), told.date or blank(_("date"))),
        (_("Revision"), blank(_("revision"))),
        (_("Status"), _(told.status)),
        (_("Made for"), _made_for(pack.scheme.neighbourhood)),
        (_("Map used"), pack.scheme.neighbourhood.name),
    )
    return render(
        "scheme/front.html",
        title=pack.title,
        in_short=_in_short(pack.scheme),
        drawing=front_drawing(pack),
        figures=figures_of(pack),
        asks=_asks(pack.scheme),
        not_a_permission=_(NOT_A_PERMISSION),
        facts=rows,
        notes=list(dict.fromkeys([*pack.scheme.notes, *street.notes])),
    )


def _made_for(hood: Neighbourhood) -> str:
    """Whom the report may be handed to, by what it was worked out from."""
    if hood.audience == "public":
        return _("Everybody. {generalised}").format(generalised=hood.generalised)
    if hood.audience == "group":
        return _("The group and the authority, not for publishing. Left out: {withheld}").format(
            withheld=hood.withheld
        )
    return _(
        "The group that keeps the survey, and the authority in confidence: what is won was worked "
        "out from single gardens. For everybody, make it with --for public."
    )


def summary_html(pack: SchemePack) -> Markup:
    """Aim, street, planters, cost, who maintains, and what is asked of the council."""
    scheme, know = pack.scheme, pack.knowledge
    litres = sum(litres_a_visit(one.site.size, know) for one in scheme.planters)
    cost = _(
        "About {money} with contingency: box prices and rates are assumed until offers are in "
        "(bill of quantities)."
    ).format(money=pack.money(pack.total))
    water = _("{litres} litres each visit in summer for all planters together (upkeep).").format(
        litres=figure(litres)
    )
    asked = _asked(scheme)
    certificate = certificate_words(
        chosen_step(scheme), exact=scheme.exact, wide=know.scheme_figure("wide_margin")
    )
    items = (
        (_("Aim"), _aim(scheme)),
        (_("Street"), _street(pack)),
        (_("Planters"), _planters(scheme)),
        (_("How many are enough"), enough_words(scheme) or _("Only this number was looked at.")),
        (
            _("How good the choice is"),
            " ".join(filter(None, (certificate, over_draws_words(scheme)))),
        ),
        (_("Cost"), cost),
        (_("Who looks after them"), _keepers(pack)),
        (_("Water"), water),
        (_("What is asked of the council"), asked),
    )
    return render(
        "scheme/summary.html", in_short=_in_short(scheme), facts=items, glance=_glance(pack)
    )


def _glance(pack: SchemePack) -> Markup:
    rows = [
        (
            one.plot,
            f"{_(one.site.side)}, {number(one.site.chainage_m, '.1f')} m",
            _(one.site.size.name),
            width_words(one.site.clear_m, one.site.clear_basis),
            _SHORT[one.site.verdict],
            one.recipe.name,
            one.keeper or _("nobody yet"),
        )
        for one in pack.scheme.planters
    ]
    heads = (
        _("Planter"),
        _("Side, chainage"),
        _("Box"),
        _("Walking width left"),
        _("Rules"),
        _("Planting"),
        _("Keeper"),
    )
    return table(_("The planters at a glance"), heads, rows, css="glance")


def _in_short(scheme: Scheme) -> str:
    """What the scheme does for wildlife and what is asked of the council, in one sentence."""
    knowledge = scheme.after.knowledge
    risen = sorted(
        (
            (change.linked_after - change.linked_before) / change.linked_before,
            in_sentence(knowledge.groups[change.group].name),
        )
        for change in scheme.comparison.groups
        if change.linked_after > change.linked_before > 0 and change.sure is not False
    )[::-1]
    clear = [
        _("{name} by {share} %").format(name=name, share=figure(100 * share))
        for share, name in risen
        if share >= _CLEAR
    ]
    closed = sum(map(_closes, scheme.comparison.groups))
    if clear:
        does = _("raise the linked homes of {clear}").format(clear=listed(clear[:_NAMED]))
        rest = len(risen) - min(len(clear), _NAMED)
        does += (
            _(" and those of {rest} by less").format(rest=counted(rest, "other group"))
            if rest
            else ""
        )
    elif risen:
        does = _("add a little: {risen} gain most, {risen_2} % more linked homes").format(
            risen=risen[0][1], risen_2=figure(100 * risen[0][0])
        )
    elif any(change.sure is False for change in scheme.comparison.groups):
        does = _("bring flowers to the street, with no gain in linked homes that is sure")
    else:
        does = _("bring flowers to the street, with no gain in linked homes")
    if closed:
        does += _(", and close {closed} in the network").format(closed=counted(closed, "break"))
    count = len(scheme.planters)
    return _(
        "{count} in {street_name} would {does}; the council is asked for {asked_short}."
    ).format(
        count=counted(count, "planter"),
        street_name=scheme.street.name,
        does=does,
        asked_short=_asked_short(scheme),
    )


def _closes(change: GroupChange) -> int:
    """How many breaks are closed, in nearly all draws where there are any."""
    if change.won is None:
        return len(change.breaks_closed)
    return sum(share >= _HOLDS for share in change.closed_in)


def _asked_short(scheme: Scheme) -> str:
    return listed(_wanted(scheme))


def _wanted(scheme: Scheme) -> list[str]:
    counts = Counter(one.site.verdict for one in scheme.planters)
    count = len(scheme.planters)
    wanted = [
        _("a licence for {value}").format(
            value=_("this place") if count == 1 else _("these {count} places").format(count=count)
        )
    ]
    if counts["ask"]:
        wanted.append(_("its word on {ask} of them").format(ask=counts["ask"]))
    if counts["measure"]:
        wanted.append(
            _("a visit with the group to {measure} where something is still unknown").format(
                measure=counts["measure"]
            )
        )
    return wanted


def _asks(scheme: Scheme) -> list[str]:
    """What is asked of the council, a sentence each."""
    wanted = [f"{one[:1].upper()}{one[1:]}." for one in _wanted(scheme)]
    consulted = _("The names of those to be consulted, and the speed that drivers keep to.")
    return [*wanted, consulted]


def _asked(scheme: Scheme) -> str:
    wanted = _asked_short(scheme)
    return _(
        "{wanted}{wanted_2}. Also the names of those to be consulted (permissions) and the speed "
        "that drivers keep to, if it has been measured."
    ).format(wanted=wanted[0].upper(), wanted_2=wanted[1:])


def _aim(scheme: Scheme) -> str:
    knowledge = scheme.after.knowledge
    won, little = [], []
    for change in scheme.comparison.groups:
        name = in_sentence(knowledge.groups[change.group].name)
        gain = change.linked_after - change.linked_before
        if hardly(change.linked_before, change.linked_after):
            little.append(name)
        elif gain:
            won.append(
                f"{name} {signed(gain)}" + (_(" (not sure)") if change.sure is False else "")
            )
    words = _("Flowers and stepping stones for wildlife that flies. ")
    if scheme.ask.goal == "cover":
        words += _(
            "Chosen so that {curve:.0%} of what homes lack within reach of the road gets "
            "something towards it. "
        ).format(curve=scheme.curve[-1].value)
    words += (
        _("Linked homes: {won}. ").format(won="; ".join(won))
        if won
        else _("By the measure used little is won. ")
    )
    if little:
        words += _("Hardly any change: {little}. ").format(little=", ".join(little))
    return words + _("Homes are an index of room for wildlife, not a forecast of animals.")


def _street(pack: SchemePack) -> str:
    scheme, street = pack.scheme, pack.scheme.street
    looked = Counter(site.verdict for site in scheme.sites)
    return _(
        "{street_name}, {length_m:.0f} m, {speed_words} ({speed_basis}). {n_sites} looked at: "
        "{fits} meet every rule tested, {ask} to be asked about, {measure} to be measured first, "
        "{no} refused."
    ).format(
        street_name=street.name,
        length_m=street.length_m,
        speed_words=speed_words(street.speed_mph, pack.country),
        speed_basis=street.speed_basis,
        n_sites=counted(len(scheme.sites), "place"),
        fits=looked["fits"],
        ask=looked["ask"],
        measure=looked["measure"],
        no=looked["no"],
    )


def _planters(scheme: Scheme) -> str:
    rule = scheme.after.knowledge.street_rule
    counts = Counter(one.site.verdict for one in scheme.planters)
    split = ", ".join(
        f"{counts[verdict]} {words}" for verdict, words in _VERDICTS.items() if counts[verdict]
    )
    widths = [one.site.clear_m for one in scheme.planters if one.site.clear_m is not None]
    least = (
        _(" The least walking width left beside one is {widths} m.").format(
            widths=centimetres(min(widths))
        )
        if len(widths) == len(scheme.planters) and widths
        else _(" Not every walking width is known.")
    )
    return _(
        "{n_planters}: {split}.{least} The rule used: {rule:g} m; the authority is asked about "
        "less, down to {rule_2:g} m."
    ).format(
        n_planters=counted(len(scheme.planters), "planter"),
        split=split,
        least=least,
        rule=rule("clear_width_fits_m"),
        rule_2=rule("clear_width_ask_m"),
    )


def _keepers(pack: SchemePack) -> str:
    rotas = rotas_of(pack.scheme)
    named = [
        f"{rota.name} ({counted(len(rota.planters), 'planter')})"
        for rota in rotas
        if rota.name is not None and rota.planters
    ]
    nobody = sum(len(rota.planters) for rota in rotas if rota.name is None)
    words = (
        _("Watered by {named}.").format(named=", ".join(named))
        if named
        else _("Nobody is named yet.")
    )
    if named and nobody:
        words += _(" {nobody} without a keeper.").format(nobody=counted(nobody, "planter"))
    return words
