"""Are columns that only number their readings ("TPO 1", "TPO 2") several packs, or one pack read several times?

Three cans of a run tell how much its packs differ; one can read three times tells what the meter repeats. Taken for
each other, a run looks better known than it is, or its packs more alike. A word in the header settles it: can, pack,
sample are packs; reading, rep, replicate are one pack again. A bare number counts packs where the columns stand beside
a run, nothing else numbers its packs and most runs have one row; and always where a pack is spent by the reading.
Beside a row that is a pack itself, and in a tank, it counts readings. A person may say otherwise.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from analysis.records.context import Context, Values
from analysis.records.headers import header_key
from analysis.records.marks import SAMPLE_AND_PACKS, SAMPLES
from analysis.records.readings import Block
from analysis.records.taken import NumberedColumn

__all__ = ["packs_by_column", "settle_numbers"]

Counted = Literal["sample", "replicate"]

_SPENT_BY_READING = ("total_oxygen", "headspace_oxygen")
_SHOWN = 6


def settle_numbers(context: Context, values: Values, blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Return the readings of every measure's column, each with the sample or the replicate that its column is."""
    settled = list(blocks)
    for places in _series(blocks):
        group = [blocks[place] for place in places]
        numbers = _numbers(group)
        counted, because = _counted(context, values, group)
        for place, number in zip(places, numbers, strict=True):
            block = blocks[place]
            context.numbered[block.header] = NumberedColumn(counted, number, group[0].header)
            settled[place] = (
                replace(block, sample=number, stage=block.stage or "pack")
                if counted == "sample"
                else replace(block, replicate=number)
            )
        if because:
            _tell(context, group, counted, because)
    for place, block in enumerate(blocks):
        if block.sample or block.replicate:
            counts: Counted = "sample" if block.sample else "replicate"
            context.numbered[block.header] = NumberedColumn(counts, str(block.sample or block.replicate), None)
            settled[place] = replace(block, replicate=block.replicate or _again(blocks, place))
    return tuple(settled)


def _again(blocks: Sequence[Block], place: int) -> str | None:
    """Return the place among the columns of one sample that nothing tells apart, None where it is the only one."""
    own = _alike(blocks[place])
    alike = [_alike(block) for block in blocks]
    return str(alike[: place + 1].count(own)) if alike.count(own) > 1 else None


def _alike(block: Block) -> tuple[object, ...]:
    return block.measure, block.stage, block.angle, block.sample, block.replicate, block.meter_column


def packs_by_column(context: Context) -> bool:
    """Tell whether a bare number in a header was taken for a pack's."""
    return any(each.counts == "sample" and each.leader is not None for each in context.numbered.values())


def _series(blocks: Sequence[Block]) -> list[list[int]]:
    """Return the places of columns of one measure, stage and angle that nothing but a number or their order tells
    apart; a column without a number belongs to them where another has one, or where two share their meter's column.
    """
    alike: dict[tuple[str, str | None, str | None], list[int]] = {}
    for place, block in enumerate(blocks):
        if not block.sample and not block.replicate:
            alike.setdefault((block.measure, block.stage, block.angle), []).append(place)
    series = []
    for places in alike.values():
        if any(blocks[place].number for place in places):
            series.append(places)
            continue
        for meter in dict.fromkeys(blocks[place].meter_column for place in places):
            same = [place for place in places if blocks[place].meter_column == meter]
            if len(same) > 1:
                series.append(same)
    return series


def _numbers(group: Sequence[Block]) -> list[str]:
    """Return each column's own number, or its place where not all have one of their own."""
    own = [block.number for block in group if block.number]
    if len(set(own)) == len(group):
        return own
    return [str(place) for place in range(1, len(group) + 1)]


def _counted(context: Context, values: Values, group: Sequence[Block]) -> tuple[Counted, str]:
    """Return what the numbers count, and why, "" where a person or an earlier reading said so."""
    said = _said(context, group)
    if said is not None:
        return said, ""
    if not _are_of_packs(values, group):
        return "replicate", "they were not read in packs"
    if values.present("sample").any() or values.present("replicate").any():
        return "replicate", "another column numbers the packs or the readings"
    if group[0].measure in _SPENT_BY_READING:
        return "sample", "a pack is spent by this reading"
    if _has_a_row_a_run(context, values):
        return "sample", "each run has a row and nothing else numbers its packs"
    return "replicate", "runs have several rows, and each row was taken for a pack"


def _said(context: Context, group: Sequence[Block]) -> Counted | None:
    """Return what was said of any of the headers, the latest word first, or what rejected rows were read as before."""
    headers = {header_key(block.header) for block in group}
    for header, said in reversed(list(context.answers.numbers.items())):
        if header_key(header) in headers:
            return "sample" if said == "sample" else "replicate"
    sample = context.recognised.kept("sample")
    if sample is None or sample.header not in SAMPLES:
        return None
    return "sample" if sample.header == SAMPLE_AND_PACKS else "replicate"


def _are_of_packs(values: Values, group: Sequence[Block]) -> bool:
    """Tell whether columns were read in packs: so their headers say, or most of their rows."""
    if group[0].stage is not None:
        return group[0].stage == "pack"
    rows = np.unique(np.concatenate([block.rows for block in group]))
    stage = values.texts.get("stage")
    return stage is not None and len(rows) > 0 and bool((stage.take(rows) == "pack").mean() > 0.5)


def _has_a_row_a_run(context: Context, values: Values) -> bool:
    """Tell whether most runs (or batches, where no run is written) stand in one row."""
    name = "run" if values.present("run").any() else "batch"
    if name not in values.texts:
        return False
    rows = np.flatnonzero(context.active & values.present(name))
    counts = values.texts[name].take(rows).value_counts()
    return len(counts) > 0 and bool((counts == 1).mean() > 0.5)


def _tell(context: Context, group: Sequence[Block], counted: Counted, because: str) -> None:
    headers = [block.header for block in group]
    told = ", ".join(headers[:_SHOWN]) + (" …" if len(headers) > _SHOWN else "")
    n = len(headers)
    are = {
        "sample": "a pack each" if n > 1 else "one pack",
        "replicate": "readings of one and the same sample" if n > 1 else "one reading of several",
    }
    other = "replicate" if counted == "sample" else "sample"
    answer = context.faults.question("numbers", headers[0], (other,), "").document(other)
    context.faults.note(
        "numbers-taken",
        f"{told}: taken for {are[counted]}, because {because}.",
        f"If they are {'one pack read again' if counted == 'sample' else 'a pack each'}, say so beside the sheet's"
        f" columns, or take the file in with --columns MAP.json holding {answer}.",
        headers[0],
    )
