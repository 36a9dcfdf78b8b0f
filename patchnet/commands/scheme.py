"""patchnet scheme: planters along a road, chosen, with the report a council needs."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Literal

import click

from patchnet.assess.assess import assess
from patchnet.commands.asked import (
    draws_asked,
    note_made,
    progress_bar,
    read_asked,
    released_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    audience_option,
    draws_option,
    group_option,
    input_options,
    overwrite_option,
)
from patchnet.commands.scheme_refused import ensure_somewhere, leave_tape_sheet, point_asked
from patchnet.core.errors import WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.kit.to_scale import PAPERS
from patchnet.pages.privacy import for_audience, plots_for_public, shown_groups
from patchnet.pages.scheme.certificate import (
    certificate_words,
    chosen_step,
    enough_words,
    over_draws_words,
)
from patchnet.pages.scheme.choice_words import case_limit_words, choice_rows, together_words
from patchnet.pages.scheme.files import ensure_scheme_folder, write_report
from patchnet.pages.scheme.pack import centimetres
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.scheme.plan_scheme import plan_scheme
from patchnet.scheme.planter_scheme import Scheme, SchemeAsk
from patchnet.street.boxes import planter_boxes
from patchnet.street.find import find_street
from patchnet.street.keepers import Keeper, keepers_in
from patchnet.street.measured import Measured, measured_in
from patchnet.street.places import planter_sites

__all__ = ["scheme"]


_WITH_PLOTS = N_(
    "map.html, change.html and neighbourhood.gpkg hold what is known of every plot: keep them in "
    "the group, or ask before you hand them on."
)
_KEEP: Words[Audience, str] = Words(
    {
        "own": _WITH_PLOTS,
        "group": _WITH_PLOTS,
        "public": N_("Nothing in it was worked out from a single garden."),
    }
)


@click.command("scheme")
@input_options
@group_option
@overwrite_option
@audience_option
@click.option(
    "--road", default="", metavar="NAME", help="The road, as the map names it; else give --at."
)
@click.option(
    "--at",
    multiple=True,
    metavar="PLOT|X,Y",
    help="Where the road has no name, or several have that name: a plot on the one meant, or a "
    "point by it (can be repeated: the road nearest to all).",
)
@click.option(
    "--called", default="", metavar="TEXT", help="What to call a road that has no name on the map."
)
@click.option(
    "--measured",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="TABLE",
    help="What was measured on the spot: measure.csv or what measure.html saved, filled in (can "
    "be repeated).",
)
@click.option(
    "--planters",
    type=int,
    metavar="K",
    help="At most so many planters; without this and --budget, as many as the tables say.",
)
@click.option("--budget", type=float, metavar="N", help="At most so much money for the whole bill.")
@click.option(
    "--goal",
    type=click.Choice(["links", "cover"]),
    default="links",
    show_default=True,
    help="links: the most homes that animals can reach. cover: bring something that is missing "
    "within reach of as many homes as possible (solved exactly).",
)
@click.option(
    "--side",
    type=click.Choice(["left", "right", "both"]),
    default="both",
    show_default=True,
    help="Left and right when facing up the street, the way its metres are counted.",
)
@click.option(
    "--spacing", type=float, metavar="M", help="Shortest distance between two boxes, edge to edge."
)
@click.option(
    "--size",
    "sizes",
    multiple=True,
    metavar="KEY|LxWxHxD",
    help="Only this box from the tables, or your own: length, width, height and depth of soil in "
    "metres (can be repeated).",
)
@click.option("--box-price", type=float, metavar="N", help="Price of one of your own boxes, empty.")
@click.option(
    "--lock-in", multiple=True, metavar="SITE", help="A place that must be used, such as L012.0."
)
@click.option("--lock-out", multiple=True, metavar="SITE", help="A place that must stay free.")
@click.option("--only-fits", is_flag=True, help="Only places that meet every rule tested.")
@click.option(
    "--recipe",
    "recipes",
    multiple=True,
    metavar="KEY",
    help="Planting that may go in them (can be repeated).",
)
@click.option(
    "--keepers",
    type=click.Path(path_type=Path),
    metavar="TABLE",
    help="Who waters: CSV or xlsx with the columns name, litres (a visit), and plot, or x and y in "
    "the map's metres.",
)
@click.option(
    "--unkept", type=int, metavar="N", help="At most so many planters that nobody waters."
)
@draws_option
@click.option("--by", default="", metavar="TEXT", help="Who proposes it, for the drawings.")
@click.option("--contact", default="", metavar="TEXT", help="24-hour contact: name and number.")
@click.option("--date", default="", metavar="TEXT", help="Date, for the drawings.")
@click.option("--status", default="Draft for consultation", metavar="TEXT", show_default=True)
@click.option(
    "--paper",
    type=click.Choice(list(PAPERS)),
    default="a4",
    show_default=True,
    help="Paper for the plans; the scale stays the same.",
)
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="DIR")
def scheme(
    *,
    asked: Asked,
    groups: tuple[str, ...],
    overwrite: bool,
    audience: Audience,
    road: str,
    at: tuple[str, ...],
    called: str,
    measured: tuple[Path, ...],
    planters: int | None,
    budget: float | None,
    side: Literal["left", "right", "both"],
    spacing: float | None,
    sizes: tuple[str, ...],
    box_price: float | None,
    lock_in: tuple[str, ...],
    lock_out: tuple[str, ...],
    only_fits: bool,
    recipes: tuple[str, ...],
    keepers: Path | None,
    unkept: int | None,
    goal: Literal["links", "cover"],
    draws: AskedDraws,
    by: str,
    contact: str,
    date: str,
    status: str,
    paper: str,
    output: Path,
) -> None:
    """Choose planters along a road and write the report a council needs.

    What is for everybody (--for public) is worked out from the public classes of units, names no
    keeper, and has no map, change or neighbourhood, which tell of single plots.

    DIR gets report.html (prints to A4, its plans to A4 or A3), planters.csv and .geojson,
    planting.csv, bill.csv and years.csv (to be added up again), scheme.gpkg, map.html, change.html
    (before and after), neighbourhood.gpkg (the street with the planters), and measure.html with
    measure.csv: the places where something must be measured that would change the choice, as a
    sheet to print, a form for the phone, and a table. Filled in, it is given back with --measured.
    Where no planter can be chosen, DIR holds this sheet alone if measuring could help, and the
    exit status is 2.
    Street rules, box sizes and rates of another authority: --knowledge DIR.

    \b
    Examples:
      patchnet scheme street.gpkg --road "Alder Row" --planters 6 -o scheme/
      patchnet scheme street.gpkg --road "Alder Row" --budget 2500 --group mason_bee -o scheme/
      patchnet scheme street.gpkg --road "Alder Row" --size box --keepers taps.csv --unkept 1 -o a/
      patchnet scheme street.gpkg --road "Alder Row" --measured measured.csv -o scheme/
      patchnet scheme street.gpkg --at 12 --at 26 --called "Back Lane" -o scheme/
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    ensure_scheme_folder(output, overwrite=overwrite)
    hood = read_asked(asked)
    know = asked.knowledge
    wrong: list[str] = []
    boxes = planter_boxes(sizes, price=box_price, knowledge=know, wrong=wrong)
    people = () if keepers is None else _keepers(keepers, hood, know, wrong)
    taped = _measured(measured, know, wrong)
    people = _named_for(audience, people)
    for number, words in ((budget, "--budget"), (spacing, "--spacing"), (box_price, "--box-price")):
        if number is not None and not 0 <= number < float("inf"):
            wrong.append(
                _("{words} must be 0 or more, not {number:g}.").format(words=words, number=number)
            )
    if planters is not None and planters < 1:
        wrong.append(_("--planters must be 1 or more, not {planters}.").format(planters=planters))
    if unkept is not None and unkept < 0:
        wrong.append(_("--unkept must be 0 or more, not {unkept}.").format(unkept=unkept))
    street = None
    try:
        points = [point_asked(each, hood, know) for each in at]
        street = find_street(hood, road, knowledge=know, at=points, called=called, measured=taped)
    except WrongUse as error:
        wrong.insert(0, str(error))
    if wrong or street is None:
        raise WrongUse("\n".join(wrong))
    for fault in street.faults:
        click.echo(str(fault), err=True)
    sites = planter_sites(hood, street, knowledge=know, sizes=boxes or None, measured=taped)
    if planters is None and budget is None:
        planters = int(know.scheme_figure("planters"))
    ask = SchemeAsk(
        planters=planters,
        budget=budget,
        goal=goal,
        groups=groups,
        sides=side,
        spacing_m=spacing,
        locked_in=lock_in,
        locked_out=lock_out,
        verdicts=("fits",) if only_fits else ("fits", "ask", "measure"),
        recipes=recipes,
        keepers=people,
        unkept=unkept,
    )
    leave_sheet = partial(
        leave_tape_sheet, sites=sites, ask=ask, street=street, hood=hood, asked=asked,
        output=output, audience=audience, overwrite=overwrite,
    )  # fmt: skip
    ensure_somewhere(sites, ask, leave_sheet, know)
    # The search refuses animals that walk, and says why, so none is assessed here.
    shown = shown_groups(know, groups, audience)
    flying = [key for key in shown if key in know.groups and know.groups[key].mode == "air"]
    now = assess(
        _seen_by(audience, hood, asked),
        knowledge=know,
        groups=flying or [key for key in know.groups if know.groups[key].mode == "air"],
        straight=True,
        progress=progress_bar,
    )
    found = plan_scheme(
        now,
        street,
        sites,
        ask,
        seed=draws.seed,
        draws=draws_asked(hood, know, draws),
        processes=None,
        progress=partial(progress_bar, doing=_("draws")),
    )
    if not found.planters:
        raise WrongUse(_helps_nobody(found, leave_sheet))
    write_report(
        found, output, by=by, contact=contact, date=date, status=status, paper=paper,
        overwrite=overwrite,
    )  # fmt: skip
    click.echo(_words(found))
    click.echo(_("Wrote {output}: begin with report.html.").format(output=output), err=True)
    note_made(asked.file, output, audience=audience)
    click.echo(_KEEP[audience], err=True)


