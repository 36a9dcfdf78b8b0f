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

CLASS_WORDS: Words[str, str] = Words(
    {
        "published": N_("published"),
        "second-hand": N_("published, read second hand"),
        "derived": N_("worked out from published figures"),
        "common-practice": N_("common practice"),
        "memory": N_("from memory, still to be checked"),
        "assumption": N_("our own working assumption"),
    }
)

ASSUMPTIONS = N_(
    "Most figures are our own working assumptions, not findings. Where each comes from stands "
    "below."
)
PRIVACY = N_("For the group, not for publishing: this page shows what is in people's gardens.")
PRIVACY_GAPS = N_(
    "For the group, not for publishing: this page shows what is in people's gardens and which "
    "fences have gaps."
)
PUBLIC = N_("Made for publishing: it tells of units of many households, in classes, not of plots.")
LEFT_OUT = N_("Left out:")
TILES = N_("This page asks the network for its background pictures (map tiles).")

# What the plots can be shaded by, in the order of the list.
SHOWS: Words[str, str] = Words(
    {
        "gardens": N_("The gardens"),
        "homes": N_("Homes held"),
        "need": N_("Enough of one need"),
        "scarcest": N_("The scarcest need"),
        "hungry": N_("Hungry months"),
        "connected": N_("Linked parts"),
        "feature": N_("One feature"),
        "known": N_("How much is known"),
    }
)

# Words that stand in the page before any script runs.
PAGE: Words[str, str] = Words(
    {
        "skip_map": N_("Go to 'Find your house'"),
        "find_house": N_("Find your house"),
        "find_house_as": N_("street and number"),
        "find_go": N_("Show"),
        "north": N_("North"),
        "north_letter": N_("N"),
        "rooms": N_("Homes there is room for today"),
        "rooms_note": N_(
            "Room for homes, worked out from this map: nobody has counted animals. Dashed: "
            "possible, or not seen yet."
        ),
        "year": N_("When flowers run short"),
        "year_animal": N_("For"),
        "year_note": N_(
            "Strong colour: too few flowers within flying distance for half of the animals or "
            "more; pale: for some. Choose a month to see it on the map."
        ),
        "closer": N_("Look closer"),
        "closer_words": N_(
            "For those who want the figures: what each animal finds on every plot, where its "
            "network breaks, and the table of all plots."
        ),
        "month_range": N_("Move through the months"),
        "choose": N_("Choose what to show"),
        "group": N_("Animal"),
        "show": N_("Show on the plots"),
        "need": N_("Need"),
        "feature": N_("Feature"),
        "month": N_("Month"),
        "also": N_("Also draw"),
        "network": N_("Patches and links"),
        "breaks": N_("Breaks"),
        "barriers": N_("Fences and walls"),
        "labels": N_("Names"),
        "toggle_note": N_("Choose one animal to draw its patches, links and breaks."),
        "ground_also": N_("On the ground"),
        "cover": N_("Ground"),
        "corridors": N_("Corridors"),
        "pinch": N_("Pinch points"),
        "make_gaps": N_("Gaps to make"),
        "map": N_("Map"),
        "map_how_svg": (
            N_(
                "By keyboard: Tab to the plots, arrow keys to the next plot, Enter for its card. "
                "The table holds the same facts."
            )
        ),
        "map_how_canvas": (
            N_(
                "So many plots are drawn as one picture: by keyboard, use the table, which holds "
                "the same facts and opens every card."
            )
        ),
        "touch": N_("One finger scrolls the page, two fingers move the map."),
        "one_finger": N_("Move the map with one finger"),
        "tools": N_("Move the map"),
        "zoom_in": N_("Closer"),
        "zoom_out": N_("Farther"),
        "left": N_("West"),
        "up": N_("North"),
        "down": N_("South"),
        "right": N_("East"),
        "whole": N_("Whole map"),
        "under_picture": N_("Picture underneath"),
        "under": N_("Point at a plot, or choose one, to read what it is."),
        "legend": N_("Legend"),
        "card": N_("Plot card"),
        "close": N_("Close"),
        "street": N_("The whole neighbourhood in words"),
        "table": N_("All plots"),
        "find": N_("Find a plot or street"),
        "back": N_("Previous 100"),
        "on": N_("Next 100"),
        "about": N_("Where the figures come from"),
        "credits": N_("Credits"),
        "no_script": (
            N_(
                "The map and the table need JavaScript, which is switched off in this browser. "
                "Nothing is fetched from the network by it."
            )
        ),
        "assumed_counts": N_("Of the {all} figures in the tables:"),
        "sources": N_("Sources, with the number of figures each stands for"),
        "drawn_by": N_("Map drawn with Leaflet and folium."),
    }
)

