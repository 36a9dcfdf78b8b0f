"""The front of the report and its summary on one page."""

from collections import Counter

from patchnet.assess.comparison import GroupChange
from patchnet.core.language_forms import capital_first, in_sentence, listed, number
from patchnet.core.texts import N_, Words, _, counted, ngettext
from patchnet.knowledge.countries import speed_words
from patchnet.pages.kit.table import blank, table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    over_draws_words,
)
from patchnet.pages.scheme.choice_words import case_limit_words, choice_rows
from patchnet.pages.scheme.front_figures import figures_of, front_drawing, hardly_moves
from patchnet.pages.scheme.pack import SchemePack, centimetres, width_words
from patchnet.pages.scheme.tape_sheet import TAPE_FILES
from patchnet.pages.scheme.unknown import unknown_words
from patchnet.pages.terminal.compare_text import change_words
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.loads import rotas_of
from patchnet.scheme.planter_scheme import Scheme
from patchnet.scheme.who_gains import people_beside
from patchnet.street.site import Verdict

__all__ = ["NOT_A_PERMISSION", "about_html", "front_html", "summary_html"]

NOT_A_PERMISSION = N_("Not a permission; follow your authority's code and its licensing.")
_VERDICTS: Words[Verdict, str] = Words(
    {
        "fits": N_("meeting every rule that was tested"),
        "ask": N_("to be asked about"),
        "measure": N_("to be measured first"),
    }
)


_HOLDS = 0.9  # share of the draws that a headline holds in
_NAMED = 3
_LISTED = 6  # animals whose change is told at a glance, those that gain most first
_SHORT = Words({"fits": N_("met"), "ask": N_("ask"), "measure": N_("measure"), "no": N_("refused")})


def front_html(pack: SchemePack) -> Markup:
    """The front page: what it is, what is won, what is asked, and what nobody knows yet."""
    told, scheme = pack.told, pack.scheme
    count = len(scheme.planters)
    return render(
        "scheme/front.html",
        kind=_("Proposal to {authority}").format(authority=pack.country.authority),
        status=_(told.status),
        title=_("{count} for {street}").format(
            count=counted(count, "planter"), street=scheme.street.name
        ),
        in_short=_in_short(scheme),
        drawing=front_drawing(pack),
        figures=figures_of(pack),
        asks=_asks(scheme),
        unknown=unknown_words(pack),
        tape=TAPE_FILES[0] if pack.to_measure else "",
        not_a_permission=_(NOT_A_PERMISSION),
        by=told.by or blank(_("who proposes it")),
        contact=told.contact or blank(_("name and number")),
        date=told.date or blank(_("date")),
    )


def about_html(pack: SchemePack) -> Markup:
    """What the report is made from and for whom, with what had to be assumed."""
    told, scheme = pack.told, pack.scheme
    rows = (
        (_("Revision"), blank(_("revision"))),
        (_("Status"), _(told.status)),
        (_("Made for"), _made_for(scheme.neighbourhood)),
        (_("Map used"), scheme.neighbourhood.name),
    )
    notes = list(dict.fromkeys([*scheme.notes, *scheme.street.notes]))
    return render("scheme/about.html", facts=rows, notes=notes)


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
        "out from single gardens. A report for everybody can be made apart."
    )


def summary_html(pack: SchemePack) -> Markup:
    """The planters at a glance, the schemes side by side, and how good the choice is."""
    scheme, know = pack.scheme, pack.knowledge
    certificate = certificate_words(
        chosen_step(scheme),
        exact=scheme.exact,
        wide=know.scheme_figure("wide_margin"),
        blind=know.scheme_figure("blind_margin"),
    )
    items = (
        (_("Aim"), _aim(scheme)),
        (_("Street"), _street(pack)),
        (_("Planters"), _planters(scheme)),
        (_("How many are enough"), enough_words(scheme) or _("Only this number was looked at.")),
        (
            _("How good the choice is"),
            " ".join(
                filter(None, (certificate, over_draws_words(scheme), case_limit_words(scheme)))
            ),
        ),
        (_("Who looks after them"), _keepers(pack)),
    )
    return render(
        "scheme/summary.html",
        facts=items,
        glance=_glance(pack),
        choices=_choices(scheme),
        total=pack.money(pack.total),
    )


