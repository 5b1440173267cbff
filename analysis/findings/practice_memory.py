"""Do batches that follow each other resemble each other, so that fewer of them count?

A smooth in time takes a slow drift away; malt, yeast and season leave neighbouring batches alike even so. Where a
practice too keeps its value from batch to batch, chance moves both together, and the plain interval is too narrow: with
a correlation of 0.6 from one batch to the next in both, a page without effects told of one 17 times in 100. With
correlations a and b of neighbours, n batches count as n (1 − ab) / (1 + ab).

Source: Bartlett 1935, J. R. Statist. Soc. 98, 536–543; in this form Dawdy & Matalas 1964 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_slope import Slope
from analysis.findings.wording import amount
from analysis.models import FittedRows, MixedFit, fitted_rows
from analysis.models.threads import one_thread

__all__ = ["Memory", "memory_of", "widened"]

WORTH_SAYING = 1.1
# With more batches than that, what a fit takes up of their likeness is too little to allow for.
MOST_BATCHES = 1_000
TRIED = np.linspace(0.0, 0.9, 10)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Memory:
    """``batches`` is the correlation of what is left of a batch with the one packed next; ``factors`` by column what a
    standard error is multiplied by, 1 or more."""

    batches: float = 0.0
    factors: Mapping[str, float] = field(default_factory=dict)

    def sentence(self, column: str) -> str:
        """What a brewer must know of one practice; empty where its interval is hardly wider."""
        factor = self.factors.get(column, 1.0)
        if factor < WORTH_SAYING:
            return ""
        return (
            "batches that follow each other resemble each other, and in this practice too: its interval is "
            f"{amount(100 * (factor - 1), '%', digits=2)} wider for that"
        )


@one_thread()
def memory_of(fit: MixedFit, frame: pd.DataFrame | FittedRows) -> Memory:
    """Measure how alike neighbouring batches are in what the model leaves of them, and in each fixed column.

    Parameters
    ----------
    fit : MixedFit
        The joint model.
    frame : DataFrame or FittedRows
        The rows that it was fitted to, with ``batch`` and ``day``.
    """
    left, X = _in_order(fit, frame if isinstance(frame, FittedRows) else fitted_rows(fit, frame))
    count, columns = X.shape
    if count < columns + 2:
        return Memory()
    scale = np.sqrt((X**2).mean(axis=0))
    inverse = np.linalg.pinv((X / scale).T @ (X / scale), hermitian=True)
    own = (X / scale) @ inverse  # each column less what the others make of it, but for its length
    seen, shrunk = _neighbours(left), 1.0
    batches = min(max(seen, 0.0), float(TRIED[-1]))
    if count <= MOST_BATCHES:
        by_lag, crossed = _left_by_lag(np.eye(count) - own @ (X / scale).T)
        batches = _memory(seen, by_lag, crossed)
        shrunk = float(by_lag @ batches ** np.arange(count)) / float(by_lag[0])
    if batches <= 0:
        return Memory()
    powers = np.asarray(batches ** np.arange(count), dtype=np.float64)
    factors = {name: _factor(own[:, k], powers, shrunk) for k, name in enumerate(fit.names)}
    return Memory(batches, factors)


def widened(slopes: Mapping[str, Slope], memory: Memory) -> dict[str, Slope]:
    """Return the slopes with the batches that count: wider, and with fewer degrees of freedom."""
    found = {}
    for column, slope in slopes.items():
        factor = memory.factors.get(column, 1.0)
        df = max(slope.df / factor**2, 1.0)
        found[column] = Slope(slope.estimate, slope.standard_error * factor, df) if factor > 1 else slope
    return found


def _in_order(fit: MixedFit, read: FittedRows) -> tuple[Floats, Floats]:
    """What the fixed part leaves of each batch (B,), and the batches' fixed columns (B, p), as they were packed."""
    rows = read.rows
    dense = rows.dense[:, [fit.sums.names.index(name) for name in fit.names]]
    used = read.frame.loc[rows.kept]
    codes, _ = pd.factorize(used["batch"])
    counts = np.bincount(codes).astype(np.float64)
    order = np.argsort(np.bincount(codes, used["day"].to_numpy(np.float64)) / counts, kind="stable")
    X = np.column_stack([np.bincount(codes, column) / counts for column in dense.T])[order]
    y = (np.bincount(codes, rows.dense[:, -1]) / counts)[order]
    scale = np.sqrt((X**2).mean(axis=0))
    return y - (X / scale) @ np.linalg.lstsq(X / scale, y, rcond=None)[0], X


def _left_by_lag(maker: Floats) -> tuple[Floats, Floats]:
    """By lag, the sums of M and of MSM, S half a shift to either side."""
    shifted = np.zeros_like(maker)
    shifted[:, 1:] = 0.5 * maker[:, :-1]
    shifted[:, :-1] += 0.5 * maker[:, 1:]
    return _by_lag(maker), _by_lag(shifted @ maker)


def _by_lag(square: Floats) -> Floats:
    """The sums of a square's diagonals, both sides of each lag together (B,)."""
    count = len(square)
    return np.array([np.trace(square, k) + (np.trace(square, -k) if k else 0.0) for k in range(count)])


def _neighbours(left: Floats) -> float:
    total = float(left @ left)
    return float(left[1:] @ left[:-1]) / total if total > 0 else 0.0


def _memory(seen: float, by_lag: Floats, crossed: Floats) -> float:
    """The correlation of neighbours at which what is left after fitting would show the one that was seen."""
    powers = TRIED[:, None] ** np.arange(len(by_lag))
    expected = (powers @ crossed) / (powers @ by_lag)
    return float(np.interp(seen, np.maximum.accumulate(expected), TRIED, left=0.0))


def _factor(own: Floats, powers: Floats, shrunk: float) -> float:
    """√ of the variance of a slope among such batches over what it is taken for."""
    around = np.correlate(own, own, "full")[len(own) - 1 :]
    around[1:] *= 2.0
    return math.sqrt(max(float(around @ powers) / float(around[0]) / shrunk, 1.0))
