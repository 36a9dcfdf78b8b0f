"""Rows of the tables put together to typed records, every reference between them checked."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Literal, cast, get_args

from patchnet.core.faults import Fault, nearest_hint
from patchnet.knowledge.cells import PER, Cells
from patchnet.knowledge.complete import missing
from patchnet.knowledge.ground import all_ground_costs, all_ground_covers, with_open_water
from patchnet.knowledge.osm_tags import all_osm_tags
from patchnet.knowledge.planting import LAYERS, all_planting
from patchnet.knowledge.recipes import all_recipes
from patchnet.knowledge.records import (
    About,
    Anchor,
    BarrierKind,
    Caution,
    Class,
    Feature,
    FeatureTrait,
    Figure,
    Group,
    KeepUse,
    Knowledge,
    Need,
    Origin,
    Plant,
    PlantRole,
    PlotKind,
    PlotTrait,
    Resource,
    Source,
    Supply,
)
from patchnet.knowledge.scheme import all_scheme_tables
from patchnet.knowledge.siting import all_keep_uses, all_sitings
from patchnet.knowledge.street import StreetObjectKind, all_street_tables
from patchnet.knowledge.survey import all_survey_questions, all_survey_rules
from patchnet.knowledge.tables import MONTHS, Row
from patchnet.knowledge.words import word_index

__all__ = ["build"]

_FEATURE_QUANTITIES = ("typical", "smallest", "ground", "years_to_work")
_GROUP_QUANTITIES = ("hop", "d50", "anchor", "anchor_reach", "step_min", "weight")
_NEED_QUANTITIES = ("amount", "reach", "weight", "floor")
_PLANT_QUANTITIES = ("height", "spread")


def build(tables: Mapping[str, list[Row]], faults: list[Fault]) -> Knowledge:
    """Build the knowledge out of rows.

    Parameters
    ----------
    tables
        Rows of every table, by file name.
    faults
        List that every fault found is added to; where it is not empty afterwards the result
        holds stand-ins and must not be used.
    """
    return _Builder(tables, faults).knowledge()


class _Builder:
    def __init__(self, tables: Mapping[str, list[Row]], faults: list[Fault]) -> None:
        self.tables = tables
        self.faults = faults
        self.figures: dict[str, Figure] = {}
        self.origins: dict[str, Origin] = {}
        self.cells = Cells({}, faults)
        self.sources = {
            row.cells["key"]: Source(
                self.key(row), self.cells.text(row, "citation"), row.cells["doi"]
            )
            for row in tables["sources.csv"]
        }
        self.cells = Cells(self.sources, faults)

    def knowledge(self) -> Knowledge:
        text = self.cells.text
        self.resources = {
            row.cells["key"]: Resource(
                self.key(row),
                text(row, "name"),
                text(row, "unit"),
                self.cells.listed(row, "plant_roles"),
                self.cells.flag_or_no(row, "by_month"),
            )
            for row in self.tables["resources.csv"]
        }
        self.cautions = {row.cells["key"]: self.caution(row) for row in self.tables["cautions.csv"]}
        self.features = self.all_features()
        supplies = tuple(self.supply(row) for row in self.tables["supplies.csv"])
        self.supplied = {supply.resource for supply in supplies}
        groups = self.all_groups()
        plant_roles = {
            row.cells["key"]: PlantRole(
                row.cells["key"],
                text(row, "name"),
                self.cells.flag_or_no(row, "flowers"),
                self.cells.flag_or_no(row, "waits_for_flower"),
            )
            for row in self.tables["plant_roles.csv"]
        }
        plants = self.all_plants()
        plot_kinds = {
            row.cells["key"]: self.plot_kind(row) for row in self.tables["plot_kinds.csv"]
        }
        barrier_kinds = {
            row.cells["key"]: BarrierKind(
                self.key(row),
                text(row, "name"),
                self.cells.listed(row, "words"),
                cast(
                    "Literal['wall', 'fence'] | None",
                    self.cells.choice_or_none(row, "bears", ("wall", "fence")),
                ),
                self.cells.flag_or_no(row, "see_through"),
                self.cells.flag_or_no(row, "unnamed"),
            )
            for row in self.tables["barrier_kinds.csv"]
        }
        covers = all_ground_covers(
            self.tables["ground_covers.csv"], self.cells, self.features, plot_kinds
        )
        covers = with_open_water(covers, self.features)
        ground_costs = all_ground_costs(
            self.tables, self.cells, self.figures, (groups, covers, barrier_kinds)
        )
        measures = {key: feature.measure for key, feature in self.features.items()}
        sitings = all_sitings(self.tables, self.cells, self.figures, self.origins, measures)
        places, plant_lists, unlawful = all_planting(
            self.tables, self.cells, self.figures, self.origins, (measures, plants)
        )
        keep_uses = all_keep_uses(
            self.tables["keep_uses.csv"], self.cells, self.figures, self.features
        )
        osm_tags = all_osm_tags(
            self.tables["osm_tags.csv"],
            self.cells,
            self.origins,
            features=self.features,
            barrier_kinds=barrier_kinds,
            plot_kinds=plot_kinds,
        )
        recipes = all_recipes(self.tables, self.cells, self.figures, self.features)
        settings = {
            row.cells["key"]: self.figure(row, f"settings/{self.key(row)}")
            for row in self.tables["settings.csv"]
        }
        survey_questions = all_survey_questions(
            self.tables["survey_questions.csv"], self.cells, self.origins, self.features
        )
        survey_rules = all_survey_rules(self.tables["survey_rules.csv"], self.cells, self.origins)
        for row in self.tables["regressions.csv"]:
            self.figure(row, f"regressions/{row.ident}", least=-math.inf)
        street = all_street_tables(self.tables, self.cells, self.figures, self.origins)
        scheme = all_scheme_tables(self.tables, self.cells, self.figures, self.origins)
        self.clashes("features.csv", self.features)
        self.clashes("plot_kinds.csv", plot_kinds)
        self.clashes("barrier_kinds.csv", barrier_kinds)
        self.clashes("street_objects.csv", street.kinds)
        self.clashes("keep_uses.csv", keep_uses)
        knowledge = Knowledge(
            groups=groups,
            features=self.features,
            resources=self.resources,
            supplies=supplies,
            cautions=self.cautions,
            plants=plants,
            plot_kinds=plot_kinds,
            settings=settings,
            sources=self.sources,
            figures=self.figures,
            barrier_kinds=barrier_kinds,
            origins=self.origins,
            ground_covers=covers,
            ground_costs=ground_costs,
            street_rules=street.rules,
            street_kinds=street.kinds,
            planter_sizes=street.sizes,
            stopping_sight=street.sight,
            sight_rules=street.sight_rules,
            osm_tags=osm_tags,
            sitings=sitings,
            keep_uses=keep_uses,
            recipes=recipes,
            planting_places=places,
            plant_lists=plant_lists,
            unlawful_plants=unlawful,
            survey_questions=survey_questions,
            survey_rules=survey_rules,
            scheme_figures=scheme.figures,
            upkeep_tasks=scheme.upkeep,
            scheme_risks=scheme.risks,
            scheme_consents=scheme.consents,
            plant_roles=plant_roles,
        )
        left_out = missing(knowledge, self.tables)
        self.faults += [fault for fault in left_out if fault.severity == "error"]
        warnings = tuple(fault for fault in left_out if fault.severity == "warning")
        return replace(knowledge, warnings=warnings)

    # rows of one table -------------------------------------------------------------------

    def caution(self, row: Row) -> Caution:
        sources = self.cells.known_list(row, "source", self.sources, "source")
        if not sources:
            self.faults.append(row.fault("The caution names no source.", "Name one."))
        about = self.cells.choice_or_none(row, "about", get_args(About)) or ""
        return Caution(self.key(row), self.cells.text(row, "words"), sources, cast("About", about))

    def all_features(self) -> dict[str, Feature]:
        rows = {row.cells["key"]: row for row in self.tables["features.csv"]}
        figures = self.by_owner("feature_figures.csv", ("feature",), rows, "feature")
        return {key: self.feature(row, figures.get((key,), {})) for key, row in rows.items()}

    def feature(self, row: Row, figure_rows: Mapping[str, Row]) -> Feature:
        cells = self.cells
        key = self.key(row)
        measure = cells.choice(row, "measure", tuple(PER))
        per = PER[measure]
        units = {
            "typical": "items" if per == "item" else per,
            "smallest": "items" if per == "item" else per,
            "ground": f"m2 ground per {per}",
            "years_to_work": "years",
        }
        figures = {
            quantity: self.owned(
                row,
                figure_rows,
                f"features/{key}/{quantity}",
                unit=units[quantity],
                positive=quantity in ("typical", "smallest"),
            )
            for quantity in _FEATURE_QUANTITIES
        }
        months = cells.months(row, "months")
        self.origin(row, f"features/{key}/months", "months", row.cells["months"])
        cautions = cells.known_list(row, "cautions", self.cautions, "caution")
        return Feature(
            key=key,
            name=cells.text(row, "name"),
            measure=cast("Literal['m2', 'm', 'count']", measure),
            typical=figures["typical"],
            smallest=figures["smallest"],
            ground=figures["ground"],
            years_to_work=figures["years_to_work"],
            container=cells.flag(row, "container"),
            effort=cells.choice(row, "effort", ("low", "some", "much")),
            cost=cells.choice(row, "cost", ("none", "low", "mid", "high")),
            free=cells.flag(row, "free"),
            months=months,
            cautions=cautions,
            addable=cells.flag(row, "addable"),
            green=cells.flag(row, "green"),
            words=cells.listed(row, "words"),
            traits=self.traits(row, cautions),
            gives_way=self.gives_way(row),
        )

    def traits(self, row: Row, cautions: tuple[str, ...]) -> frozenset[FeatureTrait]:
        """Return what a feature is; what carries the caution about small children is water."""
        traits = set(self.cells.choices(row, "traits", get_args(FeatureTrait)))
        about = {self.cautions[key].about for key in cautions if key in self.cautions}
        if "small_children" in about:
            traits.add("open_water")
        elif "open_water" in traits and set(cautions) <= set(self.cautions):
            what = "It is open water, but has no caution about small children."
            keys = [key for key, one in self.cautions.items() if one.about == "small_children"]
            self.faults.append(row.fault(what, f"Add it to its cautions: {' or '.join(keys)}."))
        return frozenset(cast("set[FeatureTrait]", traits))

    def gives_way(self, row: Row) -> int | None:
        if not row.cells["gives_way"]:
            return None
        place = self.cells.number(row, "gives_way")
        if row.cells["measure"] != "m2":
            what = "Only what is measured in m2 can give way to something else."
            self.faults.append(row.fault(what, "Leave the cell 'gives_way' empty."))
        return 0 if math.isnan(place) else int(place)

    def supply(self, row: Row) -> Supply:
        feature = self.cells.known(row, "feature", self.features, "feature")
        resource = self.cells.known(row, "resource", self.resources, "resource")
        unit = None
        if feature in self.features and resource in self.resources:
            per = PER[self.features[feature].measure]
            unit = f"{self.resources[resource].unit} per {per}"
        amount = self.figure(row, f"supplies/{feature}/{resource}", unit=unit)
        weights = []
        for month in MONTHS:
            weight = self.cells.number(row, month)
            if weight < 0 or weight > 1:
                what = f"The share for {month} is {weight:g}."
                self.faults.append(row.fault(what, "It must lie between 0 and 1."))
            weights.append(weight)
        return Supply(feature, resource, amount, tuple(weights))

    def all_groups(self) -> dict[str, Group]:
        rows = {row.cells["key"]: row for row in self.tables["groups.csv"]}
        anchors: dict[str, list[Row]] = {}
        plain_rows = []
        for row in self.tables["group_figures.csv"]:
            if row.cells["quantity"] == "anchor":
                self.cells.known(row, "group", rows, "group")
                anchors.setdefault(row.cells["group"], []).append(row)
            else:
                plain_rows.append(row)
        figures = self.by_owner("group_figures.csv", ("group",), rows, "group", plain_rows)
        needs = self.all_needs(rows)
        return {
            key: self.group(row, figures.get((key,), {}), anchors.get(key, []), needs.get(key, ()))
            for key, row in rows.items()
        }

    def group(
        self,
        row: Row,
        figure_rows: Mapping[str, Row],
        anchor_rows: list[Row],
        needs: tuple[Need, ...],
    ) -> Group:
        cells = self.cells
        key = self.key(row)
        step_resource = cells.known(row, "step_resource", self.resources, "resource")
        step_unit = self.resources[step_resource].unit if step_resource in self.resources else None
        units = {"step_min": step_unit, "weight": "votes"}
        figures = {
            quantity: self.owned(
                row,
                figure_rows,
                f"groups/{key}/{quantity}",
                unit=units.get(quantity, "m"),
                positive=quantity != "weight",
            )
            for quantity in _GROUP_QUANTITIES
            if quantity != "anchor"
        }
        if not anchor_rows:
            what = "The group has no anchor: nothing that it lives or breeds in."
            mend = "Add a row with the quantity 'anchor' and its resource to group_figures.csv."
            self.faults.append(row.fault(what, mend))
        caution = row.cells["caution"]
        if caution:
            cells.known(row, "caution", self.cautions, "caution")
        months = cells.months(row, "active_months")
        self.origin(
            row, f"groups/{key}/active_months", "months", f"months {row.cells['active_months']}"
        )
        return Group(
            key=key,
            name=cells.text(row, "name"),
            latin=cells.text(row, "latin"),
            mode=cast("Literal['air', 'ground']", cells.choice(row, "mode", ("air", "ground"))),
            hop=figures["hop"],
            d50=figures["d50"],
            active_months=months,
            anchors=tuple(self.anchor(anchor, key) for anchor in anchor_rows),
            anchor_reach=figures["anchor_reach"],
            step_resource=step_resource,
            step_min=figures["step_min"],
            weight=figures["weight"],
            caution=caution,
            home_is=cells.text(row, "home_is"),
            needs=needs,
        )

    def anchor(self, row: Row, group: str) -> Anchor:
        resource = self.cells.known(row, "resource", self.resources, "resource")
        self.must_be_supplied(row, resource)
        unit = self.resources[resource].unit if resource in self.resources else None
        key = f"groups/{group}/anchor/{resource}"
        return Anchor(resource, self.figure(row, key, unit=unit, positive=True))

    def all_needs(self, groups: Mapping[str, Row]) -> dict[str, tuple[Need, ...]]:
        rows = {row.key: row for row in self.tables["needs.csv"]}
        figures = self.by_owner("need_figures.csv", ("group", "need"), rows, "need")
        needs: dict[str, tuple[Need, ...]] = {}
        for key, row in rows.items():
            group = self.cells.known(row, "group", groups, "group")
            needs[group] = (*needs.get(group, ()), self.need(row, figures.get(key, {})))
        return needs

    def need(self, row: Row, figure_rows: Mapping[str, Row]) -> Need:
        cells = self.cells
        group, key = row.cells["group"], self.key(row)
        resource = cells.known(row, "resource", self.resources, "resource")
        self.must_be_supplied(row, resource)
        resource_unit = self.resources[resource].unit if resource in self.resources else None
        address = f"needs/{group}/{key}"
        figures = {
            quantity: self.owned(
                row,
                figure_rows,
                f"{address}/{quantity}",
                unit={"amount": resource_unit, "reach": "m"}.get(quantity, "share"),
                positive=quantity in ("amount", "reach"),
                most=1 if quantity in ("weight", "floor") else math.inf,
            )
            for quantity in _NEED_QUANTITIES
        }
        months = cells.months(row, "months")
        self.origin(row, f"{address}/months", "months", f"months {row.cells['months']}")
        rule = cells.choice(row, "month_rule", ("mean", "worst"))
        return Need(
            key=key,
            group=group,
            name=cells.text(row, "name"),
            resource=resource,
            months=months,
            month_rule=cast("Literal['mean', 'worst']", rule),
            amount=figures["amount"],
            reach=figures["reach"],
            weight=figures["weight"],
            floor=figures["floor"],
        )

    def plot_kind(self, row: Row) -> PlotKind:
        implies = row.cells["implies"] or None
        if implies is not None:
            self.cells.known(row, "implies", self.features, "feature")
        words = self.cells.listed(row, "words")
        traits = self.cells.choices(row, "traits", get_args(PlotTrait))
        return PlotKind(
            self.key(row),
            self.cells.text(row, "name"),
            words,
            implies,
            frozenset(cast("tuple[PlotTrait, ...]", traits)),
        )

    def all_plants(self) -> dict[str, Plant]:
        rows = {row.cells["key"]: row for row in self.tables["plants.csv"]}
        figures = self.by_owner("plant_figures.csv", ("plant",), rows, "plant")
        return {key: self.plant(row, figures.get((key,), {})) for key, row in rows.items()}

    def plant(self, row: Row, figure_rows: Mapping[str, Row]) -> Plant:
        cells = self.cells
        key = self.key(row)
        start, end = self.flower_month(row, "flower_start"), self.flower_month(row, "flower_end")
        if (start == 0) != (end == 0):
            mend = "Write 0 in both where the flower does not matter."
            self.faults.append(row.fault("Only one of the flowering months is 0.", mend))
        height, spread = (
            self.owned(row, figure_rows, f"plants/{key}/{quantity}", unit="m", positive=True)
            for quantity in _PLANT_QUANTITIES
        )
        self.origin(row, f"plants/{key}/flower_months", "months", f"months {start}-{end}")
        self.origin(row, f"plants/{key}/hazard", "hazard", row.cells["hazard"])
        self.origin(row, f"plants/{key}/traits", "traits", "light, soil, container, roles, native")
        return Plant(
            key=key,
            name=cells.text(row, "name"),
            latin=cells.text(row, "latin"),
            layer=cells.choice(row, "layer", LAYERS),
            flower_start=start,
            flower_end=end,
            light=cells.choice(row, "light", ("sun", "part", "shade", "any")),
            soil=cells.text(row, "soil"),
            container=cells.flag(row, "container"),
            height=height,
            spread=spread,
            roles=cells.listed(row, "roles"),
            native=cells.flag(row, "native"),
            hazard=cells.text(row, "hazard"),
            note=row.cells["note"],
            months_source=row.cells["months_source"],
            hazard_source=row.cells["hazard_source"],
        )

    def flower_month(self, row: Row, column: str) -> int:
        month = self.cells.number(row, column)
        if month in range(13):
            return int(month)
        if not math.isnan(month):
            what = f"'{row.cells[column]}' in the column '{column}' is not a month."
            self.faults.append(row.fault(what, "Write 1 to 12, or 0 in both columns."))
        return 1

    # shared helpers ----------------------------------------------------------------------

    def key(self, row: Row) -> str:
        """Return the row's own key, which must be a plain word."""
        return self.cells.plain_key(row)

    def figure(
        self,
        row: Row,
        key: str,
        *,
        unit: str | None = None,
        least: float = 0,
        positive: bool = False,
        most: float = math.inf,
    ) -> Figure:
        figure = self.cells.figure(row, key, unit=unit, least=least, positive=positive, most=most)
        self.figures[key] = figure
        return figure

    def owned(
        self,
        owner: Row,
        rows: Mapping[str, Row],
        key: str,
        *,
        unit: str | None,
        positive: bool = False,
        most: float = math.inf,
    ) -> Figure:
        """Return a number of something, out of the rows of its numbers."""
        quantity = key.rpartition("/")[2]
        row = rows.get(quantity)
        if row is not None:
            return self.figure(row, key, unit=unit, positive=positive, most=most)
        table = owner.table.removesuffix("s.csv") + "_figures.csv"
        what = f"It has no number for '{quantity}'."
        self.faults.append(owner.fault(what, f"Add a row for it to {table}."))
        return Figure(key, math.nan, "", math.nan, math.nan, "assumption", (), "", owner.place)

    def by_owner(
        self,
        table: str,
        columns: tuple[str, ...],
        owners: Mapping[str, Row] | Mapping[tuple[str, ...], Row],
        what: str,
        rows: list[Row] | None = None,
    ) -> dict[tuple[str, ...], dict[str, Row]]:
        """Sort the rows of a table of numbers by what they belong to, then by quantity."""
        quantities = {
            "feature": _FEATURE_QUANTITIES,
            "group": _GROUP_QUANTITIES,
            "need": _NEED_QUANTITIES,
            "plant": _PLANT_QUANTITIES,
        }[what]
        known = {key if isinstance(key, tuple) else (key,) for key in owners}
        sorted_rows: dict[tuple[str, ...], dict[str, Row]] = {}
        for row in self.tables[table] if rows is None else rows:
            owner = tuple(row.cells[column] for column in columns)
            if owner not in known:
                names = ["/".join(key) for key in sorted(known)]
                hint = nearest_hint("/".join(owner), names)
                self.faults.append(
                    row.fault(
                        f"'{'/'.join(owner)}' is not a known {what}.{hint}",
                        f"Write a key of the {what} table, or add it there.",
                    )
                )
            quantity = self.cells.choice(row, "quantity", quantities)
            if row.cells.get("resource"):
                mend = "Leave the resource empty: only an anchor has one."
                self.faults.append(row.fault(f"'{quantity}' has a resource.", mend))
            if row.cells["quantity"] in quantities:
                sorted_rows.setdefault(owner, {})[quantity] = row
        return sorted_rows

    def origin(self, row: Row, key: str, stem: str, words: str) -> None:
        kind: Class
        kind, keys = self.cells.origin(row, f"{stem}_class", f"{stem}_source")
        note = row.cells.get(f"{stem}_note", "")
        self.origins[key] = Origin(key, words, kind, keys, note, row.place)

    def must_be_supplied(self, row: Row, resource: str) -> None:
        if resource in self.resources and resource not in self.supplied:
            what = f"No feature gives '{resource}', so no plot could ever hold this group."
            self.faults.append(row.fault(what, "Add a row to supplies.csv."))

    def clashes(
        self,
        table: str,
        records: Mapping[str, Feature]
        | Mapping[str, PlotKind]
        | Mapping[str, BarrierKind]
        | Mapping[str, KeepUse]
        | Mapping[str, StreetObjectKind],
    ) -> None:
        rows = {row.cells["key"]: row for row in self.tables[table]}
        for word, keys in word_index(records.values()).items():
            if len(keys) > 1:
                # Blame a row of the user's own table rather than one that ships.
                found = [rows[key] for key in keys]
                row = next((row for row in found if row.where != row.table), found[-1])
                others = ", ".join(key for key in keys if key != row.cells["key"])
                what = f"The word '{word}' is also a word for {others}."
                self.faults.append(row.fault(what, "Let it stand for one of them."))