_SCRIPT: dict[str, object] = {
    "months": MONTH_NAMES,
    "classes": CLASS_WORDS,
    "not_known": N_("not known"),
    "not_seen": N_("not seen from outside, assumed"),
    "not_there": N_("not there"),
    "there": N_("there"),
    "none": "\N{EN DASH}",
    "nothing": N_("nothing"),
    "any_number": N_("any number"),
    "touching": N_("next door"),
    "metres": "{n} m",
    "square_metres": N_("{n} m²"),
    "pieces": "{n}",
    "home": N_("{n} home"),
    "homes": N_("{n} homes"),
    "range": N_("{middle} ({low} to {high})"),
    "low_high": N_("{low}\N{EN DASH}{high}"),
    "low_high_words": N_("({low} to {high}, by what is not known)"),
    "low_high_drawn": N_("({low} to {high}, 9 times in 10)"),
    "percent": "{n} %",
    "of_all": N_("{n} of {all}"),
    "and": N_(" and "),
    "and_more": N_(" and more"),
    "all_year": N_("all year"),
    "month_span": N_("{from} to {to}"),
    "plot": N_("{n} plot"),
    "plots": N_("{n} plots"),
    "all_groups": N_("All animals together"),
    "any_month": N_("Any month"),
    "anchor_need": N_("place to live ({anchor})"),
    "size_assumed": N_("size assumed"),
    "not_sure": N_("not sure"),
    "id_words": N_("id {id}"),
    # scales
    "scale_any": N_("some {unit}"),
    "scale_first": N_("up to {to} {unit}"),
    "scale_middle": N_("over {from}, up to {to} {unit}"),
    "scale_last": N_("over {from} {unit}"),
    "unit_homes": N_("homes"),
    "unit_groups": N_("animals"),
    "unit_m2": N_("m²"),
    "unit_m": "m",
    "unit_count": N_("pieces"),
    # layers
    "title_homes": N_("{group}: homes held"),
    "note_index": N_("Homes are an index of room, not a count of animals."),
    "no_patch": N_("no habitat this animal uses"),
    "no_patch_any": N_("no habitat any animal uses"),
    "patch_no_home": N_("habitat, but no home"),
    "doubt_homes": N_("any home here rests on what nobody has seen yet"),
    "title_need": N_("{group}: enough {need}?"),
    "note_need": (
        N_(
            "{months}, within {reach} m. One home takes {amount} {unit} ({class}). Compared with "
            "the homes there is room for within the same distance."
        )
    ),
    "no_room": N_("no room for a home within reach"),
    "enough_none": N_("nothing within reach"),
    "enough_under_half": N_("enough for fewer than half the homes"),
    "enough_under": N_("enough for half the homes or more, not for all"),
    "enough_all": N_("enough for all homes there is room for"),
    "enough_twice": N_("enough for twice as many, or more"),
    "doubt_need": N_("turns on what nobody has seen yet"),
    "title_anchor": N_("{group}: room for homes ({anchor})"),
    "note_anchor": N_("One home is {home}. Pieces within {reach} m can make one home together."),
    "no_room_here": N_("no room on this plot"),
    "title_scarcest": N_("{group}: the scarcest need"),
    "note_scarcest": N_(
        "What a plot here should add first: the need that is enough for fewest homes."
    ),
    "nothing_scarce": N_("nothing to name"),
    "other_needs": N_("other needs"),
    "title_feature": N_("{feature}"),
    "note_feature": N_("There, not there, or not known: a blank answer is never taken for a no."),
    "title_connected": N_("{group}: linked parts"),
    "note_connected": (
        N_(
            "Plots whose habitat lies within one move of each other, {hop} m at most. Number 1 "
            "holds most homes."
        )
    ),
    "note_connected_ground": (
        N_(
            "Plots whose habitat this animal can walk between, round houses and walls, in one "
            "move: at most as hard as {hop} m over good ground. Number 1 holds most homes."
        )
    ),
    "group_number": N_("linked part {n}"),
    "smaller_groups": N_("smaller linked parts"),
    "title_hungry": N_("{group}: hungry months"),
    "title_hungry_month": N_("{group}: hungry in {month}?"),
    "note_hungry": (
        N_(
            "A month is hungry where what grows within reach feeds fewer homes than there is room "
            "for."
        )
    ),
    "hungry_0": N_("no hungry month"),
    "hungry_1": N_("1 hungry month"),
    "hungry_2": N_("2 or 3 hungry months"),
    "hungry_4": N_("4 hungry months or more"),
    "month_enough": N_("enough, or nothing needed, in this month"),
    "month_not_needed": N_("nothing needed in this month"),
    "month_hungry": N_("hungry in {month}"),
    "title_known": N_("How much is known"),
    "note_known": N_("Share of the features with an answer, yes or no."),
    "known_none": N_("nothing known yet"),
    "known_under_half": N_("less than half known"),
    "known_over_half": N_("half or more known"),
    "known_all": N_("everything known"),
    "title_all_groups": N_("All animals together"),
    "title_all_homes": N_("For how many animals a home is held here"),
    "all_homes_none": N_("no home for any animal"),
    "title_all_enough": N_("For how many animals everything within reach is enough"),
    "note_all_enough": (
        N_(
            "Counts the animals with room for a home within reach and enough of every need. Choose "
            "one animal to see its needs one by one."
        )
    ),
    "all_enough_none": N_("for no animal"),
    "title_all_patch": N_("For how many animals there is habitat here"),
    "note_all_patch": N_("Habitat counts even without a home: it can be a stepping stone."),
    "title_all_hungry": N_("How many animals have a hungry month here"),
    "title_all_hungry_month": N_("How many animals are hungry here in {month}"),
    "all_hungry_none": N_("no animal goes hungry"),
    "title_all_scarcest": N_("What is scarcest for most animals"),
    "note_all_scarcest": N_("At each plot: what most animals are shortest of."),
    # table
    "head_plot": N_("Plot"),
    "head_homes": N_("Homes held"),
    "head_range": N_("Low to high"),
    "head_room": N_("Room for"),
    "head_within": N_("Room within {reach} m"),
    "head_enough": N_("Enough for"),
    "head_room_reach": N_("Room within reach"),
    "head_met": N_("Share met"),
    "head_scarcest": N_("Scarcest"),
    "head_answer": N_("Answer"),
    "head_kind": N_("Kind"),
    "head_has": N_("What is there"),
    "has_none_known": N_("nothing known"),
    "title_garden": N_("The gardens"),
    "note_garden": N_(
        "In true proportion. Where things stand on a plot is known only of what was drawn on the "
        "map; the rest is laid out by rule, from the house outwards."
    ),
    "scale_words": N_("{metres} m · {steps} steps"),
    "find_none": N_("No house of that name is on this map. Try the street and the number."),
    "find_many": N_("{n} fit: {names} … Say a little more."),
    "share": N_("A link to this plot"),
    "share_link": N_("Address to copy"),
    "sheet_whole": N_("Everything about this plot"),
    "sheet_given": N_("What is already there near you"),
    "sheet_line": N_("{thing} at {plot}"),
    "sheet_nobody": N_("What nobody within {reach} m has, as far as anyone has seen"),
    "sheet_best": N_("A good first thing to do here"),
    "sheet_more": N_("Two more"),
    "sheet_one_more": N_("{plot} has one ({away}); one more still helps."),
    "sheet_open": N_("{begin}, unless small children come."),
    "sheet_have": N_("Near you already: {thing}."),
    "sheet_no_wish": N_("Only what nobody has, no list of wishes: not all of it fits here."),
    "sheet_lack": N_("Not seen near you so far: {thing}."),
    "sheet_all": N_("There is a little of everything near you."),
    "sheet_not_seen": N_("Nobody has told us yet what is here."),
    "sheet_tell": N_(
        "Is it yours? Tell your group what you have: it takes two minutes, and what is missing "
        "near you may already be there."
    ),
    "strip_title": N_("When flowers run short near you"),
    "strip_animal": N_("Animal"),
    "strip_off": N_("no need"),
    "strip_short": N_("too few"),
    "strip_enough": N_("enough"),
    "strip_key": N_("✕ too few flowers within flying distance, • enough"),
    "year_all": N_("all animals"),
    "year_share": N_("{n} in 100 short"),
    "year_enough": N_("enough"),
    "year_none": N_("no need"),
    "year_words": N_("Worst in {months}: flowers are too few for {n} in 100 of what is needed."),
    "year_all_well": N_("In no month are there too few flowers."),
    "scale_shares": (
        N_("least of the homes"),
        N_("fewer of the homes"),
        N_("more of the homes"),
        N_("most of the homes"),
    ),
    "all_alike": N_("All plots are alike in this: {words}."),
    "underlay_alt": N_("Picture of the ground, given by whoever made this page"),
    "garden_seen": N_("Somebody has looked"),
    "garden_unseen": N_("Not seen yet"),
    "head_amount": N_("Amount"),
    "head_connected": N_("Part"),
    "head_group_size": N_("Plots in it"),
    "head_hungry_count": N_("Hungry months"),
    "head_hungry": N_("Which"),
    "head_known": N_("Known"),
    "head_unknown": N_("Not known"),
    "head_all_homes": N_("Animals at home"),
    "head_all_enough": N_("Animals with enough"),
    "head_all_patch": N_("Animals with habitat"),
    "head_all_hungry": N_("Animals that go hungry"),
    "head_votes": N_("For"),
    "sorted_up": N_("Sorted by {column}, smallest first."),
    "sorted_down": N_("Sorted by {column}, largest first."),
    "rows_shown": N_("Plots {from} to {to} of {all}"),
    "rows_none": N_("No plot of that name."),
    "found_one": N_("{n} plot found"),
    "found_many": N_("{n} plots found"),
    # legend
    "legend_patch_homes": N_("patch that holds homes (larger: more)"),
    "legend_patch": N_("patch without a home: a stepping stone"),
    "legend_links": (
        N_(
            "link: the {shown} shortest of {all} that hold the linked parts together (one "
            "move is {hop} m at most)"
        )
    ),
    "legend_ways": (
        N_(
            "link: the {shown} easiest of {all} that hold the linked parts together, drawn as "
            "the animal would walk (one move is at most as hard as {hop} m over good ground)"
        )
    ),
    "legend_corridor": (
        N_(
            "corridor: the easiest way across one of the first breaks and, shaded, ways hardly "
            "harder"
        )
    ),
    "legend_pinch_some": (
        N_("squeezed: one of the 3 places in 100 that most movement has to pass")
    ),
    "legend_pinch_much": (
        N_("pinch point: the 1 place in 100 that most movement has to pass; keep it open")
    ),
    "legend_make_gap": N_("gap worth making, A first; ask the owner before"),
    "legend_break": N_("break, numbered by what closing it would win"),
    "legend_stone": N_("where a stepping stone would close it"),
    "gaps": {
        "yes": N_("has a gap"),
        "no": N_("has no gap"),
        "not_known": N_("gap not known"),
    },
    # the ground, for groups that walk
    "title_cover": N_("{group}: how hard the ground is"),
    "note_cover": (
        N_(
            "While Ground is ticked, the map shows this in place of what the plots are shaded by. "
            "A metre of the best ground counts as one metre; plots are counted by what most of "
            "their ground is. Fences and walls are drawn apart."
        )
    ),
    "cover_easy": N_("easy: a metre is worth up to {to} m of the best ground"),
    "cover_slower": N_("slower: worth {from} to {to} m"),
    "cover_hard": N_("hard: worth more than {from} m"),
    "cover_closed": N_("closed: no way through, such as houses"),
    "cover_easy_word": N_("easy"),
    "cover_slower_word": N_("slower"),
    "cover_hard_word": N_("hard"),
    "cover_closed_word": N_("closed"),
    "head_cover": N_("Most of its ground"),
    "cover_alt": (
        N_("{group}: picture of how hard the ground is. The legend and the table say it in words.")
    ),
    "pinch_alt": N_("{group}: picture of where movement is squeezed."),
    "gaps_title": N_("Gaps worth making in fences and walls"),
    "gaps_order": (
        N_(
            "In this order: each is reckoned with those above it already made. A gap is {side} by "
            "{side} cm, at the ground."
        )
    ),
    "gaps_consent": N_("A shared fence needs its owner's consent: ask first."),
    "gaps_none": N_("No gap was found that would win linked homes."),
    "gaps_now": {
        "no": N_("none"),
        "not_known": N_("not known"),
        "yes": N_("one elsewhere along it"),
    },
    "beside": N_("the ground beside it"),
    "gap_words": N_("{kind} between {one} and {other}: gap now {now}; wins {won} linked homes."),
    "gap_with_next": (
        N_(
            "{kind} between {one} and {other}: gap now {now}; wins nothing by itself, only "
            "together with the next one."
        )
    ),
    "gap_shortens": (
        N_(
            "From {one} to {other} is then as hard as {after} over good ground, instead of "
            "{before}."
        )
    ),
    "gap_opens": (
        N_(
            "From {one} to {other}, where there is no way now, is then as hard as {after} over "
            "good ground."
        )
    ),
    "show_gap": N_("Show {n}"),
    # the whole neighbourhood
    "head_group": N_("Animal"),
    "head_eca": N_("Linked homes"),
    "index_words": N_("\N{EN DASH} an index of room, not a count of animals."),
    "total_range": (
        N_("(between {low} and {high}, by what is not known). Room for {room}. One home is {home}.")
    ),
    "total_range_drawn": (
        N_("(between {low} and {high}, 9 times in 10). Room for {room}. One home is {home}.")
    ),
    "break_drawn": N_(
        "It is a break only if gaps of {width} are shunned, which is so in {shunned} of {draws} "
        "draws; closing it wins between {low} and {high} in 9 of 10, and anything at all in "
        "{often}."
    ),
    "break_drawn_ground": N_(
        "It is a break only if the animal does not go so far in one move, which is so in {shunned} "
        "of {draws} draws; closing it wins between {low} and {high} in 9 of 10, and anything at "
        "all in {often}."
    ),
    "linked_range": N_("(between {low} and {high}, 9 times in 10)"),
    "drawn_words": N_(
        "These were worked out {draws} times, each time with other figures from the ranges in our "
        "tables and other guesses of what nobody looked at. The page shows the mean, and between "
        "what 9 in 10 of them lie."
    ),
    "range_bar": N_("From nothing to {high}: 9 in 10 lie in the dark part, the line is the mean."),
    "head_connected_all": N_("Linked parts"),
    "connected_one": N_("{n} linked part"),
    "connected_many": N_("{n} linked parts"),
    "hop_words": N_("; one move is {hop} m at most."),
    "hop_words_ground": (
        N_("; one move is at most as hard as {hop} m over good ground, round houses and walls.")
    ),
    "head_commonest": N_("Commonest scarcest need"),
    "commonest_words": N_("{need}, at {plots} that are patches or have room within reach."),
    "hungry_words": N_("{months}; at {plots} at least one month is hungry."),
    "hungry_none": N_("None."),
    "breaks_title": N_("Breaks worth closing"),
    "breaks_none": N_("No break between linked parts was found."),
    "breaks_more": N_("{n} more breaks win less."),
    "break_words": (
        N_(
            "{from} to {to}: {width} wide, {stones}; closing it wins {won} linked homes ({one} "
            "homes on one side, {other} on the other)."
        )
    ),
    "break_words_ground": (
        N_(
            "{from} to {to}: {width} on foot, as hard as {cost} over good ground, {stones}; "
            "closing it wins {won} linked homes ({one} homes on one side, {other} on the other)."
        )
    ),
    "break_way": N_(" On the way: {plots}."),
    "stone_none": N_("no stepping stone"),
    "stone": N_("{n} stepping stone"),
    "stones": N_("{n} stepping stones"),
    "show_break": N_("Show {n}"),
    "all_groups_words": (
        N_(
            "Linked homes count how much of the room is joined up: an index of room, not a count "
            "of animals. Animals cannot be added together; choose one to see its patches and "
            "breaks."
        )
    ),
    # card
    "card_has": N_("What it has"),
    "has_nothing": N_("Nothing is known to be there."),
    "unknown_here": N_("{n} of {all} features are not known here"),
    "assumed_here": N_("Not seen from outside, assumed: {things}. Our guess by houses and trees."),
    "card_cautions": N_("Take care"),
    "card_gives": N_("What is within reach: {group}"),
    "card_gives_all": N_("What is within reach"),
    "distance_words": (
        N_(
            "Distances run straight from edge to edge, nearest first. Plots that this animal "
            "cannot get to by moves of {hop} m at most, resting on habitat, are left out."
        )
    ),
    "distance_words_all": (
        N_(
            "Distances run straight from edge to edge, nearest first. Choose one animal to leave "
            "out what it cannot get to."
        )
    ),
    "distance_words_ground": (
        N_(
            "Distances run straight from edge to edge, nearest first. Left out is what this animal "
            "cannot get to over the ground, round houses and walls: by moves as hard as {hop} m "
            "over good ground at most, resting on habitat, on a way no harder than the distance "
            "named."
        )
    ),
    "giver_title": N_("{need} ({months}, within {reach} m)"),
    "gives_here": N_("here: {features}"),
    "gives_there": N_("{features}: {plot}, {distance}"),
    "gives_more": N_("and {plots} more"),
    "gives_nobody": N_("nobody within reach is known to have any"),
    "gives_unknown": N_("not known at {plots} within reach"),
    "card_together": N_("In your street's plan"),
    "together_nothing": N_("The plan counts on this plot for nothing."),
    "card_balance": N_("Balance sheets"),
    "balance_words": (
        N_(
            "Homes held here: {homes}, of {room} there is room for. One home is {home}. An index "
            "of room, not a count of animals."
        )
    ),
    "head_need": N_("Need"),
    "head_enough_room": N_("Within reach"),
    "room_cell": N_("room for {room} within {reach} m"),
    "enough_cell": N_("for {enough}, room for {room}"),
    "need_under": N_("{months}, within {reach} m"),
    "scarcest": N_("scarcest"),
    "sheet_summary": N_("{group}: {homes} homes held, scarcest: {need}"),
    "month_caption": N_("Flowers within reach are enough for this many homes:"),
    "month_table": N_("Flowers month by month: {group}"),
    "month_off": N_("not needed"),
    "hungry": N_("hungry"),
    "hungry_here": N_("Hungry for flowers: {months}."),
    "hungry_none_here": N_("No month is hungry for flowers."),
    "card_look": N_("Where to look next"),
    "look_here": N_("this plot: {n} features not known"),
    "look_there": N_("{plot}, {distance}: {n} features not known"),
    "look_more": N_("and {n} more plots"),
    "look_nowhere": N_("Everything is known here and within reach."),
    # map
    "plots_on_map": N_("Plots on the map"),
    "map_region": N_("Map of the plots"),
    "said_shown": N_("Showing {title}. {plots} in the table."),
    "said_gap": N_("Gap {n}, between {one} and {other}"),
    "said_break": N_("Break {n}, between {from} and {to}"),
}

_PUBLIC_SCRIPT: Words[str, object] = Words(
    {
        "plot": N_("{n} place"),
        "plots": N_("{n} places"),
        "rows_shown": N_("Places {from} to {to} of {all}"),
        "rows_none": N_("No place of that name."),
        "found_one": N_("{n} place found"),
        "found_many": N_("{n} places found"),
    }
)

SCRIPT = Words(_SCRIPT, ADDITIONS_WORDS, SUN_WORDS)
PUBLIC_SCRIPT = Words(_PUBLIC_SCRIPT)
"""What a page for the public says otherwise: its rows are units of households and public land."""
