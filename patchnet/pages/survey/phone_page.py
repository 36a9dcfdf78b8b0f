"""The page for the phone: one HTML file that works from disk, without network or server."""

import re

import geopandas as gpd
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Feature
from patchnet.pages.kit.escape import json_inside_script
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import page, script_of
from patchnet.pages.kit.shapes import (
    Frame,
    area_codes,
    frame_of,
    line_codes,
    name_places,
    spot_code,
)
from patchnet.pages.survey import phone_words as words
from patchnet.pages.survey.notice import notice, rules, rules_of, sources_line
from patchnet.pages.survey.questions import parts_of
from patchnet.pages.survey.round import SurveyRound
from patchnet.survey.sheet_words import SEEN_FROM, UNITS

__all__ = ["survey_phone_page"]

_SCRIPTS = (
    "kit/script/base.js",
    "survey/script/start.js",
    "kit/script/decode.js",
    "survey/script/store.js",
    "survey/script/record.js",
    "survey/script/map.js",
    "survey/script/plot.js",
    "survey/script/photo.js",
    "survey/script/draw.js",
    "survey/script/here.js",
    "survey/script/missing.js",
    "survey/script/street.js",
    "survey/script/handover.js",
    "survey/script/phone.js",
)
_PARTS = ("safety", "seeing", "privacy")
_ICON = ("0b4f2a", "a4004f")
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
    tables = survey.knowledge
    return page(
        "survey/phone_page.html",
        title=_("{survey_name}: survey").format(survey_name=survey.name),
        icon=_ICON,
        styles=[asset("survey/phone_page.css")],
        scripts=[script_of(_SCRIPTS)],
        strict=True,
        images="",
        w=words.PAGE,
        name=survey.name,
        payload=json_inside_script(_payload(survey)),
        credits=survey.neighbourhood.credits,
        safety=rules(rules_of(tables, "safety")),
        seeing=rules(rules_of(tables, "seeing")),
        privacy=notice(survey),
        sources=" ".join([sources_line(tables, _PARTS), survey.whose_law]).rstrip(),
    )


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
        "photoPx": survey.knowledge.setting("survey_photo_px"),
        "mailTo": _address_in(survey.contact),
        "snapCm": survey.knowledge.setting("feature_snap_m") * 100,
        "words": dict(words.SCRIPT),
    }


def _address_in(contact: str) -> str:
    """Return the mail address that a text holds; empty where there is none."""
    found = re.search(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)+", contact)
    return found[0] if found else ""


def _parts(survey: SurveyRound) -> list[dict[str, object]]:
    """Return what is asked: first what settles most here, then the rest by part."""
    features = survey.knowledge.features
    first = survey.first_questions
    parts = [(_("What settles most here"), tuple(features[key] for key in first))]
    parts += [
        (part, tuple(one for one in asked if one.key not in first))
        for part, asked in parts_of(survey.knowledge, from_street=False)
    ]
    return [
        {"name": part, "features": [_question(survey, one) for one in asked]}
        for part, asked in parts
        if asked or part == parts[0][0]
    ]


def _question(survey: SurveyRound, feature: Feature) -> dict[str, object]:
    question = survey.knowledge.survey_questions[feature.key]
    return {
        "key": feature.key,
        "name": feature.name,
        "measure": feature.measure,
        "unit": _(UNITS[feature.measure]),
        "street": question.from_street,
        "hint": question.hint,
    }


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
