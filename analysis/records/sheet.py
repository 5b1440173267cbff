"""What records does one sheet hold, and what becomes of each of its rows?

Every row below the header row is accepted, rejected or ignored. A row is rejected as a whole: where anything that it
must have is missing, or any cell of a column that is ours cannot be read or cannot be true, nothing of the row is
taken, so that the mended row can be taken in whole and nothing counts twice. Two things cost less than a row: a word
that says "no value" (the cell counts as missing), and in a sheet with a column a measure a question about one of its
columns (only that column's readings wait for the answer). Blank rows, totals, headers that come again, remarks, rows
that repeat another and rows without any value are ignored; nothing is ignored without being counted by what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.problems import Problem
from analysis.records.amounts import read_operations
from analysis.records.as_read import as_read
from analysis.records.cells import EMPTY, RawSheet
from analysis.records.checks import check_rows
from analysis.records.context import Context, Values
from analysis.records.decimals import decimal_of_columns
from analysis.records.extras import extra_of, varies_within
from analysis.records.faults import Faults
from analysis.records.frames import frame_of
from analysis.records.kept import read_kept
from analysis.records.meaning import Meaning
from analysis.records.notices import note_hidden, note_measures_left, note_packing_dates, note_unknown_answers
from analysis.records.numbered import packs_by_column, settle_numbers
from analysis.records.readings import read_long
from analysis.records.recognise import Recognised
from analysis.records.repeats import ignore_repeats, should_number
from analysis.records.run_blocks import run_blocks
from analysis.records.scores import read_attributes
from analysis.records.stated import read_meter_checks, read_targets
from analysis.records.table import table_of
from analysis.records.taken import RejectedRows, SheetIntake
from analysis.records.unnamed_runs import name_runs
from analysis.records.wide import (
    came_back,
    fill_run_details,
    fill_stages,
    number_samples,
    read_scores,
    read_wide,
    rows_with,
    wide_readings,
    wide_runs,
    wide_scores,
)

__all__ = ["SheetResult", "read_sheet", "told_of"]

Flags = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class SheetResult:
    """What one sheet came to; ``frames`` are its records by kind."""

    intake: SheetIntake
    frames: tuple[tuple[str, pd.DataFrame], ...] = ()
    problems: tuple[Problem, ...] = ()
    rejected: RejectedRows | None = None


def read_sheet(sheet: RawSheet, recognised: Recognised, today: date, dates_are_packing: bool = False) -> SheetResult:
    """Return what a recognised sheet holds.

    Parameters
    ----------
    sheet : RawSheet
    recognised : Recognised
        What it was taken for; its kind is known.
    today : date
        A date after tomorrow is in the future and cannot be.
    dates_are_packing : bool
        Whether the "Date" of a sheet of pack readings tells when the run was packed, for no other sheet does.
    """
    kind = recognised.kind
    assert kind is not None  # the caller reads only sheets of a known kind
    table = table_of(sheet, recognised)
    faults = Faults(sheet.file, sheet.name, table.first_row, table.active)
    context = Context(kind, sheet.name, recognised, table, faults, _decimal(sheet, recognised))
    note_unknown_answers(context)
    note_hidden(context, sheet.hidden)
    note_measures_left(context)
    values = read_kept(context)
    name_runs(context, values)
    if recognised.having("measure"):
        made, numbered = _read_wide(context, values, today, dates_are_packing)
    elif recognised.having("attribute"):
        made, numbered = _read_wide_tastings(context, values, today), False
    else:
        made, numbered = _read_narrow(context, values, today)
    place = (sheet.file, sheet.name)
    frames = tuple(
        (
            m.kind,
            frame_of(m.kind, m.values, m.take, extra_of(context, m.rows, m.extras), place, m.rows + table.first_row),
        )
        for m in made
    )
    return SheetResult(
        _sheet_intake(sheet, context), frames, tuple(faults.problems), _rejected(sheet, context, values, numbered)
    )


@dataclass(frozen=True, eq=False)
class _Made:
    """Records of one kind before they are a frame.

    ``rows`` are the rows of the table where they stand, one a record; ``take`` the rows of ``values`` that they are, or
    None for all; ``extras`` the further columns that go with them.
    """

    kind: str
    values: Values
    rows: Rows
    take: Rows | None
    extras: tuple[Meaning, ...]


def _read_narrow(context: Context, values: Values, today: date) -> tuple[list[_Made], bool]:
    """Read a sheet in which a row is one record."""
    faults, numbered = context.faults, False
    if context.kind == "readings":
        without = read_long(context, values)
        fill_stages(context, values)
        faults.ignore(without, "without a value")
    elif context.kind in _COMPLETE:
        _COMPLETE[context.kind](context, values)
    check_rows(context, values, today)
    if context.kind == "readings":
        numbered = number_samples(context, values, (), should_number(context, values))
    if not numbered:
        ignore_repeats(context)
    rows = np.flatnonzero(faults.active & ~faults.rejected)
    return [_Made(context.kind, values, rows, rows, context.recognised.having("extra"))], numbered


def _complete_transfers(_: Context, values: Values) -> None:
    """Take a move that names one batch and two vessels for a move of that batch."""
    own, to = values.texts["from_batch"], values.texts.get("to_batch")
    if to is None:
        values.texts["to_batch"] = own
    else:
        both = values.present("from_vessel") & values.present("to_vessel")
        values.texts["to_batch"] = to.where(to.notna() | ~both, own)


_COMPLETE: Mapping[str, Callable[[Context, Values], None]] = MappingProxyType(
    {
        "operations": read_operations,
        "transfers": _complete_transfers,
        "tastings": read_attributes,
        "meter_checks": read_meter_checks,
        "targets": read_targets,
    }
)


def _read_wide(context: Context, values: Values, today: date, dates_are_packing: bool) -> tuple[list[_Made], bool]:
    """Read a sheet in which each measure has a column."""
    faults = context.faults
    is_runs = context.kind == "pack_runs"
    if is_runs and "measured_at" not in values.moments and context.recognised.kept("packed_at") in _weak(context):
        values.moments["measured_at"] = values.moments["packed_at"]
    if dates_are_packing:
        values.moments["packed_at"] = values.moments["measured_at"]
        note_packing_dates(context)
    fill_run_details(context, values)
    fill_stages(context, values)
    blocks = settle_numbers(context, values, read_wide(context))
    check_rows(context, values, today)
    if not is_runs:
        has, waits = rows_with(context, blocks)
        faults.hold(waits, "A question about a column of the row waits for its answer.")
        faults.ignore(~has & ~waits, "without a value")
    by_column = all(block.sample for block in blocks)
    one_row = not values.texts["run"].dropna().duplicated().any() if "run" in values.texts else True
    again = came_back(context, values)
    is_open = bool(values.present("run").any()) and not (by_column and one_row)
    numbered = number_samples(context, values, blocks, is_open)
    if not numbered:
        ignore_repeats(context)
    accepted = faults.active & ~faults.rejected
    readings, rows = wide_readings(values, blocks, accepted, again)
    runs_too = is_runs or dates_are_packing
    of_run, of_row = _extras(context, values, np.flatnonzero(accepted), runs_too)
    made = [_Made("readings", readings, rows, None, of_row)]
    if runs_too:
        with_run = accepted & values.present("run") & values.present("batch") & values.present("packed_at")
        runs, run_rows = wide_runs(context, values, np.flatnonzero(with_run))
        made.append(_Made("pack_runs", runs, run_rows, None, of_run))
    return made, numbered


def _weak(context: Context) -> tuple[Meaning, ...]:
    return tuple(m for m in context.recognised.meanings if m.is_weak)


def _extras(
    context: Context, values: Values, rows: Rows, runs_too: bool
) -> tuple[tuple[Meaning, ...], tuple[Meaning, ...]]:
    """Return the further columns that tell of a run, and those that tell of a row: a can's own figure differs in a run.

    What differs from can to can of a column that a run keeps the middle value of stays with the readings too.
    """
    extras = context.recognised.having("extra")
    if not runs_too:
        return (), extras
    group = run_blocks(values)[rows]
    per_run = tuple(m for m in extras if not varies_within(context, m, rows, group))
    middle = tuple(
        m
        for m in context.recognised.having("kept")
        if m.name in ("headspace", "size", "fill_temperature") and varies_within(context, m, rows, group)
    )
    return per_run, (*(m for m in extras if m not in per_run), *middle)


def _read_wide_tastings(context: Context, values: Values, today: date) -> list[_Made]:
    """Read a sheet in which a row is a taster and each attribute has a column."""
    blocks = read_scores(context)
    check_rows(context, values, today)
    has = np.zeros(len(context.table), dtype=bool)
    for block in blocks:
        has[block.rows] = True
    context.faults.ignore(~has, "without a value")
    ignore_repeats(context)
    accepted = context.faults.active & ~context.faults.rejected
    scores, rows = wide_scores(values, blocks, accepted)
    return [_Made("tastings", scores, rows, None, context.recognised.having("extra"))]


def _decimal(sheet: RawSheet, recognised: Recognised) -> str | None:
    if recognised.answers.decimal:
        return recognised.answers.decimal
    own = [sheet.columns[m.column].words for m in recognised.meanings if m.role in ("measure", "attribute", "kept")]
    return sheet.decimal or decimal_of_columns(own)


def _sheet_intake(sheet: RawSheet, context: Context) -> SheetIntake:
    recognised, faults, n = context.recognised, context.faults, len(context.table)
    accepted = int((faults.active & ~faults.rejected).sum())
    rejected = int(faults.rejected.sum())
    ignored_as = {what: count for what, count in {**context.table.ignored, **faults.ignored}.items() if count}
    assert recognised.header_row is not None  # a sheet of a known kind has one
    return SheetIntake(
        sheet.file, sheet.name, context.kind, recognised.header_row + 1, n, accepted, rejected,
        n - accepted - rejected, **told_of(sheet, recognised), units=MappingProxyType(context.units),
        dates=MappingProxyType(context.dates), ignored_as=MappingProxyType(ignored_as),
        questions=tuple(faults.questions), numbered=MappingProxyType(context.numbered),
    )  # fmt: skip


def told_of(sheet: RawSheet, recognised: Recognised) -> dict[str, Any]:
    """Return what each header was taken for, as the fields of a ``SheetIntake``."""
    taken = {m.header: m.name if m.role in ("kept", "clock", "measure", "attribute") else m.role
             for m in recognised.meanings if m.role != "extra"}  # fmt: skip
    return {
        "columns": MappingProxyType(taken),
        "kept_as_extra": tuple(m.header for m in recognised.having("extra")),
        "layout": recognised.layout,
        "answers": recognised.answers,
        "headers": tuple(m.header for m in recognised.meanings),
        "examples": MappingProxyType({m.header: _example(sheet, m, recognised.first_row) for m in recognised.meanings}),
    }


def _example(sheet: RawSheet, meaning: Meaning, first_row: int) -> str:
    column = sheet.columns[meaning.column]
    filled = np.flatnonzero(column.tag[first_row : first_row + 1000] != EMPTY)
    return column.text_at(first_row + int(filled[0])) if filled.size else ""


def _rejected(sheet: RawSheet, context: Context, values: Values, numbered: bool) -> RejectedRows | None:
    faults, recognised = context.faults, context.recognised
    rows = np.flatnonzero(faults.rejected)
    if rows.size == 0:
        return None
    reasons = tuple(" ".join(faults.reasons.get(int(row), ["The row waits for an answer."])) for row in rows)
    samples = None
    if numbered:
        sample = values.texts["sample"]
        if any(each.counts == "sample" for each in context.numbered.values()):
            sample = sample.where(values.texts["run"].duplicated(keep=False))  # one row's packs are its columns
        samples = tuple(sample.take(rows).fillna("").tolist())
    columns = tuple(as_read(context, j, rows) for j in range(len(context.table.columns)))
    by_column = packs_by_column(context)
    headers = recognised.headers
    return RejectedRows(sheet.file, sheet.name, headers, columns, reasons, samples, packs_by_column=by_column)
