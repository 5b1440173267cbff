"""What was read in each finished-pack sample?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from analysis.linking.cold_haze import cold_apart
from analysis.linking.entries import DAY, Flags, Floats, Ints, seconds_of
from analysis.linking.runs import only_value
from analysis.linking.sample_reading import Reading

__all__ = ["Samples", "samples_of"]

_ONE_PACK = 3
"""Days within which a sample number still means the pack that was opened (common practice, no source)."""


@dataclass(frozen=True)
class Samples:
    """The samples of finished packs.

    ``table``, a row a sample: ``run`` (its number in the table of runs), ``sample`` (its name), ``seconds``. Beside it
    what each was read for. ``of_reading`` is each reading's sample, -1 where it is none of a pack's.
    """

    table: pd.DataFrame
    readings: Mapping[str, Reading]
    of_reading: Ints


def samples_of(rows: pd.DataFrame, run: Ints) -> Samples:
    """Return the samples of all runs.

    A sample is what has one sample number in one run on one day, and what was read of it up to three days later where
    that had not been read before: a pack goes on to the laboratory. Read again, or later, it is another sample: numbers
    begin again when packs are opened later. Where no number is given, what stands in one row of a sheet is one sample;
    in a sheet with a reading a row the first reading of each quantity on a day is that day's first sample, and so on,
    readings with different replicate numbers being one sample.

    Replicate readings of one sample are kept as their mean. With a "<" among them the largest value or limit is kept as
    "<", with a ">" the smallest as ">": a limit is never averaged as if it had been read. With both, nothing is kept.
    A haze read cold and one read warm are no replicates: they are kept apart.

    Parameters
    ----------
    rows : DataFrame
        The records of readings.
    run : ndarray, shape (n,)
        The run of each, -1 where it has none.
    """
    stage = rows["stage"]
    of_pack = ((stage == "pack") | stage.isna()).to_numpy(bool)
    chosen = np.flatnonzero(
        of_pack & (run >= 0) & rows["value"].notna().to_numpy() & rows["quantity"].notna().to_numpy()
    )
    part = rows.iloc[chosen].reset_index(drop=True)
    seconds = seconds_of(part["measured_at"])
    name, label = _names(part, run[chosen], seconds)
    key = _combined(run[chosen], label, _opening(run[chosen], label, seconds // DAY + 1, part))
    sample, first = _numbered(key)
    of_reading = np.full(len(rows), -1, dtype=np.int64)
    of_reading[chosen] = sample
    earliest = np.full(len(first), np.iinfo(np.int64).max)
    np.minimum.at(earliest, sample, seconds)
    table = pd.DataFrame({"run": run[chosen][first], "sample": name.iloc[first].array, "seconds": earliest})
    part["quantity"] = cold_apart(part, sample)
    return Samples(table, MappingProxyType(_readings(part, sample, len(first))), of_reading)


def _opening(run: Ints, label: Ints, day: Ints, readings: pd.DataFrame) -> Ints:
    """Return the day on which the sample of each reading was first read, within the days that may tell of one pack."""
    numbered = readings["sample"].notna().to_numpy(bool)
    pack = pd.factorize(_combined(run, label))[0].astype(np.int64)
    first, last = (
        np.full(pack.max(initial=-1) + 1, np.iinfo(np.int64).max),
        np.zeros(pack.max(initial=-1) + 1, np.int64),
    )
    np.minimum.at(first, pack, day)
    np.maximum.at(last, pack, day)
    rows = np.flatnonzero((first < last)[pack] & numbered)
    opening = day.copy()
    if len(rows):
        frame = pd.DataFrame({"pack": pack[rows], "day": day[rows], "quantity": readings["quantity"].iloc[rows].array})
        opening[rows] = _sessions(frame)
    return opening


def _sessions(frame: pd.DataFrame) -> Ints:
    """Return the first day of the days that belong together, for readings of packs that were read on several days."""
    fresh = frame.groupby(["pack", "quantity"])["day"].transform("min") == frame["day"]
    days = frame.assign(new=fresh).groupby(["pack", "day"], as_index=False).agg(new=("new", "all"))
    near = (days["pack"].diff() == 0) & (days["day"].diff() <= _ONE_PACK) & (days["day"].shift() > 0)
    days["opening"] = days["day"].where(~(near & days["new"])).ffill().astype(np.int64)
    return frame.merge(days, on=["pack", "day"], how="left")["opening"].to_numpy(np.int64)


def _numbered(key: Ints) -> tuple[Ints, Ints]:
    """Return each row's group in order of first appearance, and each group's first row."""
    group, _ = pd.factorize(key)
    first = np.full(group.max(initial=-1) + 1, len(key), dtype=np.int64)
    np.minimum.at(first, group, np.arange(len(key)))
    return group.astype(np.int64), first


def _combined(*codes: Ints) -> Ints:
    """Return one code for each combination of codes from 0."""
    whole = np.zeros(len(codes[0]), dtype=np.int64)
    for code in codes:
        width = int(code.max(initial=0)) + 1
        if int(whole.max(initial=0)) >= np.iinfo(np.int64).max // width - 1:
            whole = pd.factorize(whole)[0].astype(np.int64)
        whole = whole * width + code
    return whole


def _names(rows: pd.DataFrame, run: Ints, seconds: Ints) -> tuple[pd.Series, Ints]:
    """Return each reading's sample name, and a code that tells the samples of one run and day apart."""
    code, words = pd.factorize(rows["sample"], use_na_sentinel=True)
    bare = np.flatnonzero(code < 0)
    label = code.astype(np.int64)
    if not len(bare):
        return rows["sample"], label
    number = _counted(rows.iloc[bare].reset_index(drop=True), run[bare], seconds[bare])
    label[bare] = len(words) + number
    labelled = _combined(run, seconds // DAY + 1)
    named = pd.DataFrame({"session": labelled, "code": code})[code >= 0].drop_duplicates()
    before = pd.Series(labelled[bare]).map(named.groupby("session").size()).fillna(0).to_numpy(np.int64)
    texts = rows["sample"].astype("object").to_numpy(copy=True)
    texts[bare] = (number + before + 1).astype(str)
    return pd.Series(texts, dtype="str"), label


def _counted(rows: pd.DataFrame, run: Ints, seconds: Ints) -> Ints:
    """Return a number from 0 for each reading without a sample number, within its run and day."""
    session = _combined(run, seconds // DAY + 1)
    place, wide = _wide_rows(rows)
    quantity = pd.factorize(rows["quantity"])[0].astype(np.int64)
    replicate = (pd.factorize(rows["replicate"], use_na_sentinel=True)[0] + 1).astype(np.int64)
    number = _rank(_combined(session, quantity, replicate), seconds)
    if wide.any():
        units = np.zeros(len(rows), dtype=np.int64)
        units[wide] = _dense_rank(session[wide], place[wide])
        shift = pd.Series(units[wide] + 1).groupby(session[wide]).max()
        number += pd.Series(session).map(shift).fillna(0).to_numpy(np.int64)
        number[wide] = units[wide]
    return number


def _wide_rows(rows: pd.DataFrame) -> tuple[Ints, Flags]:
    """Return the sheet row of each reading as a code in order, and whether it is of a sheet with several in a row."""
    texts = [rows[name].astype("category") for name in ("file", "sheet")]
    sheet = _combined(*(text.cat.codes.to_numpy().astype(np.int64) + 1 for text in texts))
    place = _combined(sheet, rows["source_row"].to_numpy(np.int64))
    _, of_place = np.unique(place, return_inverse=True)
    several = np.bincount(of_place)[of_place] > 1
    known = (texts[0] != "").to_numpy(bool) & texts[0].notna().to_numpy()
    return place, known & np.isin(sheet, np.unique(sheet[several & known]))


def _rank(group: Ints, seconds: Ints) -> Ints:
    """Return each row's place from 0 within its group, in order of time and then of the records."""
    order = np.lexsort((seconds, group))
    fresh = np.r_[True, np.diff(group[order]) != 0]
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(group)), 0))
    rank = np.empty(len(group), dtype=np.int64)
    rank[order] = np.arange(len(group)) - start
    return rank


