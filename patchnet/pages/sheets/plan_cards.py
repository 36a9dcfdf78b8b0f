"""The cards of a whole street: one file a plot, stacks of them to print, and a page that lists all.

A card takes a while, so what is done is kept: a card that stands there whole, made from the same
street in the same way, is not made again. Each is worked out by itself, in several processes.
"""

import json
import re
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from patchnet.assess.assessment import Assessment
from patchnet.core.digest import digest_of, own_digest
from patchnet.core.files import OwnFolder, write_text
from patchnet.core.processes import in_processes
from patchnet.core.shown import Shown
from patchnet.core.texts import N_, _, counted
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.story_words import plot_names
from patchnet.pages.kit.templates import Markup, together
from patchnet.pages.privacy import assessment_for
from patchnet.pages.sheets.plan_card import card_style, leaves_of, plan_card
from patchnet.plan.plan_plot import Adviser, month_meant, taken_over
from patchnet.plan.plot_search import Taken
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["Cards", "write_cards"]

_INDEX = "index.html"
_DONE = ".patchnet-cards.json"
_STACK = 25  # cards to print at once: fifty sides
_REFUSED = N_("The people there said no, or asked to be forgotten.")
_NOTHING = N_("Nothing that fits there would help, as far as is known.")
_PATTERNS = re.compile(r"<defs\b.*?</defs\s*>", re.DOTALL)
_LONGEST = 60  # letters of an id in the name of a file


@dataclass(frozen=True, eq=False, repr=False)
class Cards(Shown):
    """The cards of a street.

    Attributes
    ----------
    folder
        Where they are; ``index.html`` lists them.
    files
        Plot -> name of its card, in the order of the street's file.
    kept
        How many of them stood there already, made from the same street in the same way.
    without
        Plot -> why it has no card.
    stacks
        Names of the files that print many cards at once.
    left
        Files of an earlier run that are out of date, but were changed by somebody since: they
        still stand there.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> none = patchnet.write_cards(answer, "none", refused=answer.neighbourhood.plots.index)
    >>> len(none.files), len(none.without)
    (0, 127)
    """

    folder: Path
    files: Mapping[str, str]
    kept: int
    without: Mapping[str, str]
    stacks: tuple[str, ...]
    left: tuple[str, ...] = ()

    @property
    def reasons(self) -> dict[str, list[str]]:
        """Why plots have no card -> which."""
        found: dict[str, list[str]] = {}
        for plot, why in self.without.items():
            found.setdefault(why, []).append(plot)
        return found


def write_cards(
    assessment: Assessment,
    folder: Path | str,
    *,
    refused: Iterable[str] = (),
    street: Mapping[str, tuple[str, ...]] | None = None,
    month: int | None = None,
    heights: SurfaceHeights | None = None,
    draws: int = 0,
    seed: int = 0,
    cautious: bool = False,
    processes: int | None = 1,
    progress: Callable[[Iterable[str]], Iterable[str]] | None = None,
) -> Cards:
    """Write a card for every plot of a street that may have one, and pages to print them all.

    They go from hand to hand, so they are made from what the group may see: nothing of a plot whose
    household said no stands on anybody's card. Called again after it was stopped, it goes on where
    it was.

    Parameters
    ----------
    assessment
        The street as it is today. What the group may not see is taken out and the answer worked
        out anew, unless it was made for the group.
    folder
        Made if missing; only what patchnet wrote there is replaced or taken away.
    refused
        Ids of more plots that get none, beside those whose household said no.
    street
        What a plan of the street says to a plot (see `patchnet.read_street_plan`).
    month, heights, draws, seed, cautious
        As in `patchnet.plan_plot`; with draws each card takes as long as so many.
    processes
        How many; None: one a core.
    progress
        Wraps the plots while their cards are made, such as a progress bar.

    Returns
    -------
    Cards
        Which plot has which file, and which has none and why.

    Raises
    ------
    WrongUse
        If there is no such month, or a cautious choice is wanted without draws.
    CannotWrite
        If the folder cannot be written to, or a file that patchnet did not make is in the way.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> refused = [plot for plot in answer.neighbourhood.plots.index if plot != "M15B"]
    >>> patchnet.write_cards(answer, "cards", refused=refused, month=5).files
    {'M15B': 'card-M15B.html'}
    """
    month = month_meant(month)
    taken = taken_over(assessment.knowledge, draws, seed, cautious=cautious)
    answer = (
        assessment
        if assessment.neighbourhood.audience == "group"
        else (assessment_for(assessment, "group"))
    )
    wanted, without = _shared_out(answer, refused)
    maker = _Maker(answer, taken, heights, month, dict(street or {}))
    stand = _Stand(Path(folder), maker.digest(), wanted)
    left = stand.clear()
    todo = [plot for plot in wanted if plot not in stand.done]
    cards = in_processes(_card_of, maker, todo, processes=processes)
    for plot in progress(todo) if progress else todo:
        stand.put(plot, next(cards))
    files = {plot: name for plot, name in wanted.items() if stand.done[plot]}
    without |= {plot: _(_NOTHING) for plot in wanted if plot not in files}
    found = Cards(
        folder=Path(folder),
        files=files,
        kept=sum(plot not in todo for plot in files),
        without={str(plot): without[plot] for plot in answer.neighbourhood.plots.index
                 if plot in without},
        stacks=stand.put_stacks(list(files)),
        left=left,
    )  # fmt: skip
    stand.own.write(_INDEX, _index(found, answer))
    return found


