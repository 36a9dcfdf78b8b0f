"""A street's public tables under attack: two hundred releases, and a reader who keeps them all.

The attacker is written apart from the audit: one unknown for each household's answer, the classes
read as they stand in the tables, an integer programme for every answer.
"""

import random
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, milp

from patchnet.survey.release import UNITS, Ledger, forgotten_in, release

SHARES = ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01))  # few, some, many, most: release.md
FEATURES = ("pond", "hedge", "tree", "lawn", "nest_box", "compost")


@dataclass
class Household:
    """What one household has, and how often each answer changed."""

    answers: dict
    version: dict
    consent: bool = True
    known: bool = True
    life: int = 0  # times it was forgotten: what it says later is somebody else's for all to see


@dataclass
class Series:
    """A street of so many units, and all tables that were handed out."""

    seed: int
    units: int = 2
    size: int = 20
    dice: random.Random = field(init=False)
    people: dict = field(init=False)
    tables: list = field(default_factory=list)
    handed_out: int = 0

    def __post_init__(self):
        self.dice = random.Random(self.seed)  # noqa: S311 - no secret hangs on it
        names = [f"u{unit}-{at}" for unit in range(1, self.units + 1) for at in range(self.size)]
        share = {key: self.dice.choice([0.05, 0.2, 0.4, 0.6, 0.9]) for key in FEATURES}
        self.people = {
            name: Household(
                {
                    key: None if self.dice.random() < 0.1 else self.dice.random() < share[key]
                    for key in FEATURES
                },
                dict.fromkeys(FEATURES, 0),
                consent=self.dice.random() < 0.8,
            )
            for name in names
        }

    def ledger(self):
        rows = [(name, name, name.split("-")[0]) for name in self.people]
        return Ledger(
            key="a key for tests",
            units=pd.DataFrame(rows, columns=list(UNITS), dtype=object),
            names={f"u{unit}": f"Unit {unit}" for unit in range(1, self.units + 1)},
        )

    def event(self, ledger):
        """One household gives or takes back its yes, is forgotten, or answers anew."""
        name = self.dice.choice(list(self.people))
        one = self.people[name]
        what = self.dice.random()
        if what < 0.45:
            one.consent = not one.consent
        elif what < 0.6:
            if one.known:
                ledger = forgotten_in(ledger, [name], outline=False)
                one.known = False
            else:
                one.known, one.life = True, one.life + 1
        else:
            for key in self.dice.sample(FEATURES, self.dice.randint(1, 3)):
                now = self.dice.choice([True, False, None])
                if now is not one.answers[key]:
                    one.answers[key] = now
                    one.version[key] += 1
        return ledger

    def run(self, knowledge, *, releases=200, remember=True):
        """Ask for a table after every event; the attacker keeps each one that differs."""
        ledger = self.ledger()
        day = date(2026, 1, 1)
        for at in range(releases):
            ledger = self.event(ledger) if at else ledger
            names = [name for name, one in self.people.items() if one.consent and one.known]
            said = np.array(
                [
                    [
                        np.nan if answer is None else float(answer)
                        for answer in (self.people[name].answers[key] for key in FEATURES)
                    ]
                    for name in names
                ]
            )
            start = ledger if remember else self.ledger()
            ledger, found = release(
                start, names, said, FEATURES, knowledge=knowledge, today=day + timedelta(days=at)
            )
            fresh = found.day == (day + timedelta(days=at)).isoformat()
            self.handed_out += 1
            if fresh:
                self.tables.append((dict(found.classes), self._sets(names)))
        return ledger

    def _sets(self, names):
        """Who was counted, as everybody may know: unit, feature -> (answer, its truth)."""
        sets = {}
        for name in names:
            one = self.people[name]
            for key in FEATURES:
                if one.answers[key] is not None:
                    answer = (name, one.life, one.version[key])
                    cell = sets.setdefault((name.split("-")[0], key), [])
                    cell.append((answer, bool(one.answers[key])))
        return sets


def given_away(series, *, insiders):
    """How many answers a reader of all tables can be sure of, and of how many.

    Parameters
    ----------
    insiders
        How many households are tried in turn as the reader, each knowing its own answers.
    """
    lost, all_answers = 0, 0
    cells = {cell for classes, _ in series.tables for cell in classes}
    for cell in sorted(cells):
        rows = [
            (sets[cell], classes[cell])
            for classes, sets in series.tables
            if cell in classes and classes[cell] != (0, len(SHARES) - 1)
        ]
        truth = {answer: value for members, _ in rows for answer, value in members}
        answers = sorted(truth)
        if not answers:
            continue
        place = {answer: at for at, answer in enumerate(answers)}
        matrix = np.zeros((len(rows), len(answers)))
        low, high = np.zeros(len(rows)), np.zeros(len(rows))
        for at, (members, (first, last)) in enumerate(rows):
            for answer, _ in members:
                matrix[at, place[answer]] = 1
            count = len(members)
            fits = [
                number
                for number in range(count + 1)
                if SHARES[first][0] <= number / count < SHARES[last][1]
            ]
            low[at], high[at] = fits[0], fits[-1]
        readers = [None, *series.dice.sample(sorted({one[0] for one in answers}), insiders)]
        for reader in readers:
            sure = _sure(matrix, low, high, answers, truth, reader)
            lost += sure
            all_answers += sum(one[0] != reader for one in answers)
    return lost, all_answers


def _sure(matrix, low, high, answers, truth, reader):  # noqa: C901 - one thought
    least, most = np.zeros(len(answers)), np.ones(len(answers))
    for at, answer in enumerate(answers):
        if answer[0] == reader:
            least[at] = most[at] = float(truth[answer])
    free = {at: set() for at, answer in enumerate(answers) if answer[0] != reader}
    dice = np.random.default_rng(1)

    def look(least, most, towards):
        found = milp(
            towards,
            integrality=np.ones(len(answers)),
            bounds=Bounds(least, most),
            constraints=LinearConstraint(matrix, low, high),
        )
        if found.x is None:
            return False
        for at, values in free.items():
            values.add(round(found.x[at]))
        return True

    assert look(least, most, np.zeros(len(answers))), "the truth is a world"
    for _ in range(6):
        look(least, most, dice.choice([-1.0, 1.0], len(answers)))
    sure = 0
    for at, values in free.items():
        for value in (0, 1):
            if value not in values:
                one, other = least.copy(), most.copy()
                one[at] = other[at] = value
                if not look(one, other, dice.choice([-1.0, 1.0], len(answers))):
                    sure += 1
                    break
    return sure
