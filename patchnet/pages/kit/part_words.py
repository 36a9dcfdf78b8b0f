"""Parts of a whole in the words people use: "about a third", "about 1 in 20"."""

from patchnet.core.texts import N_, WordList, _

__all__ = ["part_words"]

_FROM = (0.95, 0.85, 0.71, 0.59, 0.42, 0.29, 0.225)
_WORDS: WordList[str] = WordList(
    (
        N_("nearly all"),
        N_("about nine tenths"),
        N_("about three quarters"),
        N_("about two thirds"),
        N_("about half"),
        N_("about a third"),
        N_("about a quarter"),
    )
)
_LEAST = 0.01


def part_words(share: float) -> str:
    """Say a part of a whole.

    Parameters
    ----------
    share
        0-1.

    Examples
    --------
    >>> [part_words(share) for share in (1, 0.62, 0.35, 0.2, 0.048, 0.022, 0.004, 0)]
    ['nearly all', 'about two thirds', 'about a third', 'about 1 in 5', 'about 1 in 20', \
'about 1 in 45', 'less than 1 in 100', 'nothing']
    """
    if share <= 0:
        return _("nothing")
    if share < _LEAST:
        return _("less than 1 in 100")
    for least, words in zip(_FROM, _WORDS, strict=True):
        if share >= least:
            return words
    ones = 1.0 / share
    step = 1 if ones < 10 else 5 if ones < 50 else 10
    return _("about 1 in {n}").format(n=round(ones / step) * step)
