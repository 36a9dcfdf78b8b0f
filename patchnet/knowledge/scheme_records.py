"""What the scheme tables hold: tasks of upkeep, risks, permissions and whom to ask."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["ConsentPart", "SchemeConsent", "SchemeRisk", "UpkeepTask"]

ConsentPart = Literal["permission", "evidence", "consultee"]


@dataclass(frozen=True, slots=True)
class UpkeepTask:
    """A task of the year round a street planter; `who` is keeper, group or all."""

    key: str
    task: str
    months: tuple[int, ...]
    who: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SchemeRisk:
    """What can go wrong with planters in a street.

    Parameters
    ----------
    hazard, who
        What happens, and to whom.
    likelihood, harm
        ``unlikely``, ``possible``, ``likely``; ``slight``, ``serious``, ``grave``: before
        anything is done about it, by our own reading.
    control, left
        What is done about it, and what is left then: low, medium ...
    """

    key: str
    hazard: str
    who: str
    likelihood: str
    harm: str
    control: str
    left: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SchemeConsent:
    """A permission to get, a paper to bring with the application, or somebody to ask."""

    key: str
    part: ConsentPart
    name: str
    about: str
    sources: tuple[str, ...]
