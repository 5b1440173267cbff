"""Which runs are of one batch, how far do batches and runs of one batch lie apart, and which patterns do batches make?

The runs of one batch resemble each other. A moving range between two of them is too small, and nine of them on a side
are soon full: six cans of one run are not six batches, and neither are three runs of one. So the batch is the unit: the
spread of batch means comes from their moving ranges, that of runs within a batch from the runs themselves, and a single
run is held against both together. Patterns of several points count batches, by their means; each is marked at the last
run of the batch that completes it. One point beyond a limit is still one run.

Source: Montgomery 2009, "Introduction to Statistical Quality Control", 6th ed., 6.3 (moving ranges of subgroup means
where subgroups differ among themselves); Roes and Does 1995, "Shewhart-type charts in nonstandard situations",
Technometrics 37, and Woodall and Thomas 1995, "Statistical process control with several components of common cause
variability", IIE Trans. 27, for two parts of the spread that are both usual (all three from memory); Searle, Casella
and McCulloch 1992, "Variance Components", 3.6, for the parts of the variance in one-way data of unequal sizes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray
from analysis.charts.run_rules import LIMIT_ONLY, RULES, RuleSignals, Signals, checked_rules, run_signals

__all__ = ["Batches", "OfBatches", "Parts", "as_batches", "batch_means", "batch_signals", "parts_within"]

NOT_NAMED = -1


@dataclass(frozen=True, eq=False)
class Batches:
    """The batches of a series, in the order of their last runs; a batch that lies in two phases is one in each.

    ``of_run`` is the batch of each run, shape (n,), from 0; ``first`` and ``last`` are each batch's first and last run
    and ``phase`` the phase that it lies in, shape (k,).
    """

    of_run: IntArray
    first: IntArray
    last: IntArray
    phase: IntArray

    @property
    def k(self) -> int:
        """The number of batches."""
        return self.first.size


@dataclass(frozen=True, eq=False)
class Parts:
    """The two parts of the spread, on the chart's scale, of the last phase.

    ``between`` is the standard deviation of batches and ``within`` that of the runs of one batch about it.
    """

    between: float
    within: float

    @property
    def share_between(self) -> float:
        """The share of the variance of single runs that lies between batches."""
        total = self.between**2 + self.within**2
        return self.between**2 / total if total > 0 else float("nan")


@dataclass(frozen=True, eq=False)
class OfBatches:
    """What a chart of runs knows of its batches: ``z`` of each batch's mean in its own ``sigma``, shape (k,)."""

    batches: Batches
    z: FloatArray
    sigma: FloatArray
    parts: Parts


def as_batches(batches: ArrayLike | None, n: int, phase: IntArray) -> Batches | None:
    """Return the batches of a series, or None where no batch has two runs in a phase.

    Parameters
    ----------
    batches : array of int, shape (n,), or None
        The number of each run's batch; -1 where that is not known, and the run is then a batch of its own.
    n : int
    phase : array of int, shape (n,)

    Raises
    ------
    ValueError
        If ``batches`` has another shape.
    """
    if batches is None:
        return None
    named = np.asarray(batches, dtype=np.int64)
    if named.shape != (n,):
        raise ValueError(f"batches must be {n} numbers, got shape {named.shape}")
    alone = np.flatnonzero(named < 0)
    own = named.copy()
    own[alone] = named.max(initial=0) + 1 + np.arange(alone.size)
    apart = own + (own.max(initial=0) + 1) * phase
    _, code = np.unique(apart, return_inverse=True)
    k = int(code.max(initial=-1)) + 1
    if k == n:
        return None
    last = np.zeros(k, dtype=np.int64)
    np.maximum.at(last, code, np.arange(n))
    order = np.argsort(last)
    place = np.empty(k, dtype=np.int64)
    place[order] = np.arange(k)
    of_run = place[code]
    first = np.full(k, n, dtype=np.int64)
    np.minimum.at(first, of_run, np.arange(n))
    return Batches(of_run, first, last[order], phase[last[order]])


def batch_means(charted: FloatArray, used: BoolArray, batches: Batches) -> tuple[FloatArray, IntArray]:
    """Return the mean of each batch's used runs, NaN where it has none, and how many those are; both of shape (k,)."""
    counted = used & ~np.isnan(charted)
    own = batches.of_run[counted]
    size = np.bincount(own, minlength=batches.k)
    with np.errstate(invalid="ignore", divide="ignore"):
        means: FloatArray = np.bincount(own, charted[counted], minlength=batches.k) / size
    return means, size


def parts_within(charted: FloatArray, used: BoolArray, batches: Batches) -> tuple[float, int]:
    """Return the sum of squares of the used runs about their batches' means, and its degrees of freedom."""
    means, size = batch_means(charted, used, batches)
    counted = used & ~np.isnan(charted)
    off = charted[counted] - means[batches.of_run[counted]]
    return float(off @ off), int((size[size > 0] - 1).sum())


def batch_signals(
    z: FloatArray,
    found: FloatArray,
    batches: Batches,
    rules: Iterable[str],
    *,
    phases: IntArray,
    above: BoolArray,
    below: BoolArray,
) -> Signals:
    """Return the patterns of a series: one point beyond a limit run by run, all others batch by batch.

    Parameters
    ----------
    z : array, shape (n,)
        Distance of each run from its centre in sigmas of a single run.
    found : array, shape (k,)
        Distance of each batch's mean from the centre in that mean's own sigmas.
    batches : Batches
    rules, phases, above, below
        As for ``run_signals``; ``phases``, ``above`` and ``below`` are those of the runs.

    Raises
    ------
    ValueError
        If a rule is not one of ``RULES``.
    """
    chosen = checked_rules(rules)
    alone = run_signals(z, [r for r in chosen if r in LIMIT_ONLY], phases=phases, above=above, below=below)
    together = run_signals(found, [rule for rule in chosen if rule not in LIMIT_ONLY], phases=batches.phase)
    return Signals(
        z.size, tuple(alone.of(r) if RULES[r].points == 1 else _at_runs(together.of(r), batches) for r in chosen)
    )


def _at_runs(found: RuleSignals, batches: Batches) -> RuleSignals:
    """Return a rule's patterns of batches as patterns of runs: from the first run to the last."""
    return RuleSignals(found.rule, batches.last[found.at], batches.first[found.start], found.side)
