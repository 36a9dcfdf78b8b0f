"""The whole pack that a group takes along: paper sheets, spreadsheets, phone page."""

from pathlib import Path

from patchnet.core.errors import CannotWrite
from patchnet.core.files import OwnFolder, folder_aside, temporaries_in
from patchnet.core.freed_memory import nothing_thrown_away
from patchnet.core.texts import N_, Words, _
from patchnet.pages.survey.paper_sheets import survey_sheets
from patchnet.pages.survey.phone_page import survey_phone_page
from patchnet.pages.survey.round import SurveyRound

__all__ = ["FILES", "write_survey"]

FILES: Words[str, str] = Words(
    {
        "sheets.html": N_("paper sheets: open in a browser and print on both sides at 100 %"),
        "phone.html": N_("page for phones: send it to each surveyor; it needs no network"),
        "survey.xlsx": N_("spreadsheet with drop-down lists"),
        "survey.csv": N_("the same as plain CSV"),
    }
)


def write_survey(survey: SurveyRound, folder: Path | str) -> tuple[Path, ...]:
    """Write the pack into `folder` and return the paths, in the order of `FILES`.

    A file there that somebody filled in or changed since is left alone.

    Parameters
    ----------
    survey
        What is to be surveyed.
    folder
        Made if missing.

    Returns
    -------
    tuple of Path
        The four files.

    Raises
    ------
    CannotWrite
        If a file of that name is not as patchnet made it, or cannot be written. Nothing is
        written then.

    Examples
    --------
    >>> import patchnet
    >>> survey = patchnet.plan_survey(patchnet.read_demo(), contact="a street group")
    >>> [path.name for path in patchnet.write_survey(survey, "round-1")]
    ['sheets.html', 'phone.html', 'survey.xlsx', 'survey.csv']
    """
    from patchnet.pages.survey.workbook import (  # noqa: PLC0415 - only what writes one loads it
        survey_csv,
        survey_xlsx,
    )

    own = OwnFolder(folder)
    own.ensure_may_write(FILES)
    try:
        # The workbook's library writes each sheet to a file first.
        with folder_aside(Path(folder)) as aside, temporaries_in(aside), nothing_thrown_away():
            sheet = survey_xlsx(survey)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(
            _("{path} cannot be written: {reason}.").format(
                path=Path(folder) / "survey.xlsx", reason=reason
            )
        ) from error
    made: dict[str, str | bytes] = {
        "sheets.html": survey_sheets(survey),
        "phone.html": survey_phone_page(survey),
        "survey.xlsx": sheet,
        "survey.csv": survey_csv(survey).encode("utf-8"),
    }
    for name in FILES:
        own.write(name, made[name])
    return tuple(Path(folder) / name for name in FILES)
