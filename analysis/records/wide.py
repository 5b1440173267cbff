"""Which packaging runs, readings and scores does a sheet hold in which a row is a can, a tank check or a taster?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.records.cells import as_text_series
from analysis.records.checks import check_value
from analysis.records.choices import CHOICES, stage_of_vessel
from analysis.records.context import Context, Values
from analysis.records.kept import text_of_codes
from analysis.records.marks import SAMPLES
from analysis.records.parsed import State
from analysis.records.parsing import parse_numbers
from analysis.records.readings import Block, read_block
from analysis.records.run_blocks import run_blocks
from analysis.records.scores import ScoreBlock, read_score_block

__all__ = [
    "came_back",
    "fill_run_details",
    "fill_stages",
    "number_samples",
    "read_scores",
    "read_wide",
    "wide_readings",
    "wide_runs",
    "wide_scores",
]

Flags = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp]

_PER_ROW_TEXTS = ("batch", "run", "vessel", "stage", "sample", "replicate")
_RUN_TEXTS = ("format", "line")
_RUN_NUMBERS = ("size", "headspace", "fill_temperature")
_ONLY_IN_A_PACK = ("total_oxygen", "headspace_oxygen")


def read_wide(context: Context) -> tuple[Block, ...]:
    """Return the readings of every measure's column, and reject rows with values that cannot be."""
    blocks = []
    for meaning in context.recognised.having("measure"):
        block = read_block(context, meaning)
        if block.measure in _ONLY_IN_A_PACK and block.stage is None and context.recognised.kept("stage") is None:
            block = replace(block, stage="pack")
        check_value(context, meaning.header, block.rows, block.measure, block.value)
        blocks.append(block)
    return tuple(blocks)


def rows_with(context: Context, blocks: Sequence[Block]) -> tuple[Flags, Flags]:
    """Return the rows that have a reading, and those of which a reading waits for an answer."""
    has, waits = np.zeros(len(context.table), dtype=bool), np.zeros(len(context.table), dtype=bool)
    for block, meaning in zip(blocks, context.recognised.having("measure"), strict=True):
        has[block.rows] = True
        if block.waits:
            waits |= parse_numbers(context.cells(meaning), context.decimal).state == State.READ
    return has, waits & ~has


def wide_readings(
    values: Values, blocks: Sequence[Block], accepted: Flags, again: Flags | None = None
) -> tuple[Values, Rows]:
    """Return the accepted readings as columns, and the row of each, in the order of the rows.

    ``again`` marks the rows that were rejected before and keep the sample's number that they were given among others.
    """
    kept = [np.flatnonzero(accepted[block.rows]) for block in blocks]
    rows = (
        np.concatenate([block.rows[k] for block, k in zip(blocks, kept, strict=True)]) if blocks else np.zeros(0, int)
    )
    order = np.argsort(rows, kind="stable")
    rows = rows[order]
    made = Values(len(rows))
    lengths = [len(k) for k in kept]

    def each(of: Sequence[str | None]) -> pd.Series:
        words = list(dict.fromkeys(text for text in of if text))
        codes = np.array([words.index(text) if text else -1 for text in of], dtype=np.int32)
        return text_of_codes(np.repeat(codes, lengths)[order], words)

    for name in _PER_ROW_TEXTS:
        if name in values.texts:
            made.texts[name] = values.texts[name].take(rows).reset_index(drop=True)
    if "measured_at" in values.moments:
        made.moments["measured_at"] = values.moments["measured_at"][rows]
    made.texts["quantity"] = each([block.measure for block in blocks])
    made.texts["unit"] = each([block.unit for block in blocks])
    made.texts["angle"] = each([block.angle for block in blocks])
    made.texts["stage"] = _first_of(each([block.stage for block in blocks]), made.texts.get("stage"))
    of_column = each([block.sample for block in blocks])
    if of_column.notna().any():
        made.texts["sample"] = _samples(of_column, made.texts.get("sample"), values, rows, again)
    made.texts["replicate"] = _first_of(each([block.replicate for block in blocks]), made.texts.get("replicate"))
    made.numbers["value"] = np.concatenate([b.value[k] for b, k in zip(blocks, kept, strict=True)])[order]
    sign = np.concatenate([b.sign[k] for b, k in zip(blocks, kept, strict=True)])[order]
    made.texts["sign"] = text_of_codes(np.array([-1, 1, 0], dtype=np.int32)[sign], ["<", ">"])
    made.texts["meter"] = _meters(blocks, kept, order)
    if "temperature" in values.numbers:
        is_own = (made.texts["quantity"] == "temperature").to_numpy(dtype=bool, na_value=False)
        made.numbers["temperature"] = np.where(is_own, np.nan, values.numbers["temperature"][rows])
    return made, rows


