"""How much was added, in which of the kept units, and how long did a job take?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records.choices import agent_of_job
from analysis.records.context import Context, Values
from analysis.records.kept import ask_units, note_rough, rows_of_state, text_of_codes
from analysis.records.parsed import ParsedMoments, State
from analysis.records.parsing import across_midnight, combine_clock, parse_clocks, parse_numbers
from analysis.records.scales import Scaled, scale
from analysis.records.written_units import units_of

__all__ = ["read_operations"]

Flags = npt.NDArray[np.bool_]
Codes = npt.NDArray[np.int32]

_DOSED = ("finings", "dry_hop")
_DOSE, _DRY_HOP = 0, 1


def read_operations(context: Context, values: Values) -> None:
    """Complete operations: their ends and minutes, their agents, their amounts in a kept unit.

    An end that is only a clock time is on the day of the start, or on the next where it would come before it. Where no
    minutes are written they run from start to end.
    """
    _read_ends(context, values)
    _read_agents(context, values)
    _read_amounts(context, values)


def _read_ends(context: Context, values: Values) -> None:
    started = values.moments["started_at"]
    clock = next((m for m in context.recognised.having("clock") if m.name == "ended_at"), None)
    has_own_date: Flags | bool = True
    if clock is not None and context.recognised.kept("ended_at") is None:
        cells = context.cells(clock)
        clocks = parse_clocks(cells)
        rows_of_state(context, clock, cells, clocks.state, "a time of day")
        days = started.astype("datetime64[D]").astype("datetime64[us]")
        none = np.zeros(len(days), dtype=bool)
        state = np.where(np.isnat(days), np.int8(State.EMPTY), np.int8(State.READ))
        joined = combine_clock(ParsedMoments(days, state, none, ""), clocks)
        values.moments["ended_at"] = np.where(clocks.state == State.READ, joined.moment, np.datetime64("NaT", "us"))
        has_own_date = False
    if "ended_at" not in values.moments:
        return
    ended, _ = across_midnight(started, values.moments["ended_at"], has_own_date)
    values.moments["ended_at"] = ended
    took = (ended - started) / np.timedelta64(60_000_000, "us")
    days_alone = (started == started.astype("datetime64[D]")) & (ended == ended.astype("datetime64[D]"))
    took = np.where((took >= 0) & ~days_alone, took, np.nan)
    minutes = values.numbers.get("minutes", np.full(values.n, np.nan))
    differ = context.active & (np.abs(minutes - took) > 1.0)
    if differ.any():
        context.faults.note(
            "minutes-differ",
            f"The minutes written are not those from start to end ({int(differ.sum()):,}); those written were kept.",
            "Correct whichever is wrong and take the file in again.",
        )
    values.numbers["minutes"] = np.where(np.isnan(minutes), took, minutes)


def _read_agents(context: Context, values: Values) -> None:
    """Name the agent by the job where a job's words name one ("isinglass") and the agent's own cell is empty."""
    meaning = context.recognised.kept("operation")
    if meaning is None:  # the sheet's name says the job
        return
    cells = context.cells(meaning)
    named = [agent_of_job(word) for word in cells.words.to_pylist()]
    if not any(named):
        return
    names = sorted({name for name in named if name})
    codes = np.array([*(names.index(name) if name else -1 for name in named), -1], dtype=np.int32)
    of_job = text_of_codes(codes[cells.code], names)
    own = values.texts.get("agent")
    values.texts["agent"] = of_job if own is None else own.where(own.notna(), of_job)


def _read_amounts(context: Context, values: Values) -> None:
    meaning = context.recognised.kept("amount")
    unit = context.recognised.kept("unit")
    if meaning is None:
        return
    cells = context.cells(meaning)
    numbers = parse_numbers(cells, context.decimal)
    rows_of_state(context, meaning, cells, numbers.state)
    note_rough(context, meaning, numbers)
    code, texts = units_of(context, numbers, unit)
    operation = values.texts["operation"]
    quantity = np.where(operation == "dry_hop", _DRY_HOP, _DOSE).astype(np.int32)
    dosed = operation.isin(_DOSED).to_numpy()
    has_unit = (code >= 0) | (meaning.unit is not None) | (context.answers.unit(meaning.header) is not None)
    value = np.where(context.active, numbers.value, np.nan)
    said = context.unit_said(meaning.header, None if unit is None else unit.header)
    scaled = scale(
        np.where(has_unit, value, np.nan), (quantity, ("dose", "dry_hop")), (code, texts), said, meaning.unit
    )
    scaled = _without_unneeded(scaled, dosed)
    ask_units(context, meaning, cells, scaled, costs_rows=True, by_quantity=meaning.unit is None)
    _ask_bare(context, meaning.header, dosed & ~has_unit & ~np.isnan(value))
    kept = ~np.isnan(scaled.value)
    values.numbers["amount"] = np.where(kept, scaled.value, np.where(dosed, np.nan, value))
    written = text_of_codes(np.where(dosed, -1, code).astype(np.int32), texts)
    in_kept = text_of_codes(scaled.kept, list(scaled.kept_units))
    values.texts["unit"] = pd.Series(in_kept.where(in_kept.notna(), written))
    context.take_units(meaning, scaled)


def _without_unneeded(scaled: Scaled, dosed: Flags) -> Scaled:
    """Let amounts of jobs that are no doses ("purge, 2 bar") stand as they were written."""
    doubts = tuple(doubt for doubt in scaled.doubts if (doubt.rows & dosed).any())
    return Scaled(scaled.value, scaled.unknown & dosed, doubts, scaled.taken, scaled.kept, scaled.kept_units)


def _ask_bare(context: Context, header: str, rows: Flags) -> None:
    waiting = rows & context.active
    if waiting.any():
        text = f"{header}: in which unit are doses that have none?"
        question = context.faults.question("units", header, ("mL/hL", "g/hL", "g/L", "mL", "g", "kg", "L"), text)
        context.faults.ask(question, "unit-missing", waiting, header)
