"""Do batches that follow each other resemble each other, so that fewer of them count?

A smooth in time takes a slow drift away; malt, yeast and season leave neighbouring batches alike even so. Where a
practice too keeps its value from batch to batch, chance moves both together, and the plain interval is too narrow: with
a correlation of 0.6 from one batch to the next in both, a page without effects told of one 17 times in 100. With
correlations a and b of neighbours, n batches count as n (1 − ab) / (1 + ab).

That correlation is itself estimated: it and the spread of batches come from two quadratic forms in what the model
leaves of them, and an interval has the degrees of freedom that match the variance which both give its squared standard
error. Without them, and with 60 batches, practices without an effect fell below 5 % 6.1 times in 100.

Sources: Bartlett 1935, J. R. Statist. Soc. 98, 536–543; in this form Dawdy & Matalas 1964 (from memory). Degrees of
freedom: Satterthwaite 1946, Biometrics Bulletin 2, 110–114. What fitting takes up of a correlation, which a short
series shows too low: Marriott & Pope 1954, Biometrika 41, 390–402; here by the expectations of the two forms.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.signal import lfilter

from analysis.findings.practice_slope import Slope
from analysis.findings.wording import amount
from analysis.models import FittedRows, MixedFit, fitted_rows
from analysis.models.threads import one_thread

__all__ = ["Memory", "memory_of", "widened"]

WORTH_SAYING = 1.1
# With more batches than that, what a fit takes up of their likeness is too little to allow for.
MOST_BATCHES = 1_000
TRIED = np.linspace(0.0, 0.9, 10)
# So far to either side the rise of a curve in the correlation is measured.
NEAR = 0.01
# In a short series of batches very much alike the moments no longer match; a t distribution of fewer tells nothing.
FEWEST_DF = 4.0
# Columns that the others make leave next to no length of their own.
SAME = 1e-8

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Memory:
    """``batches`` is the correlation of what is left of a batch with the one packed next; ``factors`` by column what a
    standard error is multiplied by, 1 or more, and ``df`` the degrees of freedom that it has at most."""

    batches: float = 0.0
    factors: Mapping[str, float] = field(default_factory=dict)
    df: Mapping[str, float] = field(default_factory=dict)

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
    basis, lengths, turns = np.linalg.svd(X / np.sqrt((X**2).mean(axis=0)), full_matrices=False)
    kept = lengths > SAME * lengths[0]
    basis = basis[:, kept]
    own = basis @ (turns[kept] / lengths[kept, None])  # each column less what the others make of it, but for its length
    around = {name: _around(own[:, k]) for k, name in enumerate(fit.names)}
    seen = _neighbours(left)
    if count > MOST_BATCHES:
        batches = min(max(seen, 0.0), float(TRIED[-1]))
        return _as_seen(batches, around)
    forms = _forms(basis)
    batches = forms.memory(seen)
    if batches <= 0:
        return Memory()
    factors = {name: math.sqrt(max(forms.factor(each, batches), 1.0)) for name, each in around.items()}
    told = _spread_of_forms(basis, batches)
    df = {name: _degrees(forms, told, each, batches) for name, each in around.items() if factors[name] > 1.0}
    return Memory(batches, factors, df)


def widened(slopes: Mapping[str, Slope], memory: Memory) -> dict[str, Slope]:
    """Return the slopes with the batches that count: wider, and with fewer degrees of freedom."""
    found = {}
    for column, slope in slopes.items():
        factor = memory.factors.get(column, 1.0)
        df = max(min(slope.df, memory.df.get(column, slope.df / factor**2)), 1.0)
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


def _neighbours(left: Floats) -> float:
    total = float(left @ left)
    return float(left[1:] @ left[:-1]) / total if total > 0 else 0.0


def _around(own: Floats) -> Floats:
    """The sums of products of a series with itself, both sides of each lag together (B,)."""
    around = np.correlate(own, own, "full")[len(own) - 1 :]
    around[1:] *= 2.0
    return np.asarray(around, dtype=np.float64)


def _as_seen(batches: float, around: Mapping[str, Floats]) -> Memory:
    """Of very many batches, where a fit takes up next to nothing."""
    if batches <= 0:
        return Memory()
    told = {name: float(each @ _powers(batches, len(each))) / float(each[0]) for name, each in around.items()}
    return Memory(batches, {name: math.sqrt(max(square, 1.0)) for name, square in told.items()})


def _powers(memory: float, count: int) -> Floats:
    return np.asarray(memory ** np.arange(count), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Forms:
    """Of y'My and y'MSMy, M what a fit leaves and S half a shift to either side, the sums by lag (B,): with the powers
    of a correlation they give what both are expected to be, in units of the variance of batches."""

    left: Floats
    shifted: Floats

    def expected(self, memory: float) -> float:
        """The correlation that neighbours show after fitting."""
        powers = _powers(memory, len(self.left))
        return float(powers @ self.shifted) / float(powers @ self.left)

    def memory(self, seen: float) -> float:
        """The correlation of neighbours at which what is left after fitting would show the one that was seen."""
        shown = np.maximum.accumulate([self.expected(memory) for memory in TRIED])
        return float(np.interp(seen, shown, TRIED, left=0.0))

    def factor(self, around: Floats, memory: float) -> float:
        """The variance of a slope among such batches over what it is taken for."""
        powers = _powers(memory, len(around))
        taken = float(self.left @ powers) / float(self.left[0])
        return float(around @ powers) / float(around[0]) / taken


def _forms(basis: Floats) -> _Forms:
    """Return the sums by lag for the columns that an orthonormal ``basis`` (B, p) spans."""
    half = _half_shift(basis)
    crossed = -basis @ half.T
    shifted = _half_shift(np.eye(len(basis))) + crossed + crossed.T + basis @ (basis.T @ half) @ basis.T
    return _Forms(_by_lag(np.eye(len(basis)) - basis @ basis.T), _by_lag(shifted))


def _spread_of_forms(basis: Floats, memory: float) -> tuple[float, float, Floats]:
    """Return the expectations of y'My and y'MSMy and their covariance (2, 2), for normal batches of variance 1."""
    count = len(basis)
    around = basis.T  # R of the basis, by two passes along the batches
    forth = lfilter([1.0], [1.0, -memory], around, axis=1).T
    back = lfilter([1.0], [1.0, -memory], around[:, ::-1], axis=1)[:, ::-1].T
    turned = forth + back - basis
    crossed = -basis @ turned.T
    alike = _powers(memory, count)[np.abs(np.subtract.outer(np.arange(count), np.arange(count)))]
    left = alike + crossed + crossed.T + basis @ (basis.T @ turned) @ basis.T  # M R M
    moved = _half_shift(left)
    both = 2.0 * float(np.sum(moved * left))
    spread = np.array([[2.0 * float(np.sum(left**2)), both], [both, 2.0 * float(np.sum(moved * moved.T))]])
    return float(np.trace(left)), float(np.trace(moved)), spread


def _degrees(forms: _Forms, told: tuple[float, float, Floats], around: Floats, memory: float) -> float:
    """Return 2 over the variance of the log of a slope's squared standard error, of both forms by the delta method."""
    total, neighbours, spread = told
    low, high = max(memory - NEAR, 0.0), min(memory + NEAR, float(TRIED[-1]))
    shown = forms.expected(high) - forms.expected(low)
    moved = math.log(forms.factor(around, high)) - math.log(forms.factor(around, low))
    by_shown = moved / shown if shown > 0 else 0.0
    by_forms = np.array([1.0 - by_shown * neighbours / total, by_shown]) / total
    return max(2.0 / float(by_forms @ spread @ by_forms), FEWEST_DF)


def _half_shift(square: Floats) -> Floats:
    """Half of each row's upper and of its lower neighbour."""
    moved = np.zeros_like(square)
    moved[1:] = 0.5 * square[:-1]
    moved[:-1] += 0.5 * square[1:]
    return moved


def _by_lag(square: Floats) -> Floats:
    """The sums of a square's diagonals, both sides of each lag together (B,)."""
    count = len(square)
    return np.array([np.trace(square, k) + (np.trace(square, -k) if k else 0.0) for k in range(count)])
