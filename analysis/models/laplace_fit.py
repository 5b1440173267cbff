"""What are the fixed effects and variances of a mixed model whose rows are not Gaussian?

The part that the families share: a formula's rows in, standardised columns, the search, and the answer in the columns'
own units. Standard errors come from the curvature of the approximated likelihood, not from a variational fit, whose
standard errors are 5 to 14 times too small.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.contrasts import Contrast, interval_of, weights_of
from analysis.models.design import CONSTANT, Design, Rows
from analysis.models.families import Family
from analysis.models.frame_rows import bound
from analysis.models.laplace import LaplaceSolution, maximise
from analysis.models.mixed import Group, Variance
from analysis.models.random_rows import RandomRows
from analysis.models.system import independent_columns
from analysis.models.threads import one_thread

__all__ = ["LaplaceFit", "Prepared", "fit_family", "narrowed", "prepared", "prepared_rows"]


@dataclass(frozen=True, eq=False)
class LaplaceFit:
    """A fitted mixed model of another family.

    ``coefficients`` (p,) and ``covariance`` (p, p) belong to ``names``; ``own_names``, ``own`` and ``own_covariance``
    are the family's parameters (thresholds, the log of a scale). Variances are in units of the linear predictor.
    """

    formula: str
    family: str
    names: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    own_names: tuple[str, ...]
    own: Floats
    own_covariance: Floats
    variances: tuple[Variance, ...]
    log_likelihood: float
    rows: int
    missing: int
    groups: tuple[Group, ...]
    dropped: tuple[str, ...]
    at_zero: tuple[str, ...]
    converged: bool
    evaluations: int
    linear_predictor: Floats = field(repr=False)
    row_scores: Floats = field(repr=False)
    """(n, p+k) derivatives of each row's log likelihood by the internal coefficients and ψ, at the modes."""
    joint_covariance: Floats = field(repr=False)
    """(p+k, p+k) of the internal coefficients and ψ."""
    back: Floats = field(repr=False)
    """(p, p) from the internal coefficients to ``coefficients``."""

    @property
    def standard_errors(self) -> Floats:
        """(p,) in units of the linear predictor per unit of the column."""
        return np.sqrt(np.diagonal(self.covariance))

    def coefficient(self, name: str) -> float:
        """One fixed effect by name."""
        if name not in self.names:
            raise ValueError(f"name must be one of {', '.join(self.names)}, got {name!r}")
        return float(self.coefficients[self.names.index(name)])

    def variance(self, group: str) -> float:
        """The first column's variance of a group."""
        for each in self.variances:
            if each.group == group:
                return each.variance
        raise ValueError(f"group must be one of {', '.join(each.group for each in self.variances)}, got {group!r}")

    def contrast(
        self, L: str | Mapping[str, float] | ArrayLike, *, level: float = 0.95, df: float = float("inf")
    ) -> Contrast:
        """Estimate one linear combination of the fixed effects.

        Parameters
        ----------
        df : float
            Degrees of freedom of the t distribution used: infinite for the normal; the levels that the effect moves
            between less the coefficients that do, where levels are few.
        """
        weights = weights_of(self.names, self.dropped, L)
        error = float(np.sqrt(weights @ self.covariance @ weights))
        value = float(weights @ self.coefficients)
        low, high = interval_of(value, error, df, level)
        t = value / error
        p = float(2.0 * (special.ndtr(-abs(t)) if np.isinf(df) else special.stdtr(df, -abs(t))))
        return Contrast(value, error, df, low, high, level, t, p, "normal" if np.isinf(df) else "t")


@dataclass(frozen=True)
class Prepared:
    """A formula's rows, ready for a family: X (n, p), less ``centre`` (p,) and scaled, and ``back`` (p, p) from its
    coefficients to those of the columns as given. Without an intercept the thresholds take the centre up."""

    design: Design
    rows: Rows
    names: tuple[str, ...]
    dropped: tuple[str, ...]
    X: Floats
    back: Floats
    centre: Floats
    has_intercept: bool
    random: RandomRows
    order: tuple[tuple[int, int], ...]


def prepared(formula: str, frame: pd.DataFrame, *, intercept: bool = True) -> Prepared:
    """Read a formula's rows from a frame.

    Parameters
    ----------
    intercept : bool
        False where the family's thresholds take its place: the constant is then left out, whatever the formula says.

    Raises
    ------
    ValueError
        As ``mixed`` does; also for correlated slopes, which these models do not have.
    """
    return prepared_rows(*bound(formula, frame), intercept=intercept)