def _choices(scheme: Scheme) -> Markup:
    """The schemes side by side, where more than one was looked at."""
    if len(scheme.choices) < 2:
        return Markup()
    public = scheme.neighbourhood.audience == "public"
    heads, *rows = choice_rows(scheme, people=() if public else people_beside(scheme))
    return table(_("Schemes side by side"), heads, rows, css="alternatives")


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
            change
            for change in scheme.comparison.groups
            if change.linked_after > change.linked_before
            and change.sure is not False
            and not hardly_moves(change)
        ),
        key=lambda change: change.linked_before - change.linked_after,
    )
    named = []
    for change in risen[:_NAMED]:
        before, after, _won = change_words(change.linked_before, change.linked_after)
        name = in_sentence(knowledge.groups[change.group].name)
        named.append(
            _("{name} from {before} to {after}").format(name=name, before=before, after=after)
        )
    closed = sum(map(_closes, scheme.comparison.groups))
    if named:
        does = _("raise the homes that animals can reach: {named}").format(named=listed(named))
        rest = len(risen) - len(named)
        does += _(", and {rest} by less").format(rest=counted(rest, "other animal")) if rest else ""
    elif any(
        change.sure is False and not hardly_moves(change) for change in scheme.comparison.groups
    ):
        does = _("bring flowers to the street, with no gain in homes that is sure")
    else:
        does = _("bring flowers to the street, with hardly any gain in homes")
    if closed:
        does += _(", and close {closed} in the network").format(closed=counted(closed, "break"))
    return _("{count} in {street_name} would {does}.").format(
        count=counted(len(scheme.planters), "planter"), street_name=scheme.street.name, does=does
    )


def _closes(change: GroupChange) -> int:
    """How many breaks are closed, in nearly all draws where there are any."""
    if change.won is None:
        return len(change.breaks_closed)
    return sum(share >= _HOLDS for share in change.closed_in)


def _asks(scheme: Scheme) -> list[str]:
    """What is asked of the council, a sentence each."""
    counts = Counter(one.site.verdict for one in scheme.planters)
    count = len(scheme.planters)
    licence = ngettext("A licence for this place", "A licence for these {count} places", count)
    asked = [
        _("{licence}: {fits} of {count} meet every rule that was tested.").format(
            licence=licence.format(count=count), fits=counts["fits"], count=count
        )
    ]
    if counts["ask"]:
        asked.append(
            _("Your word on {ask} of them, where the rules leave it to you.").format(
                ask=counts["ask"]
            )
        )
    if counts["measure"]:
        asked.append(
            _(
                "A visit with the group to {measure} of them, where something is to be measured."
            ).format(measure=counts["measure"])
        )
    asked.append(_("The names of those to be consulted, and the speed that drivers keep to."))
    return asked


def _aim(scheme: Scheme) -> str:
    knowledge = scheme.after.knowledge
    changes = scheme.comparison.groups
    little = sum(map(hardly_moves, changes))
    won = []
    for change in sorted(changes, key=lambda one: one.linked_before - one.linked_after):
        name = in_sentence(knowledge.groups[change.group].name)
        before, after, gain = change_words(change.linked_before, change.linked_after)
        if not hardly_moves(change):
            unsure = _(" (not sure)") if change.sure is False else ""
            won.append(f"{name} {before} to {after} ({gain}){unsure}")
    words = _("Flowers and stepping stones for wildlife that flies. ")
    if scheme.ask.goal == "cover":
        words += _(
            "Chosen so that {curve:.0%} of what homes lack within reach of the road gets "
            "something towards it. "
        ).format(curve=scheme.curve[-1].value)
    words += (
        _("Homes that they can reach: {won}. ").format(won="; ".join(won[:_LISTED]))
        if won
        else _("By the measure used little is won. ")
    )
    if little:
        words += ngettext(
            "Hardly any change for {n} animal. ", "Hardly any change for {n} animals. ", little
        ).format(n=little)
    return words + _("Homes are an index of room for wildlife, not a forecast of animals.")


def _street(pack: SchemePack) -> str:
    scheme, street = pack.scheme, pack.scheme.street
    looked = Counter(site.verdict for site in scheme.sites)
    return _(
        "{street_name}, {length_m:.0f} m, {speed_words} ({speed_basis}). {n_sites} looked at: "
        "{fits} meet every rule tested, {ask} to be asked about, {measure} to be measured first, "
        "{no} refused."
    ).format(
        street_name=capital_first(street.name),
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
