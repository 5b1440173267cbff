"""What do meter checks and targets state, in the kept unit of the quantity that each row is about?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.records.air_saturated import says_air_saturated
from analysis.records.cells import RawColumn
from analysis.records.context import Context, Values
from analysis.records.headers import read_header
from analysis.records.kept import ask_unit, ask_units, rows_of_state, text_of_codes
from analysis.records.meaning import Meaning
from analysis.records.measure_headers import measure_of
from analysis.records.parsed import State
from analysis.records.parsing import parse_numbers
from analysis.records.readings import Quantities, read_quantities
from analysis.records.scales import UnitDoubt, deduced_unit, scale
from analysis.records.words import ATTRIBUTES, plain_words
from analysis.records.written_units import unit_column_of, units_of
from analysis.units import AmbiguousUnit, Unit, kept_unit, recognise_unit
from analysis.vocabulary import MEASURES, slug

__all__ = ["read_meter_checks", "read_targets"]

Codes = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]

_LIMITS = ("lower", "upper", "target", "margin")


def read_meter_checks(context: Context, values: Values) -> None:
    """Read what was known and what the meter showed, in the quantity's kept unit.

    Where no quantity is written, the sheet's name or the unit tells it; where neither does, the numbers and their unit
    stay as they were written.
    """
    quantities = _quantities(context)
    unit = context.recognised.kept("unit")
    for name in ("reference", "observed"):
        meaning = context.recognised.kept(name)
        assert meaning is not None  # a sheet without it is no sheet of meter checks
        cells = context.cells(meaning)
        numbers = parse_numbers(cells, context.decimal)
        in_air = cells.text.map(says_air_saturated).to_numpy(dtype=bool) if name == "reference" else False
        rows_of_state(context, meaning, cells, np.where(in_air, State.EMPTY, numbers.state))
        code, texts = units_of(context, numbers, unit)
        quantity = _told_by_unit(quantities, code, texts, meaning.unit)
        value = np.where(context.active, numbers.value, np.nan)
        said = context.unit_said(meaning.header, None if unit is None else unit.header)
        scaled = scale(value, (quantity.code, quantity.names), (code, texts), said, meaning.unit)
        ask_units(context, meaning, cells, scaled, costs_rows=True, by_quantity=True)
        as_written = quantity.code < 0
        values.numbers[name] = np.where(as_written, value, scaled.value)
        kept = text_of_codes(scaled.kept, list(scaled.kept_units))
        values.texts["unit"] = kept.where(~as_written, text_of_codes(code, texts))
        values.texts["quantity"] = text_of_codes(quantity.code, list(quantity.names))


def _quantities(context: Context) -> Quantities:
    meaning = context.recognised.kept("quantity")
    n = len(context.table)
    if meaning is not None:
        return _with_attributes(context, read_quantities(context, meaning), None)
    named = measure_of(read_header(context.name.removesuffix(" meters").removesuffix(" meter")))
    code = np.full(n, -1 if named is None else 0, dtype=np.int32)
    return Quantities(code, () if named is None else (named.measure,), (None,), (None,), ())


def _told_by_unit(quantities: Quantities, code: Codes, texts: list[str], header_unit: str | None) -> Quantities:
    """Give rows without a quantity the one measure that their unit belongs to."""
    open_rows = quantities.code < 0
    if not open_rows.any():
        return quantities
    names = list(quantities.names)
    told = np.full(len(texts) + 1, -1, dtype=np.int32)
    for place, text in enumerate([*texts, header_unit or ""]):
        measure = _measure_of_unit(text)
        if measure is not None:
            told[place] = names.index(measure) if measure in names else len(names)
            names = names if measure in names else [*names, measure]
    filled = np.where(open_rows, told[code], quantities.code).astype(np.int32)
    return Quantities(filled, tuple(names), quantities.units, quantities.angles, quantities.unknown)


def _measure_of_unit(text: str) -> str | None:
    """Return the measure that a unit names by itself: µg/L is dissolved oxygen's, NTU is haze's."""
    for measure in ("haze", "dissolved_oxygen", "temperature"):
        if text and isinstance(recognise_unit(text, measure), Unit):
            return measure
    return None


def read_targets(context: Context, values: Values) -> None:
    """Read limits, aims and margins in the kept unit of their quantity.

    The unit stands in the cell, beside the row, over the column or with the measure; else all the quantity's numbers
    must fit one unit alone, or a person is asked. A margin is a difference: one of 1.8 °F is 1 °C.
    """
    meaning = context.recognised.kept("quantity")
    assert meaning is not None  # a sheet without it is no sheet of targets
    quantities = _with_attributes(context, read_quantities(context, meaning), meaning.header)
    values.texts["quantity"] = text_of_codes(quantities.code, list(quantities.names))
    columns = [_stated_column(context, name) for name in _LIMITS if context.recognised.kept(name)]
    told = _told_by_numbers(context, meaning, quantities, columns)
    for column in columns:
        values.numbers[column.name] = _in_kept_unit(context, column, quantities, told)


@dataclass(frozen=True, eq=False)
class _Stated:
    """One column of limits: its name, what its header means, its numbers, and the unit that each row states for it."""

    name: str
    meaning: Meaning
    cells: RawColumn
    value: npt.NDArray[np.float64]
    code: Codes
    units: list[str]

    def bare(self, quantities: Quantities) -> Flags:
        """Return the numbers of which nothing states the unit."""
        without = np.array([*(unit is None for unit in quantities.units), False], dtype=bool)[quantities.code]
        nowhere = self.meaning.unit is None
        return np.asarray(nowhere & without & (self.code < 0) & ~np.isnan(self.value), dtype=bool)


def _stated_column(context: Context, name: str) -> _Stated:
    column = context.recognised.kept(name)
    assert column is not None  # the caller asks for columns that are there
    cells = context.cells(column)
    numbers = parse_numbers(cells, context.decimal)
    rows_of_state(context, column, cells, numbers.state)
    code, units = units_of(context, numbers, unit_column_of(context, column))
    return _Stated(name, column, cells, np.where(context.active, numbers.value, np.nan), code, units)


def _told_by_numbers(
    context: Context, meaning: Meaning, quantities: Quantities, columns: Sequence[_Stated]
) -> dict[int, str]:
    """Return, by the quantity's place, the unit of numbers without one: said, told by all of them, or asked for."""
    told: dict[int, str] = {}
    for place, name in enumerate(quantities.names):
        bare = {c.name: c.bare(quantities) & (quantities.code == place) for c in columns}
        limits = [c.value[bare[c.name]] for c in columns if c.name != "margin"]
        numbers = np.concatenate([*limits, *(c.value[bare[c.name]] for c in columns if not sum(map(len, limits)))])
        rows = np.logical_or.reduce([*bare.values()])
        if not rows.any():
            continue
        said = context.answers.unit(name) or context.answers.unit(meaning.header)
        unit = recognise_unit(said, name) if said else None
        unit = unit if isinstance(unit, Unit) else deduced_unit(name, numbers)
        if isinstance(unit, AmbiguousUnit):
            ask_unit(context, meaning, UnitDoubt(name, "", unit, rows), costs_rows=True, key=name)
        else:
            told[place] = unit.name
    taken = [f"{quantities.names[place].replace('_', ' ')} in {unit}" for place, unit in told.items() if unit]
    if taken:
        _note_bare(context, meaning.header, taken)
    return told


