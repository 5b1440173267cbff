"""What unit did they write, and what is that in the kept unit?

A quantity is a measure of the vocabulary, or one of ``QUANTITIES`` for what stands in other columns: volumes, sizes,
gravities, times, doses; ``"oxygen"`` is oxygen of which nothing says whether it is in the beer or in the gas. A unit
that could be two things ("FTU", "bbl", "pt/bbl") comes back with its choices and the question to put to a person; it is
never chosen here.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analysis.unit_tables import (
    GALLONS,
    HAZE,
    MASS,
    METRIC_VOLUME,
    PARTS_OF_GALLON,
    POINTS,
    POUND,
    QUANTITIES,
    SYSTEMS,
    UNIT_OF,
    YEAST,
    Quantity,
    Unit,
    plain_unit,
)

__all__ = [
    "QUANTITIES",
    "AmbiguousUnit",
    "Unit",
    "convert",
    "is_unit",
    "kept_unit",
    "recognise_unit",
    "specific_gravity_to_plato",
    "to_kept",
    "unstated_unit",
]

Values = npt.NDArray[np.float64]

_PLATO = (-616.868, 1111.14, -630.272, 135.997)


@dataclass(frozen=True)
class AmbiguousUnit:
    """A unit that means more than one thing, the things it may mean, and what to ask."""

    text: str
    choices: tuple[Unit, ...]
    question: str


_QUESTIONS = {
    "ftu": "Are these ASBC FTU, of which 69 make 1 EBC, or formazin units that equal NTU, of which 4 make 1 EBC?",
}


def recognise_unit(text: str, quantity: str) -> Unit | AmbiguousUnit | None:
    """Return what a written unit is for a quantity.

    Parameters
    ----------
    text : str
        The unit as written: any case, spacing, µ or u, "per", "L⁻¹", brackets.
    quantity : str
        A measure, one of ``QUANTITIES``, or a tasting attribute.

    Returns
    -------
    Unit, or AmbiguousUnit where it means more than one thing, or None where it is no unit of that quantity.
    """
    known, plain = _known(quantity), plain_unit(text)
    if known is HAZE:
        plain = re.sub(r"(?:@|at|,)?(?:90|25|15|13|12|11|0)$", "", plain)
    if plain in known.asked:
        choices = [recognise_unit(name, quantity) for name in known.asked[plain]]
        return _ambiguous(text, [choice for choice in choices if isinstance(choice, Unit)])
    if plain in known.words:
        return known.words[plain]
    if known is YEAST:
        return _cells(plain)
    units = _from_parts(plain, known)
    if len(units) > 1:
        return _ambiguous(text, units)
    return units[0] if units else None


def unstated_unit(quantity: str) -> Unit | AmbiguousUnit:
    """Return what to ask where a quantity has no unit written, or the one unit that it can have."""
    known = _known(quantity)
    choices = [recognise_unit(name, quantity) for name in known.unstated]
    units = [choice for choice in choices if isinstance(choice, Unit)]
    return _ambiguous("", units) if units else Unit(known.kept, known.kept, 1.0)


def kept_unit(quantity: str) -> str:
    """Return the unit that a quantity is kept in; a dose by volume is kept in mL/hL all the same."""
    return _known(quantity).kept


def to_kept(values: npt.ArrayLike, unit: Unit) -> Values:
    """Return values in the kept unit.

    Parameters
    ----------
    values : array_like, shape (n,)
        In ``unit``; NaN stays NaN. Every conversion rises with the value, so that a limit stays a limit.
    unit : Unit
    """
    scaled = np.asarray(values, dtype=np.float64) * unit.factor + unit.offset
    return specific_gravity_to_plato(scaled) if unit.is_gravity else scaled


def convert(value: float, unit_text: str, quantity: str) -> float:
    """Return one value in the kept unit.

    Raises
    ------
    ValueError
        If the unit is not one of that quantity, or means more than one thing.
    """
    unit = recognise_unit(unit_text, quantity)
    if isinstance(unit, AmbiguousUnit):
        raise ValueError(f"convert: unit_text must name one unit, got {unit_text!r}: {unit.question}")
    if unit is None:
        raise ValueError(f"convert: unit_text must be a unit of {quantity}, got {unit_text!r}")
    return float(to_kept(value, unit))


def specific_gravity_to_plato(gravity: npt.ArrayLike) -> Values:
    """Return the extract [°P] of wort or beer of a specific gravity at 20/20 °C.

    Parameters
    ----------
    gravity : array_like, shape (n,)
        Specific gravity [1], about 0.99 to 1.13.

    Notes
    -----
    °P = −616.868 + 1111.14 s − 630.272 s² + 135.997 s³. Source: ASBC tables as a cubic, from memory.
    """
    s = np.asarray(gravity, dtype=np.float64)
    return np.asarray(np.polynomial.polynomial.polyval(s, _PLATO), dtype=np.float64)


@lru_cache(maxsize=4096)
def is_unit(text: str) -> bool:
    """Tell whether a text is a unit of any quantity."""
    return any(recognise_unit(text, quantity) is not None for quantity in QUANTITIES)


def _known(quantity: str) -> Quantity:
    if not quantity:
        raise ValueError(f"units: quantity must be one of {', '.join(QUANTITIES)} or a tasting attribute, got ''")
    return QUANTITIES.get(quantity, POINTS)


def _ambiguous(text: str, choices: Sequence[Unit]) -> AmbiguousUnit:
    names = " or ".join(choice.name for choice in choices)
    asked = f"“{text}” can mean {names}: which is it?" if text else f"No unit is written: is it {names}?"
    return AmbiguousUnit(text, tuple(choices), _QUESTIONS.get(plain_unit(text), asked))


_CELLS = re.compile(r"(?:[x*]?(?:10\^?|1?e\+?0?)(?P<ten>[5-8])|(?P<million>millions?|mill?|mio|mln|m))?/(?P<of>ml|ul)")


def _cells(plain: str) -> Unit | None:
    """Return a unit of cells in a volume: "x10^6 cells/mL", "million/mL", "cells/mL x 10^6"."""
    plain = re.sub(r"yeast|cells?|ct\b", "", plain)
    plain = re.sub(r"^(/[mu]l)(.+)$", r"\2\1", plain)
    found = _CELLS.fullmatch(plain)
    if found is None:
        return None
    cells = Fraction(10) ** int(found["ten"]) if found["ten"] else Fraction(10**6 if found["million"] else 1)
    per_millilitre = cells * (1000 if found["of"] == "ul" else 1)
    names = {Fraction(10**6): "10⁶/mL", Fraction(1): "cells/mL"}
    name = names.get(per_millilitre, f"{float(per_millilitre):g} cells/mL")
    return Unit(name, "10⁶/mL", float(per_millilitre / 10**6))


@dataclass(frozen=True)
class _Part:
    """One simple unit: its name, "mass" or "volume", what one is [g or mL], and "UK", "US" or neither."""

    name: str
    dimension: str
    size: Fraction
    system: str = ""


def _from_parts(plain: str, known: Quantity) -> list[Unit]:
    """Return the units that a simple unit or a ratio of two can mean for a quantity."""
    over = re.fullmatch(r"(.+?)[*]?(m?l|hl|cl)\^?-1", plain)
    above, _, below = (over[1], "/", over[2]) if over else plain.partition("/")
    units = []
    for one in _parts(above):
        for other in _parts(below) if below else [None]:
            if other and one.system and other.system and one.system != other.system:
                continue
            dimension = f"{one.dimension}/{other.dimension}" if other else one.dimension
            if dimension in known.per:
                kept, factor = known.per[dimension]
                size = one.size / other.size if other else one.size
                name = f"{one.name}/{other.name}" if other else one.name
                units.append(Unit(name, kept, float(size * factor)))
    return units


def _parts(plain: str) -> list[_Part]:
    for system, names in SYSTEMS.items():
        for name in names:
            rest = plain.removeprefix(name) if plain.startswith(name) else plain.removesuffix(name)
            if rest != plain and rest in UNIT_OF:
                return [part for part in _parts(rest) if part.system == system]
    unit = UNIT_OF.get(plain)
    if unit is None:
        return []
    if unit in MASS:
        return [_Part(unit.replace("ug", "µg"), "mass", MASS[unit])]
    if unit in METRIC_VOLUME:
        return [_Part(unit, "volume", METRIC_VOLUME[unit])]
    if unit in ("oz", "oz wt"):
        of_mass = _Part("oz wt", "mass", POUND / 16)
        return [of_mass] if unit == "oz wt" else [of_mass, *_parts("floz")]
    return [
        _Part(f"{system} {unit}", "volume", GALLONS[system] * size, system)
        for system, size in zip(("UK", "US"), PARTS_OF_GALLON[unit], strict=True)
    ]
