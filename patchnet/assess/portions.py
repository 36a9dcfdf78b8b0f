"""Filling alike in twenty portions: plain products, to rank many changes side by side.

In each portion every home is offered what lies within reach, split among all that still rise; it
takes as much of a twentieth as its scarcest offer allows, of every need alike. Totals come within
a few parts in a hundred of `patchnet.assess.filling` and keep its order; single plots can be far
off. So it ranks, and what is chosen is filled exactly.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.sharing import Form, combine_months

__all__ = ["PORTIONS", "Portioned", "Stock", "share_in_portions", "shared_in_portions"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
PORTIONS = 20
STILL = 1e-9
"""Homes that take less than this part of a portion rise no more."""


class Stock(NamedTuple):
    """One need, for K changes side by side.

    Attributes
    ----------
    matrix
        Shape (n, n): the reach, or whatever multiplies as it does.
    supply
        Shape (n, M, K), in homes.
    worst, floor, weight
        As in `patchnet.assess.sharing.Demand`.
    """

    matrix: "sp.csr_array | Array"
    supply: Array
    worst: bool
    floor: float
    weight: float

    @property
    def ceiling(self) -> Array:
        """Shape (n, K): what one home gets of it that shares with nobody."""
        return combine_months(np.minimum(1.0, _times(self.matrix, self.supply)), worst=self.worst)


class Portioned(NamedTuple):
    """How the sharing came out.

    Attributes
    ----------
    quality
        Shape (n, K), 0-1.
    met
        One (n, K) array per need: the level that homes reached, 0-1; one for all vital needs.
    held
        One (n, K) array per need: which need was short when homes rose no further, as a place
        among the needs, -1 where they reached their ceiling; one for all vital needs.
    """

    quality: Array
    met: tuple[Array, ...]
    held: tuple[Places, ...]


def share_in_portions(
    room: Array, stocks: Sequence[Stock], *, whole: Array, form: Form, lowest: float
) -> Array:
    """Quality of the homes, shape (n, K); the passes are those of `patchnet.assess.sharing`.

    Parameters
    ----------
    room
        Shape (n, K).
    whole
        Shape (n, K), 0-1: room within the anchor's reach, at most a whole home.
    form, lowest
        See `patchnet.assess.sharing.quality_of`.
    """
    return shared_in_portions(room, stocks, whole=whole, form=form, lowest=lowest).quality


def shared_in_portions(
    room: Array, stocks: Sequence[Stock], *, whole: Array, form: Form, lowest: float
) -> Portioned:
    """Share in portions; tell how each need came out.

    Parameters
    ----------
    room, stocks, whole, form, lowest
        As in `share_in_portions`.
    """
    ceilings = [stock.ceiling for stock in stocks]
    if form == "mean":
        votes = sum(stock.weight for stock in stocks)
        logs = np.zeros_like(room)
        each = []
        for stock, ceiling in zip(stocks, ceilings, strict=True):
            each.append(_filled(room, ceiling, [stock]))
            logs += stock.weight * np.log(np.maximum(each[-1].level, lowest))
        quality = np.minimum(whole, np.exp(logs / votes) if stocks else 1.0)
        return Portioned(
            quality,
            tuple(one.level for one in each),
            tuple(np.where(one.held < 0, -1, at) for at, one in enumerate(each)),
        )
    vital = [at for at, stock in enumerate(stocks) if stock.floor == 0]
    helpful = [at for at in range(len(stocks)) if at not in vital]
    ceiling = np.ones_like(room)
    for at in vital:
        ceiling = np.minimum(ceiling, ceilings[at])

    def helped(homes: Array) -> tuple[dict[int, _Risen], Array]:
        found = {at: _filled(homes, ceilings[at], [stocks[at]]) for at in helpful}
        worth = np.ones_like(room)
        for at, one in found.items():
            worth *= stocks[at].floor + (1 - stocks[at].floor) * one.level
        return found, worth

    living = _filled(room, ceiling, [stocks[at] for at in vital])
    beside = np.ones_like(room)
    met, held = [living.level] * len(stocks), [living.held] * len(stocks)
    if helpful:
        first, beside = helped(room * living.level)
        living = _filled(room * beside, ceiling, [stocks[at] for at in vital])
        second, again = helped(room * beside * living.level)
        lower = beside <= again
        beside = np.minimum(beside, again)
        for at in helpful:
            met[at] = np.where(lower, first[at].level, second[at].level)
            held[at] = np.where(np.where(lower, first[at].held, second[at].held) < 0, -1, at)
    numbers = np.array([*vital, -1])
    for at in vital:
        met[at], held[at] = living.level, numbers[living.held]
    quality = np.minimum(whole, living.level * beside)
    return Portioned(quality, tuple(met), tuple(held))


class _Risen(NamedTuple):
    """Levels that homes reach, and which of the stocks was short in the last portion they took."""

    level: Array
    held: Places


def _filled(room: Array, ceiling: Array, stocks: Sequence[Stock]) -> _Risen:
    """Let homes rise in portions; two arrays of shape (n, K)."""
    held = np.full(room.shape, -1, dtype=np.intp)
    if not stocks:
        return _Risen(ceiling, held)
    portion = 1.0 / PORTIONS
    speed, level = np.ones_like(room), np.zeros_like(room)
    left = [stock.supply.copy() for stock in stocks]
    eaten = [np.zeros((len(room), *stock.supply.shape[1:])) for stock in stocks]
    takers = [stock.matrix.T for stock in stocks]
    for _ in range(PORTIONS):
        if not speed.any():
            break
        taking = room * speed
        rise = np.minimum(1.0, (ceiling - level) / portion)
        short = np.full(room.shape, -1, dtype=np.intp)
        offers, prices = [], []
        for at, stock in enumerate(stocks):
            price = _over(left[at], _times(takers[at], taking)[:, None])
            whole = speed[:, None] * _times(stock.matrix, price)
            offer = whole if stock.worst else np.minimum(whole, 1.0 - eaten[at])
            offers.append((offer, whole))
            prices.append(price)
            most = combine_months(offer, worst=stock.worst) / portion
            short[most < rise] = at
            rise = np.minimum(rise, most)
        rise = np.maximum(rise, 0.0)
        held = np.where(speed > 0, short, held)
        for at, stock in enumerate(stocks):
            offer, whole = offers[at]
            # Of a month alone the rise itself; of several so much of each offer that they make it.
            eats = np.broadcast_to((rise * portion)[:, None], offer.shape)
            if not stock.worst:
                eats = eats * _over(offer, offer.mean(axis=1, keepdims=True))
            gone = prices[at] * _times(takers[at], taking[:, None] * _over(eats, whole))
            left[at] = np.maximum(left[at] - gone, 0.0)
            if not stock.worst:
                eaten[at] += eats
        level += rise * portion
        speed = np.where(rise > STILL, rise, 0.0)
    return _Risen(level, held)


def _times(matrix: "sp.csr_array | Array", values: Array) -> Array:
    """Multiply along the first axis, whatever comes after."""
    flat = np.asarray(matrix @ values.reshape(len(values), -1))
    return flat.reshape(matrix.shape[0], *values.shape[1:])


def _over(top: Array, bottom: Array) -> Array:
    """Divide; nought by nought is nought."""
    there = bottom > 0
    if there.all():
        return top / bottom
    # Dividing everywhere and choosing is quicker than to divide here and there.
    return np.where(there, top / np.where(there, bottom, 1.0), 0.0)
