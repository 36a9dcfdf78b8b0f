"""What a person says of a plot: on the command line, in a TOML file, or asked one by one."""

import functools
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.texts import N_, WordList, _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.read_facts import facts_in_file, read_facts

__all__ = ["SaidFacts", "facts_options"]

SaidFacts = Callable[[Knowledge], PlotFacts]
"""Reads what was said, once the tables are loaded."""

_QUESTIONS: WordList[tuple[str, str]] = WordList(
    (
        ("light", N_("How much sun does the plot get in summer: sun, part, shade?")),
        ("soil", N_("What is the soil: clay, loam, sand, chalk?")),
        ("damp", N_("Does the ground stay moist in summer (yes/no)?")),
        ("tenure", N_("Do you own it or rent it: own, rent?")),
        ("free_m2", N_("How many square metres may be changed?")),
        ("wall_m", N_("How many metres of wall may hold something?")),
        ("fence_m", N_("How many metres of fence may hold something?")),
        ("sill_m", N_("How many metres of window sill or balcony rail may hold boxes?")),
        ("pots_only", N_("Must everything stand in pots (yes/no)?")),
        ("keep", N_("What must stay: {keep}? (several with commas)")),
        (
            "small_children",
            N_("Do children under six live there, visit, or come in from the street?"),
        ),
        ("pets", N_("Which pets use it: cat, dog?")),
        ("hours_month", N_("How many hours a month can somebody spend on it?")),
        ("budget", N_("How much money is there for the first year ({unit})?")),
        ("edible", N_("Do you want things to eat (yes/no)?")),
        ("groups", N_("Which animals do you care for most ('patchnet groups' lists them)?")),
        ("plants", N_("Which plants grow there already (English or Latin names)?")),
        ("wishes", N_("What would you like to have (pond 3, bee hotel)?")),
    )
)
_OPTIONS: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("--light", {"metavar": "sun|part|shade"}, "light"),
    ("--soil", {"metavar": "clay|loam|sand|chalk"}, "soil"),
    ("--damp/--dry", {"default": None}, "damp"),
    ("--tenure", {"metavar": "own|rent"}, "tenure"),
    ("--free", {"metavar": "M2"}, "free_m2"),
    ("--wall", {"metavar": "M"}, "wall_m"),
    ("--fence", {"metavar": "M"}, "fence_m"),
    ("--sill", {"metavar": "M"}, "sill_m"),
    ("--pots-only/--open-ground", {"default": None}, "pots_only"),
    ("--keep", {"multiple": True, "metavar": "USE"}, "keep"),
    ("--small-children/--no-small-children", {"default": None}, "small_children"),
    ("--pet", {"multiple": True, "metavar": "cat|dog"}, "pets"),
    ("--hours", {"metavar": "H"}, "hours_month"),
    ("--budget", {"metavar": "MONEY"}, "budget"),
    ("--edible/--not-edible", {"default": None}, "edible"),
    ("--care-for", {"multiple": True, "metavar": "GROUP"}, "groups"),
    ("--has-plant", {"multiple": True, "metavar": "PLANT"}, "plants"),
    ("--wish", {"multiple": True, "metavar": "FEATURE"}, "wishes"),
)
_HELP = {
    "light": N_("Direct sun in summer."),
    "soil": N_("Kind of soil."),
    "damp": N_("Whether the ground stays moist in summer."),
    "tenure": N_("Whether you own or rent it."),
    "free_m2": N_("Ground that may be changed, square metres."),
    "wall_m": N_("Wall that may hold something, metres."),
    "fence_m": N_("Fence that may hold something, metres."),
    "sill_m": N_("Sill or rail that may hold boxes, metres."),
    "pots_only": N_("Whether everything must stand in pots."),
    "keep": N_("A use that must stay, such as 'play lawn' or bins (can be repeated)."),
    "small_children": N_("Whether children under six live there, visit or come in."),
    "pets": N_("A pet that uses it (can be repeated)."),
    "hours_month": N_("Hours a month somebody can spend on it."),
    "budget": N_("Money for the first year."),
    "edible": N_("Whether things to eat are wanted."),
    "groups": N_("An animal you care for most (can be repeated)."),
    "plants": N_("A plant that grows there already: it is not offered again (can be repeated)."),
    "wishes": N_("Something you would like, such as 'pond 3' (can be repeated)."),
}


def facts_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options for what a householder says; the command gets one `said`."""

    @functools.wraps(command)
    def with_said(*, facts: Path | None, ask: bool, **others: Any) -> None:  # noqa: ANN401
        names = [name for __, ___, name in _OPTIONS]
        options = {name: others.pop(f"fact_{name}") for name in names}
        told = {name: value for name, value in options.items() if value not in (None, ())}

        def said(knowledge: Knowledge) -> PlotFacts:
            answers = facts_in_file(facts) if facts is not None else {}
            answers |= told
            if ask:
                answers = _asked(answers, knowledge)
            where = _("your answers") if facts is None else str(facts)
            return read_facts(answers, knowledge, where=where)

        command(said=said, **others)

    for flag, settings, name in reversed(_OPTIONS):
        with_said = click.option(flag, f"fact_{name}", help=_HELP[name], **settings)(with_said)
    with_said = click.option(
        "--ask", is_flag=True, help="Ask me one question at a time; Enter skips one."
    )(with_said)
    return click.option(
        "--facts",
        type=click.Path(path_type=Path),
        metavar="TOML",
        help="File of answers, such as: light = 'part', tenure = 'rent', free_m2 = 12.",
    )(with_said)


def _asked(answers: Mapping[str, object], knowledge: Knowledge) -> dict[str, object]:
    """Ask what is still open, one question at a time, and check each answer at once."""
    if not sys.stdin.isatty():
        raise WrongUse(_("--ask needs a terminal to ask on; use --facts FILE.toml instead."))
    found = dict(answers)
    words = {
        "keep": ", ".join(use.name for use in knowledge.keep_uses.values()),
        "unit": knowledge.settings["cost_low"].unit,
    }
    click.echo(_("Press Enter to skip a question."), err=True)
    for name, question in _QUESTIONS:
        while name not in found:
            reply = click.prompt(
                question.format(**words),
                default="",
                show_default=False,
                prompt_suffix=" ",
                err=True,
            )
            if not reply.strip():
                break
            try:
                read_facts({**found, name: reply}, knowledge, where=_("your answer"))
            except DataFaults as error:
                for fault in error.faults:
                    click.echo(f"{fault.what} {fault.mend}", err=True)
                continue
            found[name] = reply
    return found
