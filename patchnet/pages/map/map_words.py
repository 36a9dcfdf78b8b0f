"""The words of the map page. ``{name}`` is filled in by the page's script."""

from patchnet.core.texts import N_, Words
from patchnet.pages.kit.numbers import MONTH_NAMES
from patchnet.pages.map.additions_payload import ADDITIONS_WORDS
from patchnet.pages.map.sun_layer import SUN_WORDS

__all__ = [
    "ASSUMPTIONS",
    "CLASS_WORDS",
    "LEFT_OUT",
    "PAGE",
    "PRIVACY",
    "PRIVACY_GAPS",
    "PUBLIC",
    "PUBLIC_SCRIPT",
    "SCRIPT",
    "SHOWS",
    "TILES",
]

CLASS_WORDS = {
    "published": "published",
    "second-hand": "published, read second hand",
    "derived": "worked out from published figures",
    "common-practice": "common practice",
    "memory": "from memory, still to be checked",
    "assumption": "our own working assumption",
}

ASSUMPTIONS = "Most figures are our own working assumptions, not findings; see patchnet source."
PRIVACY = "For the group, not for publishing: this page shows what is in people's gardens."
PRIVACY_GAPS = (
    "For the group, not for publishing: this page shows what is in people's gardens and which "
    "fences have gaps."
)
PUBLIC = "Made for publishing: it tells of units of many households, in classes, not of plots."
LEFT_OUT = "Left out:"
TILES = "This page asks the network for its background pictures (map tiles)."

# What the plots can be shaded by, in the order of the list.
SHOWS = {
    "homes": "Homes held",
    "need": "Enough of one need",
    "scarcest": "The scarcest need",
    "hungry": "Hungry months",
    "connected": "Connected groups",
    "feature": "One feature",
    "known": "How much is known",
}

# Words that stand in the page before any script runs.
PAGE = {
    "skip": "Skip the map, go to the table",
    "choose": "Choose what to show",
    "group": "Wildlife group",
    "show": "Show on the plots",
    "need": "Need",
    "feature": "Feature",
    "month": "Month",
    "also": "Also draw",
    "network": "Patches and links",
    "breaks": "Breaks",
    "barriers": "Fences and walls",
    "labels": "Names",
    "toggle_note": "Choose one group to draw its patches, links and breaks.",
    "ground_also": "On the ground",
    "cover": "Ground",
    "corridors": "Corridors",
    "pinch": "Pinch points",
    "make_gaps": "Gaps to make",
    "map": "Map",
    "map_how_svg": (
        "By keyboard: Tab to the plots, arrow keys to the next plot, Enter for its card. "
        "The table holds the same facts."
    ),
    "map_how_canvas": (
        "So many plots are drawn as one picture: by keyboard, use the table, which holds the "
        "same facts and opens every card."
    ),
    "touch": "One finger scrolls the page, two fingers move the map.",
    "one_finger": "Move the map with one finger",
    "tools": "Move the map",
    "zoom_in": "Closer",
    "zoom_out": "Farther",
    "left": "West",
    "up": "North",
    "down": "South",
    "right": "East",
    "whole": "Whole map",
    "under": "Point at a plot, or choose one, to read what it is.",
    "legend": "Legend",
    "card": "Plot card",
    "close": "Close the card",
    "street": "The whole neighbourhood in words",
    "table": "All plots",
    "find": "Find a plot or street",
    "back": "Previous 100",
    "on": "Next 100",
    "about": "Where the figures come from",
    "credits": "Credits",
    "no_script": (
        "The map and the table need JavaScript, which is switched off in this browser. Nothing "
        "is fetched from the network by it."
    ),
    "assumed_counts": "Of the {all} figures in the tables:",
    "sources": "Sources, with the number of figures each stands for",
    "drawn_by": "Map drawn with Leaflet and folium.",
}