def _in_kept_unit(
    context: Context, column: _Stated, quantities: Quantities, told: dict[int, str]
) -> npt.NDArray[np.float64]:
    """Return a column of targets in kept units."""
    by_quantity = [
        unit or told.get(place) or kept_unit(name)
        for place, (unit, name) in enumerate(zip(quantities.units, quantities.names, strict=True))
    ]
    texts = [*column.units, *by_quantity]
    places = np.array([*range(len(column.units), len(texts)), -1], dtype=np.int32)[quantities.code]
    has_own = (column.code >= 0) | (column.meaning.unit is not None)
    code = np.where(has_own, column.code, places).astype(np.int32)
    named = (quantities.code, quantities.names)
    said = context.unit_said(column.meaning.header)
    scaled = scale(column.value, named, (code, texts), said, column.meaning.unit)
    ask_units(context, column.meaning, column.cells, scaled, costs_rows=True, by_quantity=True)
    if column.name != "margin":
        return scaled.value
    zero = scale(np.where(np.isnan(column.value), np.nan, 0.0), named, (code, texts), said, column.meaning.unit)
    return scaled.value - np.where(np.isin(quantities.code, _with_offset(quantities)), zero.value, 0.0)


def _with_offset(quantities: Quantities) -> list[int]:
    """Return the quantities of which a unit's zero is not the kept unit's."""
    return [place for place, name in enumerate(quantities.names) if name == "temperature"]


def _note_bare(context: Context, header: str, told: list[str]) -> None:
    context.faults.note(
        "unit-taken",
        f"No unit is written; {', '.join(told)} was taken, which all the numbers fit.",
        "If that is not so, write the unit beside the measure, as in “haze (NTU)”.",
        header,
    )


def _with_attributes(context: Context, quantities: Quantities, header: str | None) -> Quantities:
    """Take a tasting attribute for a quantity too; reject what is neither, where ``header`` names the column."""
    names, code = list(quantities.names), quantities.code.copy()
    units, angles = list(quantities.units), list(quantities.angles)
    for word, rows in quantities.unknown:
        if plain_words(word) in ATTRIBUTES or context.answers.column(word) == "attribute":
            code[rows] = len(names)
            names, units, angles = [*names, slug(word)], [*units, None], [*angles, None]
        elif header is not None:
            meaning = context.recognised.kept("quantity")
            context.faults.reject(
                rows,
                "measure-unknown",
                f"“{word}” is no measure that is kept, and no tasting attribute that is known.",
                f"Write one of {', '.join(MEASURES)}, or a tasting attribute.",
                header,
                None if meaning is None else context.cells(meaning),
            )
    return Quantities(code, tuple(names), tuple(units), tuple(angles), ())
