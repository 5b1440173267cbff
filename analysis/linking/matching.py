"""Which operation, reading and tasting belongs to which batch and run, and how is that known?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.batches import IN_CELLAR, LEAD
from analysis.linking.entries import DAY, NEVER, Flags, Ints, seconds_of
from analysis.linking.numbers import AFTER, BEFORE, FOUND, NO_NUMBER, UNDATED, UNKNOWN, Pool, UseIndex
from analysis.linking.occupancy import Occupancy, day_words
from analysis.linking.runs import Runs
from analysis.records.occasions import APART

__all__ = ["SHELF", "BatchFinder", "Links", "batch_finder", "match_operations", "match_readings", "match_runs"]

SHELF = 730 * DAY
"""A reading or tasting this long after packing still belongs to the run (common practice, no source)."""

_NO_RUN, _SEVERAL_RUNS, _SEVERAL_BATCHES = AFTER + 1, AFTER + 2, AFTER + 3

_IN_TANK = {
    NO_NUMBER: "no batch number, and no batch is known to have stood in that tank then",
    UNKNOWN: "the batch number is not on record, and no batch is known to have stood in that tank then",
    UNDATED: "no date, and the batch number has been used more than once: write the date beside it",
    BEFORE: "dated before the batch of that number was brewed",
    AFTER: "dated after the batch of that number had left the cellar",
}
_IN_PACK = {
    NO_NUMBER: "no run number",
    UNKNOWN: "the run number is not on record",
    UNDATED: "no date, and the run number has been used more than once: write the date beside it",
    BEFORE: "dated before the run of that number was packed",
    AFTER: "dated long after the run of that number was packed",
    _NO_RUN: "the row names no run on record, and its batch is not known to have been packed by then",
    _SEVERAL_RUNS: "the row names no run on record, and its batch was packed in several",
    _SEVERAL_BATCHES: "no date, and the batch number has been used more than once: write the date beside it",
}


@dataclass(frozen=True)
class Links:
    """What each row of a kind was linked to.

    ``use`` and ``run`` are its batch and its run, -1 where there is none; ``how`` says by what, missing where the row
    was not linked; ``reason`` says why not, missing where it was.
    """

    use: Ints
    run: Ints
    how: pd.Categorical
    reason: pd.Categorical

    @property
    def linked(self) -> Flags:
        """Whether each row was linked."""
        return np.asarray(self.how.codes >= 0)


@dataclass(frozen=True)
class BatchFinder:
    """The batches ready to be found by number and moment, the codes of their numbers, and what is then said."""

    pool: Pool
    codes: Ints
    cellar: UseIndex
    words: tuple[str, ...]


def batch_finder(batches: pd.DataFrame, pool: Pool, last_gone: Ints) -> BatchFinder:
    """Return the finder.

    A batch is in the cellar from a week before its brew day to a week after ``last_gone`` [s], when it was last packed
    or last left for another batch; where that is ``NEVER``, for a year.
    """
    code, since = batches["code"].to_numpy(np.int64), batches["since"].to_numpy(np.int64)
    year = np.where(since > 0, since + LEAD + IN_CELLAR, np.iinfo(np.int64).max)
    until = np.where(last_gone != NEVER, last_gone + LEAD + DAY, year)
    again = np.bincount(code, minlength=len(pool.keys))[code] > 1
    seen = pd.to_datetime(batches["first_seen"].to_numpy(np.int64), unit="s")
    words = tuple(
        f"by batch number and date: the {number} of {day_words(day)}" if used else "by batch number"
        for number, used, day in zip(batches["number"], again, seen, strict=True)
    )
    return BatchFinder(pool, code, UseIndex.of(code, since, until, len(pool.keys)), words)


def match_operations(rows: pd.DataFrame, finder: BatchFinder, occupancy: Occupancy) -> Links:
    """Return the batch of every operation, by its number, or by its vessel and moment where no batch has that."""
    use, how, ended = _in_cellar(rows, seconds_of(rows["started_at"]), finder, occupancy)
    return Links(use, np.full(len(rows), -1, dtype=np.int64), how, _spoken(ended, _IN_TANK))


def match_runs(rows: pd.DataFrame, seconds: Ints, runs: Runs, pool: Pool | None = None) -> Links:
    """Return the run of every row that names one, by its number, the moment, and its batch where that tells more.

    Parameters
    ----------
    rows : DataFrame
        ``run`` and, where the kind has them, ``batch`` and ``packed_at``: a row that says when its run was packed
        belongs to the run that was.
    seconds : ndarray, shape (n,)
        When each row was read or tasted [s].
    runs : Runs
    pool : Pool, optional
        The batch numbers on record, where ``rows`` names batches.
    """
    code, given = runs.pool.codes(rows["run"])
    run, ended = _run_index(runs).find(code, given, seconds)
    uses = np.bincount(runs.table["code"], minlength=len(runs.pool.keys) + 1)
    how = np.where(run < 0, -1, np.where(uses[code] > 1, 1, 0))
    doubtful = np.flatnonzero(given & (uses[code] > 1))
    if pool is not None and len(doubtful):
        better, found = _by_run_and_batch(rows.iloc[doubtful], code[doubtful], seconds[doubtful], runs, pool)
        place = doubtful[found]
        run[place], ended[place], how[place] = better[found], FOUND, 2
    if "packed_at" in rows:
        packed = seconds_of(rows["packed_at"])
        place = np.flatnonzero((uses[code] > 1) & (packed != NEVER))
        told, by_batch = _by_packing(rows.iloc[place], code[place], packed[place], runs, pool)
        found = told >= 0
        run[place[found]], ended[place[found]], how[place[found]] = told[found], FOUND, np.where(by_batch, 4, 3)[found]
    words = (
        "by run number", "by run number and date", "by run number and batch number", "by run number and packing date",
        "by run number, batch number and packing date",
    )  # fmt: skip
    return Links(_batch_of(run, runs), run, _phrases(how, words), _spoken(ended, _IN_PACK))


def match_readings(rows: pd.DataFrame, finder: BatchFinder, occupancy: Occupancy, runs: Runs) -> Links:
    """Return the batch and the run of every reading.

    A reading that names a run belongs to it. One that was taken at the filler or in a pack and names only a batch
    belongs to the batch's only run by then, or to the one packed on that day. Any other belongs to a batch, by its
    number, or by its vessel and moment where no batch has that number.
    """
    seconds = seconds_of(rows["measured_at"])
    links = match_runs(rows, seconds, runs, finder.pool)
    left = ~links.linked
    packed = rows["stage"].isin(("pack", "filler")).to_numpy()
    named = rows["batch"].notna().to_numpy(bool)
    in_pack, in_cellar = np.flatnonzero(left & packed & named), np.flatnonzero(left & ~packed)
    pack_links = _in_pack(rows.iloc[in_pack], seconds[in_pack], finder, runs)
    part = rows.iloc[in_cellar].reset_index(drop=True)
    use, how, ended = _in_cellar(part, seconds[in_cellar], finder, occupancy)
    cellar_links = Links(use, np.full(len(part), -1, dtype=np.int64), how, _spoken(ended, _IN_TANK))
    return _merged(_merged(links, in_pack, pack_links), in_cellar, cellar_links)


def _in_cellar(
    rows: pd.DataFrame, seconds: Ints, finder: BatchFinder, occupancy: Occupancy
) -> tuple[Ints, pd.Categorical, Ints]:
    code, given = finder.pool.codes(rows["batch"])
    use, ended = finder.cellar.find(code, given, seconds)
    how = use.copy()
    words = list(finder.words)
    # A number on record that does not fit the date is a contradiction, which the tank alone does not settle.
    lost = np.flatnonzero((ended == NO_NUMBER) | (ended == UNKNOWN))
    stay = occupancy.find(rows["vessel"].iloc[lost], seconds[lost])
    place, stay = lost[stay >= 0], stay[stay >= 0]
    said = rows["batch"].iloc[place].fillna("").to_numpy()
    stood = occupancy.words(stay)
    words += [f"{a} (the row says {b})" if b else a for a, b in zip(stood, said, strict=True)]
    how[place] = np.arange(len(finder.words), len(words))
    use[place] = occupancy.stays["use"].to_numpy(np.int64)[stay]
    ended[place] = FOUND
    return use, _phrases(how, words), ended


def _by_packing(rows: pd.DataFrame, code: Ints, packed: Ints, runs: Runs, pool: Pool | None) -> tuple[Ints, Flags]:
    """Return the run of that number that was packed nearest to the moment that each row names, -1 where none was then.

    Of a row that names a batch, the runs of both numbers count; the flags say where they did.
    """
    within = int(APART / np.timedelta64(1, "s"))
    run = _run_index(runs).nearest(code, packed, within)
    by_batch = np.zeros(len(rows), dtype=bool)
    if pool is not None and len(rows):
        index, both = _pairs(rows, code, runs, pool)
        member = index.nearest(both, packed, within)
        by_batch = member >= 0
        run[by_batch] = runs.members["run"].to_numpy(np.int64)[member[by_batch]]
        run[(both >= 0) & ~by_batch] = -1
    return run, by_batch


def _by_run_and_batch(rows: pd.DataFrame, code: Ints, seconds: Ints, runs: Runs, pool: Pool) -> tuple[Ints, Flags]:
    """Return the run that both numbers name together, where its number alone names several."""
    index, both = _pairs(rows, code, runs, pool)
    member, ended = index.find(both, both >= 0, seconds)
    return runs.members["run"].to_numpy(np.int64)[member], ended == FOUND


def _pairs(rows: pd.DataFrame, code: Ints, runs: Runs, pool: Pool) -> tuple[UseIndex, Ints]:
    """Return the batches in runs by both their numbers, ready to be found, and which each row names, -1 for none."""
    members = runs.members
    wide = len(pool.keys) + 1
    pair = runs.table["code"].to_numpy(np.int64)[members["run"]] * wide + members["batch_code"].to_numpy(np.int64)
    pairs, pair_code = np.unique(pair, return_inverse=True)
    batch, given = pool.codes(rows["batch"])
    wanted = np.where(given & (batch >= 0), code * wide + batch, -1)
    place = np.minimum(np.searchsorted(pairs, wanted), len(pairs) - 1)
    both = np.where(pairs[place] == wanted, place, -1)
    return _pack_index(pair_code.astype(np.int64), members["packed"].to_numpy(np.int64), len(pairs)), both


def _in_pack(rows: pd.DataFrame, seconds: Ints, finder: BatchFinder, runs: Runs) -> Links:
    """Return the links of readings at the filler or in a pack that name no run on record."""
    members = runs.members
    packed = members["packed"].to_numpy(np.int64)
    index = _pack_index(members["batch_code"].to_numpy(np.int64), packed, len(finder.pool.keys))
    code, given = finder.pool.codes(rows["batch"])
    member, ended = index.find(code, given, seconds)
    ended = np.where(np.isin(ended, (BEFORE, AFTER)), _NO_RUN, np.where(ended == UNDATED, _SEVERAL_BATCHES, ended))
    found = np.flatnonzero(member >= 0)
    by_then, that_day = _packed_by_then(members, member[found], seconds[found])
    sure = (by_then == 1) | (that_day == 1)
    ended[found[~sure]] = _SEVERAL_RUNS
    member[found[~sure]] = -1
    how = np.where(member < 0, -1, 0)
    how[found[sure & (by_then > 1)]] = 1
    words = ("by batch number: its only run by then", "by batch number and packing day")
    run = np.where(member >= 0, members["run"].to_numpy(np.int64)[member] if len(members) else -1, -1)
    use = np.where(member >= 0, members["use"].to_numpy(np.int64)[member] if len(members) else -1, -1)
    return Links(use, run, _phrases(how, words), _spoken(ended, _IN_PACK))


def _packed_by_then(members: pd.DataFrame, member: Ints, seconds: Ints) -> tuple[Ints, Ints]:
    """Return how many runs of the member's batch had been packed by then, and how many on that very day."""
    use, packed = members["use"].to_numpy(np.int64), members["packed"].to_numpy(np.int64)
    keys = np.sort((use << 33) | packed)
    of = use[member] << 33
    last = np.where(seconds == NEVER, (1 << 33) - 1, seconds - seconds % DAY + DAY - 1)
    upto = np.searchsorted(keys, of | last, side="right")
    first = np.searchsorted(keys, of, side="left")
    before = np.searchsorted(keys, of | np.maximum(last - DAY, 0), side="right")
    return upto - first, np.where(seconds == NEVER, 0, upto - before)


