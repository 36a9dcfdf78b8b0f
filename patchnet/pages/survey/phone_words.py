"""The words of the phone page. ``{name}`` is filled in by the page's script."""

from patchnet.core.texts import N_, Words

__all__ = ["PAGE", "SCRIPT"]

# Words that stand in the page before any script runs.
PAGE: Words[str, str] = Words(
    {
        "kept_writing": N_("Opening \N{HORIZONTAL ELLIPSIS}"),
        "not_kept": (
            N_(
                "This browser cannot keep your answers: they are lost when the page is closed. "
                "Save the file often (Hand over), or open this page in another browser."
            )
        ),
        "no_script": N_("This page needs JavaScript, which is switched off in this browser."),
        "round": N_("Before you set off"),
        "who": N_("Your name or initials"),
        "from": N_("You look from"),
        "safety_short": (
            N_(
                "Go in pairs, stay on public land, stand still while you tap. No photographs of "
                "people. Leave blank what you did not look for. Your name goes to the group and "
                "no further."
            )
        ),
        "to_rules": N_("Rules, privacy"),
        "to_over": N_("Hand over"),
        "stretch": N_("Stretch of street, and plots done"),
        "map_alt": N_(
            "Map of the plots. The list below holds the same plots and opens each of them."
        ),
        "tools": N_("Move the map"),
        "tools_draw": N_("Draw"),
        "tools_more": N_("More"),
        "closer": N_("Closer"),
        "farther": N_("Farther away"),
        "home": N_("Whole stretch"),
        "where": N_("Where am I?"),
        "near": N_("Nearest houses"),
        "missing": N_("A house is missing"),
        "missing_middle": N_("Place it where I am, or in the middle of the map"),
        "missing_number": N_("Number of the house, and its street if it is another"),
        "missing_note": N_("Note (nothing about people)"),
        "missing_keep": N_("Keep the house"),
        "key_none": N_("not begun"),
        "key_begun": N_("begun"),
        "key_done": N_("done"),
        "key_next": N_("next"),
        "list": N_("Plots in walking order"),
        "back": N_("\N{LEFTWARDS ARROW} The street"),
        "from_here": N_("Seen from"),
        "consent": N_("If you asked the household: may this plot be shown?"),
        "consent_say_yes": N_("They say yes"),
        "consent_say_no": N_("They say no"),
        "household_part": N_("Seen from, household, consent"),
        "household": N_("Ask also what only the household can tell"),
        "draw_alt": N_("Map to draw on. The buttons below move it and set corners at the cross."),
        "corner": N_("Set corner"),
        "move": N_("Move map"),
        "west": N_("Move west"),
        "north": N_("Move north"),
        "south": N_("Move south"),
        "east": N_("Move east"),
        "whole_plot": N_("Whole plot"),
        "leave": N_("Leave"),
        "over_title": N_("Hand over"),
        "over_how": (
            N_(
                "Everything you saw goes into one file. Save or share it and give it to the "
                "organiser. It holds your name, notes and photos: send it to nobody else."
            )
        ),
        "save": N_("Save the file"),
        "share": N_("Share the file"),
        "mail": N_("Save it and write an e-mail"),
        "saved_note": (
            N_(
                "Once the organiser has the file, begin a new round. This round stays on the "
                "device until you delete it."
            )
        ),
        "new_round_button": N_("Begin a new round"),
        "as_text": N_("If saving does not work: the file as text"),
        "as_text_how": N_("Select it all, copy it, and send it as a message."),
        "read_title": N_("Go on with a saved file"),
        "read_how": N_("A file ending in .return.json, from this device or another"),
        "earlier_title": N_("Other rounds on this device"),
        "rules_title": N_("Rules of the survey"),
        "rules_safety": N_("Stay safe, be kind"),
        "rules_seeing": N_("How to answer"),
        "rules_privacy": N_("Privacy: show this to anyone who asks"),
        "rules_for_whom": N_("This page is for the people who walk, not for publishing."),
        "dock": N_("Undo and go on"),
        "undo": N_("Undo"),
        "redo": N_("Put back"),
    }
)

