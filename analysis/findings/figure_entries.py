"""What did a person type for a figure: which amount, in which unit, give or take how much?

A figure is typed as the trade writes it, "15 psi", "20 ± 1 mL", "68 °F", and read through the same units as a sheet.
What stands behind ± is taken to hold 95 times in 100.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from analysis.oxygen.propagation import NORMAL
from analysis.units import AmbiguousUnit, Unit, recognise_unit, unstated_unit

__all__ = ["Entered", "EntryFault", "Field", "read_entry"]

Reader = Callable[[str], "Unit | str"]

_NUMBER = r"[-−+]?(?:\d[\d,. ]*\d|\d)(?:[eE][-−+]?\d+)?"
_ENTRY = re.compile(rf"({_NUMBER})\s*(?:(?:±|\+\s*/\s*-|\+-|\+/−)\s*({_NUMBER}))?\s*(\D.*)?")
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+")
_ABSOLUTE = re.compile(r"\s*\(?\s*(?:abs(?:olute)?\.?|(?<=bar)a|(?<=psi)a)\s*\)?\s*$", re.IGNORECASE)
_GAUGE = re.compile(r"\s*\(?\s*(?:gauge|(?<=bar)g|(?<=psi)g|(?<=bar )g|(?<=psi )g)\s*\)?\s*$", re.IGNORECASE)

# Lengths and rates stand on no sheet, so that the readers of sheets need not know them. Foot and inch: international
# yard and pound agreement of 1959.
_LENGTHS = {"m": (1, 1), "cm": (1, 100), "mm": (1, 1000), "ft": (3048, 10_000), "in": (254, 10_000)}
_SPELT: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
        **dict.fromkeys(("cm", "centimetre", "centimetres"), "cm"),
        **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(("ft", "foot", "feet", "'", "′"), "ft"),
        **dict.fromkeys(("in", "inch", "inches", '"', "″"), "in"),
    }
)
_WORDS: Mapping[str, tuple[str, tuple[str, ...]]] = MappingProxyType(
    {
        "count": ("", ("", "cycles", "cycle", "times", "×")),
        "days": ("d", ("", "d", "day", "days")),
        "rate": ("/d", ("", "/d", "/day", "perday", "aday", "d-1")),
        "gas_a_day": ("mL/d", ("ml/d", "ml/day", "mladay", "mlperday", "")),
        "share": ("", ("",)),
    }
)
_QUESTIONS: Mapping[str, str] = MappingProxyType(
    {
        "pressure": "Write the unit of the pressure: bar, psi or kPa.",
        "temperature": "Write the unit of the temperature: °C or °F.",
        "length": "Write the unit: m, mm, ft or in.",
        "dissolved_oxygen": "Write the unit: µg/L (ppb) or mg/L (ppm).",
        "gas_oxygen": "Write the unit: %, ppmv or, as a partial pressure, mbar or kPa.",
        "volume": "Write the unit: hL, L, mL or bbl (US or UK).",
    }
)


@dataclass(frozen=True)
class Field:
    """One thing that is asked for.

    ``quantity`` is one of ``units.QUANTITIES``, or "gauge" (a pressure above the air outside), "gas_oxygen" (a share of
    a gas, or a partial pressure), "length", "count", "days", "rate", "gas_a_day", "share", or "choice". ``usual`` is
    what stands there before anybody types; "" where nothing does. ``lowest`` and ``highest`` bound it [kept unit]; with
    ``above`` it must be above the lowest. Without ``takes_spread`` a ± would not be carried into the answer, and so is
    refused.
    """

    name: str
    label: str
    quantity: str
    usual: str = ""
    hint: str = ""
    needed: bool = True
    lowest: float = float("-inf")
    highest: float = float("inf")
    above: bool = False
    takes_spread: bool = True
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Entered:
    """What was typed, understood: ``value`` and the standard uncertainty ``error`` [kept unit].

    ``unit`` is the unit as it was taken; ``kind`` says what the entry is where a field takes more than one sort:
    "absolute" of a pressure, "pressure" of an oxygen; ``text`` is what was typed, ``choice`` what was chosen.
    """

    name: str
    text: str
    value: float = float("nan")
    error: float = 0.0
    unit: str = ""
    kind: Literal["", "absolute", "pressure"] = ""
    choice: str = ""


@dataclass(frozen=True)
class EntryFault:
    """What is wrong with an entry, to be said beside its field."""

    field: str
    message: str


def read_entry(field: Field, typed: str) -> Entered | EntryFault | None:
    """Return what was typed in a field; None where it is empty and need not be filled."""
    text = typed.strip()
    if not text:
        return EntryFault(field.name, f"Fill in: {field.label.lower()}.") if field.needed else None
    if field.quantity == "choice":
        return _chosen(field, text)
    found = _ENTRY.fullmatch(text)
    if found is None:
        return EntryFault(field.name, f"“{text}” is no figure. Write a number and its unit{_such_as(field)}.")
    value, half = _number(found[1]), _number(found[2]) if found[2] else 0.0
    if found[2] and not field.takes_spread:
        return EntryFault(field.name, "A ± is not carried on from here: leave it out.")
    if isinstance(value, str) or isinstance(half, str):
        return EntryFault(field.name, value if isinstance(value, str) else str(half))
    return _in_unit(field, text, value, abs(half), (found[3] or "").strip())


def _chosen(field: Field, text: str) -> Entered | EntryFault:
    for choice in field.choices:
        if text.casefold() == choice.casefold():
            return Entered(field.name, text, choice=choice)
    return EntryFault(field.name, f"“{text}” is none of the choices: {', '.join(field.choices)}.")


def _number(text: str) -> float | str:
    """Return a number with a decimal point or comma; what could be either is asked about."""
    plain = text.replace(" ", "").replace("−", "-")
    digits = plain.lstrip("+-")
    if _THOUSANDS.fullmatch(digits) and digits.count(",") == 1:
        return f"“{text}” can be {digits.replace(',', '')} or {digits.replace(',', '.')}: write it without the comma."
    if _THOUSANDS.fullmatch(digits):
        plain = plain.replace(",", "")
    try:
        return float(plain.replace(",", "."))
    except ValueError:
        return f"“{text}” is no number."


def _in_unit(field: Field, text: str, value: float, half: float, written: str) -> Entered | EntryFault:
    if field.quantity == "gauge" and _ABSOLUTE.search(written):
        kind: Literal["", "absolute", "pressure"] = "absolute"
        written = _ABSOLUTE.sub("", written)
    else:
        kind = ""
        written = _GAUGE.sub("", written) if field.quantity in ("gauge", "pressure") else _ABSOLUTE.sub("", written)
    bare_nought = value == 0 and not written and field.quantity == "gauge"
    unit = _unit_of(field.quantity, "bar" if bare_nought else written)
    if isinstance(unit, str):
        return EntryFault(field.name, unit)
    if field.quantity == "gas_oxygen" and unit.kept_unit == "kPa":
        kind = "pressure"
    kept, error = value * unit.factor + unit.offset, half * unit.factor / NORMAL
    if kept < field.lowest or kept > field.highest or (field.above and kept <= field.lowest):
        return EntryFault(field.name, _out_of_range(field, text, unit))
    return Entered(field.name, text, kept, error, unit.name, kind)


def _unit_of(quantity: str, written: str) -> Unit | str:
    """Return a unit, or what to say where it is none or could be more than one."""
    if quantity == "length":
        name = _SPELT.get(written.casefold())
        size = _LENGTHS.get(name or "")
        return Unit(name or "", "m", float(Fraction(*size))) if size else _QUESTIONS["length"]
    if quantity in _WORDS:
        kept, spellings = _WORDS[quantity]
        plain = written.casefold().replace(" ", "")
        return Unit(kept, kept, 1.0) if plain in spellings else f"“{written}” is no unit that this can have."
    known = {"gauge": "pressure", "gas_oxygen": "headspace_oxygen", "air_pressure": "pressure"}.get(quantity, quantity)
    found = recognise_unit(written, known) if written else unstated_unit(known)
    if quantity == "gas_oxygen" and found is None:
        found = recognise_unit(written, "pressure")
    if isinstance(found, AmbiguousUnit):
        return found.question if written else _QUESTIONS.get(_asked(quantity), found.question)
    if found is None:
        return f"“{written}” is no unit that this can have. {_QUESTIONS.get(_asked(quantity), '')}".strip()
    return found


def _asked(quantity: str) -> str:
    return {"gauge": "pressure", "air_pressure": "pressure", "total_oxygen": "dissolved_oxygen"}.get(quantity, quantity)


def _such_as(field: Field) -> str:
    return f", such as “{field.usual}”" if field.usual else ""


def _out_of_range(field: Field, text: str, unit: Unit) -> str:
    low, high = field.lowest, field.highest
    if field.above and low == 0:
        return f"“{text}” must be above 0."
    ends = [f"{(e - unit.offset) / unit.factor:,.4g} {unit.name}".strip() for e in (low, high) if math.isfinite(e)]
    one_sided = "at most" if math.isfinite(high) else "at least"
    between = " to ".join(ends) if len(ends) == 2 else f"{one_sided} {ends[0]}"
    return f"“{text}” lies outside what this can be: {between}."