def _helps_nobody(found: Scheme, leave_sheet: Callable[[str], str]) -> str:
    """Say why no planter was chosen though there are places for some.

    Where some places fit, those to ask about or to measure must win more than they cost in time.
    """
    animals = ", ".join(group.group.name.lower() for group in found.before.groups.values())
    verdicts = [site.verdict for site in found.sites if site.verdict in found.ask.verdicts]
    open_places = sum(verdict != "fits" for verdict in verdicts)
    if 0 < open_places < len(verdicts):
        said = _(
            "Planters in {street_name} would win next to nothing for the {groups}: less than it "
            "takes to ask about or to measure the {count} places where that comes first. Measure "
            "them, ask for other animals, or survey more plots."
        ).format(street_name=found.street.name, groups=animals, count=open_places)
        return "\n".join(filter(None, [said, leave_sheet(said)]))
    return _(
        "No planter in {street_name} would help the {groups}, by the measure used, so no scheme "
        "was made. Ask for other animals, or survey more plots."
    ).format(street_name=found.street.name, groups=animals)


def _named_for(audience: Audience, people: tuple[Keeper, ...]) -> tuple[Keeper, ...]:
    """Return the keepers; for everybody without their names."""
    if audience != "public":
        return people
    return tuple(
        replace(one, name=_("Keeper {at}").format(at=at)) for at, one in enumerate(people, 1)
    )


