"""How far surveyors agree: the share of answers alike, and Cohen's kappa, per feature."""

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

__all__ = ["Kappa", "agreement", "cohens_kappa"]


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement of two raters.

    Parameters
    ----------
    pairs
        Things that both have judged.
    share
        Share of them judged alike, 0-1; NaN of none.
    kappa
        Cohen's kappa, at most 1; 0: as much as by chance; NaN where chance alone would make
        both always agree (everybody gave one and the same answer).
    """

    pairs: int
    share: float
    kappa: float


def cohens_kappa(table: ArrayLike) -> Kappa:
    """Return Cohen's kappa of a square table of counts.

    kappa = (p_o - p_e) / (1 - p_e), with p_o the share on the diagonal and p_e the sum over the
    categories of the product of the two raters' shares.

    Parameters
    ----------
    table
        Shape (k, k): what the first rater said down, the second across.

    References
    ----------
    Cohen J. (1960) A coefficient of agreement for nominal scales. Educational and Psychological
    Measurement 20, 37-46. doi:10.1177/001316446002000104

    Examples
    --------
    >>> cohens_kappa([[20, 5], [10, 15]])
    Kappa(pairs=50, share=0.7, kappa=0.4)
    """
    counts = np.asarray(table, dtype=float)
    total = counts.sum()
    if total == 0:
        return Kappa(0, np.nan, np.nan)
    alike = float(np.trace(counts))
    # In whole counts, so that the same answers give the same figure to the last digit.
    chance = float(counts.sum(axis=1) @ counts.sum(axis=0))
    room = total * total - chance
    kappa = (alike * total - chance) / room if room > 0 else np.nan
    return Kappa(int(total), alike / float(total), float(kappa))


def agreement(votes: pd.DataFrame) -> pd.DataFrame:
    """Return the agreement on each feature of which two people gave an answer.

    Each pair of people who judged the same feature of the same plot in the same year counts
    once; of a pair the first by name is the first rater. Who cannot see has not judged.

    Parameters
    ----------
    votes
        From `statements.votes`, of first looks: later words are no longer independent.

    Returns
    -------
    DataFrame
        Index feature; columns both_there, one_there, both_not_there (pairs), pairs, share,
        kappa.
    """
    seeing = votes[votes["answer"] != "cannot see"]
    held = ["plot", "feature", "year", "person"]
    # Who says both at the same moment has not made up her mind.
    single = seeing.drop_duplicates([*held, "answer"])
    single = single[~single.duplicated(held, keep=False)]
    cells = ["plot", "feature", "year"]
    shared = single[single.duplicated(cells, keep=False)].sort_values([*cells, "person"])
    tables: dict[str, np.ndarray[tuple[int, int], np.dtype[np.int64]]] = {}
    feature_of = shared["feature"].to_numpy()
    there = (shared["answer"] == "there").to_numpy()
    groups: Any = shared.groupby(cells, sort=True).indices
    for rows in groups.values():
        table = tables.setdefault(feature_of[rows[0]], np.zeros((2, 2), dtype=np.int64))
        for one, other in combinations(rows.tolist(), 2):
            table[int(not there[one]), int(not there[other])] += 1
    rows_out = []
    for table in tables.values():
        found = cohens_kappa(table)
        rows_out.append(
            (table[0, 0], table[0, 1] + table[1, 0], table[1, 1], found.pairs, found.share,
             found.kappa)
        )  # fmt: skip
    columns = ["both_there", "one_there", "both_not_there", "pairs", "share", "kappa"]
    index = pd.Index(list(tables), name="feature", dtype=object)
    return pd.DataFrame(rows_out, columns=columns, index=index).sort_index()