def prepared_rows(design: Design, rows: Rows, *, intercept: bool = True) -> Prepared:
    """The same of rows that were read before."""
    for factor in design.factors:
        if any(stop - start > 1 for start, stop in factor.parts):
            raise ValueError(f"slopes over {factor.name} must be uncorrelated here: write (x || {factor.name})")
    wanted = [name for name in design.fixed if intercept or name != CONSTANT]
    raw = rows.dense[:, [design.names.index(name) for name in wanted]]
    constant = CONSTANT in wanted
    centre = raw.mean(axis=0) if constant or not intercept else np.zeros(raw.shape[1])
    if constant:
        centre[wanted.index(CONSTANT)] = 0.0
    X = raw - centre
    kept = independent_columns(X.T @ X)
    if len(rows.dense) <= len(kept):
        raise CannotFitError(f"{len(rows.dense)} complete rows cannot carry {len(kept)} coefficients")
    scale = np.sqrt((X[:, kept] ** 2).mean(axis=0))
    back = np.diag(1.0 / scale)
    if constant:
        back[0] -= centre[kept] / scale
    names = tuple(wanted[k] for k in kept)
    random, order = _random_rows(design, rows)
    dropped = tuple(name for k, name in enumerate(wanted) if k not in kept)
    return Prepared(design, rows, names, dropped, X[:, kept] / scale, back, centre[kept], constant, random, order)


def narrowed(data: Prepared, names: Sequence[str]) -> Prepared:
    """The same rows with some of the columns.

    Raises
    ------
    ValueError
        If a name is no column.
    """
    strange = [name for name in names if name not in data.names]
    if strange:
        raise ValueError(f"names must be among {', '.join(data.names)}, got {', '.join(strange)}")
    kept = [k for k, name in enumerate(data.names) if name in names]
    return replace(
        data,
        names=tuple(data.names[k] for k in kept),
        dropped=(),
        X=data.X[:, kept],
        back=data.back[np.ix_(kept, kept)],
        centre=data.centre[kept],
        has_intercept=data.has_intercept and CONSTANT in names,
    )


def fit_family(
    data: Prepared, family: Family, name: str, own_names: tuple[str, ...], found: LaplaceSolution | None = None
) -> tuple[LaplaceFit, LaplaceSolution]:
    """Maximise a family's likelihood, unless its maximum was found before; the second answer is the raw solution, for
    the family's own way back."""
    if found is None:
        with one_thread():
            found = maximise(data.X, data.random, family, data.has_intercept)
    p = len(data.names)
    terms = family.terms(found.eta, found.own)
    covariance = data.back @ found.covariance[:p, :p] @ data.back.T
    variances, at_zero, groups = _variances(data, found.phi)
    fit = LaplaceFit(
        formula=data.design.formula.text,
        family=name,
        names=data.names,
        coefficients=data.back @ found.beta,
        covariance=0.5 * (covariance + covariance.T),
        own_names=own_names,
        own=found.own,
        own_covariance=found.covariance[p:, p:],
        variances=variances,
        log_likelihood=found.log_likelihood,
        rows=len(data.rows.dense),
        missing=data.rows.missing,
        groups=groups,
        dropped=data.dropped,
        at_zero=at_zero,
        converged=found.converged,
        evaluations=found.evaluations,
        linear_predictor=found.eta,
        row_scores=np.column_stack([terms.first[:, None] * data.X, terms.by_own.T]),
        joint_covariance=found.covariance,
        back=data.back,
    )
    return fit, found


def _random_rows(design: Design, rows: Rows) -> tuple[RandomRows, tuple[tuple[int, int], ...]]:
    """The random columns, most levels first, and which factor's which column each is."""
    each = [(t, a, len(rows.labels[t])) for t, factor in enumerate(design.factors) for a in range(len(factor.columns))]
    each.sort(key=lambda column: -column[2])
    ones = np.ones(len(rows.dense))
    varying = []
    for t, a, _ in each:
        columns = rows.columns[t]
        varying.append(ones if columns is None else columns[:, a])
    codes = [rows.codes[t] for t, _, _ in each]
    levels = [count for _, _, count in each]
    return RandomRows(codes, varying, levels, len(rows.dense)), tuple((t, a) for t, a, _ in each)


def _variances(data: Prepared, phi: Floats) -> tuple[tuple[Variance, ...], tuple[str, ...], tuple[Group, ...]]:
    variances, at_zero = [], []
    for (t, a), value in sorted(zip(data.order, phi, strict=True), key=lambda each: each[0]):
        factor, levels = data.design.factors[t], len(data.rows.labels[t])
        zero = value < 1e-8
        variances.append(Variance(factor.name, (factor.columns[a],), np.array([[0.0 if zero else value]]), levels))
        if zero:
            at_zero.append(factor.name if factor.columns == (CONSTANT,) else f"{factor.name}: {factor.columns[a]}")
    groups = tuple(Group(f.name, len(data.rows.labels[t])) for t, f in enumerate(data.design.factors))
    return tuple(variances), tuple(at_zero), groups
