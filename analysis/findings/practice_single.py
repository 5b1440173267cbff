"""What would one column more say, or one batch less, where every batch has a single reading?

A single reading a batch cannot tell the spread between batches from that between packs, and need not: packs are then
counted as batches, by plain regression. A spread between tanks is left out of these two side questions.

Source: Cook & Weisberg 1982, Residuals and Influence in Regression, sections 2.2 and 3.4.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.models import MixedFit

__all__ = ["added_to_rows", "without_each_row"]

Floats = npt.NDArray[np.float64]
_LEFT = 1e-8


def added_to_rows(fit: MixedFit, frame: pd.DataFrame, values: Floats) -> tuple[Floats, float]:
    """Return the t of each column of ``values`` (n, m) when it alone is added, and the degrees of freedom; NaN where
    the model's own columns make it."""
    X, y = _rows(fit, frame)
    basis, _ = np.linalg.qr(X)
    own, left = values - basis @ (basis.T @ values), y - basis @ (basis.T @ y)
    spread = np.einsum("nm,nm->m", own, own)
    told = spread > _LEFT * np.maximum(np.einsum("nm,nm->m", values, values), 1e-300)
    slope = np.where(told, own.T @ left / np.where(told, spread, 1.0), np.nan)
    df = float(len(y) - X.shape[1] - 1)
    remaining = np.maximum(left @ left - slope**2 * spread, 0.0) / max(df, 1.0)
    error = np.sqrt(remaining / np.where(told, spread, np.nan))
    return np.where(error > 0, slope / np.where(error > 0, error, 1.0), np.nan), df


def without_each_row(fit: MixedFit, frame: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return the coefficients (n, p) and standard errors (n, p) without each row; NaN where they cannot be told."""
    X, y = _rows(fit, frame)
    inverse = np.linalg.pinv(X.T @ X, hermitian=True)
    beta = inverse @ X.T @ y
    left, leverage = y - X @ beta, np.einsum("np,pq,nq->n", X, inverse, X)
    kept = np.where(leverage < 1 - 1e-9, 1 - leverage, np.nan)
    turned = X @ inverse
    coefficients = beta - turned * (left / kept)[:, None]
    remaining = np.maximum(left @ left - left**2 / kept, 0.0) / max(len(y) - X.shape[1] - 1, 1)
    spread = np.diagonal(inverse) + turned**2 / kept[:, None]
    return coefficients, np.sqrt(remaining[:, None] * spread)


def _rows(fit: MixedFit, frame: pd.DataFrame) -> tuple[Floats, Floats]:
    rows = fit.sums.design.rows(frame)
    return rows.dense[:, [fit.sums.names.index(name) for name in fit.names]], rows.dense[:, -1]
