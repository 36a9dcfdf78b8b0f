"""What has to be taken up before a plan can be carried out, in words."""

from dataclasses import dataclass

from patchnet.core.language_forms import capital_first
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import amount_words, hours_words
from patchnet.pages.kit.numbers import currency, figure
from patchnet.plan.candidates import taking_up_of
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import Suggestion

__all__ = ["FirstTakenUp", "taken_up_first"]


@dataclass(frozen=True, slots=True)
class FirstTakenUp:
    """One cover that is taken up: what and how much, what that takes, how, and what to mind.

    `brief` says in one short sentence each what `cautions` say in full.
    """

    title: str
    takes: str
    steps: tuple[str, ...]
    asks: tuple[str, ...]
    cautions: tuple[str, ...]
    brief: tuple[str, ...]


def taken_up_first(
    suggestion: Suggestion, facts: PlotFacts, knowledge: Knowledge
) -> list[FirstTakenUp]:
    """List the covers that a set takes up, in the order of the tables.

    Parameters
    ----------
    suggestion
        The set; what gives way to it is asked for among the covers that can be taken up.
    facts
        What the householder said: who owns the plot need not ask.
    knowledge
        The tables.
    """
    found = []
    for key, how in knowledge.taking_up.items():
        amount = suggestion.gives_way.get(key, 0.0)
        if amount <= 0:
            continue
        hours, money = taking_up_of({key: -amount}, knowledge)
        unit = currency(knowledge)
        found.append(
            FirstTakenUp(
                title=f"{capital_first(how.said)}, {amount_words(key, amount, knowledge)}",
                takes=_("about {hours} of work, about {money} {unit}").format(
                    hours=hours_words(hours), money=figure(money), unit=unit
                ),
                steps=tuple(step.words for step in how.steps),
                asks=(_("If you rent, ask the owner first."),)
                if how.tenancy == "ask" and facts.tenure != "own"
                else (),
                cautions=tuple(knowledge.cautions[one].words for one in how.cautions),
                brief=tuple(knowledge.cautions[one].brief for one in how.cautions),
            )
        )
    return found
