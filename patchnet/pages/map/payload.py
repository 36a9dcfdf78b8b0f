"""An assessment as the compact columns that the page's script reads."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike

from patchnet.assess.assessment import ANCHOR, Assessment, Break, GroupAnswer, NeedSheet
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.plots import PLAIN_LINE
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.encode import (
    ALPHABET,
    column_code,
    flag_codes,
    path_code,
    two_digit_codes,
    whole_codes,
)
from patchnet.pages.kit.shapes import (
    TOLERANCE_M,
    Frame,
    area_codes,
    frame_of,
    line_codes,
    name_places,
    spot_code,
)
from patchnet.pages.map.drawn_links import holding_links
from patchnet.pages.map.garden_payload import garden_payload
from patchnet.pages.map.ground_layers import ground_layers, straightened
from patchnet.pages.public_results import steps_down, steps_near, steps_up
from patchnet.pages.public_view import public_ground
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["chosen_groups", "page_frame", "payload"]

MOST = 9.9e12  # stands for "any number", as in the columns


class _Columns:
    """Columns of numbers, each different one written once."""

    def __init__(self) -> None:
        self.written: list[str] = []
        self._at: dict[str, int] = {}

    def add(self, values: ArrayLike) -> int:
        """Return the position of the column of these values."""
        code = column_code(values)
        if code not in self._at:
            self._at[code] = len(self.written)
            self.written.append(code)
        return self._at[code]


def chosen_groups(
    assessment: Assessment, groups: Sequence[str] | None
) -> Mapping[str, GroupAnswer]:
    """Return the answers of the groups asked for, in the order of the assessment.

    Raises
    ------
    WrongUse
        If a group is not in the assessment, or there is none at all.
    """
    asked = list(assessment.groups) if groups is None else list(groups)
    for key in asked:
        if key not in assessment.groups:
            hint = nearest_hint(key, assessment.groups)
            raise WrongUse(
                _("There is no animal {key!r} in this assessment.{hint}").format(key=key, hint=hint)
            )
    chosen = {key: answer for key, answer in assessment.groups.items() if key in set(asked)}
    if not chosen:
        raise WrongUse(_("A map page needs at least one animal."))
    return chosen


def page_frame(hood: Neighbourhood) -> Frame:
    """Return the frame of a page that draws a neighbourhood."""
    return frame_of(
        (hood.plots, hood.buildings, hood.roads, hood.footways, hood.barriers), hood.plots.crs
    )


def payload(
    assessment: Assessment,
    *,
    groups: Sequence[str] | None = None,
    public: bool = False,
    progress: Callable[[Iterable[GroupAnswer]], Iterable[GroupAnswer]] | None = None,
) -> dict[str, Any]:
    """Return everything the page's script draws and tells, ready for JSON.

    Parameters
    ----------
    assessment
        The answers.
    groups
        Keys of the wildlife groups to carry; None: all of the assessment.
    public
        True: nothing that tells where barriers have gaps.
    progress
        Wraps the answers while they are worked through, such as a progress bar.

    Raises
    ------
    WrongUse
        If a group is not in the assessment.
    PatchnetError
        If the area is too large for one page.
    """
    hood = assessment.neighbourhood
    know = assessment.knowledge
    chosen = chosen_groups(assessment, groups)
    frame = page_frame(hood)
    columns = _Columns()
    at = {str(ident): position for position, ident in enumerate(hood.plots.index)}
    return {
        "frame": frame.for_page(),
        "plots": _plots(frame, hood, know, columns, assessment.known_share),
        "features": _features(assessment, columns, public=public),
        "resources": [[res.name, _raised(_(res.unit))] for res in know.resources.values()],
        "cautions": {key: caution.words for key, caution in know.cautions.items()},
        "unseen": list(know.cautions_about("unseen")),
        "drawn": _drawn(frame, hood, know),
        "gardens": garden_payload(frame, public_ground(hood) if public else hood, know),
        "public": public,
        "draws": assessment.draws,
        "groups": [
            _group(frame, assessment, answer, columns, at, public=public)
            for answer in (progress(chosen.values()) if progress else chosen.values())
        ],
        "columns": columns.written,
    }


def _plots(
    frame: Frame,
    hood: Neighbourhood,
    know: Knowledge,
    columns: _Columns,
    known_share: "pd.Series[float]",
) -> dict[str, Any]:
    plots = hood.plots
    streets = sorted({str(street) for street in plots["street"]})
    kinds = sorted({str(kind) for kind in plots["kind"]})
    return {
        "id": [str(ident) for ident in plots.index],
        "label": [str(label) for label in plots["label"]],
        "streets": streets,
        "street": [streets.index(str(street)) for street in plots["street"]],
        "kinds": [
            know.plot_kinds[kind].name if kind in know.plot_kinds else kind for kind in kinds
        ],
        "kind": [kinds.index(str(kind)) for kind in plots["kind"]],
        "area": columns.add(plots["area_m2"]),
        "known": columns.add(known_share.reindex(plots.index)),
        "shape": area_codes(frame, plots.geometry),
        "spot": spot_code(frame, list(plots.geometry)),
    }


def _features(assessment: Assessment, columns: _Columns, *, public: bool) -> list[dict[str, Any]]:
    """Each feature with its answers: one sign a plot, and the amounts of those that have it.

    The signs: ``?`` not known, ``~`` not to be seen from outside (what is assumed of it stands in
    a column, but for the public), ``-`` not there, else a letter A-D: stated or assumed size (bit
    1), sure or not sure (bit 2).
    """
    know, answers = assessment.knowledge, assessment.neighbourhood.answers
    classes = assessment.neighbourhood.classes
    resources = {key: position for position, key in enumerate(know.resources)}
    supply = know.supply_array
    written = []
    for column, key in enumerate(answers.features):
        feature = know.features[key]
        amount = answers.amount[:, column]
        there = amount > 0
        signs = np.full(amount.shape, "-", dtype="<U1")
        not_known = np.isnan(amount)
        signs[not_known] = "~" if feature.unseen else "?"
        assumed = np.where(not_known, assessment.amounts[:, column], 0.0)
        letters = np.array(list(ALPHABET[:4]))
        kind = (~answers.sized[:, column]).astype(int) + 2 * (~answers.sure[:, column])
        signs[there] = letters[kind[there]]
        row = supply[list(know.features).index(key)]
        gives = {
            resources[resource]: two_digit_codes(row[resources[resource]])
            for resource in know.resources
            if row[resources[resource]].any()
        }
        written.append(
            {
                "words": _class_words(classes, key),
                "name": feature.name,
                "measure": feature.measure,
                "answers": "".join(signs.tolist()),
                "unseen": feature.unseen,
                "assumed": columns.add(assumed) if feature.unseen and not public else -1,
                "amounts": [_short(value) for value in amount[there].tolist()],
                "gives": [[position, code] for position, code in gives.items()],
                "cautions": [key for key in feature.cautions if key in know.cautions],
                "sort": feature.sort,
                "shown": feature.drawn != "none",
                "said": know.sitings[key].said if key in know.sitings else "",
                **({"open": True} if "open_water" in feature.traits else {}),
                "add": feature.addable,
            }
        )
    return written


def _class_words(classes: pd.DataFrame | None, key: str) -> list[str]:
    """What is told of a feature in place of amounts, for the public; else nothing."""
    return [] if classes is None else [str(words) for words in classes[key]]


def _short(value: float) -> float | int:
    """Three significant digits, as a whole number where it is one; no more than `MOST`."""
    rounded = float(f"{min(value, MOST):.3g}")
    return int(rounded) if rounded == int(rounded) else rounded


def _raised(unit: str) -> str:
    """Write m2 and m3 with a raised figure."""
    return re.sub(r"\bm([23])\b", lambda found: "m" + "²³"[int(found[1]) - 2], unit)


def _plain(value: float) -> float | int:
    """The number as it stands, as a whole number where it is one."""
    return int(value) if value == int(value) else value


def _drawn(frame: Frame, hood: Neighbourhood, know: Knowledge) -> dict[str, Any]:
    """What the ground is drawn from, besides the plots."""

    def table(rows: gpd.GeoDataFrame) -> dict[str, list[str]]:
        shapes = [shape for shape in rows.geometry if shape is not None and not shape.is_empty]
        return {
            "areas": [code for code in area_codes(frame, shapes) if code],
            "lines": [code for code in line_codes(frame, shapes) if code],
        }

    barriers = hood.barriers
    return {
        "buildings": table(hood.buildings),
        "roads": table(hood.roads),
        "footways": table(hood.footways),
        "names": name_places(frame, hood.roads) if len(hood.roads) else [],
        "barriers": {
            "shape": [
                line or area
                for line, area in zip(
                    line_codes(frame, barriers.geometry),
                    line_codes(frame, (shapely.boundary(one) for one in barriers.geometry)),
                    strict=True,
                )
            ],
            "kind": [str(kind) for kind in barriers["kind"]] if len(barriers) else [],
            "gap": [str(gap) for gap in barriers["gap"]] if len(barriers) else [],
        },
        "barrier_kinds": _barrier_kinds(barriers, know),
    }


def _barrier_kinds(barriers: gpd.GeoDataFrame, know: Knowledge) -> list[list[str]]:
    """Key, name and line of each kind of barrier that is there, in the order of the table."""
    there = {str(kind) for kind in barriers["kind"]} if len(barriers) else set()
    known = [one for key, one in know.barrier_kinds.items() if key in there]
    rows = [[one.key, one.name, one.line or PLAIN_LINE] for one in known]
    return rows + [[kind, kind, PLAIN_LINE] for kind in sorted(there - {one.key for one in known})]


def _group(
    frame: Frame,
    assessment: Assessment,
    answer: GroupAnswer,
    columns: _Columns,
    at: Mapping[str, int],
    *,
    public: bool,
) -> dict[str, Any]:
    know, index = assessment.knowledge, assessment.neighbourhood.plots.index

    def column(series: "pd.Series[float]") -> int:
        return columns.add(series.reindex(index))

    group = answer.group
    names = [ANCHOR, *(sheet.need.key for sheet in answer.needs)]
    scarcest = answer.scarcest.reindex(index)
    component = answer.component.reindex(index).fillna(-1).astype(np.int64).to_numpy()
    # Patches without a component number of their own would vanish: they stay patches.
    patch = answer.patch.reindex(index).fillna(value=False).astype(bool).to_numpy()
    first, second, total = holding_links(answer.network, at)
    ground = ground_layers(frame, assessment, answer, (first, second), at, short=_short)
    caution = know.cautions.get(group.caution)
    homes, low, high = answer.homes_told
    linked = answer.linked_told
    return {
        "key": group.key,
        "name": group.name,
        "latin": group.latin,
        "mode": group.mode,
        "home": group.home_is,
        "hop": _plain(group.hop.value),
        "d50": _short(group.d50.value),
        "anchor": [know.resources[anchor.resource].name for anchor in group.anchors],
        "anchorAt": [list(know.resources).index(anchor.resource) for anchor in group.anchors],
        "anchorReach": _plain(group.anchor_reach.value),
        "caution": caution.words if caution and group.caution != "none" else "",
        "room": column(answer.room_told),
        "roomWithin": column(answer.room_within),
        "quality": column(answer.quality),
        "homes": column(homes),
        "low": column(low),
        "high": column(high),
        "patch": flag_codes(patch),
        "open": _open((answer.homes_low == 0) & (answer.homes_high > 0), index),
        "component": path_code(component.astype(np.int64).reshape(-1, 1)),
        "scarcest": "".join(
            ALPHABET[names.index(key)] if key in names else "-" for key in scarcest
        ),
        "needs": [
            _need(sheet, answer.enough_told(at), know, columns, index)
            for at, sheet in enumerate(answer.needs)
        ],
        "total": _totals(answer, public=public),
        "eca": _short(linked.mean),
        "linked": [_short(linked.low), _short(linked.high)],
        "components": int(answer.measures.components),
        "links": [path_code(np.column_stack([first, second])), total],
        "breaks": _breaks(frame, answer, at, public=public),
        "ground": ground,
    }


def _open(true: "pd.Series[bool]", index: pd.Index) -> str:
    """Which plots turn on what nobody has seen yet."""
    return flag_codes(true.reindex(index).fillna(value=False).astype(bool).to_numpy())


def _totals(answer: GroupAnswer, *, public: bool) -> list[float | int]:
    """Homes, at least, at most, and room; for the public in the steps that its rows are told in."""
    homes = answer.all_homes_told
    whole = np.array([homes.mean, homes.low, homes.high, float(answer.room_told.sum())])
    if public:
        near, down, up = steps_near(whole), steps_down(whole), steps_up(whole)
        whole = np.array([near[0], down[1], up[2], near[3]])
    return [_short(value) for value in whole.tolist()]


def _need(
    sheet: NeedSheet,
    ends: "tuple[pd.Series[float], pd.Series[float]]",
    know: Knowledge,
    columns: _Columns,
    index: pd.Index,
) -> dict[str, Any]:
    need = sheet.need
    resource = know.resources[need.resource]
    hungry = sheet.hungry.reindex(index).reindex(columns=range(1, 13))
    masks = hungry.fillna(value=False).astype(bool).to_numpy() @ (1 << np.arange(12))
    flowers = resource.by_month
    return {
        "name": need.name,
        "resource": list(know.resources).index(need.resource),
        "months": list(need.months),
        "worst": need.month_rule == "worst",
        "amount": _short(need.amount.value),
        "unit": _raised(_(resource.unit)),
        "class": need.amount.kind,
        "reach": _plain(need.reach.value),
        "vital": need.vital,
        "enough": columns.add(sheet.enough.reindex(index)),
        "low": columns.add(ends[0].reindex(index)),
        "high": columns.add(ends[1].reindex(index)),
        "room": columns.add(sheet.room.reindex(index)),
        "open": _open(
            (sheet.enough_low < sheet.room) & (sheet.enough_high >= sheet.room) & (sheet.room > 0),
            index,
        ),
        "met": columns.add(sheet.met.reindex(index)),
        "hungry": whole_codes(masks) if masks.any() else "",
        "byMonth": [columns.add(sheet.by_month[month].reindex(index)) for month in need.months]
        if flowers
        else [],
    }


def _breaks(
    frame: Frame, answer: GroupAnswer, at: Mapping[str, int], *, public: bool
) -> list[dict[str, Any]]:
    """The breaks; where draws were taken with what closing them wins in these, most first."""
    if answer.drawn is None:
        return [_break(frame, one, at, public=public) for one in answer.breaks]
    drawn = len(answer.drawn.linked)
    return [
        {
            **_break(frame, one.gap, at, public=public),
            "won": _short(one.won.mean),
            "drawn": [
                _short(one.won.low),
                _short(one.won.high),
                round(one.often * drawn),
                round(one.shunned * drawn),
            ],
        }
        for one in answer.drawn.breaks
    ]


def _break(frame: Frame, one: Break, at: Mapping[str, int], *, public: bool) -> dict[str, Any]:
    line = straightened(one.line) if public else one.line.simplify(TOLERANCE_M)
    return {
        "from": at[str(one.from_plot)],
        "to": at[str(one.to_plot)],
        "width": _short(one.width_m),
        "cost": _short(one.cost_m),
        "line": line_codes(frame, [line])[0],
        "way": [at[str(plot)] for plot in one.plots_on_the_way if str(plot) in at and not public],
        "stones": int(one.stepping_stones),
        "won": _short(one.homes_won),
        "sides": [_short(homes) for homes in one.homes_each_side],
    }
