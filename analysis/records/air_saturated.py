"""Is a check of a meter one in air-saturated water, of which temperature and air pressure are written beside it?

Then what the meter should have read follows from the two and need not be written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from analysis.records.headers import read_header
from analysis.units import Unit, recognise_unit

__all__ = ["AirSaturated", "air_saturated", "says_air_saturated"]

_TEMPERATURE = ("temperature", "temp", "water temperature", "water temp", "sample temperature", "sample temp")
_PRESSURE = (
    "pressure", "air pressure", "barometer", "barometric pressure", "atmospheric pressure", "ambient pressure", "baro",
)  # fmt: skip
_NUMBER = re.compile(r"([-−]?\d+(?:[.,]\d+)?)\s*(\D*)")
_AIR = re.compile(r"(?i)\bair\b|\bsaturat|\bsat\b")
_HECTOPASCALS_FROM = 200.0


@dataclass(frozen=True)
class AirSaturated:
    """The water's temperature [°C] and the air's absolute pressure [kPa]."""

    temperature: float
    pressure: float


def says_air_saturated(text: str) -> bool:
    """Tell whether a cell says that the reference was air-saturated water instead of giving its oxygen."""
    return _AIR.search(text) is not None and not any(letter.isdigit() for letter in text.replace("100", ""))


def air_saturated(cells: Mapping[str, str]) -> AirSaturated | None:
    """Return what a check's further cells say of air-saturated water; None where they do not say both, or not sensibly.

    Parameters
    ----------
    cells : mapping
        The texts of the further cells by header. A bare temperature is in °C, a bare pressure in kPa, or in hPa from
        200 on.
    """
    temperature = _found(cells, _TEMPERATURE, "temperature")
    pressure = _found(cells, _PRESSURE, "pressure")
    if temperature is None or pressure is None or not (0 <= temperature <= 40 and 50 <= pressure <= 110):
        return None
    return AirSaturated(temperature, pressure)


def _found(cells: Mapping[str, str], names: tuple[str, ...], quantity: str) -> float | None:
    for header, cell in cells.items():
        read = read_header(header)
        units = [unit for words, unit in read.names if words in names]
        number = _NUMBER.fullmatch(cell.strip())
        if units and number is not None:
            value = float(number[1].replace(",", ".").replace("−", "-"))
            return _kept(value, number[2].strip() or units[0] or read.unit or "", quantity)
    return None


def _kept(value: float, written: str, quantity: str) -> float | None:
    if written.casefold() == "hpa":
        return value / 10
    if written:
        unit = recognise_unit(written, quantity)
        return value * unit.factor + unit.offset if isinstance(unit, Unit) else None
    return value / 10 if quantity == "pressure" and value >= _HECTOPASCALS_FROM else value
