"""The tables of the street survey: every feature is asked for, every rule has its source."""

import csv
from importlib import resources

from patchnet.knowledge import describe_source
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.survey import OTHER_PART, RULE_PARTS, read_survey_questions

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"


def raw(table):
    return list(csv.DictReader((FOLDER / table).read_text(encoding="utf-8").splitlines()))


def test_every_feature_is_asked_for_once_with_a_hint():
    rows = raw("survey_questions.csv")
    assert sorted(row["feature"] for row in rows) == sorted(KNOW.features)
    assert list(KNOW.survey_questions) == [row["feature"] for row in rows]
    assert all(question.hint for question in KNOW.survey_questions.values())
    # What only a household can tell, because looking for it would mean looking over a fence.
    assert not KNOW.survey_questions["fence_gap"].from_street
    assert not KNOW.survey_questions["compost_heap"].from_street
    assert KNOW.survey_questions["hedge_native"].from_street


def test_a_feature_of_ones_own_is_asked_for_too():
    tables = {"survey_questions.csv": [], "sources.csv": []}
    found = read_survey_questions(Reader(tables, []), ["pond"])
    assert found["pond"].part == OTHER_PART
    assert found["pond"].from_street


def test_rules_have_words_and_sources():
    assert {rule.part for rule in KNOW.survey_rules.values()} == set(RULE_PARTS)
    for key, rule in KNOW.survey_rules.items():
        assert rule.words.endswith(".")
        assert set(rule.sources) <= set(KNOW.sources)
        assert rule.words.split(".")[0] in describe_source(KNOW, f"survey_rules/{key}")