def _first_of(first: pd.Series, then: pd.Series | None) -> pd.Series:
    return first if then is None else first.where(first.notna(), then)


def _samples(
    of_column: pd.Series, of_row: pd.Series | None, values: Values, rows: Rows, again: Flags | None
) -> pd.Series:
    """Return the samples that columns name ("DO can 2"), told apart by row where a run has several rows."""
    if of_row is None:
        return of_column
    run = values.texts.get("run")
    if run is None:
        return of_column.where(of_column.notna(), of_row)
    of_several = run.duplicated(keep=False).to_numpy() | (again if again is not None else False)
    several = of_several[rows] & of_row.notna().to_numpy()
    both = of_column.where(~several, of_row + "-" + of_column)
    return both.where(of_column.notna(), of_row)


def _meters(blocks: Sequence[Block], kept: Sequence[Rows], order: Rows) -> pd.Series:
    parts = [
        pa.nulls(len(k), pa.large_string()) if b.meter is None else pa.array(b.meter.take(k), pa.large_string())
        for b, k in zip(blocks, kept, strict=True)
    ]
    return as_text_series(pa.concat_arrays(parts).take(pa.array(order)))


def fill_stages(context: Context, values: Values) -> None:
    """Say where a reading was taken where no stage is written: by the vessel's name, or in a pack of a run.

    On a sheet of packaging runs a vessel says where the beer came from; what stands beside a run was read in its packs.
    """
    stage = values.texts.get("stage")
    if stage is not None and stage.notna()[context.active].all():
        return
    vessel = values.texts.get("vessel")
    told = text_of_codes(np.full(values.n, -1, dtype=np.int32), [])
    if vessel is not None:
        header = context.recognised.kept("vessel")
        by_header = None if header is None else stage_of_vessel(header.header)
        names = {name: stage_of_vessel(name) or by_header for name in vessel.dropna().unique()}
        told = vessel.map(names).astype("str")
    sample = context.recognised.kept("sample")
    is_pack, in_vessel = values.present("run"), values.present("vessel")
    if context.kind == "pack_runs":
        told, in_vessel = told.where(~is_pack), in_vessel & ~is_pack
    if sample is not None and CHOICES["stage"](sample.header) == "pack":
        is_pack = is_pack | values.present("sample")
    in_pack = np.where(is_pack & ~in_vessel, np.int32(0), np.int32(-1))
    told = told.where(told.notna(), text_of_codes(in_pack.astype(np.int32), ["pack"]))
    values.texts["stage"] = told if stage is None else stage.where(stage.notna(), told)


