"""What grows and stands on the plots of the invented demo neighbourhood.

A made-up survey, plot by plot. It is arranged so that a map of it has something to tell:

- ponds in and beside the park, and one far away at the other end;
- a paved stretch in the middle of the terraces that small birds and moths do not cross, with
  a chain of green planters that reaches into it from the west but stops short;
- a corner in the south-east that flowers in summer but hardly in March or October;
- sparrows' nest places in the old roofs at the west end;
- back gardens nobody could look into, about a third of them.
"""

import random
import re
from dataclasses import dataclass

from patchnet.demo.drawing import Plan, Point

__all__ = ["Survey", "describe"]

# One recipe a line of features: amount from-to, % of the plot's area where marked, and in
# brackets how likely it is there (certain where nothing is said).
RECIPES = {
    # terraces, behind
    "pond_garden": "pond 3-5; long_grass 10-14%; flower_border 10-14%; shrub 4-7; paving 15-20%;"
    " dead_wood_pile 1-1; lawn_short 15-20%; bog 1-2 (0.5); hedge_native 3-5",
    "wild_garden": "long_grass 14-20%; lawn_flowering 15-25%; shrub 6-10; hedge_native 4-6;"
    " tree_small 1-1; leaf_pile 1-2; dead_wood_pile 1-2; compost_heap 1-1; bulbs 1-2;"
    " nettle_patch 1-2 (0.5); paving 8-12%; hedgehog_house 1-1 (0.4); flower_border 6-9%",
    "ivy_garden": "ivy_mature 8-14; climber 6-10; shrub 5-8; paving 30-40%; lawn_short 20-25%;"
    " flower_border 8-12%; bird_bath 1-1; green_roof 3-4 (0.5); bee_hotel 1-1",
    "kitchen_garden": "vegetable_bed 20-28%; herb_bed 2-4; compost_heap 1-1; fruit_tree 1-1;"
    " lawn_short 18-24%; paving 18-24%; shrub 2-4; hedge_evergreen 3-4; bee_hotel 1-1 (0.5)",
    "lawn_garden": "lawn_short 40-50%; flower_border 10-14%; shrub 4-7; paving 15-22%;"
    " bird_feeder 1-1; nest_box_small 1-1 (0.6); hedge_evergreen 4-6; climber 3-5 (0.5)",
    "paved_yard": "paving 84-94%; hanging_basket 1-2 (0.4); bird_feeder 1-1 (0.3)",
    "potted_yard": "paving 84-92%; hanging_basket 2-4; window_box 2-3; insect_drinker 1-1 (0.4)",
    "decked_yard": "decking 25-35%; artificial_grass 38-48%; paving 10-18%",
    # terraces, in front
    "bare_front": "paving 84-96%",
    "potted_front": "paving 80-90%; window_box 1-2; hanging_basket 1-2; bee_hotel 1-1 (0.2)",
    "boxes_front": "paving 85-92%; window_box 2-3; bee_hotel 1-1 (0.3)",
    "green_front": "paving 35-45%; shrub 2-3; herb_bed 1-1; climber 4-6; bulbs 0.5-1",
    "hedged_front": "paving 40-50%; hedge_native 3-4; flower_border 1.5-2; bulbs 0.5-1 (0.5)",
    # semi-detached, in front
    "villa_front": "lawn_short 35-45%; paving 25-35%; flower_border 6-10%; hedge_native 4-6;"
    " bulbs 1-2 (0.6); shrub 2-3",
    "drive_front": "paving 75-85%; shrub 2-3 (0.6); window_box 1-2 (0.4)",
    "mown_front": "lawn_short 50-60%; paving 30-38%; hedge_evergreen 3-5 (0.6)",
    "rose_front": "paving 30-36%; lawn_short 20-25%; flower_border 14-18%; climber 3-5; shrub 3-4",
    # semi-detached, behind
    "mown_back": "lawn_short 58-66%; paving 14-18%; hedge_evergreen 8-12; decking 5-8% (0.6);"
    " bird_bath 1-1 (0.5)",
    "june_back": "long_grass 40-46%; lawn_short 22-26%; hedge_evergreen 6-9; paving 10-14%;"
    " compost_heap 1-1",
    "orchard_back": "fruit_tree 3-4; long_grass 20-26%; lawn_flowering 28-34%; shrub 10-14;"
    " hedge_native 10-14; pond 4-6; compost_heap 1-1; dead_wood_pile 2-2; ivy_mature 5-8;"
    " buried_dead_wood 1-1; bat_box 1-2; paving 7-9%; bulbs 2-4",
    "tree_back": "tree_small 2-2; lawn_flowering 30-36%; flower_border 10-14%; shrub 12-16;"
    " hedge_native 8-12; leaf_pile 1-2; dead_wood_pile 1-1; nest_box_open 1-1; paving 12-16%;"
    " fence_gap 1-1; herb_bed 2-4",
    # the rest
    "bedding": "",
    "trellis": "climber 5-6",
    "green_trellis": "climber 5-6; bulbs 0.3-0.5; insect_drinker 1-1 (0.5)",
    "plain_verge": "lawn_short 90-96%",
    "spring_verge": "lawn_flowering 80-90%; bulbs 3-5; tree_small 2-2",
    "long_verge": "long_grass 70-80%; lawn_short 12-16%; tree_small 1-1",
    "bare_balcony": "",
    "green_balcony": "planter 0.4-0.6; window_box 2-3; hanging_basket 1-1",
    "allotment": "vegetable_bed 45-55%; herb_bed 3-6; compost_heap 1-2; fruit_tree 1-2 (0.6);"
    " long_grass 10-14%; flower_border 4-6%; shrub 6-10; bare_sunny_soil 2-4 (0.6)",
    "shop_yard": "paving 88-94%; ivy_mature 6-8; nest_box_sparrow 1-1",
    "school": "paving 66-70%; lawn_short 16-20%; hedge_evergreen 12-16; planter 1-2; pond 2-3;"
    " bee_hotel 2-2; stone_pile 1-1",
    "chapel": "long_grass 38-42%; lawn_short 20-24%; tree_large 3-3; tree_small 2-2; shrub 20-30;"
    " ivy_mature 20-26; bulbs 6-10; hedge_native 14-18; dead_wood_pile 2-3; stone_pile 1-1;"
    " old_roof_wall 2-2; bat_box 2-2; leaf_pile 4-6; paving 7-9%",
    "meadow": "long_grass 40-44%; lawn_flowering 30-34%; shrub 60-80; bulbs 8-12; leaf_pile 6-8;"
    " dead_wood_pile 2-3",
    "pond_corner": "long_grass 30-34%; lawn_short 26-30%; shrub 40-50; dead_wood_pile 3-3;"
    " stone_pile 1-1",
    "play_lawn": "lawn_short 88-92%; nest_box_small 2-2; shrub 20-30",
}

