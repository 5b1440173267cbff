"""What do meter checks and targets state, in the kept unit of the quantity that each row is about?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.records.air_saturated import says_air_saturated
from analysis.records.context import Context, Values
from analysis.records.headers import read_header
from analysis.records.kept import ask_units, rows_of_state, text_of_codes
from analysis.records.meaning import Meaning
from analysis.records.measure_headers import measure_of
from analysis.records.parsed import State
from analysis.records.parsing import parse_numbers
from analysis.records.readings import Quantities, read_quantities
from analysis.records.scales import scale
from analysis.records.words import ATTRIBUTES, plain_words
from analysis.records.written_units import units_of
from analysis.units import Unit, kept_unit, recognise_unit
from analysis.vocabulary import MEASURES, slug

__all__ = ["read_meter_checks", "read_targets"]

Codes = npt.NDArray[np.int32]


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
    """Read limits, aims and margins in the kept unit of their quantity; a bare number stands in the kept unit.

    A margin is a difference: one of 1.8 °F is 1 °C.
    """
    meaning = context.recognised.kept("quantity")
    assert meaning is not None  # a sheet without it is no sheet of targets
    quantities = _with_attributes(context, read_quantities(context, meaning), meaning.header)
    values.texts["quantity"] = text_of_codes(quantities.code, list(quantities.names))
    bare: set[str] = set()
    for name in ("lower", "upper", "target", "margin"):
        column = context.recognised.kept(name)
        if column is not None:
            values.numbers[name], without_unit = _in_kept_unit(
                context, column, quantities, is_difference=name == "margin"
            )
            bare |= without_unit
    if bare:
        _note_bare(context, meaning.header, sorted(bare))


def _in_kept_unit(
    context: Context, column: Meaning, quantities: Quantities, is_difference: bool
) -> tuple[npt.NDArray[np.float64], set[str]]:
    """Return a column of targets in kept units, and the quantities of which a number had no unit at all."""
    cells = context.cells(column)
    numbers = parse_numbers(cells, context.decimal)
    rows_of_state(context, column, cells, numbers.state)
    value = np.where(context.active, numbers.value, np.nan)
    by_quantity = [unit or kept_unit(name) for unit, name in zip(quantities.units, quantities.names, strict=True)]
    texts = [*numbers.units, *by_quantity]
    places = np.array([*range(len(numbers.units), len(texts)), -1], dtype=np.int32)[quantities.code]
    has_own = (numbers.unit_code >= 0) | (column.unit is not None)
    code = np.where(has_own, numbers.unit_code, places).astype(np.int32)
    named = (quantities.code, quantities.names)
    said = context.unit_said(column.header)
    scaled = scale(value, named, (code, texts), said, column.unit)
    ask_units(context, column, cells, scaled, costs_rows=True, by_quantity=True)
    has_unit = has_own | np.array([*(unit is not None for unit in quantities.units), True], dtype=bool)[quantities.code]
    bare = np.unique(quantities.code[~has_unit & ~np.isnan(value) & (quantities.code >= 0)])
    result = scaled.value
    if is_difference:
        zero = scale(np.where(np.isnan(value), np.nan, 0.0), named, (code, texts), said, column.unit)
        result = result - np.where(np.isin(quantities.code, _with_offset(quantities)), zero.value, 0.0)
    return result, {quantities.names[place] for place in bare.tolist()}


def _with_offset(quantities: Quantities) -> list[int]:
    """Return the quantities of which a unit's zero is not the kept unit's."""
    return [place for place, name in enumerate(quantities.names) if name == "temperature"]


def _note_bare(context: Context, header: str, names: list[str]) -> None:
    told = [
        f"{name.replace('_', ' ')} in {MEASURES[name].unit}"
        for name in names
        if name in MEASURES and MEASURES[name].unit
    ]
    if told:
        context.faults.note(
            "unit-taken",
            f"No unit is written; {', '.join(told)} was taken.",
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
