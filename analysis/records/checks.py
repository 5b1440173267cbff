"""Does each row hold what its kind needs, and can what it says be true?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

import numpy as np
import numpy.typing as npt

from analysis.records import kinds
from analysis.records.air_saturated import air_saturated
from analysis.records.context import Context, Values
from analysis.records.scale_slips import note_scale_slips
from analysis.vocabulary import measure

__all__ = ["check_rows", "check_value"]

Flags = npt.NDArray[np.bool_]

_FIRST_DAY = np.datetime64("1990-01-01", "us")
_WEEK = 10_080.0
# What is needed: any one column of each group. Other kinds need their required columns.
_NEEDED: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "operations": (("batch", "vessel"), ("operation",), ("started_at",)),
    "readings": (("batch", "run", "vessel"),),
    "meter_checks": (("meter",), ("checked_at",), ("observed",)),
    "targets": (("quantity",), ("lower", "upper", "target", "margin")),
}
# The lowest and highest that can be, in the kept unit. Common practice, no source: wide on purpose.
_BOUNDS: Mapping[str, tuple[float, float]] = {
    "volume": (0.0, 10_000.0),
    "original_gravity": (0.0, 50.0),
    "final_gravity": (-5.0, 30.0),
    "minutes": (0.0, _WEEK),
    "size": (20.0, 200_000.0),
    "headspace": (0.0, 10_000.0),
    "fill_temperature": (-5.0, 40.0),
    "temperature": (-5.0, 110.0),
    "amount": (0.0, 1e7),
    "score": (-10.0, 100.0),
    "tasters": (1.0, 10_000.0),
}


_SPOKEN = {"packed_at": "packing date", "started_at": "start", "checked_at": "date of the check"}
"""Names of columns that do not read as words."""


def check_rows(context: Context, values: Values, today: date, needs_more: tuple[tuple[str, ...], ...] = ()) -> None:
    """Reject the rows that lack something needed or say what cannot be."""
    _check_needed(context, values, (*_needed(context.kind), *needs_more))
    for name in values.moments:
        _check_moment(context, values, name, today)
    for name in values.numbers:
        if name in _BOUNDS:
            _check_bounds(context, values, name)
    _CHECKS.get(context.kind, _nothing)(context, values)


def check_value(
    context: Context, header: str, rows: npt.NDArray[np.intp], name: str, value: npt.NDArray[np.float64]
) -> None:
    """Reject the rows of a measure's column whose value is not plausible."""
    known = measure(name)
    wrong = np.zeros(len(context.table), dtype=bool)
    wrong[rows[(value < known.low) | (value > known.high)]] = True
    meaning = next(m for m in context.recognised.meanings if m.header == header)
    context.faults.reject(
        wrong,
        "value-implausible",
        lambda text: (
            f"“{text}” is outside what {known.label.lower()} can be ({_range(known.low, known.high, known.unit)})."
        ),
        "Correct the value or its unit.",
        header,
        context.cells(meaning),
    )
    note_scale_slips(context, meaning, name, rows, value)


def _range(low: float, high: float, unit: str) -> str:
    return f"{low:,g} to {high:,g} {unit}".rstrip()


def _needed(kind: str) -> tuple[tuple[str, ...], ...]:
    if kind in _NEEDED:
        return _NEEDED[kind]
    return tuple((c.name,) for c in kinds.KINDS[kind].columns if c.required and c.name not in ("attribute", "score"))


def _check_needed(context: Context, values: Values, groups: tuple[tuple[str, ...], ...]) -> None:
    for group in groups:
        present = np.zeros(values.n, dtype=bool)
        for name in group:
            present |= values.present(name)
        if present.all():
            continue
        headers = [m.header for m in context.recognised.meanings if m.name in group and m.role in ("kept", "clock")]
        # a number of a quantity that is not known cannot be read, and that was told already
        also = [m.header for m in context.recognised.having("kept") if m.name == "quantity"]
        lacking = ~present & ~context.faults.is_blamed([*headers, *also])
        what = " or ".join(_SPOKEN.get(name, name.replace("_", " ")) for name in group)
        context.faults.reject(
            lacking, "value-needed", f"The row has no {what}.", f"Fill in the {what}.", headers[0] if headers else None
        )


def _check_moment(context: Context, values: Values, name: str, today: date) -> None:
    moments = values.moments[name]
    meaning = context.recognised.kept(name)
    if meaning is None:
        return
    cells = context.cells(meaning)
    latest = np.datetime64(today, "us") + np.timedelta64(2, "D")
    context.faults.reject(
        moments >= latest, "date-in-future", lambda text: f"“{text}” is in the future.", "Correct the date.",
        meaning.header, cells,
    )  # fmt: skip
    context.faults.reject(
        moments < _FIRST_DAY, "date-too-early", lambda text: f"“{text}” is before 1990.", "Correct the date.",
        meaning.header, cells,
    )  # fmt: skip


def _check_bounds(context: Context, values: Values, name: str) -> None:
    low, high = _BOUNDS[name]
    number = values.numbers[name]
    with np.errstate(invalid="ignore"):
        wrong = (number < low) | (number > high)
    if not wrong.any():
        return
    meaning = context.recognised.kept(name)
    label = name.replace("_", " ")
    if meaning is None:
        message = f"The {label} would be outside {low:,g} to {high:,g}."
        context.faults.reject(wrong, f"{name.replace('_', '-')}-implausible", message, "Correct the times.")
        return
    context.faults.reject(
        wrong,
        "value-implausible",
        lambda text: f"“{text}” is outside what a {label} can be ({low:,g} to {high:,g}).",
        "Correct the value or its unit.",
        meaning.header,
        context.cells(meaning),
    )


