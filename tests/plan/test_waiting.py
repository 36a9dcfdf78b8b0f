"""What is added counts as it will stand in some years."""

import dataclasses
import math

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.plan.waiting import in_time

TABLES = load_knowledge()


def with_years(**years):
    features = {
        key: dataclasses.replace(
            TABLES.features[key],
            years_to_work=dataclasses.replace(TABLES.features[key].years_to_work, value=value),
        )
        for key, value in years.items()
    }
    return dataclasses.replace(TABLES, features={**TABLES.features, **features})


def test_two_thirds_after_half_the_years_worked_on_paper():
    """Five years ahead. Ten years to work: 1 - exp(-2 x 5 / 10) = 1 - 1/e = 0.6321.

    Five: 1 - exp(-2) = 0.8647. None: all of it. What is taken away is gone at once.
    """
    tables = with_years(tree_small=10, hedge_native=5, bird_bath=0, paving=10)
    assert tables.setting("years_ahead") == 5
    counted = in_time({"tree_small": 1, "hedge_native": 8, "bird_bath": 1, "paving": -20}, tables)
    assert counted == pytest.approx(
        {"tree_small": 0.6321, "hedge_native": 8 * 0.8647, "bird_bath": 1, "paving": -20}, abs=1e-3
    )


@pytest.mark.parametrize(
    ("feature", "years"),
    [("nest_box_small", 1.5), ("nest_box_sparrow", 3), ("bat_box", 4), ("bee_hotel", 1),
     ("hedgehog_house", 2), ("buried_dead_wood", 6), ("pond", 2), ("nest_box_open", 2)],
)  # fmt: skip
def test_boxes_are_found_as_slowly_as_studies_say(feature, years):
    """Years until two thirds of what will be used are used: 1 - 1/e after that time.

    Studies and our reading of them stand at uses.csv and feature_figures.csv of each.
    """
    ahead = TABLES.setting("years_ahead")
    part = in_time({feature: 1.0}, TABLES)[feature]
    assert part == pytest.approx(1 - math.exp(-ahead / years))
