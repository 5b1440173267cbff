"""How large is a rise of oxygen, for all batches and for each recipe, tank, line and format?

Batches are what is counted: several readings or runs of one batch are its mean. A rise from or to a reading below the
meter's limit is known to lie between two ends and enters as that, as neither the limit nor half of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from analysis.estimate import Estimate
from analysis.models import CannotFitError, censored_mixed

__all__ = ["FEWEST_BATCHES", "GroupRise", "batches_of", "fitted", "group_rises", "rise"]

FEWEST_BATCHES = 3
_UNIT = "µg/L"


@dataclass(frozen=True)
class GroupRise:
    """The rise in one group: ``value`` of ``by`` (recipe, tank, line or format)."""

    by: str
    value: str
    batches: int
    rise: Estimate


def rise(rises: pd.DataFrame) -> Estimate | None:
    """Return the mean rise over batches with its 95 % interval [µg/L]; None below ``FEWEST_BATCHES``.

    Parameters
    ----------
    rises : DataFrame
        ``batch``, ``low`` and ``upper`` as ``OxygenSteps.rises`` has them.
    """
    by_batch = batches_of(rises)
    n = len(by_batch)
    if n < FEWEST_BATCHES:
        return None
    if by_batch["upper"].isna().all():
        return _mean(by_batch["low"].to_numpy(dtype=float))
    return fitted(by_batch, "low ~ 1", "Intercept", n - 1)


def group_rises(rises: pd.DataFrame, by: Sequence[str]) -> tuple[GroupRise, ...]:
    """Return the rise in each group of each of these columns, largest first within a column."""
    found = []
    for column in by:
        told = [(str(value), own) for value, own in rises.groupby(column, observed=True)]
        made = [GroupRise(column, value, own["batch"].nunique(), r) for value, own in told if (r := rise(own))]
        found += sorted(made, key=lambda group: -group.rise.value) if len(made) > 1 else []
    return tuple(found)


def batches_of(rises: pd.DataFrame, beside: Sequence[str] = ()) -> pd.DataFrame:
    """Return a row a batch: the mean ends of its rises, ``upper`` NaN where exact, and the first of other columns."""
    ends = rises.assign(upper=rises["upper"].fillna(rises["low"]))
    kept = {"low": ("low", "mean"), "upper": ("upper", "mean"), **{name: (name, "first") for name in beside}}
    batches = ends.groupby("batch").agg(**kept)
    exact = np.isclose(batches["low"], batches["upper"])
    return pd.DataFrame(batches.assign(upper=batches["upper"].mask(exact))).reset_index()


def _mean(found: np.ndarray) -> Estimate:
    middle, error = float(found.mean()), float(found.std(ddof=1)) / math.sqrt(found.size)
    reach = float(stdtrit(found.size - 1, 0.975)) * error
    return Estimate(middle, middle - reach, middle + reach, _UNIT, error, found.size - 1)


def fitted(frame: pd.DataFrame, formula: str, column: str, freedom: int) -> Estimate | None:
    """Return a coefficient of the censored model; None where the batches cannot carry it."""
    if frame["low"].nunique() < FEWEST_BATCHES:
        return None
    try:
        told = censored_mixed(formula, frame, upper="upper").contrast(column, df=float(freedom))
    except CannotFitError:
        return None
    if not (math.isfinite(told.standard_error) and told.low <= told.high):
        return None
    return Estimate(told.value, told.low, told.high, _UNIT, told.standard_error, float(freedom))