def _dense_rank(group: Ints, value: Ints) -> Ints:
    """Return each row's place from 0 within its group, equal values having one place."""
    order = np.lexsort((value, group))
    g, v = group[order], value[order]
    fresh = np.r_[True, np.diff(g) != 0]
    step = np.r_[0, (np.diff(v) != 0).astype(np.int64)]
    total = np.cumsum(np.where(fresh, 0, step))
    start = np.maximum.accumulate(np.where(fresh, total, 0))
    rank = np.empty(len(group), dtype=np.int64)
    rank[order] = total - start
    return rank


def _readings(rows: pd.DataFrame, sample: Ints, n_samples: int) -> dict[str, Reading]:
    quantity, names = pd.factorize(rows["quantity"])
    cell = sample * len(names) + quantity
    n_cells = n_samples * len(names)
    value = rows["value"].to_numpy(np.float64)
    n = np.bincount(cell, minlength=n_cells)
    below = np.bincount(cell, weights=(rows["sign"] == "<").to_numpy(bool), minlength=n_cells) > 0
    above = np.bincount(cell, weights=(rows["sign"] == ">").to_numpy(bool), minlength=n_cells) > 0
    kept = _kept(cell, value, n, below, above)
    censored = np.where(below == above, 0, np.where(below, -1, 1))
    meter = only_value(cell, rows["meter"], n_cells)
    temperature = _mean(cell, rows["temperature"].to_numpy(np.float64), n_cells)
    columns: dict[str, Reading] = {}
    for place, name in enumerate(names):
        part = slice(place, None, len(names))
        reading = Reading(
            kept[part], censored[part], meter.iloc[part].reset_index(drop=True), n[part], temperature[part]
        )
        columns[str(name)] = reading
    return columns


def _kept(cell: Ints, value: Floats, n: Ints, below: Flags, above: Flags) -> Floats:
    with np.errstate(invalid="ignore"):
        kept = np.bincount(cell, weights=value, minlength=len(n)) / n
    if below.any() or above.any():
        largest, smallest = np.full(len(n), -np.inf), np.full(len(n), np.inf)
        np.maximum.at(largest, cell, value)
        np.minimum.at(smallest, cell, value)
        kept = np.where(below, largest, np.where(above, smallest, kept))
    return np.where(below & above, np.nan, kept)


def _mean(group: Ints, values: Floats, n_groups: int) -> Floats:
    said = ~np.isnan(values)
    with np.errstate(invalid="ignore"):
        return np.bincount(group[said], weights=values[said], minlength=n_groups) / np.bincount(
            group[said], minlength=n_groups
        )
