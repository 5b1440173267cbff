"""What do uncertain figures make of a result, and which of them makes most of it?

Source: the law of propagation of uncertainty, JCGM 100:2008, 5.1.2 (from memory): independent sources, slopes by small
steps to both sides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.estimate import Estimate

__all__ = ["NORMAL", "Budget", "Source", "carried"]

NORMAL = 1.959963984540054
"""How many standard uncertainties the 95 % interval of a normal reaches to either side."""

_STEP = 1e-4


@dataclass(frozen=True)
class Source:
    """One source: its standard uncertainty [its own unit] and what it makes of the total [the total's unit]."""

    name: str
    uncertainty: float
    in_total: float


@dataclass(frozen=True)
class Budget:
    """A result with its 95 % interval, and its sources, the largest first."""

    total: Estimate
    sources: tuple[Source, ...]


def carried(
    result: Callable[[Mapping[str, float]], float],
    values: Mapping[str, float],
    errors: Mapping[str, float],
    unit: str,
    *,
    by_ratio: bool = False,
) -> Budget:
    """Return a result with what makes it unsure.

    Parameters
    ----------
    result : callable
        The result of values by their names.
    values, errors : mapping
        The values and the standard uncertainties of those that have one [each in its own unit].
    unit : str
        The result's.
    by_ratio : bool
        Whether the interval reaches as far down as up as a ratio, for a result above 0 that multiplies; else as a
        difference.

    Raises
    ------
    ValueError
        If an uncertainty is below 0 or the result cannot be worked out.
    """
    if errors and min(errors.values()) < 0:
        raise ValueError(f"budget: uncertainties must be 0 or more, got {min(errors.values())}")
    middle = result(values)
    if not math.isfinite(middle):
        raise ValueError("budget: the total cannot be worked out from these volumes and this temperature")
    sources = [
        Source(name, error, abs(_slope(result, values, name)) * error) for name, error in errors.items() if error > 0
    ]
    error = math.sqrt(sum(source.in_total**2 for source in sources))
    low, high = _ends(middle, error, by_ratio and middle > 0)
    told = Estimate(middle, low, high, unit, error)
    return Budget(told, tuple(sorted(sources, key=lambda source: -source.in_total)))


def _ends(middle: float, error: float, by_ratio: bool) -> tuple[float, float]:
    if not by_ratio:
        return middle - NORMAL * error, middle + NORMAL * error
    reach = math.exp(NORMAL * error / middle)
    return middle / reach, middle * reach


def _slope(result: Callable[[Mapping[str, float]], float], values: Mapping[str, float], name: str) -> float:
    step = _STEP * max(abs(values[name]), 1.0)
    above, below = ({**values, name: values[name] + side * step} for side in (1, -1))
    return (result(above) - result(below)) / (2 * step)
