"""The page for the phone: one HTML file that works from disk, without network or server."""

import base64
import hashlib
from functools import cache
from string import Template

import geopandas as gpd
import shapely

from patchnet.core.errors import PatchnetError
from patchnet.core.files import MADE_BY
from patchnet.pages.kit.escape import attribute, inside_script, json_inside_script, text
from patchnet.pages.kit.inline import asset, outside_addresses, sha256
from patchnet.pages.kit.shapes import (
    Frame,
    area_codes,
    frame_of,
    line_codes,
    name_places,
    spot_code,
)
from patchnet.pages.survey import phone_words as words
from patchnet.pages.survey.notice import notice_html, rules_html, sources_line
from patchnet.pages.survey.questions import MEASURES, parts_of
from patchnet.pages.survey.round import SurveyRound
from patchnet.survey.answer_words import SEEN_FROM

__all__ = ["survey_phone_page"]

_SCRIPTS = (
    "survey/start.js",
    "decode.js",
    "survey/store.js",
    "survey/record.js",
    "survey/map.js",
    "survey/plot.js",
    "survey/draw.js",
    "survey/street.js",
    "survey/handover.js",
    "survey/phone.js",
)
_SIMPLER_M = 0.1  # what is not a plot is only there to find one's way by


def survey_phone_page(survey: SurveyRound) -> str:
    """Return the survey page as HTML text.

    It keeps what is tapped on the device itself and hands it over as one ``.return.json`` file.
    What is already known of the plots is not on it, so that nobody sees it before looking.

    Raises
    ------
    PatchnetError
        If the page would have to fetch anything.
    """
    script, style = inside_script(_script()), asset("survey/phone.css")
    policy = (
        f"default-src 'none'; img-src data:; style-src {_style_hash(style)}; "
        f"script-src {sha256(script)}; base-uri 'none'; form-action 'none'"
    )
    page = Template(asset("survey/phone.html")).substitute(
        {f"w_{name}": text(value) for name, value in words.PAGE.items()},
        generator=MADE_BY,
        policy=attribute(policy),
        title=text(f"{survey.name}: survey"),
        name=text(survey.name),
        style=style,
        script=script,
        payload=json_inside_script(_payload(survey)),
        credits=" &middot; ".join(text(line) for line in survey.neighbourhood.credits),
        safety=rules_html(survey.knowledge, "safety"),
        seeing=rules_html(survey.knowledge, "seeing"),
        privacy=notice_html(survey),
        sources=sources_line(survey.knowledge, ("safety", "seeing", "privacy")),
    )
    left = outside_addresses(page)
    if left:
        raise PatchnetError(f"The page would have to fetch {', '.join(sorted(set(left)))}.")
    return page


@cache
def _script() -> str:
    return "(() => {\n" + "\n".join(asset(name) for name in _SCRIPTS) + "})();\n"


def _style_hash(style: str) -> str:
    digest = hashlib.sha256(style.encode("utf-8")).digest()
    return "'sha256-" + base64.b64encode(digest).decode("ascii") + "'"


def _payload(survey: SurveyRound) -> dict[str, object]:
    hood = survey.neighbourhood
    plots = hood.plots
    tables = (plots, hood.roads, hood.footways, hood.buildings)
    frame = frame_of(tables, plots.crs)
    at = {str(ident): place for place, ident in enumerate(plots.index)}
    kinds = list(dict.fromkeys(survey.kind(ident) for ident in at))
    stretch_of = {
        ident: number for number, one in enumerate(survey.stretches) for ident in one.plots
    }
    return {
        "street": {"id": survey.street, "name": survey.name},
        "frame": frame.for_page(),
        "plots": {
            "id": list(at),
            "label": [survey.label(ident) for ident in at],
            "kind": [kinds.index(survey.kind(ident)) for ident in at],
            "stretch": [stretch_of[ident] for ident in at],
            "shape": area_codes(frame, plots.geometry),
            "spot": spot_code(frame, list(plots.geometry)),
        },
        "kinds": kinds,
        "stretches": [
            {
                "name": survey.stretch_name(one, short=True),
                "plots": [at[ident] for ident in one.plots],
            }
            for one in survey.stretches
        ],
        "parts": _parts(survey),
        "ground": _ground(survey, frame),
        "seenFrom": list(SEEN_FROM),
        "tapPx": survey.knowledge.setting("survey_tap_px"),
        "snapCm": survey.knowledge.setting("feature_snap_m") * 100,
        "words": words.SCRIPT,
    }


def _parts(survey: SurveyRound) -> list[dict[str, object]]:
    questions = survey.knowledge.survey_questions
    return [
        {
            "name": part,
            "features": [
                {
                    "key": feature.key,
                    "name": feature.name,
                    "measure": feature.measure,
                    "unit": MEASURES[feature.measure],
                    "street": questions[feature.key].from_street,
                    "hint": questions[feature.key].hint,
                }
                for feature in features
            ],
        }
        for part, features in parts_of(survey.knowledge, from_street=False)
    ]


def _ground(survey: SurveyRound, frame: Frame) -> dict[str, object]:
    hood = survey.neighbourhood

    def areas(table: gpd.GeoDataFrame) -> list[str]:
        return [code for code in area_codes(frame, _simpler(table)) if code]

    def lines(table: gpd.GeoDataFrame) -> list[str]:
        return [code for code in line_codes(frame, _simpler(table)) if code]

    return {
        "roadAreas": areas(hood.roads),
        "roadLines": lines(hood.roads),
        "wayAreas": areas(hood.footways),
        "wayLines": lines(hood.footways),
        "houses": areas(hood.buildings),
        "names": name_places(frame, hood.roads, hood.footways),
    }


def _simpler(table: gpd.GeoDataFrame) -> list[shapely.Geometry]:
    return list(shapely.simplify(table.geometry.to_numpy(), _SIMPLER_M))