SCRIPT: Words[str, str] = Words(
    {
        "there": N_("There"),
        "not there": N_("Not there"),
        "cannot see": N_("Can't see"),
        "not_sure": N_("Not sure"),
        "less": N_("Less {feature}"),
        "more": N_("More {feature}"),
        "amount": N_("{feature}: how much, in {unit}"),
        "amount_wrong": N_("{feature}: write a number above nought, or leave it empty."),
        "draw": N_("Draw on the map"),
        "note_photo": N_("Note, photo"),
        "note": N_("Note (nothing about people)"),
        "photo": N_("Name of a photo taken elsewhere (no people in it)"),
        "photo_take": N_("Take or choose a photo (no people in it)"),
        "photo_kept": N_("Photo kept in the round: {size} KB, without place or time in it."),
        "photo_here": N_("Photo {n}: {size} KB"),
        "photo_off": N_("Take off photo {n}"),
        "photo_broken": N_("{name} is no picture that this browser can open."),
        "photo_no_room": N_(
            "This browser has no room for photos: take them with the camera, and write their name "
            "down."
        ),
        "step_photo": N_("Plot {plot}: a photo of {feature}"),
        "step_unphoto": N_("Plot {plot}: a photo of {feature} taken off"),
        # where the phone is, and houses that the map lacks
        "here_asked": N_("Asking the phone where it is \N{HORIZONTAL ELLIPSIS}"),
        "here_near": N_(
            "You are near {plot} (to within {metres} m). This is written down nowhere."
        ),
        "here_button": N_("{plot}: {metres} m"),
        "here_far": N_("This is far from all plots of the map."),
        "here_file": N_(
            "This phone does not say where it is to a page that is opened as a file. Find the "
            "house on the map or in the list."
        ),
        "here_denied": N_(
            "The phone was told not to say where it is. Find the house on the map or in the list."
        ),
        "here_none": N_(
            "The phone does not know where it is. Find the house on the map or in the list."
        ),
        "missing_how": N_("Tap on the map where the house stands."),
        "missing_number": N_("Write the number of the house."),
        "missing_here": N_("Missing: {number}"),
        "missing_off": N_("Take off {number}"),
        "step_missing": N_("House {number}: missing from the map"),
        "step_found": N_("House {number}: taken off"),
        "rest_none": N_("None of the others ({part})"),
        "rest_unseen": N_("Can't see the others ({part})"),
        "rest_none_first": N_("The others: not there"),
        "rest_unseen_first": N_("The others: can't see"),
        "more_questions": N_("More questions: {n}, {answered} answered"),
        "none_left": N_("Everything in this part has an answer."),
        "drawing": N_("Drawing {n}: {size}"),
        "drawing_off": N_("Take off drawing {n}"),
        "a_spot": N_("a spot"),
        "from_street": N_("the street"),
        "from_own plot": N_("my own plot"),
        "from_neighbour's plot": N_("a neighbour's plot, asked in"),
        "from_window": N_("a window"),
        # steps, for undo and for the line at the foot
        "step_set": N_("Plot {plot}: {feature}: {answer}"),
        "step_many": N_("Plot {plot}: {n} answers: {answer}"),
        "step_clear": N_("Plot {plot}: {feature}: answer taken back"),
        "step_draw": N_("Plot {plot}: {feature} drawn"),
        "step_undraw": N_("Plot {plot}: a drawing of {feature} taken off"),
        "step_consent": N_("Plot {plot}: household: {consent}"),
        "consent_yes": N_("may be shown"),
        "consent_no": N_("not to be shown"),
        "consent_none": N_("not asked"),
        "step_done": N_("Plot {plot}: done"),
        "step_not_done": N_("Plot {plot}: not done"),
        "step_who": N_("Your name"),
        "step_from": N_("Where you look from"),
        "undone": N_("Taken back: {what}"),
        "redone": N_("Put back: {what}"),
        "other_tab": N_(
            "This page is open a second time: its answers were added. Close the other one."
        ),
        # keeping
        "kept_writing": N_("Writing \N{HORIZONTAL ELLIPSIS}"),
        "kept_database": N_("Kept on this device"),
        "kept_local": N_("Kept on this device (in a small store: hand over at least once a day)"),
        "kept_none": N_("Not kept on this device"),
        "welcome": N_("Tap a plot on the map or in the list, or the button below."),
        "welcome_back": N_("Your round of {began} is here: {answers}."),
        # street
        "stretch_option": "{name} \N{MIDDLE DOT} {done}/{all}",
        "progress": N_("{done} of {all} plots done."),
        "all_done": N_("All {all} plots of this stretch are done."),
        "state_none": N_("not begun"),
        "state_answer": N_("{n} answer"),
        "state_answers": N_("{n} answers"),
        "state_done": N_("done \N{CHECK MARK} ({n})"),
        "state_next": N_("next: {state}"),
        "go_next": N_("Next: {plot}"),
        "go_done_next": N_("Done, next: {plot}"),
        "go_done": N_("Done"),
        "go_over": N_("Hand over"),
        "go_keep": N_("Keep the drawing"),
        "go_street": N_("To the street"),
        # drawing
        "draw_title": N_("{feature}, plot {plot}"),
        "how_Polygon": N_("Draw its outline with a finger, or tap its corners."),
        "how_LineString": N_("Draw along it with a finger, or tap from end to end."),
        "how_Point": N_("Tap where it stands."),
        "lack_point": N_("Nothing drawn yet: tap where it stands."),
        "lack_line": N_("Nothing to keep yet: a line needs two places."),
        "lack_area": N_("Nothing to keep yet: an outline needs three corners."),
        "lack_crossing": N_("The outline crosses itself: undo the last piece and draw it again."),
        "lack_away": N_("This does not touch plot {plot}: undo it and draw it on the plot."),
        "drawn_so_far": N_("Drawn: {size}"),
        "drawing_left": N_("Left without drawing."),
        # hand over
        "over_plots": N_("{n} of {all} plots done"),
        "over_answer": N_("{n} answer"),
        "over_answers": N_("{n} answers"),
        "over_drawing": N_("{n} drawing"),
        "over_drawings": N_("{n} drawings"),
        "over_consent": N_("{n} household asked"),
        "over_consents": N_("{n} households asked"),
        "saved_as": N_("Saved as {name}: look among your downloads."),
        "shared": N_("Shared: {name}"),
        "mail_subject": N_("Survey of {name}"),
        "mail_body": N_("The file {name} goes with this: attach it from your downloads."),
        "mailed": N_("Saved as {name}: attach it to the e-mail from your downloads."),
        "over_photo": N_("{n} photo"),
        "over_photos": N_("{n} photos"),
        "over_missing_one": N_("{n} house missing from the map"),
        "over_missing": N_("{n} houses missing from the map"),
        "share_stopped": N_("Not shared."),
        "share_failed": N_("Sharing did not work: save the file."),
        "new_round": N_("A new round has begun."),
        "read_broken": N_("{name} cannot be read: it is damaged or no return."),
        "read_other": N_("{name} is not a return of a survey."),
        "read_street": N_("{name} is of another street, or of an older map of this one."),
        "read_one": N_("{n} answer is here."),
        "read_many": N_("{n} answers are here."),
        "earlier": N_("Round of {began}: {n} answers"),
        "earlier_open": N_("Open"),
        "earlier_drop": N_("Delete"),
        "earlier_sure": N_("Delete for good"),
        "earlier_ask": N_("Tap again to delete that round for good: this cannot be undone."),
        "earlier_gone": N_("The round was deleted."),
    }
)
