"""What do the cells of the kept columns hold, each read as its type?

A cell that is not what its column holds rejects its row, also where the column could have been left blank: the mended
row is then taken in whole. A word that says "no value" leaves the cell blank and is counted in a note.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.records import kinds
from analysis.records.cells import NUMBER, RawColumn, as_text_series
from analysis.records.choices import CHOICES
from analysis.records.context import Context, Values
from analysis.records.dates import without_years
from analysis.records.meaning import Meaning, wide_columns
from analysis.records.missing import plain
from analysis.records.numbers import are_ranges
from analysis.records.parsed import DateOrder, ParsedMoments, ParsedNumbers, ParsedTexts, State, States
from analysis.records.parsing import (
    combine_clock,
    parse_batches,
    parse_choice,
    parse_clocks,
    parse_counts,
    parse_dates,
    parse_ids,
    parse_minutes,
    parse_moments,
    parse_numbers,
    parse_recipes,
    parse_texts,
    parse_vessels,
    vessel_letters,
)
from analysis.records.scales import Scaled, UnitDoubt, deduced_unit, scale
from analysis.records.written_units import unit_column_of, units_of
from analysis.units import AmbiguousUnit, recognise_unit

__all__ = [
    "ask_unit",
    "ask_units",
    "is_wide",
    "note_rough",
    "read_kept",
    "read_moment",
    "rows_of_state",
    "text_of_codes",
]

Flags = npt.NDArray[np.bool_]

_BATCHES = ("batch", "from_batch", "to_batch")
_VESSELS = ("vessel", "from_vessel", "to_vessel")
_LATER = {"value", "amount", "unit", "reference", "observed", "lower", "upper", "target", "margin", "quantity", "angle"}
"""Columns of which the unit or the meaning depends on another column: read elsewhere."""
_UNREADABLE = {
    "a number": "number", "a whole number": "number", "a date": "date", "a time of day": "time",
    "a length of time": "time",
}  # fmt: skip


@dataclass(frozen=True)
class _Hint:
    """What is said of cells that are not what is wanted in a way that is known."""

    fits: Callable[[RawColumn], npt.NDArray[np.bool_]]
    code: str
    said: str
    remedy: str


_HINTS = {
    "a number": _Hint(
        are_ranges,
        "number-range",
        "is a range, and one number is wanted.",
        "Write the number that was read; where none is known, leave the cell empty.",
    ),
    "a date": _Hint(without_years, "date-without-year", "has no year.", "Write the date with its year."),
}
_WHY_ASKED = {
    "mixed": "some dates fit only day before month and others only month before day",
    "turned": "the spreadsheet program seems to have turned day and month round where it could",
}
_ROUGH_TOLD = 5
_NUMBER_QUANTITY = {
    "original_gravity": "original_gravity",
    "final_gravity": "final_gravity",
    "temperature": "temperature",
    "fill_temperature": "fill_temperature",
    "volume": "volume",
    "size": "size",
    "headspace": "headspace",
}


def read_kept(context: Context) -> Values:
    """Return the kept columns that need nothing but their own cells, a clock column, or a unit in the header."""
    values = Values(len(context.table))
    columns = {column.name: column for column in wide_columns(context.kind)}
    kept = {m.name: m for m in context.recognised.having("kept")}
    clocks = {m.name: m for m in context.recognised.having("clock")}
    for name, column in columns.items():
        if name in _LATER:
            continue
        if column.type in ("moment", "date"):
            if name in kept:
                values.moments[name] = read_moment(context, kept[name], clocks.get(name), column.type == "date")
        elif name in kept:
            _READERS[column.type](context, kept[name], column, values)
    if context.recognised.job is not None:
        _fill_jobs(context, context.recognised.job, values)
    return values


def _fill_jobs(context: Context, job: str, values: Values) -> None:
    """Give every row the job that the sheet's name, title or header says, where no column does."""
    values.texts["operation"] = text_of_codes(np.zeros(values.n, dtype=np.int32), [job])
    context.faults.note(
        "job-of-sheet",
        f"No column says which job was done; every row was taken for “{job.replace('_', ' ')}”, as the sheet's name, "
        "title or headers say.",
        "Nothing to do if that is right; else add a column with the job.",
    )


