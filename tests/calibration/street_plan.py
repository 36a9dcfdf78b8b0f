"""What a street's plan wins over the plots' own cards, in draws that it was not chosen by.

Run: python tests/calibration/street_plan.py [--place demo] [--plots 46] [--by 20] [--draws 100]
     [--straight] [--cards]

The own cards are those of `patchnet.plan_plot` with the figures in use, one for each plot, done
together. Asked for: a median of at least 1.2 times their joint worth, more in at least 95 of 100,
and at least 10 effective jobs. (Tried design on 46 plots of the demo: 1.19 times.)
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from places import PLACES, neighbourhood_of

import patchnet
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.plot import plot_answer
from patchnet.core.processes import in_processes
from patchnet.knowledge import load_knowledge
from patchnet.plan import plan_together as street
from patchnet.plan import street_fresh_draws as fresh
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import common_currency
from patchnet.plan.plot_search import PlotSearch


def own_card(assessment, plot):
    """The change that a plot's own card makes, things with what gives way; None: none."""
    # The set of `Adviser.plan`, without the stages and plants that take most of its time.
    adviser = patchnet.Adviser(assessment)
    card = PlotSearch(adviser, plot_answer(assessment, plot), PlotFacts())
    judged = card.judged(card.offered()[0])
    best = card.worth_naming(judged, card.chosen(judged))
    return None if best is None else judged.fitted[best][1]


def own_cards(assessment, plots, processes):
    """The changes of all cards, by plot."""
    changes = in_processes(own_card, assessment, plots, processes=processes)
    return {plot: one for plot, one in zip(plots, changes, strict=True) if one is not None}


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--plots", type=int, default=46)
    asked.add_argument("--by", type=int, default=20)
    asked.add_argument("--draws", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--processes", type=int, default=1)
    asked.add_argument("--straight", action="store_true")
    asked.add_argument("--cards", action="store_true", help="against the cards too (5 s each)")
    asked.add_argument("--place", choices=PLACES, default="demo")
    given = asked.parse_args()
    hood = neighbourhood_of(given.place, load_knowledge())
    answer = patchnet.assess(hood, straight=given.straight)
    every = sorted(map(str, answer.neighbourhood.plots.index))
    luck = np.random.default_rng(given.seed)
    plots = every if given.plots >= len(every) else luck.choice(every, given.plots, replace=False)
    street._choosing_draws = lambda *_: given.by
    begun = time.process_time()

    def told(things, words):
        print(f"{time.process_time() - begun:6.0f} s of processor: {words}", flush=True)
        return things

    plan = street.plan_together(
        answer, plots=list(plots), draws=given.draws, processes=given.processes, progress=told
    )
    print(f"{time.process_time() - begun:6.0f} s of processor (this process)")
    print(f"{len(plan.jobs)} jobs, effective number {plan.effective:.1f}")
    print(
        f"worth {plan.worth:.4f} in {plan.draws} draws; own sets {plan.own_worth:.4f}, which "
        f"promise {plan.promised:.4f}; bound {plan.bound:.4f} of which {plan.share_of_bound:.0%}"
    )
    print(
        f"against own sets chosen over the draws: {plan.doubt.ratio:.2f} times, more in "
        f"{plan.doubt.better:.0%} of {given.draws} other draws"
    )
    currency = common_currency(answer)
    if not given.by:
        anew = currency.worth(np.array([*plan.linked.values()])[None])[0]
        print(f"promised {plan.worth:.5f}; the street with all of it, assessed anew: {anew:.5f}")
    print(
        f"promised {plan.worth:.4f}; in other draws {plan.doubt.worth.mean:.4f} "
        f"({plan.doubt.worth.low:.4f} to {plan.doubt.worth.high:.4f})"
    )
    if not given.cards:
        return
    cards = own_cards(answer, list(plots), given.processes)
    first = 25 * -(-given.by // 25)
    gaps = tuple(one.gap.key for one in plan.gaps)
    compared = fresh.Compared(plan.changes, cards, currency.weight, currency.first, gaps)
    rows = over_draws(
        fresh.won_by_both, compared, draws_of(answer, first + given.draws, 0),
        range(first, first + given.draws), processes=given.processes,
    )  # fmt: skip
    _, joint, own = np.array(list(rows)).T
    print(
        f"against the cards: {np.median(joint / own):.2f} times, more in {(joint > own).mean():.0%}"
    )


if __name__ == "__main__":
    main()