def fill_run_details(context: Context, values: Values) -> None:
    """Give a row that leaves out its run's batch or packing date those of the run's other rows, where they agree."""
    run = values.texts.get("run")
    if run is None:
        return
    filled, block = np.zeros(values.n, dtype=bool), run_blocks(values)
    batch, packed = context.recognised.kept("batch"), context.recognised.kept("packed_at")
    if batch is not None:
        told = values.texts["batch"]
        values.texts["batch"] = _of_group(told, block, context)
        filled |= (told.isna() & values.texts["batch"].notna()).to_numpy()
        context.filled[batch.column] = values.texts["batch"]
    if packed is not None:
        moments = pd.Series(values.moments["packed_at"])
        whole = _of_group(moments, block, context)
        open_rows = (moments.isna() & whole.notna()).to_numpy()
        filled |= open_rows
        values.moments["packed_at"] = whole.to_numpy(dtype="datetime64[us]")
        settled = context.settled[packed.column]
        context.settled[packed.column] = np.where(open_rows, values.moments["packed_at"], settled)
    count = int((filled & context.active).sum())
    if count:
        context.faults.note(
            "run-details-filled",
            f"Rows without the batch or the date of their run were given those of its other rows: {count:,}.",
            "Nothing to do if that is right; else fill the cells in.",
        )


def _of_group(column: pd.Series, block: Rows, context: Context) -> pd.Series:
    """Fill blanks by the only value that the other rows of a run have."""
    open_rows = column.isna().to_numpy() & (block >= 0) & context.active & ~context.faults.rejected
    told = pd.DataFrame({"block": block, "value": column})[context.active & column.notna().to_numpy()]
    known = told.drop_duplicates().drop_duplicates("block", keep=False).set_index("block")["value"]
    if not open_rows.any() or not len(known):
        return column
    return column.where(~open_rows, known.reindex(block).set_axis(column.index).astype(column.dtype))


def number_samples(context: Context, values: Values, blocks: Sequence[Block], is_needed: bool) -> bool:
    """Number the samples of a run where neither a sample nor a replicate is written; return whether that was done.

    A reading in a column that numbers no pack, beside columns that do, is one of the run's first pack.
    """
    are_numbered, written = _were_numbered(context), values.present("sample")
    if not is_needed or values.present("replicate").any() or (written.any() and not are_numbered):
        return False
    rows = np.flatnonzero(context.table.active & values.present("run") & ~written)
    if rows.size == 0:
        return False
    run = run_blocks(values)[rows]
    number = pd.Series(run).groupby(run).cumcount().to_numpy() + 1
    words = [str(k) for k in range(1, int(number.max()) + 1)]
    code = np.full(values.n, -1, dtype=np.int32)
    code[rows] = number - 1
    numbers = text_of_codes(code, words)
    values.texts["sample"] = _first_of(values.texts["sample"], numbers) if are_numbered else numbers
    if not are_numbered:
        _note_numbered(context, blocks, int(number.max()))
    return not are_numbered


def came_back(context: Context, values: Values) -> Flags:
    """Return the rows that were rejected before and keep the number that they were given among the others."""
    return values.present("sample") & _were_numbered(context)


def _were_numbered(context: Context) -> bool:
    sample = context.recognised.kept("sample")
    return sample is not None and sample.header in SAMPLES


def _note_numbered(context: Context, blocks: Sequence[Block], most: int) -> None:
    bare = [block.header for block in blocks if not block.sample]
    if len(bare) < len(blocks) and most == 1:
        context.faults.note(
            "sample-first",
            f"{', '.join(bare)}: no pack is numbered there; taken for readings of each run's first pack.",
            "Nothing to do if that is right; else number the packs in the header, as in “DO can 2”.",
        )
        return
    context.faults.note(
        "sample-numbered",
        "No column numbers the samples; each row of a run was taken for another sample, numbered as the rows stand.",
        "Nothing to do if a row is a can, a bottle or a keg; else add a column with the sample's number.",
    )


