"""Names and sizes of the invented demo neighbourhood, in metres.

The scenario of one made-up place, not knowledge about real streets: sizes are chosen so that
the plan looks like an English one of terraces and semi-detached houses.
"""

TERRACE_STREET = "Wickthorn Street"
VILLA_STREET = "Mallowby Road"
PARK = "Osier Green"
# Start, bend and end of the two centre lines. A street is seen in the direction it runs:
# offsets to its left are positive, to its right negative.
TERRACE_LINE = ((50.0, 86.0), (130.0, 108.0), (220.0, 84.0))
VILLA_LINE = ((229.0, -24.0), (214.0, 76.0), (223.0, 150.0))
# Offsets from the centre line of the terraced street.
TERRACE = {"kerb": 2.8, "front": 4.8, "house": 7.2, "rear": 15.4, "outrigger": 19.2}
TERRACE_WIDTH = (5.9, 6.8)
NORTH_HOUSES = tuple(range(1, 38, 2))
SOUTH_HOUSES = tuple(range(2, 37, 2))
NORTH_DEPTH = (35.0, 31.0)  # offset of the garden end, at the west and at the east end
SOUTH_DEPTH = (30.0, 35.5)
SOUTH_STEPS = {4: 2.5, 5: 2.5, 11: -3.0, 12: -3.0, 13: -3.0}  # gardens longer or shorter
PASSAGE_AFTER = {7: 1.7, 13: 1.7}  # a passage between two blocks of houses, its width
ALLEY = 2.4
# Offsets from the centre line of the street of semi-detached houses.
VILLA = {"kerb": 3.2, "verge": 4.7, "front": 6.5, "house": 12.4, "deep": 8.6, "side": 2.3}
VILLA_WIDTH = (8.7, 9.7)
VILLA_HOUSES = tuple(range(1, 24, 2))
VILLA_DEPTH = (50.0, 42.0)
# Planters: street, distance along it, offset, length, depth.
PLANTERS = (
    ("t", 36.0, 3.4, 1.4, 0.7),
    ("t", 45.5, -3.4, 1.5, 0.8),
    ("t", 54.0, 3.4, 1.6, 0.9),
    ("t", 126.0, -3.5, 1.2, 0.8),
    ("t", 131.5, -3.5, 1.2, 0.8),
    ("t", 140.0, 3.4, 1.5, 1.0),
    ("v", 61.0, 5.3, 1.2, 0.8),
    ("v", 79.0, 5.3, 1.0, 0.6),
    ("v", 96.0, -5.4, 0.9, 0.6),
    ("v", 112.0, -5.4, 1.2, 0.6),
    ("v", 137.0, 5.3, 1.3, 0.7),
)
VERGES = ((16.0, 44.0, 1), (112.0, 146.0, 1), (12.0, 47.0, -1), (58.0, 92.0, -1))
BALCONIES = (0.08, 0.31, 0.54, 0.77)  # share of the way along the front of the flats
FLATS = (51.0, 71.5)
ALLOTMENTS = (13.5, 23.0, 32.0, 42.0, 51.0)
OUTSIDE = (8.0, 26.5)  # houses on the west side that nobody surveyed, nor counted storeys of
# How high buildings are: storeys counted from the street, or metres that somebody measured.
STOREYS = {TERRACE_STREET: 2, VILLA_STREET: 2, "Corner shop": 2, "School": 1, "Ropewalk Flats": 4}
LOFTS = tuple(f"{number} {TERRACE_STREET}" for number in (9, 10, 23, 28))  # with a third storey
HEIGHTS = {"Garages": 2.4, "Rope works": 7.5, "Chapel": 9.5}
# The north footway of the terraced street where it is built out: from, to, offset of its kerb,
# and its width where somebody measured it. Beyond it a stretch that nobody measured.
BUILT_OUT = ((57.3, 86.0, 1.4, 3.4), (86.0, 93.0, 1.9, None))
UNMEASURED = (93.0, 100.3)
# Twelfths of the street's length, and how much narrower than usual its carriageway is there.
NARROWED = ((0, 4, 0.0), (4, 6, 1.4), (6, 7, 1.1), (7, 12, 0.0))
SPEEDS = {TERRACE_STREET: "20 mph", VILLA_STREET: "30 mph"}
# What stands in the two streets: kind, street, distance along it, offset, width if measured.
STREET_OBJECTS = (
    ("driveway", "t", 14.0, 2.8, 2.8),
    ("lamp column", "t", 30.0, 3.0, None),
    ("hydrant", "t", 50.5, 4.2, None),
    ("gate", "t", 61.5, 4.8, 0.9),
    ("cover", "t", 66.2, 2.2, 0.6),
    ("lamp column", "t", 67.4, 1.7, None),
    ("gate", "t", 74.4, 4.8, 0.9),
    ("bench", "t", 82.6, 4.3, 1.6),
    ("gate", "t", 87.2, 4.8, 0.9),
    ("tree", "t", 99.0, 2.7, 0.3),
    ("crossing", "t", 112.0, 0.0, 2.4),
    ("cabinet", "t", 117.0, -4.5, 1.2),
    ("bin", "t", 127.2, -3.2, 0.5),
    ("shop door", "t", 136.0, -4.8, 1.2),
    ("lamp column", "t", 24.0, -3.0, None),
    ("cover", "t", 76.0, -3.6, None),
    ("lamp column", "t", 98.0, -3.0, None),
    ("dropped kerb", "v", 100.5, 3.2, 1.2),
    ("driveway", "v", 30.0, -3.2, 3.0),
    ("driveway", "v", 49.5, -3.2, 3.0),
    ("bus stop", "v", 84.0, 3.2, None),
    ("driveway", "v", 106.0, -3.2, 3.0),
    ("parking", "v", 130.0, -3.2, 18.0),
    ("lamp column", "v", 72.0, -4.9, None),
    ("gully", "t", 40.0, 2.8, 0.45),
    ("gully", "t", 85.6, 1.4, 0.45),
    ("gully", "t", 121.0, -2.8, 0.45),
    ("tactile paving", "t", 112.0, 3.4, 2.4),
    ("tactile paving", "t", 112.0, -3.4, 2.4),
    ("bins day", "t", 22.0, 4.3, 2.0),
    ("looked", "t", 48.0, 4.0, 90.0),
    ("looked", "t", 139.0, 4.0, 76.0),
    ("looked", "t", 88.0, -4.0, 178.0),
)