def _seen_by(audience: Audience, hood: Neighbourhood, asked: Asked) -> Neighbourhood:
    """Return what the gains are worked out from."""
    if audience == "public":
        released = released_asked(hood, asked)
        return plots_for_public(hood, released, knowledge=asked.knowledge)
    return for_audience(hood, audience, knowledge=asked.knowledge)


def _measured(paths: tuple[Path, ...], know: Knowledge, wrong: list[str]) -> dict[str, Measured]:
    faults = FaultList()
    found = measured_in(paths, know, faults)
    _say_or_add(faults, wrong)
    return found


def _say_or_add(faults: FaultList, wrong: list[str]) -> None:
    """Add errors to the list of what is wrong, and say warnings at once."""
    for fault in faults.faults:
        if fault.severity == "error":
            wrong.append(str(fault).removeprefix("error: "))
        else:
            click.echo(str(fault), err=True)


def _keepers(
    path: Path, hood: Neighbourhood, know: Knowledge, wrong: list[str]
) -> tuple[Keeper, ...]:
    faults = FaultList()
    people = keepers_in(path, hood, faults, know)
    _say_or_add(faults, wrong)
    return people


def _words(found: Scheme) -> str:
    """The planters in the order of building, for the terminal."""
    rows = [("Planter", "Place", "Verdict", _("Walking width"), "Planting", "Keeper")]
    for one in found.planters:
        clear = one.site.clear_m
        rows.append(
            (
                one.plot,
                one.site.key,
                one.site.verdict,
                _("measure this")
                if clear is None
                else f"{centimetres(clear)} m ({one.site.clear_basis})",
                one.recipe.name,
                one.keeper or _("nobody yet"),
            )
        )
    know = found.after.knowledge
    certificate = certificate_words(
        chosen_step(found),
        exact=found.exact,
        wide=know.scheme_figure("wide_margin"),
        blind=know.scheme_figure("blind_margin"),
    )
    return "\n".join(
        [
            text_table(rows, header=True),
            "",
            *((text_table(choice_rows(found), header=True), "") if found.choices else ()),
            *(
                paragraph(line)
                for line in (
                    certificate,
                    over_draws_words(found),
                    case_limit_words(found),
                    enough_words(found),
                    *together_words(found),
                )
                if line
            ),
            *(paragraph(note) for note in found.notes),
        ]
    )
