"""Did the level move when something was changed once, while things drift anyway?

A series in time whose neighbouring errors resemble each other is no sample: a t test of before against after finds a
change in 3 of 10 series where there is none. Here the errors are autoregressive of the first order, by restricted
maximum likelihood, with Kenward & Roger's adjustment. A group that was not changed, followed over the same time, takes
out what moved both.

Sources: Wagner, Soumerai, Zhang & Ross-Degnan 2002, J. Clin. Pharm. Ther. 27, 299–309 (interrupted series); Kenward &
Roger 1997, Biometrics 53, 983–997 (equations 2 to 5, here with the second derivatives of V).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from scipy.optimize import OptimizeResult, minimize_scalar

from analysis.models.arrays import Bools, CannotFitError, Floats, Ints
from analysis.models.contrasts import Contrast, interval_of
from analysis.models.system import independent_columns
from analysis.models.threads import one_thread

__all__ = ["SeriesFit", "compared", "interrupted"]

_WIDEST = 0.98
_FEWEST = 4  # points on each side


@dataclass(frozen=True)
class SeriesFit:
    """A series with autoregressive errors.

    ``step`` is the change of level; ``bend`` the change of slope [per run], where asked for. ``autocorrelation`` is
    that of neighbouring runs' errors, ``before`` and ``after`` the points on each side, ``left_out`` those that
    triggered the change and were not counted.
    """

    step: Contrast
    bend: Contrast | None
    autocorrelation: float
    error_sd: float
    before: int
    after: int
    left_out: int


def interrupted(
    values: ArrayLike,
    order: ArrayLike,
    change_at: int,
    *,
    trend: bool = True,
    bend: bool = False,
    leave_out_before: int = 0,
    level: float = 0.95,
) -> SeriesFit:
    """Estimate how a series' level changed at a point.

    Parameters
    ----------
    values : array, shape (n,)
        The measure; missing ones are left out, and the gap that they leave counts.
    order : array of int, shape (n,)
        The runs' number in time, ascending.
    change_at : int
        The order of the first run after the change.
    trend : bool
        Allow a straight drift through the whole series.
    bend : bool
        Allow the drift to change too; the step is then that at the change.
    leave_out_before : int
        How many runs just before the change made someone change it. They were bad by chance in part, and would make
        any change look like a cure.

    Raises
    ------
    ValueError
        If the order does not ascend or ``leave_out_before`` is negative.
    CannotFitError
        If there are fewer than 4 points on a side.
    """
    y, at, after = _points(values, order, change_at)
    if leave_out_before < 0:
        raise ValueError(f"leave_out_before must not be negative, got {leave_out_before}")
    before = np.flatnonzero(~after)
    left_out = before[len(before) - leave_out_before :] if leave_out_before else before[:0]
    kept = np.setdiff1d(np.arange(len(y)), left_out)
    y, at, after = y[kept], at[kept], after[kept]
    _check_sides(after)
    since = np.where(after, at - change_at, 0).astype(np.float64)
    columns = [np.ones(len(y)), after.astype(np.float64)]
    columns += [at - at.mean()] if trend else []
    columns += [since] if bend else []
    fit = _autoregressive(y, np.column_stack(columns), at, np.zeros(len(y), dtype=np.int64), level)
    return SeriesFit(
        step=fit.contrast(1),
        bend=fit.contrast(len(columns) - 1) if bend else None,
        autocorrelation=fit.rho,
        error_sd=float(np.sqrt(fit.variance)),
        before=int((~after).sum()),
        after=int(after.sum()),
        left_out=len(left_out),
    )


def compared(
    changed_values: ArrayLike,
    changed_order: ArrayLike,
    other_values: ArrayLike,
    other_order: ArrayLike,
    change_at: int,
    *,
    level: float = 0.95,
) -> SeriesFit:
    """Estimate how much more a changed series moved than one that was followed over the same time and not changed.

    Parameters
    ----------
    changed_values, other_values : array
        The measure in the group that was changed, and in the other.
    changed_order, other_order : array of int
        When, on one count for both.

    Raises
    ------
    ValueError, CannotFitError
        As for ``interrupted``, for either series.
    """
    first, second = _points(changed_values, changed_order, change_at), _points(other_values, other_order, change_at)
    for _, _, after in (first, second):
        _check_sides(after)
    y, at, after = (np.concatenate(pair) for pair in zip(first, second, strict=True))
    group = np.concatenate([np.ones(len(first[0])), np.zeros(len(second[0]))])
    X = np.column_stack([np.ones(len(y)), group * after, group, after])
    fit = _autoregressive(y, X, at, group.astype(np.int64), level)
    return SeriesFit(
        step=fit.contrast(1),
        bend=None,
        autocorrelation=fit.rho,
        error_sd=float(np.sqrt(fit.variance)),
        before=int((~first[2]).sum()),
        after=int(first[2].sum()),
        left_out=0,
    )


@dataclass(frozen=True)
class _Fit:
    beta: Floats
    plain: Floats
    adjusted: Floats
    slopes: Floats
    of_variances: Floats
    rho: float
    variance: float
    level: float

    def contrast(self, k: int) -> Contrast:
        by = self.slopes[:, k, k]
        df = float(2.0 * self.plain[k, k] ** 2 / (by @ self.of_variances @ by))
        # the curvature of V in ρ can make the adjustment negative; an interval is never narrowed by it here
        error = float(np.sqrt(max(self.adjusted[k, k], self.plain[k, k])))
        value = float(self.beta[k])
        low, high = interval_of(value, error, df, self.level)
        p = float(2.0 * special.stdtr(df, -abs(value / error)))
        return Contrast(value, error, df, low, high, self.level, value / error, p, "kenward-roger")


def _points(values: ArrayLike, order: ArrayLike, change_at: int) -> tuple[Floats, Ints, Bools]:
    y, at = np.asarray(values, dtype=np.float64), np.asarray(order, dtype=np.int64)
    if len(y) != len(at) or np.any(np.diff(at) <= 0):
        raise ValueError("order must ascend and be as long as values")
    known = np.isfinite(y)
    return y[known], at[known], at[known] >= change_at


def _check_sides(after: Bools) -> None:
    before, behind = int((~after).sum()), int(after.sum())
    if min(before, behind) < _FEWEST:
        raise CannotFitError(f"a change wants {_FEWEST} runs on each side, got {before} before and {behind} after")


def _autoregressive(y: Floats, X: Floats, at: Ints, group: Ints, level: float) -> _Fit:
    if len(independent_columns(X.T @ X)) < X.shape[1]:
        raise CannotFitError("the change cannot be told apart from the drift")
    if len(y) <= X.shape[1] + 2:
        raise CannotFitError(f"{len(y)} points cannot carry {X.shape[1]} coefficients and their errors")
    gaps = np.where(group[:, None] == group[None, :], np.abs(at[:, None] - at[None, :]), -1)
    with one_thread():
        found: OptimizeResult = minimize_scalar(
            lambda rho: _deviance(float(rho), y, X, gaps),
            bounds=(-_WIDEST, _WIDEST),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return _adjusted(float(found.x), y, X, gaps, level)


def _deviance(rho: float, y: Floats, X: Floats, gaps: Ints) -> float:
    """The restricted deviance, the error variance profiled out."""
    lower = np.linalg.cholesky(_powers(rho, gaps))
    turned = np.linalg.solve(lower, np.column_stack([X, y]))
    triangle = np.asarray(np.linalg.qr(turned, mode="r"))
    df = len(y) - X.shape[1]
    left = max(float(triangle[-1, -1] ** 2), 1e-300)
    logs = np.log(np.diagonal(lower)).sum() + np.log(np.abs(np.diagonal(triangle)[:-1])).sum()
    return float(2.0 * logs + df * np.log(left))


def _adjusted(rho: float, y: Floats, X: Floats, gaps: Ints, level: float) -> _Fit:
    """Kenward & Roger's adjusted covariance, in (error variance, ρ)."""
    R = _powers(rho, gaps)
    inverse = np.linalg.inv(R)
    phi = np.linalg.inv(X.T @ inverse @ X)
    beta = phi @ X.T @ inverse @ y
    left = y - X @ beta
    variance = float(left @ inverse @ left) / (len(y) - X.shape[1])
    inverse, phi = inverse / variance, phi * variance
    same = gaps >= 0
    by_rho = np.where(same & (gaps > 0), gaps * rho ** np.maximum(gaps - 1, 0), 0.0)
    twice = np.where(same & (gaps > 1), gaps * (gaps - 1) * rho ** np.maximum(gaps - 2, 0), 0.0)
    first = [R, variance * by_rho]
    second = [[np.zeros_like(R), by_rho], [by_rho, variance * twice]]
    half = inverse @ X
    projector = inverse - half @ phi @ half.T
    expected = np.array([[0.5 * np.sum((projector @ a) * (projector @ b).T) for b in first] for a in first])
    of_variances = np.linalg.inv(expected)
    P = [-half.T @ a @ half for a in first]
    bend = np.zeros_like(phi)
    for i in range(2):
        for j in range(2):
            Q = half.T @ first[i] @ inverse @ first[j] @ half
            bend += of_variances[i, j] * (Q - P[i] @ phi @ P[j] - 0.25 * half.T @ second[i][j] @ half)
    slopes = np.array([-phi @ each @ phi for each in P])
    return _Fit(beta, phi, phi + 2.0 * phi @ bend @ phi, slopes, of_variances, rho, variance, level)


def _powers(rho: float, gaps: Ints) -> Floats:
    return np.where(gaps >= 0, rho ** np.maximum(gaps, 0), 0.0)