# Which recipe for which plot. "-": nobody could look in.
TERRACE_BACKS = {
    "north": "pond_garden wild_garden - ivy_garden - - - potted_yard decked_yard paved_yard"
    " decked_yard paved_yard potted_yard paved_yard decked_yard paved_yard kitchen_garden -"
    " lawn_garden",
    "south": "pond_garden lawn_garden - wild_garden - - - paved_yard decked_yard paved_yard"
    " potted_yard paved_yard decked_yard paved_yard potted_yard paved_yard - ivy_garden",
}
TERRACE_FRONTS = {
    "north": "green_front hedged_front potted_front green_front potted_front bare_front"
    " boxes_front bare_front bare_front potted_front bare_front boxes_front bare_front"
    " bare_front potted_front bare_front hedged_front potted_front green_front",
    "south": "hedged_front green_front green_front potted_front bare_front boxes_front bare_front"
    " potted_front bare_front bare_front boxes_front bare_front bare_front potted_front"
    " bare_front bare_front green_front hedged_front",
}
VILLA_BACKS = "mown_back mown_back june_back mown_back - - - tree_back - - - orchard_back"
VILLA_FRONTS = (
    "mown_front drive_front mown_front drive_front villa_front drive_front rose_front"
    " villa_front drive_front rose_front villa_front rose_front"
)
OTHERS = {
    "A": "allotment allotment allotment allotment",
    "B": "bare_balcony green_balcony bare_balcony green_balcony",
    "C": "chapel",
    "G": "school",
    "K": "meadow pond_corner play_lawn",
    "P": "green_trellis trellis green_trellis trellis bedding green_trellis bedding bedding"
    " trellis bedding trellis",
    "S": "shop_yard",
    "V": "plain_verge spring_verge plain_verge long_verge",
}
# Only part could be seen: what is not listed there is not known.
PART_SEEN = {"W03B", "W07B", "W08B", "W33B", "M07B", "M15B", "M23B", "A3", "B3"}
# Said besides, word for word.
SAID = {
    "W01B": "old_roof_wall 2; nest_box_sparrow 2; fence gap",
    "W02B": "old_roof_wall 2; bird feeder",
    "W03B": "old_roof_wall 1; no pond",
    "W04B": "old_roof_wall 1; nest_box_sparrow 1",
    "W07B": "no pond; no tree_large",
    "W33B": "no pond",
    "M07B": "no pond; no bulbs; no ivy_mature; no flower_border; no tree_small; no fruit_tree",
    "M15B": "hedgehog_house 1?; no pond",
    "A3": "container_pond 1?",
    "B3": "no planter",
}
# Words that one of the two imagined volunteers writes instead of the table's own.
PLAIN = {
    "bird_bath": "bird bath",
    "bird_feeder": "bird feeder",
    "bee_hotel": "bee hotel",
    "flower_border": "flower border",
    "compost_heap": "compost heap",
    "dead_wood_pile": "log pile",
    "leaf_pile": "leaf pile",
    "window_box": "window box",
    "hanging_basket": "hanging basket",
    "herb_bed": "herbs",
    "vegetable_bed": "vegetables",
    "lawn_short": "lawn",
    "fruit_tree": "fruit tree",
}
UNSURE = 0.05  # how often an amount is followed by "?"
UNSIZED = 0.08  # how often a thing is written without its amount
# These are always written with an amount and without "?".
PLAIN_TO_SEE = {"paving", "lawn_short", "artificial_grass", "decking", "planter", "climber"}
COUNTED = {
    "bat_box",
    "bee_hotel",
    "bird_bath",
    "bird_feeder",
    "buried_dead_wood",
    "compost_heap",
    "dead_wood_pile",
    "fence_gap",
    "fruit_tree",
    "hanging_basket",
    "hedgehog_house",
    "insect_drinker",
    "nest_box_open",
    "nest_box_small",
    "nest_box_sparrow",
    "old_roof_wall",
    "stone_pile",
    "tree_large",
    "tree_small",
    "window_box",
}

