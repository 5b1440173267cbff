"""Are the residuals what the model takes them for, and should the measure be read on a log scale?

Normality by the correlation of the ordered residuals with normal scores (Shapiro & Francia 1972, J. Am. Stat. Assoc.
67, 215–216; p by Royston 1993, Statistics and Computing 3, 117–119, its constants from memory); spread against level by
the rank correlation of both; log or linear by both likelihoods (Box & Cox 1964, J. R. Statist. Soc. B 26, 211–252).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import special

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.fitted_rows import fit_read, read_rows
from analysis.models.formula import parse_formula

__all__ = ["NormalityCheck", "ScaleChoice", "SpreadCheck", "choose_scale", "normality", "spread_against_level"]

_FEWEST = 8
_DECIDING = 4.0  # difference of two deviances below which neither scale is preferred: about 1 in 20 by chance


@dataclass(frozen=True)
class NormalityCheck:
    """``correlation`` W' with normal scores, its p, and the shape: skewness and excess kurtosis."""

    count: int
    correlation: float
    p: float
    skewness: float
    kurtosis: float


@dataclass(frozen=True)
class SpreadCheck:
    """How the spread grows with the level: ``rank_correlation`` of |residual| and fitted value, its p."""

    rank_correlation: float
    p: float


@dataclass(frozen=True)
class ScaleChoice:
    """``scale`` is the likelier one, ``gain`` by how much its deviance is lower, ``reason`` a sentence."""

    scale: Literal["log", "linear"]
    gain: float
    reason: str


def normality(residuals: Floats) -> NormalityCheck:
    """Check residuals (n,) for normality.

    Raises
    ------
    CannotFitError
        If there are fewer than 8, or all are alike.
    """
    ordered = np.sort(np.asarray(residuals, dtype=np.float64))
    count = len(ordered)
    if count < _FEWEST or ordered[0] == ordered[-1]:
        raise CannotFitError(f"normality wants at least {_FEWEST} residuals that differ, got {count}")
    scores = special.ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25))
    correlation = float(np.corrcoef(ordered, scores)[0, 1] ** 2)
    u = np.log(np.log(count)) - np.log(count)
    v = np.log(np.log(count)) + 2.0 / np.log(count)
    z = (np.log(1.0 - correlation) - (-1.2725 + 1.0521 * u)) / (1.0308 - 0.26758 * v)
    second, third, fourth = (float(np.mean((ordered - ordered.mean()) ** k)) for k in (2, 3, 4))
    skewness, excess = third / second**1.5, fourth / second**2 - 3.0
    return NormalityCheck(count, correlation, float(special.ndtr(-z)), skewness, excess)


def spread_against_level(residuals: Floats, fitted: Floats) -> SpreadCheck:
    """Check whether the residuals (n,) spread more where the fitted values (n,) are higher."""
    if len(residuals) != len(fitted) or len(residuals) < _FEWEST:
        raise CannotFitError(f"spread against level wants at least {_FEWEST} pairs, got {len(residuals)}")
    sizes, levels = (pd.Series(values).rank().to_numpy() for values in (np.abs(residuals), fitted))
    if np.ptp(sizes) == 0 or np.ptp(levels) == 0:
        return SpreadCheck(float("nan"), float("nan"))
    df = len(sizes) - 2
    correlation = float(np.clip(np.corrcoef(sizes, levels)[0, 1], -1.0, 1.0))
    left = (1.0 - correlation) * (1.0 + correlation)
    t = correlation * np.sqrt(df / left) if left > 0 else np.inf
    return SpreadCheck(correlation, float(2.0 * special.stdtr(df, -abs(t))))


def choose_scale(formula: str, frame: pd.DataFrame, default: Literal["log", "linear"] = "log") -> ScaleChoice:
    """Compare the model of the response as it is with that of its log, by maximum likelihood.

    The log's deviance gets the Jacobian 2 Σ log y, so that both are likelihoods of the same rows. Where they differ by
    less than 4, ``default`` stands.

    Parameters
    ----------
    formula : str
        The model with the response as it is.
    """
    response = parse_formula(formula).response
    if response not in frame.columns:
        raise ValueError(f"choose_scale: formula must have a column as its response, got {response!r}")
    values = frame[response].dropna()
    if (values <= 0).any():
        return ScaleChoice(
            "linear", float("inf"), f"{int((values <= 0).sum())} values are not above 0 and have no log."
        )
    read = read_rows(formula, frame)
    logs = np.log(read.rows.dense[:, -1])
    plain, logged = fit_read(read, method="ML"), fit_read(read.with_response(logs), method="ML")
    jacobian = 2.0 * float(logs.sum())
    gain = plain.deviance - (logged.deviance + jacobian)
    if abs(gain) < _DECIDING:
        return ScaleChoice(default, gain if default == "log" else -gain, "Both scales fit alike.")
    if gain > 0:
        return ScaleChoice("log", gain, f"The log scale fits better by {gain:.1f} of deviance.")
    return ScaleChoice("linear", -gain, f"The plain scale fits better by {-gain:.1f} of deviance.")