_SCRIPT: dict[str, object] = {
    "months": MONTH_NAMES,
    "classes": CLASS_WORDS,
    "not_known": "not known",
    "not_seen": "not seen from outside, assumed",
    "not_there": "not there",
    "there": N_("there"),
    "none": "\N{EN DASH}",
    "nothing": "nothing",
    "tiny": "<0.001",
    "any_number": "any number",
    "touching": "next door",
    "metres": "{n} m",
    "square_metres": "{n} m²",
    "pieces": "{n}",
    "home": "{n} home",
    "homes": "{n} homes",
    "range": "{middle} ({low} to {high})",
    "low_high": "{low}\N{EN DASH}{high}",
    "low_high_words": "({low} to {high}, by what is not known)",
    "percent": "{n} %",
    "of_all": "{n} of {all}",
    "and": " and ",
    "and_more": " and more",
    "all_year": "all year",
    "month_span": "{from} to {to}",
    "plot": "{n} plot",
    "plots": "{n} plots",
    "all_groups": "All groups together",
    "any_month": "Any month",
    "anchor_need": "place to live ({anchor})",
    "size_assumed": "size assumed",
    "not_sure": "not sure",
    "id_words": "id {id}",
    # scales
    "scale_any": "some {unit}",
    "scale_first": "up to {to} {unit}",
    "scale_middle": "over {from}, up to {to} {unit}",
    "scale_last": "over {from} {unit}",
    "unit_homes": "homes",
    "unit_groups": "groups",
    "unit_m2": "m²",
    "unit_m": "m",
    "unit_count": "pieces",
    # layers
    "title_homes": "{group}: homes held",
    "note_index": "Homes are an index of room, not a count of animals.",
    "no_patch": "no habitat this group uses",
    "no_patch_any": "no habitat any group uses",
    "patch_no_home": "habitat, but no home",
    "doubt_homes": "any home here rests on what nobody has seen yet",
    "title_need": "{group}: enough {need}?",
    "note_need": (
        "{months}, within {reach} m. One home takes {amount} {unit} ({class}). Compared with the "
        "homes there is room for within the same distance."
    ),
    "no_room": "no room for a home within reach",
    "enough_none": "nothing within reach",
    "enough_under_half": "enough for fewer than half the homes",
    "enough_under": "enough for half the homes or more, not for all",
    "enough_all": "enough for all homes there is room for",
    "enough_twice": "enough for twice as many, or more",
    "doubt_need": "turns on what nobody has seen yet",
    "title_anchor": "{group}: room for homes ({anchor})",
    "note_anchor": "One home is {home}. Pieces within {reach} m can make one home together.",
    "no_room_here": "no room on this plot",
    "title_scarcest": "{group}: the scarcest need",
    "note_scarcest": "What a plot here should add first: the need that is enough for fewest homes.",
    "nothing_scarce": "nothing to name",
    "other_needs": "other needs",
    "title_feature": "{feature}",
    "note_feature": "There, not there, or not known: a blank answer is never taken for a no.",
    "title_connected": "{group}: connected groups",
    "note_connected": (
        "Plots whose habitat lies within one move of each other, {hop} m at most. Number 1 holds "
        "most homes."
    ),
    "note_connected_ground": (
        "Plots whose habitat this group can walk between, round houses and walls, in one move: at "
        "most as hard as {hop} m over good ground. Number 1 holds most homes."
    ),
    "group_number": "connected group {n}",
    "smaller_groups": "smaller connected groups",
    "title_hungry": "{group}: hungry months",
    "title_hungry_month": "{group}: hungry in {month}?",
    "note_hungry": (
        "A month is hungry where what grows within reach feeds fewer homes than there is room for."
    ),
    "hungry_0": "no hungry month",
    "hungry_1": "1 hungry month",
    "hungry_2": "2 or 3 hungry months",
    "hungry_4": "4 hungry months or more",
    "month_enough": "enough, or nothing needed, in this month",
    "month_not_needed": "nothing needed in this month",
    "month_hungry": "hungry in {month}",
    "title_known": "How much is known",
    "note_known": "Share of the features with an answer, yes or no.",
    "known_none": "nothing known yet",
    "known_under_half": "less than half known",
    "known_over_half": "half or more known",
    "known_all": "everything known",
    "title_all_groups": "All groups together",
    "title_all_homes": "For how many groups a home is held here",
    "all_homes_none": "no home for any group",
    "title_all_enough": "For how many groups everything within reach is enough",
    "note_all_enough": (
        "Counts the groups with room for a home within reach and enough of every need. Choose one "
        "group to see its needs one by one."
    ),
    "all_enough_none": "for no group",
    "title_all_patch": "For how many groups there is habitat here",
    "note_all_patch": "Habitat counts even without a home: it can be a stepping stone.",
    "title_all_hungry": "How many groups have a hungry month here",
    "title_all_hungry_month": "How many groups are hungry here in {month}",
    "all_hungry_none": "no group goes hungry",
    "title_all_scarcest": "What is scarcest for most groups",
    "note_all_scarcest": "At each plot: what the largest number of groups is shortest of.",
    # table
    "head_plot": "Plot",
    "head_homes": "Homes held",
    "head_range": "Low to high",
    "head_room": "Room for",
    "head_within": "Room within {reach} m",
    "head_enough": "Enough for",
    "head_room_reach": "Room within reach",
    "head_met": "Share met",
    "head_scarcest": "Scarcest",
    "head_answer": "Answer",
    "head_amount": "Amount",
    "head_connected": "Group",
    "head_group_size": "Plots in it",
    "head_hungry_count": "Hungry months",
    "head_hungry": "Which",
    "head_known": "Known",
    "head_unknown": "Not known",
    "head_all_homes": "Groups at home",
    "head_all_enough": "Groups with enough",
    "head_all_patch": "Groups with habitat",
    "head_all_hungry": "Groups hungry",
    "head_votes": "For",
    "sorted_up": "Sorted by {column}, smallest first.",
    "sorted_down": "Sorted by {column}, largest first.",
    "rows_shown": "Plots {from} to {to} of {all}",
    "rows_none": "No plot of that name.",
    "found_one": "{n} plot found",
    "found_many": "{n} plots found",
    # legend
    "legend_patch_homes": "patch that holds homes (larger: more)",
    "legend_patch": "patch without a home: a stepping stone",
    "legend_links": (
        "link: the {shown} shortest of {all} that hold the connected groups together (one move is "
        "{hop} m at most)"
    ),
    "legend_ways": (
        "link: the {shown} easiest of {all} that hold the connected groups together, drawn as the "
        "group would walk (one move is at most as hard as {hop} m over good ground)"
    ),
    "legend_corridor": (
        "corridor: the easiest way across one of the first breaks and, shaded, ways hardly harder"
    ),
    "legend_pinch_some": ("squeezed: one of the 3 places in 100 that most movement has to pass"),
    "legend_pinch_much": (
        "pinch point: the 1 place in 100 that most movement has to pass; keep it open"
    ),
    "legend_make_gap": "gap worth making, A first; ask the owner before",
    "legend_break": "break, numbered by what closing it would win",
    "legend_stone": "where a stepping stone would close it",
    "gaps": {
        "yes": "has a gap",
        "no": "has no gap",
        "not_known": "gap not known",
    },
    # the ground, for groups that walk
    "title_cover": "{group}: how hard the ground is",
    "note_cover": (
        "While Ground is ticked, the map shows this in place of what the plots are shaded by. A "
        "metre of the best ground counts as one metre; plots are counted by what most of their "
        "ground is. Fences and walls are drawn apart."
    ),
    "cover_easy": "easy: a metre is worth up to {to} m of the best ground",
    "cover_slower": "slower: worth {from} to {to} m",
    "cover_hard": "hard: worth more than {from} m",
    "cover_closed": "closed: no way through, such as houses",
    "cover_easy_word": "easy",
    "cover_slower_word": "slower",
    "cover_hard_word": "hard",
    "cover_closed_word": "closed",
    "head_cover": "Most of its ground",
    "cover_alt": (
        "{group}: picture of how hard the ground is. The legend and the table say it in words."
    ),
    "pinch_alt": "{group}: picture of where movement is squeezed.",
    "gaps_title": "Gaps worth making in fences and walls",
    "gaps_order": (
        "In this order: each is reckoned with those above it already made. A gap is {side} by "
        "{side} cm, at the ground."
    ),
    "gaps_consent": "A shared fence needs its owner's consent: ask first.",
    "gaps_none": "No gap was found that would win linked homes.",
    "gaps_now": {"no": "none", "not_known": "not known", "yes": "one elsewhere along it"},
    "beside": "the ground beside it",
    "gap_words": "{kind} between {one} and {other}: gap now {now}; wins {won} linked homes.",
    "gap_shortens": (
        "From {one} to {other} is then as hard as {after} over good ground, instead of {before}."
    ),
    "gap_opens": (
        "From {one} to {other}, where there is no way now, is then as hard as {after} over good "
        "ground."
    ),
    "show_gap": "Show {n}",
    # the whole neighbourhood
    "head_group": "Group",
    "head_eca": "Linked homes",
    "index_words": "\N{EN DASH} an index of room, not a count of animals.",
    "total_range": (
        "(between {low} and {high}, by what is not known). Room for {room}. One home is {home}."
    ),
    "head_connected_all": "Connected groups",
    "connected_one": "{n} connected group of patches",
    "connected_many": "{n} connected groups of patches",
    "hop_words": "; one move is {hop} m at most.",
    "hop_words_ground": (
        "; one move is at most as hard as {hop} m over good ground, round houses and walls."
    ),
    "head_commonest": "Commonest scarcest need",
    "commonest_words": "{need}, at {plots} that are patches or have room within reach.",
    "hungry_words": "{months}; at {plots} at least one month is hungry.",
    "hungry_none": "None.",
    "breaks_title": "Breaks worth closing",
    "breaks_none": "No break between connected groups was found.",
    "breaks_more": "{n} more breaks win less.",
    "break_words": (
        "{from} to {to}: {width} wide, {stones}; closing it wins {won} linked homes ({one} homes "
        "on one side, {other} on the other)."
    ),
    "break_words_ground": (
        "{from} to {to}: {width} on foot, as hard as {cost} over good ground, {stones}; closing it "
        "wins {won} linked homes ({one} homes on one side, {other} on the other)."
    ),
    "break_way": " On the way: {plots}.",
    "stone_none": "no stepping stone",
    "stone": "{n} stepping stone",
    "stones": "{n} stepping stones",
    "show_break": "Show {n}",
    "all_groups_words": (
        "Linked homes count how much of the room is joined up: an index of room, not a count of "
        "animals. Groups cannot be added together; choose one to see its patches and breaks."
    ),
    # card
    "card_has": "What it has",
    "has_nothing": "Nothing is known to be there.",
    "unknown_here": "{n} of {all} features are not known here",
    "assumed_here": "Not seen from outside, assumed: {things}. Our guess by houses and trees.",
    "card_cautions": "Take care",
    "card_gives": "What is within reach: {group}",
    "card_gives_all": "What is within reach",
    "distance_words": (
        "Distances run straight from edge to edge, nearest first. Plots that this group cannot get "
        "to by moves of {hop} m at most, resting on habitat, are left out."
    ),
    "distance_words_all": (
        "Distances run straight from edge to edge, nearest first. Choose one group to leave out "
        "what it cannot get to."
    ),
    "distance_words_ground": (
        "Distances run straight from edge to edge, nearest first. Left out is what this group "
        "cannot get to over the ground, round houses and walls: by moves as hard as {hop} m over "
        "good ground at most, resting on habitat, on a way no harder than the distance named."
    ),
    "giver_title": "{need} ({months}, within {reach} m)",
    "gives_here": "here: {features}",
    "gives_there": "{features}: {plot}, {distance}",
    "gives_more": "and {plots} more",
    "gives_nobody": "nobody within reach is known to have any",
    "gives_unknown": "not known at {plots} within reach",
    "card_balance": "Balance sheets",
    "balance_words": (
        "Homes held here: {homes}, of {room} there is room for. One home is {home}. An index of "
        "room, not a count of animals."
    ),
    "head_need": "Need",
    "head_enough_room": "Within reach",
    "room_cell": "room for {room} within {reach} m",
    "enough_cell": "for {enough}, room for {room}",
    "need_under": "{months}, within {reach} m",
    "scarcest": "scarcest",
    "sheet_summary": "{group}: {homes} homes held, scarcest: {need}",
    "month_caption": "Flowers within reach are enough for this many homes:",
    "month_table": "Flowers month by month: {group}",
    "month_off": "not needed",
    "hungry": "hungry",
    "hungry_here": "Hungry for flowers: {months}.",
    "hungry_none_here": "No month is hungry for flowers.",
    "card_look": "Where to look next",
    "look_here": "this plot: {n} features not known",
    "look_there": "{plot}, {distance}: {n} features not known",
    "look_more": "and {n} more plots",
    "look_nowhere": "Everything is known here and within reach.",
    # map
    "plots_on_map": "Plots on the map",
    "map_region": "Map of the plots",
    "said_shown": "Showing {title}. {plots} in the table.",
    "said_gap": "Gap {n}, between {one} and {other}",
    "said_break": "Break {n}, between {from} and {to}",
}

_PUBLIC_SCRIPT: dict[str, object] = {
    "plot": "{n} place",
    "plots": "{n} places",
    "rows_shown": "Places {from} to {to} of {all}",
    "rows_none": "No place of that name.",
    "found_one": "{n} place found",
    "found_many": "{n} places found",
}

SCRIPT = Words(_SCRIPT, ADDITIONS_WORDS, SUN_WORDS)
PUBLIC_SCRIPT = Words(_PUBLIC_SCRIPT)
"""What a page for the public says otherwise: its rows are units of households and public land."""