_LINE = re.compile(r"(\w+) ([\d.]+)-([\d.]+)(%?)(?: \(([\d.]+)\))?")


@dataclass(frozen=True, slots=True)
class Survey:
    """One row of features.csv."""

    ident: str
    seen: str
    features: str


def _area(ring: tuple[Point, ...]) -> float:
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    return abs(twice) / 2


def _recipes() -> dict[str, str]:
    """Plot id -> name of its recipe."""
    found = {}
    for first, row in enumerate(("north", "south"), start=1):
        for part, table in (("B", TERRACE_BACKS), ("F", TERRACE_FRONTS)):
            for i, name in enumerate(table[row].split()):
                found[f"W{first + 2 * i:02d}{part}"] = name
    for part, text in (("B", VILLA_BACKS), ("F", VILLA_FRONTS)):
        for i, name in enumerate(text.split()):
            found[f"M{1 + 2 * i:02d}{part}"] = name
    for letter, text in OTHERS.items():
        for i, name in enumerate(text.split(), start=1):
            found[f"P{i:02d}" if letter == "P" else f"{letter}{i}"] = name
    return found


def _amount(rng: random.Random, low: float, high: float, *, counted: bool) -> float:
    """Draw an amount as people write it: whole numbers, halves below three, tenths below one."""
    value = low + (high - low) * rng.random()
    if counted or value >= 3:
        return float(round(value))
    step = 2 if value >= 1 else 10
    return round(value * step) / step


def _words(rng: random.Random, recipe: str, area: float, *, plain: bool) -> list[str]:
    words = []
    for feature, low, high, percent, chance in _LINE.findall(recipe):
        # Every line draws the same three numbers, so that a change to one stays local.
        there, unsure, unsized = rng.random(), rng.random(), rng.random()
        scale = area / 100 if percent else 1.0
        amount = _amount(rng, float(low) * scale, float(high) * scale, counted=feature in COUNTED)
        if chance and there > float(chance):
            continue
        word = PLAIN.get(feature, feature) if plain else feature
        if feature in PLAIN_TO_SEE:
            words.append(f"{word} {amount:g}")
        elif unsized < UNSIZED:
            words.append(word)
        else:
            words.append(f"{word} {amount:g}{'?' if unsure < UNSURE else ''}")
    return words


def describe(plan: Plan, rng: random.Random) -> list[Survey]:
    """Tell what was seen on each plot, in the order of the plan."""
    recipes = _recipes()
    surveys = []
    for plot in plan.plots:
        recipe = recipes[plot.ident]
        plain = rng.random() < 0.4
        if recipe == "-":
            surveys.append(Survey(plot.ident, "none", ""))
            continue
        words = _words(rng, RECIPES[recipe], _area(plot.ring), plain=plain)
        if plot.ident in SAID:
            words.append(SAID[plot.ident])
        seen = "part" if plot.ident in PART_SEEN else "all"
        surveys.append(Survey(plot.ident, seen, "; ".join(words)))
    return surveys
