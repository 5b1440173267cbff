"""In which unit does each number of a column stand, and what is it in the kept unit?

A unit in the cell comes before one in a unit column, that before what a person said, that before the header's. Where
none is written the numbers themselves may tell (original gravities of 1.048 are no °P); where they fit two units, and
where a unit means two things, a person is asked and the numbers are not taken.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from analysis.units import AmbiguousUnit, Unit, recognise_unit, to_kept, unstated_unit

__all__ = ["Deduced", "Scaled", "UnitDoubt", "deduced_unit", "scale"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]

# What is usual, in the kept unit: wide enough that no brewery lies outside, narrow enough to tell units apart.
# Common practice, no source.
_USUAL: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "dissolved_oxygen": (1.0, 20_000.0),
        "total_oxygen": (1.0, 20_000.0),
        "headspace_oxygen": (0.01, 21.0),
        "haze": (0.05, 500.0),
        "haze_forward": (0.05, 500.0),
        "chill_haze": (-5.0, 500.0),
        "temperature": (-3.0, 40.0),
        "fill_temperature": (-3.0, 30.0),
        "carbon_dioxide": (0.8, 12.0),
        "yeast_count": (0.001, 500.0),
        "volume": (0.5, 5_000.0),
        "size": (90.0, 110_000.0),
        "original_gravity": (3.0, 40.0),
        "final_gravity": (-4.0, 15.0),
        "minutes": (2.0, 600.0),
    }
)
_GRAVITY_RANGE = (0.98, 1.2)
_MOST_OF_THEM = (0.02, 0.98)
_MANY = 50


@dataclass(frozen=True)
class UnitDoubt:
    """Numbers of which the unit must be asked: which rows, of which quantity, what was written (``""``: nothing)."""

    quantity: str
    written: str
    unit: AmbiguousUnit
    rows: Flags


@dataclass(frozen=True)
class Deduced:
    """Numbers without a unit of which all together told it: which rows, of which quantity, and the unit."""

    quantity: str
    unit: Unit
    rows: Flags


@dataclass(frozen=True)
class Scaled:
    """Numbers in the kept unit, arrays of shape (n,).

    ``value`` is NaN where there is none; ``unknown`` marks numbers whose unit is none of the quantity's; ``doubts``
    hold those that wait for an answer; ``taken`` names, by quantity, the unit that numbers without a unit of their own
    were read in, and ``deduced`` holds those of which the numbers themselves told it. ``kept`` is the code of each
    row's unit in ``kept_units``, −1 where there is none.
    """

    value: Floats
    unknown: Flags
    doubts: tuple[UnitDoubt, ...]
    taken: Mapping[str, str]
    kept: Codes
    kept_units: tuple[str, ...]
    deduced: tuple[Deduced, ...] = ()


def scale(
    value: Floats,
    quantity: tuple[Codes, Sequence[str]],
    written: tuple[Codes, Sequence[str]],
    said: Callable[[str, str], str | None],
    header_unit: str | None,
) -> Scaled:
    """Return numbers in the kept unit of their quantity.

    Parameters
    ----------
    value : array of float, shape (n,)
        NaN where there is no number.
    quantity : (array of int, shape (n,), sequence of str)
        The code of each row's quantity, −1 where it has none, and the quantities' names.
    written : (array of int, shape (n,), sequence of str)
        The code of the unit that stands in each row's own cells, −1 where none does, and the units.
    said : function of a quantity and a written unit
        What a person said the unit is.
    header_unit : str or None
        The unit in the header.
    """
    n = len(value)
    kept_value, unknown, kept = np.full(n, np.nan), np.zeros(n, dtype=bool), np.full(n, -1, dtype=np.int32)
    doubts: list[UnitDoubt] = []
    taken: dict[str, str] = {}
    deduced: list[Deduced] = []
    kept_units: dict[str, int] = {}
    has_value = ~np.isnan(value)
    width = len(written[1]) + 1
    pair = np.where(has_value & (quantity[0] >= 0), quantity[0] * width + written[0] + 1, -1)
    counts = np.bincount(pair[pair >= 0], minlength=1)
    for place in np.flatnonzero(counts).tolist():
        name, text = quantity[1][place // width], ("", *written[1])[place % width]
        rows = pair == place if counts[place] < n else np.ones(n, dtype=bool)
        unit = _unit(name, text, said, header_unit, value[rows])
        if isinstance(unit, Unit):
            kept_value[rows] = to_kept(value[rows], unit)
            kept[rows] = kept_units.setdefault(unit.kept_unit, len(kept_units))
            if not text:
                taken[name] = unit.name
                if _written_unit(name, said, header_unit) is None and isinstance(unstated_unit(name), AmbiguousUnit):
                    deduced.append(Deduced(name, unit, rows))
        elif isinstance(unit, AmbiguousUnit):
            doubts.append(UnitDoubt(name, text, unit, rows))
        else:
            unknown |= rows
    return Scaled(kept_value, unknown, tuple(doubts), MappingProxyType(taken), kept, tuple(kept_units), tuple(deduced))


@lru_cache(maxsize=4096)
def _recognised(text: str, quantity: str) -> Unit | AmbiguousUnit | None:
    return recognise_unit(text, quantity)


def _unit(
    quantity: str, text: str, said: Callable[[str, str], str | None], header_unit: str | None, value: Floats
) -> Unit | AmbiguousUnit | None:
    if not text:
        return _written_unit(quantity, said, header_unit) or deduced_unit(quantity, value)
    answer = said(quantity, text)
    answered = _recognised(answer, quantity) if answer else None
    unit = _recognised(text, quantity)
    return answered if isinstance(unit, AmbiguousUnit) and isinstance(answered, Unit) else unit


def _written_unit(
    quantity: str, said: Callable[[str, str], str | None], header_unit: str | None
) -> Unit | AmbiguousUnit | None:
    """Return the unit of numbers without one in their own cells that a person or the header states."""
    answer = said(quantity, "")
    answered = _recognised(answer, quantity) if answer else None
    if isinstance(answered, Unit):
        return answered
    return _recognised(header_unit, quantity) if header_unit else None


def deduced_unit(quantity: str, value: Floats) -> Unit | AmbiguousUnit:
    """Return the one unit in which numbers without a unit can stand, or what to ask where there are more.

    Parameters
    ----------
    quantity : str
        A measure, or another of the quantities of ``units``.
    value : array of float, shape (n,)
        The numbers as written.
    """
    choices = unstated_unit(quantity)
    if isinstance(choices, Unit) or quantity not in (*_USUAL, "oxygen"):
        return choices
    low, high = _ends(value)
    fitting = [unit for unit in choices.choices if _fits(quantity, unit, low, high)]
    if len(fitting) == 1:
        return fitting[0]
    if not fitting:
        return choices
    names = " or ".join(unit.name for unit in fitting)
    return AmbiguousUnit("", tuple(fitting), f"No unit is written and the numbers fit {names}: which is it?")


def _ends(value: Floats) -> tuple[float, float]:
    """Return the lowest and highest number; of many, without the few at the ends, which may be slips."""
    if len(value) > _MANY:
        low, high = np.quantile(value, _MOST_OF_THEM)
        return float(low), float(high)
    return float(value.min()), float(value.max())


def _fits(quantity: str, unit: Unit, low: float, high: float) -> bool:
    if quantity == "oxygen":
        quantity = "headspace_oxygen" if unit.kept_unit == "%" else "dissolved_oxygen"
    usual_low, usual_high = _USUAL[quantity]
    if unit.is_gravity and not (_GRAVITY_RANGE[0] <= low * unit.factor and high * unit.factor <= _GRAVITY_RANGE[1]):
        return False
    ends = to_kept(np.array([low, high]), unit)
    if quantity in ("dissolved_oxygen", "total_oxygen"):
        return bool(ends[1] >= usual_low and ends[1] <= usual_high)
    return bool(ends[0] >= usual_low and ends[1] <= usual_high)
