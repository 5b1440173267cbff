"""Was a meter off for a while and set right again, so that no single move of its level shows?

Every stretch of checks in the middle is compared with the rest. Whether the best of them saves more than chance would
is judged by shuffling the checks, as for a single move.

Source: the epidemic alternative of a change of level, B. Levin and J. Kline 1985, Statistics in Medicine 4, 469–488
(from memory); the permutation test of E. J. G. Pitman 1937 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["excursion"]

_SHUFFLES = 1_999
_SEED = 20_150_402
_AT_ONCE = 2_000_000  # numbers that stand in memory at one time
_GRID = 160  # past so many checks the shuffled ones are compared on a grid of places

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def excursion(found: Floats, fewest: int, chance: float) -> tuple[int, int] | None:
    """Return the first check of an excursion and the first after it; None where there is none.

    Parameters
    ----------
    found : array, shape (n,)
        The deviations in the order of time.
    fewest : int
        How many checks there must be before, within and after it.
    chance : float
        How often an excursion may be found among checks in which there is none.
    """
    n = found.size
    if n < 3 * fewest or not np.ptp(found) > 0:
        return None
    centred = found - found.mean()
    places = np.arange(n + 1)
    grid = places if n <= _GRID else np.unique(np.linspace(0, n, _GRID + 1).astype(np.int64))
    reached = float(_saved(centred[None, :], grid, fewest).max())
    if _by_chance(centred, grid, fewest, reached, chance):
        return None
    best = int(np.argmax(_saved(centred[None, :], places, fewest)))
    return divmod(best, n + 1)


def _by_chance(centred: Floats, grid: Ints, fewest: int, reached: float, chance: float) -> bool:
    """Return whether shuffled checks save as much more often than is allowed; it stops once that is certain."""
    draw = np.random.default_rng(_SEED)
    allowed = chance * (1 + _SHUFFLES) - 1
    at_once = max(1, _AT_ONCE // grid.size**2)
    as_good = done = 0
    while done < _SHUFFLES and as_good <= allowed:
        number = min(at_once, _SHUFFLES - done)
        shuffled = draw.permuted(np.tile(centred, (number, 1)), axis=1)
        saved = _saved(shuffled, grid, fewest).reshape(number, -1).max(axis=1)
        as_good += int(np.count_nonzero(saved >= reached * (1 - 1e-12)))
        done += number
    return as_good > allowed


def _saved(rows: Floats, places: Ints, fewest: int) -> Floats:
    """Return what a level of its own saves of the squares, for each stretch from one place to another, 0 where none may
    be: shape (rows, places, places)."""
    n = rows.shape[1]
    sums = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)[:, places]
    length = places[None, :] - places[:, None]
    may_be = (length >= fewest) & (places[:, None] >= fewest) & (n - places[None, :] >= fewest)
    weight = np.where(may_be, 1 / np.where(may_be, length * (1 - length / n), 1.0), 0.0)
    return np.asarray(np.square(sums[:, None, :] - sums[:, :, None]) * weight, dtype=np.float64)