def wide_runs(context: Context, values: Values, rows: Rows) -> tuple[Values, Rows]:
    """Return one packaging run for each run and batch of some rows, and a row of the sheet where each stands.

    What differs from can to can (a headspace, a temperature) is kept as the run's middle value, and the first moment is
    the run's. Days, formats or lines that contradict each other give a run each, for a person to settle.
    """
    frame = pd.DataFrame({"row": rows, "run": values.texts["run"].take(rows).to_numpy(dtype=object),
                          "batch": values.texts["batch"].take(rows).to_numpy(dtype=object)})  # fmt: skip
    frame["packed_at"] = values.moments["packed_at"][rows]
    frame["day"] = frame["packed_at"].dt.floor("D")
    keys = ["run", "batch"]
    for name in _RUN_TEXTS:
        if name in values.texts:
            frame[name] = values.texts[name].take(rows).to_numpy(dtype=object)
            grouped = frame.groupby(keys, sort=False)[name]
            frame[name] = frame[name].where(
                frame[name].notna() | (grouped.transform("nunique") != 1), grouped.transform("first")
            )
            keys = [*keys, name] if name not in keys else keys
    keys.append("day")
    numbers = [name for name in _RUN_NUMBERS if name in values.numbers]
    for name in numbers:
        frame[name] = values.numbers[name][rows]
    grouped_all = frame.groupby(keys, sort=False, dropna=False)
    _note_varying(context, grouped_all, numbers)
    told = grouped_all.agg(
        **{"row": ("row", "first"), "packed_at": ("packed_at", "min"), **{n: (n, "median") for n in numbers}}
    ).reset_index()
    made = Values(len(told))
    for name in ("run", "batch", *_RUN_TEXTS):
        if name in told:
            made.texts[name] = as_text_series(pa.array(told[name].where(told[name].notna(), None), pa.large_string()))
    made.moments["packed_at"] = told["packed_at"].to_numpy(dtype="datetime64[us]")
    made.numbers.update({name: told[name].to_numpy(dtype=np.float64) for name in numbers})
    return made, told["row"].to_numpy(dtype=np.intp)


def _note_varying(context: Context, grouped: Any, numbers: Sequence[str]) -> None:
    for name in numbers:
        varies = int((grouped[name].max() > grouped[name].min()).sum())
        if varies:
            meaning = context.recognised.kept(name)
            context.faults.note(
                "run-middle-value",
                f"The {name.replace('_', ' ')} differs within runs ({varies:,} of them); a run keeps the middle value.",
                "Nothing to do; the row's own figure is kept beside its readings.",
                None if meaning is None else meaning.header,
            )


def read_scores(context: Context) -> tuple[ScoreBlock, ...]:
    """Return the scores of every attribute's column, and tell which columns were taken for one by their numbers."""
    meanings = context.recognised.having("attribute")
    blocks = tuple(read_score_block(context, meaning) for meaning in meanings)
    for meaning, block in zip(meanings, blocks, strict=True):
        check_value(context, meaning.header, block.rows, block.attribute, block.score)
    guessed = [meaning.header for meaning in meanings if meaning.is_weak]
    if guessed:
        context.faults.note(
            "attribute-taken",
            f"Columns of numbers beside a panellist were taken for tasting attributes: {', '.join(guessed)}.",
            "If one is not, set it to “extra” or “ignore” beside the sheet's columns or in --columns.",
        )
    return blocks


def wide_scores(values: Values, blocks: Sequence[ScoreBlock], accepted: Flags) -> tuple[Values, Rows]:
    """Return the accepted scores as columns, and the row of each, in the order of the rows."""
    kept = [np.flatnonzero(accepted[block.rows]) for block in blocks]
    rows = np.concatenate([block.rows[k] for block, k in zip(blocks, kept, strict=True)])
    order = np.argsort(rows, kind="stable")
    rows = rows[order]
    made = Values(len(rows))
    for name in ("run", "panellist", "scale"):
        if name in values.texts:
            made.texts[name] = values.texts[name].take(rows).reset_index(drop=True)
    if "tasted_on" in values.moments:
        made.moments["tasted_on"] = values.moments["tasted_on"][rows]
    names = list(dict.fromkeys(block.attribute for block in blocks))
    codes = np.array([names.index(block.attribute) for block in blocks], dtype=np.int32)
    made.texts["attribute"] = text_of_codes(np.repeat(codes, [len(k) for k in kept])[order], names)
    made.numbers["score"] = np.concatenate([b.score[k] for b, k in zip(blocks, kept, strict=True)])[order]
    return made, rows
