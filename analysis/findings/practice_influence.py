"""Does a verdict rest on one batch?

Each batch is left out in turn, at the variances that the page's model has found, and the practice is judged again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.practice_single import without_each_row
from analysis.models import MixedFit
from analysis.models.added_columns import without_each_level
from analysis.verdicts import Judgement, MarginAtLevel, Verdict

__all__ = ["RestsOn", "rests_on_one_batch"]

FAMILY_RATE = 0.05

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class RestsOn:
    """The batch without which a verdict would not stand, and the effect of one step without it [model's scale]."""

    batch: str
    estimate: float
    standard_error: float

    @property
    def sentence(self) -> str:
        """What a brewer must know."""
        return f"rests on batch {self.batch}: without it this could not be told"


def rests_on_one_batch(
    fit: MixedFit, frame: pd.DataFrame, judged: Mapping[str, Judgement], margins: Mapping[str, MarginAtLevel]
) -> dict[str, RestsOn]:
    """Return, by column, the batch on which each settled verdict rests, where it rests on one.

    A verdict stands as long as its test passes at the level that it passed in its family: the share of the family
    that passed, times 5 %.

    Parameters
    ----------
    fit : MixedFit
        The joint model, with ``batch`` among its groups unless every batch has a single row.
    frame : DataFrame
        The rows that it was fitted to.
    judged : mapping of column to Judgement
    margins : mapping of column to MarginAtLevel
    """
    settled = {c: j for c, j in judged.items() if c in fit.names and j.verdict is not Verdict.CANNOT_TELL_YET}
    if not settled:
        return {}
    batches, coefficients, standard_errors = _without_each(fit, frame)
    asked = max(len(judged), 1)
    shifted = FAMILY_RATE * sum(j.q <= FAMILY_RATE for j in judged.values()) / asked
    small = FAMILY_RATE * sum(j.q_equivalent <= FAMILY_RATE for j in judged.values()) / asked
    found = {}
    for column, judgement in settled.items():
        k = fit.names.index(column)
        values, errors = coefficients[:, k], _wider(standard_errors[:, k], judgement, fit, k)
        is_small = judgement.verdict is Verdict.NO_PRACTICAL_DIFFERENCE
        p = (
            _p_small(values, errors, judgement, margins.get(column))
            if is_small
            else _p_shifted(values, errors, judgement)
        )
        falls = np.isnan(p) | (p > (small if is_small else shifted))
        if falls.any():
            worst = int(np.argmax(np.where(np.isnan(p), np.inf, p)))
            found[column] = RestsOn(batches[worst], float(values[worst]), float(errors[worst]))
    return found


def _without_each(fit: MixedFit, frame: pd.DataFrame) -> tuple[list[str], Floats, Floats]:
    """Return the batches, and the coefficients and standard errors without each."""
    at = next((k for k, f in enumerate(fit.sums.design.factors) if f.name == "batch"), None)
    if at is None:
        return [str(batch) for batch in frame["batch"]], *without_each_row(fit, frame)
    without = without_each_level(fit, "batch")
    return [str(label) for label in fit.sums.labels[at]], without.coefficients, without.standard_errors


def _wider(errors: Floats, judgement: Judgement, fit: MixedFit, k: int) -> Floats:
    """Standard errors with the small-sample allowance of the full fit's."""
    return np.asarray(errors * judgement.effect.standard_error / fit.standard_errors[k])


def _p_shifted(values: Floats, errors: Floats, judgement: Judgement) -> Floats:
    same_side = values * judgement.effect.estimate > 0
    p = 2.0 * stats.t.sf(np.abs(values) / errors, max(judgement.effect.df - 1.0, 1.0))
    return np.where(same_side | np.isnan(p), p, 1.0)


def _p_small(values: Floats, errors: Floats, judgement: Judgement, margin: MarginAtLevel | None) -> Floats:
    if margin is None:
        return np.full_like(values, np.nan)
    df = max(judgement.effect.df - 1.0, 1.0)
    low, high = margin.inside
    above = stats.t.cdf((values - high) / errors, df)
    below = stats.t.sf((values - low) / errors, df) if np.isfinite(low) else 0.0
    return np.asarray(np.maximum(above, below))
