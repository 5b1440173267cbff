"""What moves a measure of which some readings are only known to lie below, above or between limits?

The Gaussian mixed model of a censored response; of its log where the formula says ``log(y)``. A row's likelihood is the
density where the reading is exact, else the probability of the interval that it lies in. Leaving "<" out, or putting
the limit or half of it in, bends every slope.

Sources: Tobin 1958, Econometrica 26, 24–36; Vaida & Liu 2009, J. Comput. Graph. Statist. 18, 797–817 (with random
effects).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.families import Terms
from analysis.models.few_limits_fit import MOST_LIMITS, maximise_few_limits
from analysis.models.intervals import normal_interval
from analysis.models.laplace import LaplaceSolution
from analysis.models.laplace_fit import LaplaceFit, Prepared, fit_family, prepared
from analysis.models.threads import one_thread

__all__ = ["CensoredNormal", "censored_mixed"]

_HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)


@dataclass(frozen=True)
class CensoredNormal:
    """``lower`` and ``upper`` (n,), equal where a reading is exact, infinite on an open side; ψ is log σ."""

    lower: Floats
    upper: Floats

    def row_variance(self, own: Floats) -> float:
        """σ²."""
        return float(np.exp(2.0 * own[0]))

    def start(self) -> tuple[float, Floats]:
        """The mean and standard deviation of the readings and limits."""
        known = np.where(np.isfinite(self.lower), self.lower, self.upper)
        return float(known.mean()), np.array([np.log(max(float(known.std()), 1e-8))])

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log density of exact rows, log probability of the others."""
        sigma = float(np.exp(own[0]))
        exact = self.lower == self.upper
        parts = np.empty((4, len(eta)))
        by_own = np.empty((3, len(eta)))
        z = (self.lower[exact] - eta[exact]) / sigma
        parts[:, exact] = [-0.5 * z**2 - _HALF_LOG_2PI - own[0], z / sigma, np.full_like(z, -1 / sigma**2), 0.0 * z]
        by_own[:, exact] = [z**2 - 1.0, -2.0 * z / sigma, np.full_like(z, 2.0 / sigma**2)]
        a, b = (self.lower[~exact] - eta[~exact]) / sigma, (self.upper[~exact] - eta[~exact]) / sigma
        between = normal_interval(a, b)
        parts[:, ~exact] = [
            between.log_probability,
            between.first / sigma,
            between.second / sigma**2,
            between.third / sigma**3,
        ]
        shrink = (
            -np.where(np.isfinite(a), a, 0.0) * between.by_lower - np.where(np.isfinite(b), b, 0.0) * between.by_upper
        )
        by_own[:, ~exact] = [
            shrink[0],
            (shrink[1] - between.first) / sigma,
            (shrink[2] - 2.0 * between.second) / sigma**2,
        ]
        return Terms(parts[0], parts[1], parts[2], parts[3], by_own[:1], by_own[1:2], by_own[2:])


def censored_mixed(
    formula: str,
    frame: pd.DataFrame,
    *,
    censored: str | None = None,
    upper: str | None = None,
    rounded_to: float | None = None,
) -> LaplaceFit:
    """Fit a Gaussian mixed model to censored readings; ``own`` holds log σ.

    Parameters
    ----------
    formula : str
        The response is the reading, or its limit where it is censored: each row has its own.
    censored : str, optional
        A column of −1 ("<" the response), 0 (exact) or +1 (">").
    upper : str, optional
        A column in the response's units: where it has a value, the reading lies between the response and it.
    rounded_to : float, optional
        The step that readings were rounded to [units of the response]: an exact reading lies within half of it.

    Raises
    ------
    ValueError
        If ``censored`` holds another value, an upper end lies below its lower, or the step is not above 0.
    CannotFitError
        If every row is censored on the same side.
    """
    extra = [name for name in (censored,) if name is not None]
    used = frame.dropna(subset=extra)
    data = prepared(formula, used)
    rows = used.loc[data.rows.kept]
    lower = data.rows.dense[:, -1].copy()
    high = lower.copy()
    side = np.zeros(len(rows)) if censored is None else rows[censored].to_numpy(dtype=np.float64)
    if not np.isin(side, (-1.0, 0.0, 1.0)).all():
        raise ValueError(f"censored must hold -1, 0 and 1, got {sorted(set(side) - {-1.0, 0.0, 1.0})}")
    if rounded_to is not None:
        low_end, high_end = _rounded(data, rows, rounded_to)
        lower, high = np.where(side == 0, low_end, lower), np.where(side == 0, high_end, high)
    if upper is not None:
        ends = rows[upper].to_numpy(dtype=np.float64)
        given = np.isfinite(ends)
        high[given] = _response(data, rows.loc[given], ends[given])
        if (high < lower).any():
            raise ValueError("upper must not lie below the response")
    lower = np.where(side < 0, -np.inf, lower)
    high = np.where(side > 0, np.inf, high)
    if np.isinf(lower).all() or np.isinf(high).all():
        raise CannotFitError("every reading is censored on the same side: the level cannot be told")
    return fit_family(
        data, CensoredNormal(lower, high), "censored normal", ("log sd",), _by_few_limits(data, lower, high)
    )[0]


def _by_few_limits(data: Prepared, lower: Floats, high: Floats) -> LaplaceSolution | None:
    """The maximum, where few enough readings are limits for the way that spares most of the cost."""
    limits = lower != high
    if not 0 < limits.sum() <= min(MOST_LIMITS, (~limits).sum()):
        return None
    known = np.where(np.isfinite(lower), lower, high)
    try:
        with one_thread():
            return maximise_few_limits(data, known, limits, CensoredNormal(lower[limits], high[limits]))
    except CannotFitError:
        return None


def _rounded(data: Prepared, rows: pd.DataFrame, step: float) -> tuple[Floats, Floats]:
    if not step > 0:
        raise ValueError(f"rounded_to must be above 0, got {step}")
    values = rows[_column(data)].to_numpy(dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        low_end = _response(data, rows, values - 0.5 * step)
    return np.where(np.isnan(low_end), -np.inf, low_end), _response(data, rows, values + 0.5 * step)


def _response(data: Prepared, rows: pd.DataFrame, values: Floats) -> Floats:
    """Other values of the response's column as the formula turns them."""
    moved = rows.assign(**{_column(data): values})
    turned = data.design.spec.lhs.get_model_matrix(moved, context={}, na_action="ignore")
    return np.asarray(turned, dtype=np.float64)[:, 0]


def _column(data: Prepared) -> str:
    names = [str(name) for name in data.design.spec.lhs.required_variables]
    if len(names) != 1:
        raise ValueError(f"the response must be made of one column, got {', '.join(names)}")
    return names[0]
