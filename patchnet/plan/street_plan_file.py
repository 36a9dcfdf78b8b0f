"""A street's plan kept as a file, and read back: jobs and answers, nothing that must be believed.

Only what people decide on is read back: which plot adds what, and who said yes or no. All figures
are worked out anew.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from shapely.geometry import mapping

from patchnet.assess.assessment import Assessment
from patchnet.core.errors import DataFaults
from patchnet.core.faults import Fault
from patchnet.core.files import utf8_text
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.plan.placed import Placed
from patchnet.plan.street_plan import StreetPlan

__all__ = ["KIND", "EarlierPlan", "plan_record", "read_street_plan"]

KIND = "patchnet street plan"
_ANSWERS = ("open", "yes", "no")
_OF_USES = ("thing", "amount", "is_use", "seat_hours")  # stand beside it, or are of uses only


@dataclass(frozen=True, slots=True)
class EarlierPlan:
    """What is read back of a plan.

    Attributes
    ----------
    things
        Plot id to the features that it adds.
    yes, no
        Ids of plots whose people said so.
    told
        Plot id to what the plan told of its house, as it stands in the file: ``name``, ``alone``,
        ``part``, ``share``, ``order`` and ``jobs``.
    """

    things: Mapping[str, tuple[str, ...]]
    yes: tuple[str, ...]
    no: tuple[str, ...]
    told: Mapping[str, Mapping[str, Any]]


def plan_record(plan: StreetPlan) -> dict[str, Any]:
    """Return a plan as it is kept in a file, ready for JSON.

    Keys: kind, neighbourhood, credits, crs, draws, seed, worth,
    own_worth, bound, bound_of, effective_jobs,
    judged, settled, fair, refused, houses (name, plots, answer, order, alone and part in linked
    homes, share, cost, hours_month, jobs: plot, feature, amount, place, months, cautions, asks,
    loses, instead, where; gives_way), gaps, animals, parts, together, curve, doubt, changes and
    own.
    Homes and worths are means of the draws, not rounded; amounts in the features' own units.
    Of where a job goes: the fields of `Placed`, its geometry as GeoJSON in metres, in the
    coordinate system of the plots (crs).

    Parameters
    ----------
    plan
        From `patchnet.plan_together`.
    """
    doubt = plan.doubt
    return {
        "kind": KIND,
        "neighbourhood": plan.name,
        "credits": [] if plan.assessment is None else list(plan.assessment.neighbourhood.credits),
        "crs": None if plan.assessment is None else _crs(plan.assessment),
        "draws": plan.draws,
        "seed": plan.seed,
        "worth": plan.worth,
        "own_worth": plan.own_worth,
        "bound": plan.bound,
        "bound_of": plan.bound_of,
        "effective_jobs": plan.effective,
        "judged": plan.judged,
        "settled": plan.settled,
        "fair": plan.fair,
        "refused": list(plan.refused),
        "houses": [
            {
                "name": one.name,
                "plots": list(one.plots),
                "answer": one.answer,
                "order": one.order,
                "alone": one.alone,
                "part": one.part,
                "share": one.share,
                "cost": one.cost,
                "hours_month": one.hours,
                "jobs": [
                    {
                        "plot": job.plot,
                        "feature": job.candidate.feature,
                        "amount": job.candidate.amount,
                        "place": job.candidate.place,
                        "months": list(job.candidate.months),
                        "cautions": list(job.candidate.cautions),
                        "asks": list(job.candidate.asks),
                        "loses": job.loses,
                        "instead": list(job.instead),
                        "where": None if job.placed is None else _where(job.placed),
                    }
                    for job in one.jobs
                ],
                "gives_way": {plot: dict(ways) for plot, ways in one.gives_way.items()},
            }
            for one in plan.houses
        ],
        "gaps": [
            {
                "group": one.group,
                "plots": list(one.gap.plots),
                "kinds": list(one.gap.kinds),
                "now": one.gap.now,
                "x": one.gap.place.x,
                "y": one.gap.place.y,
                "homes": one.homes,
                "share": one.share,
            }
            for one in plan.gaps
        ],
        "animals": [
            {
                "group": one.group,
                "before": one.before,
                "after": one.after,
                "won": [one.won.mean, one.won.low, one.won.high],
                "scarcest": one.scarcest,
                "short_plots": one.short,
            }
            for one in plan.animals
        ],
        "parts": [
            {
                "name": one.name,
                "plots": one.plots,
                "taking_part": one.taking_part,
                "jobs": one.jobs,
                "homes": one.homes,
            }
            for one in plan.parts
        ],
        "together": [
            {"feature": one.feature, "houses": list(one.houses), "amount": one.amount}
            for one in plan.together
        ],
        "curve": [list(one) for one in plan.curve],
        "doubt": None
        if doubt is None
        else {
            "draws": doubt.draws,
            "homes": [doubt.homes.mean, doubt.homes.low, doubt.homes.high],
            "worth": [doubt.worth.mean, doubt.worth.low, doubt.worth.high],
            "own_worth": [doubt.own_worth.mean, doubt.own_worth.low, doubt.own_worth.high],
            "ratio": doubt.ratio,
            "better": doubt.better,
        },
        "changes": {plot: dict(change) for plot, change in plan.changes.items()},
        "own": {plot: dict(change) for plot, change in plan.own.items()},
    }


def _crs(assessment: Assessment) -> str | None:
    crs = assessment.neighbourhood.plots.crs
    return None if crs is None else str(crs.to_string())


def _where(there: Placed) -> dict[str, Any]:
    shape = None if there.geometry is None else dict(mapping(there.geometry))
    record = asdict(replace(there, geometry=None)) | {"geometry": shape}
    return {key: value for key, value in record.items() if key not in _OF_USES}


def read_street_plan(path: Path | str) -> EarlierPlan:
    """Read back what people decided on.

    Parameters
    ----------
    path
        JSON file that `patchnet together` wrote; ``answer`` of a house may have been changed to
        ``yes`` or ``no``.

    Returns
    -------
    EarlierPlan
        Things and answers by plot; nothing of it is checked against a street yet.

    Raises
    ------
    CannotRead
        If it cannot be read.
    DataFaults
        If it is no such plan, or says something that cannot be: all of it at once.

    Examples
    --------
    >>> import pathlib, patchnet
    >>> house = '{"plots": ["14"], "answer": "yes"}'
    >>> text = f'{{"kind": "patchnet street plan", "houses": [{house}]}}'
    >>> _ = pathlib.Path("plan.json").write_text(text)
    >>> patchnet.read_street_plan("plan.json").yes
    ('14',)
    """
    return read_in_child(_read_here, Path(path))


def _read_here(path: Path) -> EarlierPlan:
    mend = _("Give a file that 'patchnet together -o' wrote.")
    text = utf8_text(path)
    try:
        record = json.loads(text)
    except (ValueError, RecursionError) as error:
        what = _("The file is not JSON: {error}.").format(error=error)
        raise DataFaults([Fault("error", str(path), None, None, what, mend)]) from error
    if not isinstance(record, dict) or record.get("kind") != KIND:
        what = _("This is no plan for a street.")
        raise DataFaults([Fault("error", str(path), None, None, what, mend)])
    return _Reader(path).plan(record)


class _Reader:
    """Reads the houses of a plan and collects what is wrong with them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults: list[Fault] = []

    def plan(self, record: Mapping[str, Any]) -> EarlierPlan:
        things: dict[str, tuple[str, ...]] = {}
        told: dict[str, Mapping[str, Any]] = {}
        answers: dict[str, list[str]] = {"yes": [], "no": []}
        houses = record.get("houses")
        if not isinstance(houses, list):
            self.fault(None, _("It has no list of houses."))
            houses = []
        for row, house in enumerate(houses, 1):
            if not isinstance(house, dict) or not self.names(house.get("plots")):
                self.fault(row, _("A house has no list of plots."))
                continue
            plots = house["plots"]
            answer = str(house.get("answer", "open")).strip().casefold()
            if answer not in _ANSWERS:
                self.fault(
                    row, _("The answer of {plots} is {answer!r}; it is open, yes or no.").format(
                        plots=", ".join(plots), answer=answer
                    )
                )  # fmt: skip
            twice = [plot for plot in plots if plot in things]
            if twice:
                self.fault(row, _("{plot} is in two houses.").format(plot=twice[0]))
            answers.get(answer, []).extend(plots)
            things |= dict.fromkeys(plots, ())
            jobs = house.get("jobs")
            for job in jobs if isinstance(jobs, list) else []:
                if not isinstance(job, dict) or job.get("plot") not in plots:
                    self.fault(row, _("A job is of no plot of its house."))
                elif not isinstance(job.get("feature"), str):
                    self.fault(row, _("A job has no feature."))
                else:
                    things[job["plot"]] = (*things[job["plot"]], job["feature"])
            told |= dict.fromkeys(plots, house)
        if self.faults:
            raise DataFaults(self.faults)
        return EarlierPlan(things, tuple(answers["yes"]), tuple(answers["no"]), told)

    @staticmethod
    def names(value: object) -> bool:
        return (
            isinstance(value, list) and bool(value) and all(isinstance(one, str) for one in value)
        )

    def fault(self, row: int | None, what: str) -> None:
        mend = _("Mend it, or make the plan anew.")
        self.faults.append(Fault("error", str(self.path), row, None, what, mend))
