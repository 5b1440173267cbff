"""Which runs of a series are of one batch, and what does its chart make of that?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import RULES, Batches, Chart, as_batches
from analysis.findings.wording import amount, count, percent_of_ratio
from analysis.records.occasions import APART
from analysis.vocabulary import Scale

__all__ = ["SEVERAL_RUNS", "SeveralRuns", "batch_numbers", "batches_of", "counted_in", "pattern_says", "several_runs"]

SEVERAL_RUNS = (
    "Where a batch is packaged in several runs, these may resemble each other: limits are made from batches and from "
    "the runs within them, and a pattern of several points counts batches."
)

LONGEST_PACKAGING_DAYS = int(APART / np.timedelta64(1, "D"))
"""Runs of one batch number that lie further apart than this are taken for two batches whose number came round again, as
on record: a tank is empty within weeks."""

_PLAINLY_ALIKE = 0.2


@dataclass(frozen=True)
class SeveralRuns:
    """What a chart knows of its batches, where one has several runs.

    ``batch`` is the batch of each point, from 0 in the order of their last runs, and ``sigma`` that of the mean of the
    point's batch. ``between`` and ``within`` are the standard deviations of batches and of the runs of one batch, of
    the last phase, all on the series' scale; ``within`` is NaN where runs beyond a meter's range hide it.
    """

    batch: tuple[int, ...]
    sigma: tuple[float, ...]
    between: float
    within: float

    @property
    def most(self) -> int:
        """The most runs that a batch has."""
        return int(np.bincount(self.batch).max())

    def cut(self, left: int, right: int) -> SeveralRuns:
        """Return what is known of the points from ``left`` up to ``right``."""
        return replace(self, batch=self.batch[left:right], sigma=self.sigma[left:right])

    def begins(self, at: int, length: int) -> int:
        """Return the point at which a pattern of so many batches begins that is complete at a point."""
        return at if length == 1 else self.batch.index(max(self.batch[at] - length + 1, min(self.batch)))

    def in_words(self, scale: Scale, unit: str) -> str:
        """Return which spread the limits are made from and why, and what patterns count.

        Parameters
        ----------
        scale : {"log", "linear"}
        unit : str
            The unit of the points.
        """
        plain = self.between**2 >= _PLAINLY_ALIKE * (self.between**2 + self.within**2)
        why = (
            f"Here a batch is packaged in up to {count(self.most, 'run')}, and the runs of one batch "
            f"{'' if plain else 'may '}resemble each other"
        )
        often = " Counted run by run, false alarms would come far more often." if plain else ""
        counts = (
            "A pattern of several points counts batches, each by the mean of its runs, and is marked at the last run "
            f"of the batch that completes it.{often}"
        )
        if math.isnan(self.within):
            return f"{why}. {counts}"
        between, within, both = (
            _told(sigma, scale, unit) for sigma in (self.between, self.within, math.hypot(self.between, self.within))
        )
        return (
            f"{why}. So a limit stands three spreads (standard deviations) from the centre, and that spread, {both}, "
            f"takes the one from batch to batch ({between}) and the one between the runs of a batch ({within}) "
            f"together. {counts}"
        )

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {
            "batches": len(set(self.batch)),
            "runs": len(self.batch),
            "between": self.between if math.isfinite(self.between) else None,
            "within": self.within if math.isfinite(self.within) else None,
        }


def _told(sigma: float, scale: Scale, unit: str) -> str:
    return amount(percent_of_ratio(sigma), "%", digits=2) if scale == "log" else amount(sigma, unit, digits=2)


def batch_numbers(runs: pd.DataFrame) -> npt.NDArray[np.int64] | None:
    """Return the number of each run's batch, -1 where it is not named; None where each run is a batch of its own.

    Parameters
    ----------
    runs : DataFrame
        ``batch``, ``at``, and ``recipe`` where there are several, in the order of ``at``. Without ``batch`` each run is
        its own.
    """
    if "batch" not in runs or runs["batch"].is_unique:
        return None
    code, _ = pd.factorize(runs["batch"])
    named = code >= 0
    if "recipe" in runs:
        recipe, names = pd.factorize(runs["recipe"], use_na_sentinel=False)
        code = np.where(named, code * len(names) + recipe, -1)
    order = np.lexsort((np.arange(len(runs)), code))
    days = runs["at"].to_numpy("datetime64[D]").astype(np.int64)[order]
    own = code[order]
    begins = np.concatenate([[True], (own[1:] != own[:-1]) | (np.diff(days) > LONGEST_PACKAGING_DAYS)])
    numbers = np.empty(len(runs), dtype=np.int64)
    numbers[order] = np.cumsum(begins)
    return np.where(named, numbers, -1)


def batches_of(numbers: npt.NDArray[np.int64] | None, n: int) -> Batches | None:
    """Return the batches of a series of n runs, phases aside; None where no batch has several."""
    return as_batches(numbers, n, np.zeros(n, dtype=np.int64))


def counted_in(batches: Batches | None, n: int) -> tuple[int, str, str]:
    """Return how many units n runs are, and the unit's name, one and many: batches where one has several runs."""
    return (n, "run", "runs") if batches is None else (batches.k, "batch", "batches")


def pattern_says(code: str, of_batches: bool) -> str:
    """Return what a rule says of a pattern, in words; of batches where the chart counts those."""
    says = RULES[code].says
    return says.replace(" points ", " batches ") if of_batches else says


def several_runs(chart: Chart | None) -> SeveralRuns | None:
    """Return what a chart knows of its batches, or None."""
    if chart is None or chart.of_batches is None:
        return None
    known = chart.of_batches
    of_run = known.batches.of_run
    return SeveralRuns(
        tuple(of_run.tolist()), tuple(known.sigma[of_run].tolist()), known.parts.between, known.parts.within
    )