def _read_id(context: Context, meaning: Meaning, column: kinds.Column, values: Values) -> None:
    cells = context.cells(meaning)
    if column.name in _VESSELS:
        read = parse_vessels(cells, vessel_letters(meaning.header))
    else:
        parse = parse_batches if column.name in _BATCHES else parse_recipes if column.name == "recipe" else parse_ids
        read = parse(cells)
    values.texts[column.name] = _texts(context, meaning, cells, read, "is no name")


def _read_text(context: Context, meaning: Meaning, column: kinds.Column, values: Values) -> None:
    cells = context.cells(meaning)
    values.texts[column.name] = _texts(context, meaning, cells, parse_texts(cells), "is no text")


def _read_choice(context: Context, meaning: Meaning, column: kinds.Column, values: Values) -> None:
    cells = context.cells(meaning)
    known = _known_words(cells, CHOICES[column.name])
    if column.name == "operation":
        _note_unknown_jobs(context, meaning, cells, known)
    read = parse_choice(cells, known)
    values.texts[column.name] = _texts(context, meaning, cells, read, f"is none of {', '.join(column.choices)}")


def _known_words(cells: RawColumn, of: Callable[[str], str | None]) -> dict[str, str]:
    texts = cells.words.to_pylist()
    if (cells.tag == NUMBER).any():
        texts += cells.texts(np.flatnonzero(cells.tag == NUMBER)[:200])
    return {plain(text): kept for text in texts if (kept := of(text)) is not None}


def _note_unknown_jobs(context: Context, meaning: Meaning, cells: RawColumn, known: dict[str, str]) -> None:
    """Take a job word that is not known as "other", and say so."""
    codes = cells.code[context.active]
    counts = np.bincount(codes[codes >= 0], minlength=len(cells.words))
    unknown = []
    absent = parse_texts(RawColumn.of_texts(cells.words.to_pylist())).state == State.MISSING
    for code in np.flatnonzero(counts).tolist():
        word = cells.words[code].as_py()
        if plain(word) not in known and not absent[code]:
            known[plain(word)] = "other"
            unknown.append(f"“{word}” ({counts[code]:,})")
    if unknown:
        context.faults.note(
            "job-unknown",
            f"Jobs that are not known count as other work: {', '.join(unknown[:8])}{' …' if len(unknown) > 8 else ''}.",
            "If one is a rouse, a dump, finings or the like, write that word and take the file in again.",
            meaning.header,
        )


def _texts(context: Context, meaning: Meaning, cells: RawColumn, read: ParsedTexts, wrong: str) -> pd.Series:
    context.faults.reject(
        read.state == State.UNREADABLE,
        "word-unknown",
        lambda text: f"“{text}” {wrong}.",
        "Write one of the words that are known, or leave the cell empty.",
        meaning.header,
        cells,
    )
    context.faults.note_missing(cells, read.state == State.MISSING, meaning.header)
    return read.text


def _read_number(context: Context, meaning: Meaning, column: kinds.Column, values: Values) -> None:
    cells = context.cells(meaning)
    if column.name == "minutes":
        values.numbers["minutes"] = _minutes(context, meaning, cells)
        return
    read = parse_numbers(cells, context.decimal)
    rows_of_state(context, meaning, cells, read.state)
    note_rough(context, meaning, read)
    context.faults.reject(
        read.sign != 0,
        "limit-not-taken",
        lambda text: f"“{text}” is a limit, and this column takes plain numbers.",
        "Write the number without < or >.",
        meaning.header,
        cells,
    )
    quantity = _NUMBER_QUANTITY.get(column.name)
    if quantity is None:
        values.numbers[column.name] = read.value
        return
    everywhere = np.zeros(len(cells), dtype=np.int32)
    value = np.where(context.active, read.value, np.nan)
    unit = meaning.unit or _unit_beside(context, column.name, value[~np.isnan(value)])
    beside = unit_column_of(context, meaning)
    said = context.unit_said(meaning.header, None if beside is None else beside.header)
    scaled = scale(value, (everywhere, (quantity,)), units_of(context, read, beside), said, unit)
    ask_units(context, meaning, cells, scaled, costs_rows=not is_wide(context))
    context.take_units(meaning, scaled)
    values.numbers[column.name] = scaled.value


