"""Which cellar work had been done to the beer of a run by the time it was packed?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.linking.entries import NEVER, Flags, Floats, Ints
from analysis.linking.lineage import Lineage

__all__ = ["Done", "PathWork", "blended", "done_by_packing"]

_SHIFT = 33


@dataclass(frozen=True)
class Done:
    """What was done along each way into a run: a ``row`` of the records and the ``path`` for which it counts."""

    path: Ints
    row: Ints

    def where(self, chosen: Flags) -> Done:
        """Return what is left of it where the records' rows are limited to those chosen."""
        kept = chosen[self.row]
        return Done(self.path[kept], self.row[kept])


def done_by_packing(lineage: Lineage, use: Ints, seconds: Ints) -> Done:
    """Return the rows that count for each way: done to a batch while the way's beer was that batch.

    Parameters
    ----------
    lineage : Lineage
    use : ndarray, shape (n,)
        The batch of each row, -1 where it has none; such a row counts for nothing.
    seconds : ndarray, shape (n,)
        When each was done [s]; one without a date counts for nothing.
    """
    dated = np.flatnonzero((use >= 0) & (seconds != NEVER))
    key = (use[dated] << _SHIFT) | seconds[dated]
    order = np.argsort(key, kind="stable")
    keys, rows = key[order], dated[order]
    part = lineage.segments
    of = part["use"].to_numpy(np.int64) << _SHIFT
    low = np.searchsorted(keys, of | part["since"].to_numpy(np.int64), side="left")
    high = np.searchsorted(keys, of | part["until"].to_numpy(np.int64), side="right")
    count = np.maximum(high - low, 0)
    start = np.repeat(low - np.cumsum(count) + count, count)
    return Done(np.repeat(part["path"].to_numpy(np.int64), count), rows[start + np.arange(len(start))])


@dataclass(frozen=True)
class PathWork:
    """Numbers of each way: how often, how much, when first and when last."""

    n: int

    def count(self, done: Done) -> Floats:
        """Return how many rows count for each way."""
        return np.bincount(done.path, minlength=self.n).astype(np.float64)

    def total(self, done: Done, values: Floats) -> Floats:
        """Return the sum of the rows' values, missing where one of them is."""
        return np.bincount(done.path, weights=values[done.row], minlength=self.n).astype(np.float64)

    def first(self, done: Done, values: Floats) -> Floats:
        """Return the smallest of the rows' values, infinite where a way has none."""
        smallest = np.full(self.n, np.inf)
        np.minimum.at(smallest, done.path, values[done.row])
        return smallest

    def last(self, done: Done, values: Floats) -> Floats:
        """Return the largest of the rows' values, minus infinite where a way has none."""
        return -self.first(done, -values)


def blended(lineage: Lineage, values: Floats, how: str, n_runs: int) -> Floats:
    """Return each run's value: the mean of its ways by share, or the largest; missing where a way's is missing.

    Parameters
    ----------
    lineage : Lineage
    values : ndarray, shape (n_paths,)
        The value of each way.
    how : {"mean", "max", "mean where done"}
        "mean where done" leaves out the ways whose value is infinite, as the time since what was never done is.
    n_runs : int
    """
    if how == "mean where done":
        return _mean_where_done(lineage, values, n_runs)
    run = lineage.paths["run"].to_numpy(np.int64)
    if how == "mean":
        filled = np.bincount(run, minlength=n_runs) > 0
        mean = np.bincount(run, weights=values * lineage.paths["share"].to_numpy(np.float64), minlength=n_runs)
        return np.where(filled, mean, np.nan)
    largest = np.full(n_runs, -np.inf)
    np.maximum.at(largest, run, np.where(np.isnan(values), np.inf, values))
    return np.where(np.isinf(largest), np.nan, largest)


def _mean_where_done(lineage: Lineage, values: Floats, n_runs: int) -> Floats:
    run, share = lineage.paths["run"].to_numpy(np.int64), lineage.paths["share"].to_numpy(np.float64)
    done = ~np.isinf(values)
    total = np.bincount(run[done], weights=(values * share)[done], minlength=n_runs)
    part = np.bincount(run[done], weights=share[done], minlength=n_runs)
    return np.where(part > 0, total / np.where(part > 0, part, 1.0), np.nan)
