"""Which readings does a sheet hold, one a row or one a cell?

In a long sheet a row is a reading: its quantity, value and unit stand in columns of their own. In a wide sheet each
measure has a column; a row gives a reading for every measure that it has a value of, and the meter, the unit and the
angle are those of the measure's column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records.cells import RawColumn
from analysis.records.context import Context, Values
from analysis.records.headers import angle_of, read_header
from analysis.records.kept import ask_units, note_rough, rows_of_state, text_of_codes
from analysis.records.meaning import Meaning
from analysis.records.measure_headers import OXYGEN_WORDS, measure_of
from analysis.records.parsed import ParsedNumbers, State
from analysis.records.parsing import parse_ids, parse_numbers
from analysis.records.scales import Scaled, scale
from analysis.records.written_units import unit_column_of, units_of
from analysis.vocabulary import MEASURES

__all__ = ["Block", "Quantities", "read_block", "read_long", "read_quantities"]

Codes = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Quantities:
    """The measure that each row of a column of measures means: a code into ``names``, −1 where none; shape (n,).

    ``units`` gives, by the same code, the unit that the measure's own words state ("DO (ppb)"), ``angles`` the angle.
    ``words`` holds what was written and is no measure, with its rows.
    """

    code: Codes
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    angles: tuple[str | None, ...]
    unknown: tuple[tuple[str, Flags], ...]


@dataclass(frozen=True, eq=False)
class Block:
    """The readings of one measure's column: the rows that have one, and for those the value, its sign and the rest."""

    header: str
    rows: npt.NDArray[np.intp]
    measure: str
    value: Floats
    sign: npt.NDArray[np.int8]
    unit: str
    angle: str | None
    stage: str | None
    replicate: str | None
    sample: str | None
    number: str | None
    meter: pd.Series | None
    meter_column: int | None
    waits: bool


def read_quantities(context: Context, meaning: Meaning) -> Quantities:
    """Return what each row of a column of measures means.

    A measure may be said by a person (by the word that stands in the cell), or be a word that stands over a measure's
    column, with a unit or an angle: "DO (ppb)", "haze 25°".
    """
    cells = context.cells(meaning)
    words = cells.words.to_pylist()
    names: dict[tuple[str, str | None, str | None], int] = {}
    places = np.full(len(words) + 1, -1, dtype=np.int32)
    unknown = []
    for place, word in enumerate(words):
        read = _measure(context, word)
        if read is not None:
            places[place] = names.setdefault(read, len(names))
        else:
            rows = cells.code == place
            if (rows & context.active).any():
                unknown.append((word, rows))
    code = places[cells.code]
    keys = tuple(names)
    return Quantities(
        code, tuple(k[0] for k in keys), tuple(k[1] for k in keys), tuple(k[2] for k in keys), tuple(unknown)
    )


def _measure(context: Context, word: str) -> tuple[str, str | None, str | None] | None:
    said = context.answers.column(word)
    if said is not None:
        return (said, None, None) if said in MEASURES else None
    if word in MEASURES:
        return word, None, "forward" if word == "haze_forward" else None
    header = read_header(word.replace("_", " "))
    read = measure_of(header)
    if read is None:
        return None
    is_open = (header.words in OXYGEN_WORDS and read.unit is None) or read.is_beer_or_gas
    name = "oxygen" if is_open else read.measure
    angle = "forward" if name == "haze_forward" else header.angle or angle_of(word)
    return ("haze_forward" if name == "haze" and angle == "forward" else name), read.unit, angle


def read_long(context: Context, values: Values) -> Flags:
    """Read the readings of a long sheet into ``values``; return the rows without a value, which are no readings."""
    kept = {m.name: m for m in context.recognised.having("kept")}
    n = len(context.table)
    if "quantity" in kept:
        quantities = read_quantities(context, kept["quantity"])
    else:
        quantities = Quantities(np.zeros(n, dtype=np.int32), (_title_measure(context) or "",), (None,), (None,), ())
    nothing = _ignore_other_quantities(context, kept.get("quantity"), quantities)
    meaning = kept["value"]
    cells = context.cells(meaning)
    numbers = parse_numbers(cells, context.decimal)
    state = np.where(nothing, np.int8(State.EMPTY), numbers.state)
    rows_of_state(context, meaning, cells, state)
    note_rough(context, meaning, numbers)
    quantities = _with_angles(context, kept.get("angle"), quantities, values)
    scaled = _scaled_long(
        context, meaning, kept.get("unit"), quantities, np.where(nothing, np.nan, numbers.value), numbers
    )
    ask_units(context, meaning, cells, scaled, costs_rows=True, by_quantity=True)
    values.numbers["value"] = scaled.value
    values.signs["value"] = np.where(np.isnan(scaled.value), np.int8(0), numbers.sign)
    quantities = _oxygen_by_unit(quantities, scaled)
    values.texts["quantity"] = text_of_codes(quantities.code, list(quantities.names))
    values.texts["unit"] = text_of_codes(scaled.kept, list(scaled.kept_units))
    values.texts["sign"] = text_of_codes(_sign_codes(values.signs["value"]), ["<", ">"])
    context.take_units(meaning, scaled)
    return np.asarray(nothing | (np.isin(state, (State.EMPTY, State.MISSING)) & context.active), dtype=bool)


