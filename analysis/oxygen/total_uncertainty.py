"""How sure is a total package oxygen, and what makes it unsure?

The meter, the headspace's volume and the temperature do, as ``propagation`` carries them.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.oxygen.propagation import Budget, carried
from analysis.oxygen.total_oxygen import total_oxygen_from_both_parts, total_oxygen_from_shaken

__all__ = ["both_parts_budget", "shaken_budget"]

_UNIT = "µg/L"


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

    return carried(total, values, errors, _UNIT)


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
    dry: bool = True,
) -> Budget:
    """Return total package oxygen from both parts with what makes it unsure.

    Parameters
    ----------
    dissolved, percent, liquid, headspace, pressure, temperature, dry
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
            at["dissolved oxygen"], at["headspace oxygen"], brimful - gas, gas, at["pressure"], at["temperature"], dry
        )
        return float(found)

    return carried(total, values, dict(zip(values, given, strict=True)), _UNIT)
