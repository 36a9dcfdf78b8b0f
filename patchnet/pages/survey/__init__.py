"""What a street survey takes along: paper sheets, spreadsheets, and a page for the phone."""

from patchnet.pages.survey.pack import FILES, write_survey
from patchnet.pages.survey.paper_sheets import survey_sheets
from patchnet.pages.survey.phone_page import survey_phone_page
from patchnet.pages.survey.round import SurveyRound

__all__ = [
    "FILES",
    "SurveyRound",
    "survey_phone_page",
    "survey_sheets",
    "write_survey",
]