def _nothing(context: Context, values: Values) -> None:
    """A kind without rules of its own."""


def _check_operations(context: Context, values: Values) -> None:
    ended = values.moments.get("ended_at")
    if ended is None:
        return
    before = ended < values.moments["started_at"]
    header = next((m.header for m in context.recognised.meanings if m.name == "ended_at"), None)
    context.faults.reject(
        before, "end-before-start", "The end is before the start.", "Correct the start or the end.", header
    )


def _check_transfers(context: Context, values: Values) -> None:
    """Reject a move from a batch to itself that names no two vessels."""
    same = (values.texts["from_batch"] == values.texts["to_batch"]).fillna(False).to_numpy(dtype=bool)
    vessels = [values.texts.get(name) for name in ("from_vessel", "to_vessel")]
    moves = np.zeros(values.n, dtype=bool)
    if vessels[0] is not None and vessels[1] is not None:
        moves = (vessels[0].fillna("") != vessels[1].fillna("")).to_numpy(dtype=bool)
    context.faults.reject(
        same & ~moves, "transfer-nowhere", "The batch moves to itself, from no vessel to another.",
        "Name both vessels, or the other batch.",
    )  # fmt: skip


def _check_readings(context: Context, values: Values) -> None:
    """Reject values of a long sheet outside what their measure can be, and readings of a vessel without a moment."""
    if "value" in values.numbers:
        meaning = context.recognised.kept("value")
        assert meaning is not None  # a long sheet has a column of values
        quantity = values.texts["quantity"]
        for name in quantity.dropna().unique():
            rows = np.flatnonzero((quantity == name).to_numpy(dtype=bool, na_value=False) & context.active)
            check_value(context, meaning.header, rows, name, values.numbers["value"][rows])
    alone = ~values.present("batch") & ~values.present("run") & values.present("vessel")
    context.faults.reject(
        alone & ~values.present("measured_at"), "value-needed",
        "The row names only a vessel, and not when: nothing tells which batch was in it.",
        "Fill in the batch, or the moment of the reading.",
    )  # fmt: skip


def _check_tastings(context: Context, values: Values) -> None:
    if "score" not in values.numbers:
        return
    highest = np.full(values.n, np.inf)
    scale = values.texts.get("scale")
    if scale is not None:
        tops = {word: _top(word) for word in scale.dropna().unique()}
        highest = scale.map(tops).to_numpy(dtype=np.float64, na_value=np.inf)
    meaning = context.recognised.kept("score")
    assert meaning is not None  # scores come from that column
    context.faults.reject(
        values.numbers["score"] > highest, "score-above-scale", lambda text: f"“{text}” is above the scale.",
        "Correct the score or the scale.", meaning.header, context.cells(meaning),
    )  # fmt: skip


def _top(scale: str) -> float:
    numbers = re.findall(r"\d+(?:\.\d+)?", scale)
    return float(numbers[-1]) if numbers else float("inf")


def _check_taste_tests(context: Context, values: Values) -> None:
    meaning = context.recognised.kept("correct")
    assert meaning is not None  # a sheet without it is no sheet of taste tests
    context.faults.reject(
        values.numbers["correct"] > values.numbers["tasters"], "more-right-than-tasters",
        lambda text: f"{text} were right, more than there were tasters.", "Correct either number.",
        meaning.header, context.cells(meaning),
    )  # fmt: skip


def _check_meter_checks(context: Context, values: Values) -> None:
    """Reject the rows without a reference that are no check of oxygen in air-saturated water at a known state."""
    lacking = context.active & ~values.present("reference")
    if not lacking.any():
        return
    extras = [(m.header, context.cells(m)) for m in context.recognised.having("extra")]
    oxygen = (values.texts["quantity"] == "dissolved_oxygen").to_numpy(dtype=bool, na_value=False)
    for row in np.flatnonzero(lacking & oxygen):
        lacking[row] = air_saturated({header: cells.text_at(int(row)) for header, cells in extras}) is None
    meaning = context.recognised.kept("reference")
    context.faults.reject(
        lacking & ~context.faults.is_blamed([meaning.header] if meaning is not None else []), "value-needed",
        "The row has no reference.",
        "Fill in what the meter should have read. For oxygen in air-saturated water, the water's temperature and the "
        "air pressure beside it will do, as in “Temperature (°C)” and “Air pressure (mbar)”.",
        None if meaning is None else meaning.header,
    )  # fmt: skip


def _check_targets(context: Context, values: Values) -> None:
    lower, upper = values.numbers.get("lower"), values.numbers.get("upper")
    if lower is not None and upper is not None:
        context.faults.reject(
            lower > upper, "limits-crossed", "The lower limit is above the upper one.", "Correct either limit."
        )
    margin = values.numbers.get("margin")
    if margin is not None:
        context.faults.reject(margin <= 0, "margin-not-positive", "A margin must be above 0.", "Correct the margin.")


_CHECKS = {
    "operations": _check_operations,
    "transfers": _check_transfers,
    "readings": _check_readings,
    "tastings": _check_tastings,
    "taste_tests": _check_taste_tests,
    "meter_checks": _check_meter_checks,
    "targets": _check_targets,
}
