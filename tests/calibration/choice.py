"""Whether choosing over the draws is worth it: both choices looked at in draws they never saw.

Run: python tests/calibration/choice.py [--draws 50] [--fresh 50] [--plots 15] [--straight]

On each plot one set is chosen with the figures in use and one over the draws. Both are then judged
in fresh draws, beside all sets of the pool: the share of what was possible in each (regret is 1
less that). The tried design had a mean share of 0.69 and 0.77 on 43 plots of the demo.
"""

import argparse

import numpy as np

import patchnet
from patchnet.assess.over_draws import draws_of
from patchnet.assess.plot import plot_answer
from patchnet.plan.candidates import candidates_for
from patchnet.plan.facts import PlotFacts
from patchnet.plan.in_draws import judge_in_draws, pool_of_sets
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.plot_search import PlotSearch


def looked_at(assessment, plot, draws, fresh):
    """Shares in fresh draws of the set chosen over draws, and of that with the figures in use."""
    plan = PlotSearch(Adviser(assessment), plot_answer(assessment, plot), PlotFacts())
    offered, _ = candidates_for(plan.knowledge, plan.facts, plan.space, kind=plan.answer.kind)
    judged = plan.judged(offered)
    if not judged.sets:
        return None
    pool = pool_of_sets(judged.sets, judged.gain, first=40, singles=9)
    changes = [judged.fitted[at][1] for at in pool]
    worth = {"weight": plan.currency.weight, "first": plan.currency.first, "processes": None}
    chosen = judge_in_draws(draws_of(assessment, draws, 0), plot, changes, **worth)
    seen = judge_in_draws(draws_of(assessment, fresh, 1), plot, changes, **worth)
    best = judged.best()
    if best is None:
        return None
    over, in_use = int(chosen.share.argmax()), pool.index(best)

    def names(at):
        return " + ".join(judged.candidates[k].feature for k in judged.sets[pool[at]])

    return (
        seen.share[over],
        seen.share[in_use],
        seen.won(over).mean,
        seen.won(in_use).mean,
        (
            names(over),
            names(in_use),
        ),
    )


def main():
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--draws", type=int, default=50)
    ask.add_argument("--fresh", type=int, default=50)
    ask.add_argument("--plots", type=int, default=15)
    ask.add_argument("--straight", action="store_true")
    said = ask.parse_args()
    assessment = patchnet.assess(patchnet.read_demo(), straight=said.straight)
    plots = assessment.neighbourhood.plots.index
    rows = []
    for plot in plots[np.linspace(0, len(plots) - 1, said.plots).astype(int)]:
        found = looked_at(assessment, str(plot), said.draws, said.fresh)
        if found is not None:
            rows.append(found[:4])
            over, in_use, *_, (one, other) = found
            print(f"{plot:>6}  {over:.2f}  {in_use:.2f}  {one}  |  {other}", flush=True)
    share = np.array(rows)
    worse = int((share[:, 0] < share[:, 1] - 1e-9).sum())
    print(f"mean share of what was possible in {said.fresh} fresh draws, {len(rows)} plots:")
    print(f"chosen over {said.draws} draws {share[:, 0].mean():.3f}, with the figures in use "
          f"{share[:, 1].mean():.3f}; lower tenth {np.quantile(share[:, 0], 0.1):.3f} and "
          f"{np.quantile(share[:, 1], 0.1):.3f}; worse on {worse}")  # fmt: skip


if __name__ == "__main__":
    main()