def _run_index(runs: Runs) -> UseIndex:
    code, packed = runs.table["code"].to_numpy(np.int64), runs.table["packed"].to_numpy(np.int64)
    return _pack_index(code, packed, len(runs.pool.keys))


def _pack_index(code: Ints, packed: Ints, n_codes: int) -> UseIndex:
    """Return what was packed, ready to be found from the day of packing on."""
    return UseIndex.of(code, packed - packed % DAY, packed + SHELF, n_codes)


def _batch_of(run: Ints, runs: Runs) -> Ints:
    """Return each run's batch, -1 where it has several or there is no run."""
    only = np.full(len(runs.table) + 1, -1, dtype=np.int64)
    single = ~runs.members["run"].duplicated(keep=False).to_numpy()
    only[runs.members["run"].to_numpy()[single]] = runs.members["use"].to_numpy()[single]
    return only[run]


def _merged(links: Links, some: Ints, part: Links) -> Links:
    """Return the links with those of some rows put in place."""
    if not len(some):
        return links
    use, run = links.use.copy(), links.run.copy()
    use[some], run[some] = part.use, part.run
    return Links(use, run, _put(links.how, some, part.how), _put(links.reason, some, part.reason))


def _put(texts: pd.Categorical, some: Ints, part: pd.Categorical) -> pd.Categorical:
    words = texts.categories.union(part.categories, sort=False)
    codes = texts.set_categories(words).codes.astype(np.int64)
    codes[some] = part.set_categories(words).codes
    return pd.Categorical.from_codes(codes, words)


def _phrases(codes: Ints, words: Sequence[str]) -> pd.Categorical:
    """Return ``words[code]`` for each code, missing where it is negative."""
    place, texts = pd.factorize(pd.Series([*words, ""], dtype="str"))
    return pd.Categorical.from_codes(np.where(codes < 0, -1, place[codes]).astype(np.int64), pd.Index(texts))


def _spoken(ended: Ints, words: Mapping[int, str]) -> pd.Categorical:
    """Return why each row was not linked, missing where it was."""
    return _phrases(np.where(ended == FOUND, -1, ended), [words.get(code, "") for code in range(max(words) + 1)])
