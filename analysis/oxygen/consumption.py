"""How does oxygen go on in a closed pack, and what was it at closing?

Beer consumes what is there and a closure lets some in: dC/dt = g − k·C. Low oxygen in an aged pack is therefore no sign
of low oxygen at filling; read late enough, it says nothing at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.estimate import Estimate

__all__ = ["WIDEST", "AtClosing", "consumption_rate", "oxygen_after", "oxygen_at_closing"]

WIDEST = 4.0
"""The widest interval, high over low, at which an oxygen at closing is still told: common practice, no source."""

_NORMAL = 1.959963984540054
_NUDGE = 1e-6


@dataclass(frozen=True)
class AtClosing:
    """The oxygen at closing [µg/L], or None and ``why_not``."""

    oxygen: Estimate | None
    why_not: str = ""


def oxygen_after(
    days: ArrayLike, at_closing: ArrayLike, consumption: float, ingress: float = 0.0
) -> NDArray[np.float64]:
    """Return the oxygen of a pack after so many days [µg/L], shape (n,).

    Parameters
    ----------
    days : array_like, shape (n,)
    at_closing : array_like, shape (n,)
        [µg/L]
    consumption : float
        k [1/d], 0 or more.
    ingress : float
        g [µg/L a day], 0 or more.

    Raises
    ------
    ValueError
        If a rate is below 0.
    """
    if consumption < 0 or ingress < 0:
        raise ValueError(f"oxygen_after: rates must be 0 or more, got {consumption} and {ingress}")
    time = np.asarray(days, dtype=np.float64)
    kept = np.exp(-consumption * time)
    come = ingress * (time if consumption == 0 else -np.expm1(-consumption * time) / consumption)
    return np.asarray(np.asarray(at_closing, dtype=np.float64) * kept + come, dtype=np.float64)


def consumption_rate(first: float, last: float, days: float) -> float:
    """Return k [1/d] from a fall over some days, with nothing let in.

    Raises
    ------
    ValueError
        If a value is not above 0.
    """
    if not (first > 0 and last > 0 and days > 0):
        raise ValueError(f"consumption_rate: values must be above 0, got {first}, {last} and {days}")
    return math.log(first / last) / days


def oxygen_at_closing(
    reading: float,
    days: float,
    consumption: float,
    *,
    reading_error: float,
    consumption_error: float,
    ingress: float = 0.0,
) -> AtClosing:
    """Return the oxygen at closing from a reading of an aged pack, with its 95 % interval.

    Parameters
    ----------
    reading : float
        Oxygen of the pack when it was read [µg/L].
    days : float
        Since closing [d].
    consumption, consumption_error : float
        k and its standard error [1/d].
    reading_error : float
        Standard error of the reading [µg/L].
    ingress : float
        g [µg/L a day].

    Returns
    -------
    AtClosing
        Refused where what came in accounts for the reading, or where the interval's ends are more than ``WIDEST`` times
        apart: then the pack was opened too late to say.

    Raises
    ------
    ValueError
        If a number is below 0.

    Notes
    -----
    C₀ = A·e^(kt), A = C − g(1 − e^(−kt))/k the part of C that was there at closing, with
    var(ln C₀) = (s_C/A)² + ((t + A'/A)·s_k)², A' the derivative of A by k.
    """
    if min(reading, days, consumption, reading_error, consumption_error, ingress) < 0:
        raise ValueError(f"oxygen_at_closing: every number must be 0 or more, got {reading}, {days}, {consumption}")
    come = float(oxygen_after(days, 0.0, consumption, ingress))
    left = reading - come
    if left <= _NORMAL * reading_error:
        return AtClosing(None, "what was there at closing can no longer be told from what came in and from nothing")
    by_rate = (come - float(oxygen_after(days, 0.0, consumption + _NUDGE, ingress))) / _NUDGE
    error = math.hypot(reading_error / left, (days + by_rate / left) * consumption_error)
    middle, reach = left * math.exp(consumption * days), math.exp(_NORMAL * error)
    if reach**2 > WIDEST:
        return AtClosing(
            None, f"it was opened too late, and the top of its interval would be {reach**2:.0f} times its bottom"
        )
    return AtClosing(Estimate(middle, middle / reach, middle * reach, "µg/L", middle * error))
