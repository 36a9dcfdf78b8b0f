"""What can grow in a street planter: recipes as shares of its soil."""

from collections.abc import Collection, Mapping

from patchnet.knowledge.cells import Cells
from patchnet.knowledge.records import Figure, Recipe
from patchnet.knowledge.tables import Row

__all__ = ["all_recipes"]

_UNIT = "m2 per m2 of soil"


def all_recipes(
    tables: Mapping[str, list[Row]],
    cells: Cells,
    figures: dict[str, Figure],
    features: Collection[str],
) -> dict[str, Recipe]:
    """Build the recipes; each must say how much of which feature a square metre of soil gives."""
    rows = {row.cells["key"]: row for row in tables["planter_recipes.csv"]}
    amounts: dict[str, dict[str, Figure]] = {}
    for row in tables["planter_recipe_figures.csv"]:
        recipe = cells.known(row, "recipe", rows, "planter recipe")
        feature = cells.known(row, "feature", features, "feature")
        key = f"planter_recipes/{recipe}/{feature}"
        figures[key] = cells.figure(row, key, unit=_UNIT)
        amounts.setdefault(recipe, {})[feature] = figures[key]
    for key, row in rows.items():
        if key not in amounts:
            mend = "Add rows for it to planter_recipe_figures.csv."
            cells.faults.append(row.fault("Nothing says what grows in it.", mend))
    return {
        key: Recipe(key, cells.text(row, "name"), row.cells["words"], amounts.get(key, {}))
        for key, row in rows.items()
    }