def _shared_out(
    answer: Assessment, refused: Iterable[str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Plots that may have a card, with the name of its file; and those that may not, and why."""
    hood = answer.neighbourhood
    none = set(refused)
    if "consent" in hood.plots.columns:
        none |= {str(plot) for plot in hood.plots.index[hood.plots["consent"] == "no"]}
    wanted = [str(plot) for plot in hood.plots.index if plot not in none]
    without = {str(plot): _(_REFUSED) for plot in hood.plots.index if plot in none}
    return _file_names(wanted), without


def _file_names(plots: Sequence[str]) -> dict[str, str]:
    """Name a file after each plot.

    What some computer does not take in a name becomes a dash, and a number from the id is put
    behind it; also where two ids differ in capitals alone, which some computers take for one.
    """
    plain = {plot: re.sub(r"[^A-Za-z0-9_-]+", "-", plot)[:_LONGEST] for plot in plots}
    often = Counter(name.lower() for name in plain.values())
    names = {}
    for plot, name in plain.items():
        clear = name == plot and often[name.lower()] == 1
        mark = "" if clear else f"-{zlib.crc32(plot.encode('utf-8', 'replace')):08x}"
        names[plot] = f"card-{name}{mark}.html"
    return names


@dataclass(frozen=True)
class _Maker:
    """Makes cards; what all plots share is worked out once in each process."""

    assessment: Assessment
    taken: Taken | None
    heights: SurfaceHeights | None
    month: int
    street: Mapping[str, tuple[str, ...]]

    @cached_property
    def _adviser(self) -> Adviser:
        return Adviser(self.assessment, self.taken, self.heights)

    def card(self, plot: str) -> str:
        """The card of a plot; nothing where nothing that fits would help."""
        plan = self._adviser.whole(plot, month=self.month)
        if plan.best is None:
            return ""
        plan = replace(plan, street=self.street.get(plot, ()))
        return plan_card(plan, self.assessment, sun=plan.sun)

    def digest(self) -> str:
        """Of all that a card is made from."""
        taken = self.taken
        return digest_of(
            own_digest(),
            self.assessment.made_of(),
            self.heights,
            self.month,
            self.street,
            None if taken is None else [taken.draws, taken.seed, taken.cautious],
        )


def _card_of(maker: _Maker, plot: str) -> str:
    return maker.card(plot)


class _Stand:
    """What stands in the folder, and what of it was made from the same street in the same way.

    Parameters
    ----------
    folder
        Where the cards are.
    digest
        Of all that they are made from.
    names
        Plot -> name of its file, for all that may have a card.

    Attributes
    ----------
    done
        Plot -> whether it has a card, of those that need no looking at again.
    """

    def __init__(self, folder: Path, digest: str, names: Mapping[str, str]) -> None:
        self.folder, self.digest, self.names = folder, digest, names
        self.own = OwnFolder(folder)
        self.own.ensure_may_write([*names.values(), *self._stacks(len(names)), _INDEX])
        told = self._told()
        self.done = {
            plot: told[plot]
            for plot, name in names.items()
            if plot in told and (not told[plot] or self.own.holds(name))
        }

    def clear(self) -> tuple[str, ...]:
        """Take away what would tell of another state; return what cannot be, as it was changed.

        Cards that are going to be made again stay till then.
        """
        kept = {name for plot, name in self.names.items() if self.done.get(plot, True)}
        old = [name for name in self.own.names() if name not in kept]
        left = tuple(name for name in old if not self.own.remove(name))
        self._note()
        return left

    def put(self, plot: str, card: str) -> None:
        """Write a card whole; or note that there is none."""
        if card:
            self.own.write(self.names[plot], card)
        else:
            self.own.remove(self.names[plot])
        self.done[plot] = bool(card)
        self._note()

    def put_stacks(self, plots: Sequence[str]) -> tuple[str, ...]:
        """Write the cards of some plots once more, many to a file."""
        names = self._stacks(len(plots))
        for at, name in enumerate(names):
            some = [self.names[plot] for plot in plots[at * _STACK : (at + 1) * _STACK]]
            cards = [(self.folder / one).read_text(encoding="utf-8") for one in some]
            self.own.write(name, _stack(cards, at * _STACK + 1))
        return names

    @staticmethod
    def _stacks(count: int) -> tuple[str, ...]:
        return tuple(f"print-{at + 1}.html" for at in range(-(-count // _STACK)))

    def _told(self) -> dict[str, bool]:
        """What was noted; nothing where it is damaged, or of another street."""
        try:
            told = json.loads((self.folder / _DONE).read_text(encoding="utf-8"))
            if told["made_from"] != self.digest:
                return {}
            return {str(plot): bool(there) for plot, there in told["cards"].items()}
        except (OSError, ValueError, LookupError, TypeError, AttributeError):
            return {}

    def _note(self) -> None:
        told = {"made_from": self.digest, "cards": self.done}
        write_text(self.folder / _DONE, json.dumps(told, indent=1, sort_keys=True) + "\n")


def _stack(cards: Iterable[str], first: int) -> str:
    """Many cards as one page to print, each beginning on a sheet of its own."""
    leaves = [leaves_of(card) for card in cards]
    patterns = [_PATTERNS.search(one) for one in leaves]
    known = {found[0] for found in patterns if found}
    if len(known) == 1:  # of what all drawings have in common one is enough
        leaves = [leaves[0], *(Markup(_PATTERNS.sub("", one)) for one in leaves[1:])]
    return sheet(
        "sheets/plan_stack.html",
        title=_("Cards {first} to {last}").format(first=first, last=first + len(leaves) - 1),
        style=card_style(),
        leaves=together(leaves),
    )


def _index(cards: Cards, answer: Assessment) -> str:
    """The page that lists the cards, and the plots that have none."""
    hood = answer.neighbourhood
    names = plot_names(hood, [str(plot) for plot in hood.plots.index])
    count = len(cards.files)
    return sheet(
        "sheets/plan_cards.html",
        title=_("{name}: cards for the fridge door").format(name=place_name(hood)),
        style="".join((asset("kit/paper.css"), asset("sheets/plan_cards.css"))),
        heading=_("Cards for the fridge doors of {name}").format(name=place_name(hood)),
        said=counted(count, "card") if count else "",
        stacks=[
            (name, _("Cards {first} to {last}").format(
                first=at * _STACK + 1, last=min((at + 1) * _STACK, count)))
            for at, name in enumerate(cards.stacks)
        ],
        cards=[(file, names[plot]) for plot, file in cards.files.items()],
        without=[
            (why, [names[plot] for plot in plots]) for why, plots in cards.reasons.items()
        ],
        withheld=hood.withheld,
        credits=" ".join(hood.credits),
    )  # fmt: skip
