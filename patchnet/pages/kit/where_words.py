"""From where something can be told, in words."""

from patchnet.assess.next_door import Where
from patchnet.core.texts import N_, Words

__all__ = ["WHERE_WORDS"]

WHERE_WORDS: Words[Where, str] = Words(
    {
        "street": N_("from the street"),
        "fence": N_("at the fence, or ask"),
        "household": N_("only the household can tell"),
    }
)
"""What is said of each place from where one looks."""