def _unit_beside(context: Context, name: str, bare: npt.NDArray[np.float64]) -> str | None:
    """Return the unit of the original gravities for final gravities without one that fit it among others."""
    original = context.recognised.kept("original_gravity")
    if name != "final_gravity" or original is None or not bare.size:
        return None
    doubt = deduced_unit("final_gravity", bare)
    unit = original.unit or context.units.get(original.header)
    fits = isinstance(doubt, AmbiguousUnit) and unit is not None
    known = recognise_unit(unit, "final_gravity") if fits and unit else None
    return unit if isinstance(doubt, AmbiguousUnit) and known in doubt.choices else None


def is_wide(context: Context) -> bool:
    """Tell whether the sheet has a column a measure: a question then costs a value and not its row."""
    return bool(context.recognised.having("measure"))


def _read_count(context: Context, meaning: Meaning, column: kinds.Column, values: Values) -> None:
    cells = context.cells(meaning)
    read = parse_counts(cells, context.decimal)
    rows_of_state(context, meaning, cells, read.state, "a whole number")
    values.numbers[column.name] = read.value


_READERS: dict[str, Callable[[Context, Meaning, kinds.Column, Values], None]] = {
    "id": _read_id,
    "text": _read_text,
    "choice": _read_choice,
    "number": _read_number,
    "count": _read_count,
}


def _minutes(context: Context, meaning: Meaning, cells: RawColumn) -> npt.NDArray[np.float64]:
    said = context.answers.unit(meaning.header) or meaning.unit
    unit = recognise_unit(said, "minutes") if said else None
    if unit is None or isinstance(unit, AmbiguousUnit):
        bare = parse_numbers(cells, context.decimal)
        plain_numbers = bare.value[context.active & (bare.unit_code < 0) & ~np.isnan(bare.value)]
        unit = deduced_unit("minutes", plain_numbers) if plain_numbers.size else recognise_unit("min", "minutes")
        if isinstance(unit, AmbiguousUnit):
            doubt = UnitDoubt("minutes", "", unit, context.active & (bare.unit_code < 0) & ~np.isnan(bare.value))
            ask_unit(context, meaning, doubt, costs_rows=True)
            unit = recognise_unit("min", "minutes")
    assert unit is not None and not isinstance(unit, AmbiguousUnit)  # "min" is one unit
    read = parse_minutes(cells, context.decimal, unit.factor)
    rows_of_state(context, meaning, cells, read.state, "a length of time")
    context.units[meaning.header] = unit.name
    return read.seconds / 60.0


def read_moment(
    context: Context, meaning: Meaning, clock: Meaning | None, is_date: bool = False
) -> npt.NDArray[np.datetime64]:
    """Return the moments of a date column and, where there is one, its clock column."""
    cells = context.cells(meaning)
    read = _read_dates(cells, context.answers.date_order(meaning.header), meaning.order, is_date)
    _ask_order(context, meaning, cells, read)
    context.dates[meaning.header] = read.format
    context.settled[meaning.column] = read.moment
    rows_of_state(context, meaning, cells, np.where(read.state == State.AMBIGUOUS, State.EMPTY, read.state), "a date")
    if clock is None:
        return read.moment
    clock_cells = context.cells(clock)
    clocks = parse_clocks(clock_cells)
    rows_of_state(context, clock, clock_cells, clocks.state, "a time of day")
    return combine_clock(read, clocks).moment


def _read_dates(cells: RawColumn, said: str | None, in_header: DateOrder | None, is_date: bool) -> ParsedMoments:
    """Read dates in the order that a person said, or else that the header says where the cells keep to it."""
    parse = parse_dates if is_date else parse_moments
    if said is not None:
        return parse(cells, said)  # type: ignore[arg-type]  # one of the orders: Answers lets no other word in
    read = parse(cells, in_header)
    return parse(cells) if in_header == "year-month-day" and (read.state == State.UNREADABLE).any() else read


def _ask_order(context: Context, meaning: Meaning, cells: RawColumn, read: ParsedMoments) -> None:
    waiting = (read.state == State.AMBIGUOUS) & context.active
    if not waiting.any():
        return
    example = cells.text_at(int(np.flatnonzero(waiting)[0]))
    if read.question == "years":
        text = f"Does “{example}” begin or end with its year? Both fit the dates in this column."
        choices: tuple[DateOrder, ...] = ("year-month-day", "day-month", "month-day")
    else:
        why = _WHY_ASKED.get(read.question or "", "both orders fit every date")
        text = f"Is “{example}” day before month or month before day? In this column {why}."
        choices = ("day-month", "month-day")
    question = context.faults.question("dates", meaning.header, choices, text)
    context.faults.ask(question, "date-ambiguous", waiting, meaning.header)


