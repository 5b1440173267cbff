"""How sure is a total package oxygen, and what makes it unsure?

Source: the law of propagation of uncertainty, JCGM 100:2008, 5.1.2 (from memory): independent sources, slopes by small
steps to both sides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.estimate import Estimate
from analysis.oxygen.total_oxygen import total_oxygen_from_both_parts, total_oxygen_from_shaken

__all__ = ["Budget", "Source", "both_parts_budget", "shaken_budget"]

_NORMAL = 1.959963984540054
_STEP = 1e-4


@dataclass(frozen=True)
class Source:
    """One source: its standard uncertainty [its own unit] and what it makes of the total [µg/L]."""

    name: str
    uncertainty: float
    in_total: float


@dataclass(frozen=True)
class Budget:
    """Total package oxygen with its 95 % interval [µg/L], and its sources, the largest first."""

    total: Estimate
    sources: tuple[Source, ...]


def shaken_budget(
    dissolved: float,
    liquid: float,
    headspace: float,
    temperature: float,
    *,
    dissolved_error: float = 0.0,
    headspace_error: float = 0.0,
    temperature_error: float = 0.0,
    solubility_factor: float = 1.0,
) -> Budget:
    """Return total package oxygen from shaken dissolved oxygen with what makes it unsure.

    Parameters
    ----------
    dissolved, liquid, headspace, temperature, solubility_factor
        As in ``total_oxygen_from_shaken``.
    dissolved_error, headspace_error, temperature_error : float
        Standard uncertainties [µg/L, mL, °C]. A headspace that is larger by a millilitre leaves a millilitre less beer.

    Raises
    ------
    ValueError
        If an uncertainty is below 0 or the total cannot be worked out.
    """
    values = {"dissolved oxygen": dissolved, "headspace": headspace, "temperature": temperature}
    errors = dict(zip(values, (dissolved_error, headspace_error, temperature_error), strict=True))
    brimful = liquid + headspace

    def total(at: Mapping[str, float]) -> float:
        gas = at["headspace"]
        found = total_oxygen_from_shaken(
            at["dissolved oxygen"], brimful - gas, gas, at["temperature"], solubility_factor
        )
        return float(found)

    return _budget(total, values, errors)


def both_parts_budget(
    dissolved: float,
    percent: float,
    liquid: float,
    headspace: float,
    pressure: float,
    temperature: float,
    *,
    dissolved_error: float = 0.0,
    percent_error: float = 0.0,
    headspace_error: float = 0.0,
    pressure_error: float = 0.0,
    temperature_error: float = 0.0,
) -> Budget:
    """Return total package oxygen from both parts with what makes it unsure.

    Parameters
    ----------
    dissolved, percent, liquid, headspace, pressure, temperature
        As in ``total_oxygen_from_both_parts``.
    dissolved_error, percent_error, headspace_error, pressure_error, temperature_error : float
        Standard uncertainties [µg/L, %, mL, kPa, °C].

    Raises
    ------
    ValueError
        If an uncertainty is below 0 or the total cannot be worked out.
    """
    values = {
        "dissolved oxygen": dissolved, "headspace oxygen": percent, "headspace": headspace, "pressure": pressure,
        "temperature": temperature,
    }  # fmt: skip
    given = (dissolved_error, percent_error, headspace_error, pressure_error, temperature_error)
    brimful = liquid + headspace

    def total(at: Mapping[str, float]) -> float:
        gas = at["headspace"]
        found = total_oxygen_from_both_parts(
            at["dissolved oxygen"], at["headspace oxygen"], brimful - gas, gas, at["pressure"], at["temperature"]
        )
        return float(found)

    return _budget(total, values, dict(zip(values, given, strict=True)))


def _budget(
    total: Callable[[Mapping[str, float]], float], values: Mapping[str, float], errors: Mapping[str, float]
) -> Budget:
    if min(errors.values()) < 0:
        raise ValueError(f"budget: uncertainties must be 0 or more, got {min(errors.values())}")
    middle = total(values)
    if not math.isfinite(middle):
        raise ValueError("budget: the total cannot be worked out from these volumes and this temperature")
    sources = [
        Source(name, error, abs(_slope(total, values, name)) * error) for name, error in errors.items() if error > 0
    ]
    error = math.sqrt(sum(source.in_total**2 for source in sources))
    told = Estimate(middle, middle - _NORMAL * error, middle + _NORMAL * error, "µg/L", error)
    return Budget(told, tuple(sorted(sources, key=lambda source: -source.in_total)))


def _slope(total: Callable[[Mapping[str, float]], float], values: Mapping[str, float], name: str) -> float:
    step = _STEP * max(abs(values[name]), 1.0)
    above, below = ({**values, name: values[name] + side * step} for side in (1, -1))
    return (total(above) - total(below)) / (2 * step)