def _oxygen_by_unit(quantities: Quantities, scaled: Scaled) -> Quantities:
    """Tell oxygen in the beer from oxygen in the gas by the unit, where the quantity's word does not."""
    if "oxygen" not in quantities.names:
        return quantities
    place = quantities.names.index("oxygen")
    names = [*("dissolved_oxygen" if name == "oxygen" else name for name in quantities.names), "headspace_oxygen"]
    in_gas = np.append(np.array([unit == "%" for unit in scaled.kept_units], dtype=bool), False)[scaled.kept]
    code = np.where((quantities.code == place) & in_gas, len(names) - 1, quantities.code).astype(np.int32)
    return Quantities(code, tuple(names), (*quantities.units, None), (*quantities.angles, None), quantities.unknown)


def _sign_codes(sign: npt.NDArray[np.int8]) -> Codes:
    return np.array([-1, 1, 0], dtype=np.int32)[sign]  # 0: none; 1: ">"; −1, the last: "<"


def _title_measure(context: Context) -> str | None:
    read = measure_of(read_header(context.name))
    return None if read is None else read.measure


def _ignore_other_quantities(context: Context, meaning: Meaning | None, quantities: Quantities) -> Flags:
    nothing = np.zeros(len(context.table), dtype=bool)
    if meaning is None:
        return nothing
    told = []
    for word, rows in quantities.unknown:
        nothing |= rows & context.active
        if context.answers.column(word) != "ignore":
            told.append(f"“{word}” ({int((rows & context.active).sum()):,})")
    if told:
        context.faults.note(
            "measure-not-kept",
            f"Rows of quantities that are not kept were ignored: {', '.join(told[:8])}{' …' if len(told) > 8 else ''}.",
            "If one is a measure under another name, write the measure's name or say so in --columns.",
            meaning.header,
        )
    return nothing


def _with_angles(context: Context, meaning: Meaning | None, quantities: Quantities, values: Values) -> Quantities:
    """Tell haze at a forward angle from haze at 90°, by an angle column or by the measure's own words."""
    names = quantities.names
    hazes = [i for i, name in enumerate(names) if name == "haze"]
    angle = _angle_codes(context.cells(meaning)) if meaning is not None else np.full(len(context.table), -1, np.int32)
    own = np.array([*(1 if a == "forward" else 0 if a == "90" else -1 for a in quantities.angles), -1], dtype=np.int32)
    angle = np.where(angle >= 0, angle, own[quantities.code]).astype(np.int32)
    is_haze = np.isin(quantities.code, hazes) & context.active
    is_forward = np.isin(quantities.code, [i for i, name in enumerate(names) if name == "haze_forward"])
    open_rows = is_haze & (angle < 0)
    if open_rows.any() and bool(((is_haze & (angle == 1)) | (is_forward & context.active)).any()):
        angle = _ask_angle(context, meaning, open_rows, angle)
    turned = is_haze & (angle == 1)
    values.texts["angle"] = text_of_codes(np.where(is_haze | is_forward, angle, -1).astype(np.int32), ["90", "forward"])
    if not turned.any():
        return quantities
    code = quantities.code.copy()
    all_names, units, angles = list(names), list(quantities.units), list(quantities.angles)
    for place in hazes:
        rows = turned & (quantities.code == place)
        if rows.any():
            code[rows] = len(all_names)
            all_names, units, angles = [*all_names, "haze_forward"], [*units, units[place]], [*angles, "forward"]
    return Quantities(code, tuple(all_names), tuple(units), tuple(angles), quantities.unknown)


def _ask_angle(context: Context, meaning: Meaning | None, rows: Flags, angle: Codes) -> Codes:
    value = meaning or context.recognised.kept("value")
    assert value is not None  # a long sheet has a column of values
    header = value.header
    said = context.answers.angle(header) or context.answers.angle("haze")
    if said is not None:
        return np.where(rows, np.int32(said == "forward"), angle).astype(np.int32)
    text = "Some haze readings have no angle while others are at a forward angle: were those without one read at 90°?"
    question = context.faults.question("angles", header, ("90", "forward"), text)
    context.faults.ask(question, "angle-missing", rows, header)
    return angle