def rows_of_state(context: Context, meaning: Meaning, cells: RawColumn, state: States, holds: str = "a number") -> None:
    """Reject the rows whose cell was not read, ask where a cell reads two ways, and count words for "missing"."""
    unread = np.asarray(state == State.UNREADABLE)
    hint = _HINTS.get(holds)
    if hint is not None and unread.any():
        hinted = unread & hint.fits(cells)
        unread &= ~hinted
        said = hint.said
        context.faults.reject(hinted, hint.code, lambda text: f"“{text}” {said}", hint.remedy, meaning.header, cells)
    context.faults.reject(
        unread,
        f"{_UNREADABLE[holds]}-unreadable",
        lambda text: f"“{text}” is not {holds}.",
        f"Write {holds}, or leave the cell empty where nothing was noted.",
        meaning.header,
        cells,
    )
    context.faults.note_missing(cells, state == State.MISSING, meaning.header)
    waiting = (state == State.AMBIGUOUS) & context.active
    if waiting.any():
        example = cells.text_at(int(np.flatnonzero(waiting)[0]))
        text = f"Is the sign in “{example}” a decimal sign or does it part thousands?"
        decimal = "," if "," in example else "."
        question = context.faults.question("decimal", None, (decimal, "." if decimal == "," else ","), text)
        context.faults.ask(question, "number-ambiguous", waiting, meaning.header)


def note_rough(context: Context, meaning: Meaning, read: ParsedNumbers) -> None:
    """Say which numbers were written as rough ones ("ca. 5") and taken as they are."""
    rows = np.flatnonzero(read.is_approximate & context.active)
    if len(rows):
        cells = context.cells(meaning)
        told = [f"“{cells.text_at(row)}” in row {row + context.table.first_row}" for row in rows[:_ROUGH_TOLD].tolist()]
        more = f" and {len(rows) - _ROUGH_TOLD:,} more" if len(rows) > _ROUGH_TOLD else ""
        context.faults.note(
            "number-rough",
            f"Numbers marked as rough (“~”, “ca.”, “?”, “*”) were taken as they are: {', '.join(told)}{more}.",
            "Nothing to do if that is right; else take the cells out and take the file in again.",
            meaning.header,
        )


def ask_units(
    context: Context, meaning: Meaning, cells: RawColumn, scaled: Scaled, costs_rows: bool, by_quantity: bool = False
) -> None:
    """Reject the rows whose unit is none of the quantity's, and ask for the units that could be two things.

    Where a column holds several quantities (``by_quantity``), the answer goes by the written unit or the quantity.
    """
    context.faults.reject(
        scaled.unknown,
        "unit-unknown",
        lambda text: f"The unit of “{text}” is none that this quantity is measured in.",
        "Write one of the usual units, or correct the quantity.",
        meaning.header,
        cells,
    )
    for doubt in scaled.doubts:
        ask_unit(context, meaning, doubt, costs_rows, doubt.written or doubt.quantity if by_quantity else None)


def ask_unit(context: Context, meaning: Meaning, doubt: UnitDoubt, costs_rows: bool, key: str | None = None) -> None:
    """Ask for the unit of some numbers; the answer goes by ``key``, or else by the column's header."""
    text = doubt.unit.question
    label = meaning.header if key is None else f"{meaning.header}, {doubt.quantity.replace('_', ' ')}"
    asked = key or meaning.header
    question = context.faults.question(
        "units", asked, tuple(unit.name for unit in doubt.unit.choices), f"{label}: {text}"
    )
    context.faults.ask(question, "unit-ambiguous", doubt.rows, meaning.header, costs_rows)


def text_of_codes(code: npt.NDArray[np.int32], words: list[str]) -> pd.Series:
    """Return texts by their codes, missing where the code is −1; dtype ``str``."""
    mask = code < 0
    return as_text_series(pa.array(words or [""], pa.string()).take(pa.array(np.where(mask, 0, code), mask=mask)))
