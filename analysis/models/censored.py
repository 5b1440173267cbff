"""What moves a measure of which some readings are only known to lie below, above or between limits?

The Gaussian mixed model of a censored response; of its log where the formula says ``log(y)``. A row's likelihood is the
density where the reading is exact, else the probability of the interval that it lies in. Leaving "<" out, or putting
the limit or half of it in, bends every slope.

Sources: Tobin 1958, Econometrica 26, 24–36; Vaida & Liu 2009, J. Comput. Graph. Statist. 18, 797–817 (with random
effects).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from analysis.models.added_columns import AddedColumns
from analysis.models.arrays import Bools, CannotFitError, Floats
from analysis.models.censored_normal import CensoredNormal, OneSidedNormal
from analysis.models.few_limits_fit import MOST_LIMITS, AddedUp, added_up, maximise_few_limits, one_column_at_a_time
from analysis.models.fitted_rows import FittedRows, read_rows
from analysis.models.laplace_fit import LaplaceFit, Prepared, fit_family, narrowed, prepared_rows
from analysis.models.threads import one_thread

__all__ = [
    "CensoredRows",
    "censored_mixed",
    "censored_rows",
    "fit_censored_rows",
    "one_censored_at_a_time",
]


@dataclass(frozen=True, eq=False)
class CensoredRows:
    """A formula's rows with the ends (n,) between which each reading lies, equal where it is exact."""

    data: Prepared = field(repr=False)
    lower: Floats
    upper: Floats

    @property
    def limits(self) -> Bools:
        """Which rows are limits."""
        return np.asarray(self.lower != self.upper, dtype=np.bool_)

    @property
    def known(self) -> Floats:
        """The readings, and of limits the end that is known."""
        return np.where(np.isfinite(self.lower), self.lower, self.upper)

    @property
    def few(self) -> bool:
        """Whether so few readings are limits that the exact ones are best added up."""
        count = int(self.limits.sum())
        return 0 < count <= min(MOST_LIMITS, len(self.lower) - count)

    @cached_property
    def added_up(self) -> AddedUp:
        """The exact readings' sums, and the limits beside them."""
        limits = self.limits
        lower, upper = self.lower[limits], self.upper[limits]
        one_sided = bool((np.isinf(lower) | np.isinf(upper)).all())
        family = OneSidedNormal(lower, upper) if one_sided else CensoredNormal(lower, upper)
        with one_thread():
            return added_up(self.data, self.known, limits, family)


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
    used = frame if censored is None else frame.dropna(subset=[censored])
    read = read_rows(formula, used)
    return fit_censored_rows(censored_rows(read, censored=censored, upper=upper, rounded_to=rounded_to))


def censored_rows(
    read: FittedRows,
    *,
    censored: str | None = None,
    upper: str | None = None,
    rounded_to: float | None = None,
) -> CensoredRows:
    """Take rows that were read for readings and limits; the parameters are those of ``censored_mixed``.

    Raises
    ------
    ValueError, CannotFitError
        As for ``censored_mixed``.
    """
    data = prepared_rows(read.design, read.rows)
    rows = read.frame.loc[read.rows.kept]
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
    return CensoredRows(data, lower, high)


def fit_censored_rows(
    rows: CensoredRows, fixed: Sequence[str] | None = None, start: LaplaceFit | None = None
) -> LaplaceFit:
    """Fit all fixed columns, or some of them.

    Parameters
    ----------
    start : LaplaceFit
        A fit of the same rows with other columns, whose variances the search starts from where ``few`` readings are
        limits.
    """
    data = rows.data if fixed is None else narrowed(rows.data, fixed)
    found = None
    if rows.few:
        try:
            with one_thread():
                found = maximise_few_limits(rows.added_up, data.names, _start(rows, start))
        except CannotFitError:
            found = None
    return fit_family(data, CensoredNormal(rows.lower, rows.upper), "censored normal", ("log sd",), found)[0]


def one_censored_at_a_time(rows: CensoredRows, columns: Sequence[str], start: LaplaceFit | None = None) -> AddedColumns:
    """Tell each of some fixed columns in turn beside those that are not among them, at the variances of these alone.

    Standard errors are of maximum likelihood at those variances, as ``added_columns`` says of the Gaussian model.

    Raises
    ------
    ValueError
        If a name is no column.
    CannotFitError
        If too many readings are limits for it (``few`` tells), or the exact ones alone cannot carry the columns.
    """
    strange = [name for name in columns if name not in rows.data.names]
    if strange:
        raise ValueError(f"columns must be among {', '.join(rows.data.names)}, got {', '.join(strange)}")
    if not rows.few:
        raise CannotFitError("too many readings are limits for columns to be told one at a time")
    with one_thread():
        return one_column_at_a_time(rows.added_up, columns, _start(rows, start))


def _start(rows: CensoredRows, fit: LaplaceFit | None) -> Mapping[int, Floats] | None:
    """A fit's Λ of each factor."""
    if fit is None:
        return None
    scale = math.exp(2.0 * float(fit.own[0]))
    by_factor: dict[int, list[float]] = {}
    for (factor, _), each in zip(sorted(rows.data.order), fit.variances, strict=True):
        by_factor.setdefault(factor, []).append(math.sqrt(each.variance / scale))
    return {factor: np.diag(halves) for factor, halves in by_factor.items()}


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
