"""All tables put together: each is read by its declaration, then what goes across them checked."""

from collections.abc import Mapping
from dataclasses import replace

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.base_map import read_osm_tags
from patchnet.knowledge.complete import missing
from patchnet.knowledge.countries import read_countries
from patchnet.knowledge.country_rules import CountryRule
from patchnet.knowledge.families import Family
from patchnet.knowledge.features import Caution, Resource, Supply, read_features
from patchnet.knowledge.ground import read_ground_costs, read_ground_covers
from patchnet.knowledge.groups import read_groups
from patchnet.knowledge.kept import Kept
from patchnet.knowledge.knowledge import Knowledge
from patchnet.knowledge.lodging import Density, Use
from patchnet.knowledge.mixes import Mix, PlantForm
from patchnet.knowledge.moves import Move
from patchnet.knowledge.placing import Placing
from patchnet.knowledge.plants import (
    PlantingPlace,
    PlantRole,
    UnlawfulPlant,
    read_plant_lists,
    read_plants,
)
from patchnet.knowledge.plots import BarrierKind, PlotKind
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.regions import Region, RegionAnimal
from patchnet.knowledge.row import Row
from patchnet.knowledge.scheme import (
    Recipe,
    SchemeConsent,
    SchemePrice,
    SchemeRisk,
    UpkeepTask,
    read_scheme_figures,
)
from patchnet.knowledge.siting import KeepUse, Siting
from patchnet.knowledge.sources import Regression, Setting, Source
from patchnet.knowledge.street import (
    SightRule,
    StreetObjectKind,
    read_planter_sizes,
    read_stopping_sight,
    read_street_rules,
)
from patchnet.knowledge.survey import SurveyRule, read_survey_questions
from patchnet.knowledge.table_words import FeatureWord, read_table_words
from patchnet.knowledge.taking_up import TakingUp
from patchnet.knowledge.unseen import Unseen
from patchnet.knowledge.watching import Watching
from patchnet.knowledge.words import Worded, word_index

__all__ = ["build"]


def build(
    tables: Mapping[str, list[Row]], faults: list[Fault], before: Kept | None = None
) -> tuple[Knowledge, Kept]:
    """Build the knowledge out of rows.

    Parameters
    ----------
    tables
        Rows of every table, by file name.
    faults
        List that every fault found is added to; where it is not empty afterwards the result
        holds stand-ins and must not be used.
    before
        What was read of such tables in this language before, without a fault.

    Returns
    -------
    Knowledge
        All records.
    Kept
        What they were read from, for tables of which many are the same.
    """
    reader = Reader(tables, faults, before)
    cautions = reader.keyed(Caution)
    features = read_features(reader, cautions)
    supplies = reader.all(Supply)
    groups = read_groups(reader, {supply.resource for supply in supplies})
    plants = read_plants(reader)
    covers = read_ground_covers(reader, features)
    barrier_kinds = reader.keyed(BarrierKind)
    reader.all(Regression)  # kept as figures only
    knowledge = Knowledge(
        groups=groups,
        features=features,
        resources=reader.keyed(Resource),
        supplies=supplies,
        cautions=cautions,
        plants=plants,
        plot_kinds=reader.keyed(PlotKind),
        sources=reader.keyed(Source),
        barrier_kinds=barrier_kinds,
        ground_covers=covers,
        ground_costs=read_ground_costs(reader, covers, barrier_kinds),
        sitings=reader.keyed(Siting),
        taking_up=reader.keyed(TakingUp),
        placings=reader.keyed(Placing),
        plant_lists=read_plant_lists(reader),
        planting_places=reader.keyed(PlantingPlace),
        unlawful_plants=reader.keyed(UnlawfulPlant),
        keep_uses=reader.keyed(KeepUse),
        osm_tags=read_osm_tags(reader),
        recipes=reader.keyed(Recipe),
        settings={key: one.figure for key, one in reader.keyed(Setting).items()},
        survey_questions=read_survey_questions(reader, features),
        survey_rules=reader.keyed(SurveyRule),
        street_rules=read_street_rules(reader),
        street_kinds=reader.keyed(StreetObjectKind),
        planter_sizes=read_planter_sizes(reader),
        stopping_sight=read_stopping_sight(reader),
        sight_rules=reader.keyed(SightRule),
        scheme_figures=read_scheme_figures(reader),
        upkeep_tasks=reader.all(UpkeepTask),
        scheme_prices=reader.keyed(SchemePrice),
        scheme_risks=reader.all(SchemeRisk),
        scheme_consents=reader.all(SchemeConsent),
        plant_roles=reader.keyed(PlantRole),
        plant_forms=reader.keyed(PlantForm),
        mixes=reader.keyed(Mix),
        moves=reader.keyed(Move),
        watching=reader.keyed(Watching),
        table_words=read_table_words(reader),
        feature_words=_feature_words(reader),
        countries=read_countries(reader),
        country_rules=reader.all(CountryRule),
        regions=reader.keyed(Region),
        region_animals=reader.keyed(RegionAnimal),
        unseen=reader.all(Unseen),
        densities={one.group: one for one in reader.all(Density)},
        uses=reader.all(Use),
        families={one.what: one for one in reader.all(Family)},
        figures=reader.figures,
        origins=reader.origins,
    )
    for table, records in (
        ("features.csv", knowledge.features),
        ("plot_kinds.csv", knowledge.plot_kinds),
        ("barrier_kinds.csv", knowledge.barrier_kinds),
        ("street_objects.csv", knowledge.street_kinds),
        ("keep_uses.csv", knowledge.keep_uses),
        ("regions.csv", knowledge.regions),
    ):
        if reader.changed(table):
            _one_thing_a_word(reader, table, records)
    left_out = missing(knowledge, tables)
    faults += [fault for fault in left_out if fault.severity == "error"]
    warnings = tuple(fault for fault in left_out if fault.severity == "warning")
    return replace(knowledge, warnings=warnings), reader.kept()


def _feature_words(reader: Reader) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for one in reader.all(FeatureWord):
        found[one.feature] = (*found.get(one.feature, ()), *one.words)
    return found


def _one_thing_a_word(reader: Reader, table: str, records: Mapping[str, Worded]) -> None:
    rows = reader.keys(table)
    for word, keys in word_index(records.values()).items():
        if len(keys) > 1:
            # Blame a row of the user's own table rather than one that ships.
            found = [rows[key] for key in keys]
            row = next((row for row in found if row.where != row.table), found[-1])
            others = ", ".join(key for key in keys if key != row.cells["key"])
            what = _("The word '{word}' is also a word for {others}.").format(
                word=word, others=others
            )
            reader.say(row, what, _("Let it stand for one of them."))