def _angle_codes(cells: RawColumn) -> Codes:
    """Return 0 for 90°, 1 for a forward angle, −1 where none is written."""
    numbers = parse_numbers(cells).value
    of_word = np.array(
        [*({"90": 0, "forward": 1}.get(angle_of(w, [w.strip("° ")]) or "", -1) for w in cells.words.to_pylist()), -1],
        dtype=np.int32,
    )
    angle = of_word[cells.code]
    angle = np.where(numbers == 90, 0, angle)
    return np.where((numbers >= 10) & (numbers <= 30), 1, angle).astype(np.int32)


def _scaled_long(
    context: Context,
    meaning: Meaning,
    unit: Meaning | None,
    quantities: Quantities,
    value: Floats,
    numbers: ParsedNumbers,
) -> Scaled:
    code, texts = units_of(context, numbers, unit)
    stated = np.array([*(texts.index(u) if u in texts else -1 for u in quantities.units), -1], dtype=np.int32)
    for place, own in enumerate(quantities.units):
        if own is not None and stated[place] < 0:
            stated[place] = len(texts)
            texts.append(own)
    code = np.where(code >= 0, code, stated[quantities.code]).astype(np.int32)
    value = np.where(context.active, value, np.nan)
    said = context.unit_said(meaning.header, None if unit is None else unit.header)
    return scale(value, (quantities.code, quantities.names), (code, texts), said, meaning.unit)


def read_block(context: Context, meaning: Meaning) -> Block:
    """Return the readings of one measure's column of a wide sheet."""
    cells = context.cells(meaning)
    numbers = parse_numbers(cells, context.decimal)
    rows_of_state(context, meaning, cells, numbers.state)
    note_rough(context, meaning, numbers)
    measure, angle, waits = _angle_of_block(context, meaning, numbers)
    waits |= _ask_beer_or_gas(context, meaning, numbers)
    scaled = _scaled_block(context, meaning, measure, numbers)
    ask_units(context, meaning, cells, scaled, costs_rows=False)
    context.take_units(meaning, scaled)
    has = np.flatnonzero(context.active & ~np.isnan(scaled.value) & (not waits))
    meter = next((m for m in context.recognised.having("meter") if meaning.column in m.measures), None)
    meters = parse_ids(context.cells(meter)).text if meter is not None else None
    unit = scaled.kept_units[0] if scaled.kept_units else ""
    return Block(
        meaning.header, has, measure, scaled.value[has], numbers.sign[has], unit, angle, meaning.stage,
        meaning.replicate, meaning.sample, meaning.number, None if meters is None else meters.take(has),
        None if meter is None else meter.column, waits or bool(scaled.doubts),
    )  # fmt: skip


def _scaled_block(context: Context, meaning: Meaning, measure: str, numbers: ParsedNumbers) -> Scaled:
    unit = unit_column_of(context, meaning)
    code, texts = units_of(context, numbers, unit)
    value = np.where(context.active, numbers.value, np.nan)
    everywhere = np.zeros(len(value), dtype=np.int32)
    said = context.unit_said(meaning.header, None if unit is None else unit.header)
    return scale(value, (everywhere, (measure,)), (code, texts), said, meaning.unit)


def _ask_beer_or_gas(context: Context, meaning: Meaning, numbers: ParsedNumbers) -> bool:
    """Ask whether oxygen was read in the beer or in the gas above it, where neither word nor unit tells."""
    if not meaning.is_beer_or_gas:
        return False
    text = f"{meaning.header}: is this oxygen dissolved in the beer, or in the gas of the headspace? ppm differ there."
    choices = ("dissolved_oxygen", "headspace_oxygen")
    question = context.faults.question("columns", meaning.header, choices, text)
    rows = context.active & (numbers.state == State.READ)
    context.faults.ask(question, "oxygen-ambiguous", rows, meaning.header, costs_rows=False)
    return True


def _angle_of_block(context: Context, meaning: Meaning, numbers: ParsedNumbers) -> tuple[str, str | None, bool]:
    """Return the measure and angle of a haze column; a column without an angle beside a forward one is asked about."""
    if meaning.name not in ("haze", "haze_forward"):
        return meaning.name, None, False
    said = context.answers.angle(meaning.header)
    angle = said or meaning.angle or ("forward" if meaning.name == "haze_forward" else None)
    if angle is None and any(m.name == "haze_forward" for m in context.recognised.having("measure")):
        rows = context.active & (numbers.state == State.READ)
        text = f"{meaning.header}: is this haze at 90° or at a forward angle, as another column is?"
        question = context.faults.question("angles", meaning.header, ("90", "forward"), text)
        context.faults.ask(question, "angle-missing", rows, meaning.header, costs_rows=False)
        return meaning.name, None, True
    return ("haze_forward" if angle == "forward" else "haze"), angle, False
