"""What are the fixed effects and variances of a Gaussian mixed model?

Any number of crossed or nested random intercepts and slopes, by maximum likelihood or restricted maximum likelihood,
from the cross products alone: a fit costs the same for ten thousand rows and for a thousand million.

Source: Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from analysis.models.adding_up import accumulate
from analysis.models.arrays import CannotFitError, Floats
from analysis.models.criterion import Solution
from analysis.models.cross_products import CrossProducts
from analysis.models.moments import variances_by_moments
from analysis.models.parameters import Parameters
from analysis.models.search import Found, search
from analysis.models.system import System, system_of
from analysis.models.threads import one_thread

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Group", "Method", "MixedFit", "Variance", "fit_sums", "mixed"]

Method = Literal["REML", "ML"]

_ZERO = 1e-9  # φ times rows a level: below it the variance changes nothing


@dataclass(frozen=True)
class Variance:
    """How much the columns of one random term vary over the levels of ``group`` [response units squared].

    ``covariance`` (c, c) is diagonal where the columns were asked to be independent.
    """

    group: str
    columns: tuple[str, ...]
    covariance: Floats
    levels: int

    @property
    def variance(self) -> float:
        """The first column's variance, a random intercept's."""
        return float(self.covariance[0, 0])


@dataclass(frozen=True)
class Group:
    """A grouping factor and how many of its levels have rows."""

    name: str
    levels: int


@dataclass(frozen=True, eq=False)
class MixedFit:
    """A fitted Gaussian mixed model.

    ``coefficients`` (p,) and ``covariance`` (p, p) belong to ``names``; ``dropped`` are fixed columns that the others
    make, ``at_zero`` the random terms whose variance is estimated as 0, ``missing`` the rows left out because a value
    was missing. ``deviance`` is −2 log likelihood, the restricted one where ``method`` is REML.
    """

    formula: str
    method: Method
    names: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    variances: tuple[Variance, ...]
    residual_variance: float
    deviance: float
    rows: int
    missing: int
    groups: tuple[Group, ...]
    dropped: tuple[str, ...]
    at_zero: tuple[str, ...]
    converged: bool
    evaluations: int
    sums: CrossProducts = field(repr=False)
    solution: Solution = field(repr=False)

    @property
    def log_likelihood(self) -> float:
        """The maximised log likelihood, restricted where ``method`` is REML."""
        return -0.5 * self.deviance

    @property
    def standard_errors(self) -> Floats:
        """(p,) [response units per unit of the column], not yet adjusted for small samples."""
        return np.sqrt(np.diagonal(self.covariance))

    def coefficient(self, name: str) -> float:
        """One fixed effect by name."""
        if name not in self.names:
            raise ValueError(f"name must be one of {', '.join(self.names)}, got {name!r}")
        return float(self.coefficients[self.names.index(name)])

    def variance(self, group: str) -> float:
        """The first column's variance of a group's first term."""
        for each in self.variances:
            if each.group == group:
                return each.variance
        raise ValueError(f"group must be one of {', '.join(each.group for each in self.variances)}, got {group!r}")


def mixed(formula: str, frame: pd.DataFrame, *, method: Method = "REML") -> MixedFit:
    """Fit a Gaussian mixed model to a frame.

    Parameters
    ----------
    formula : str
        Such as ``"log(y) ~ x + C(recipe) + (1|batch) + (1|tank)"``; see ``formula.py``. Without a random term it is
        ordinary least squares.
    frame : DataFrame
        Rows with a missing value in any column of the formula are left out and counted.

    Raises
    ------
    ValueError
        If the formula cannot be read, a column is missing, or a value is not finite (the log of zero).
    CannotFitError
        If no row is complete, the rows cannot carry the coefficients, a group has one level, or the fit is exact.
    """
    return fit_sums(accumulate(formula, frame), method=method)


def fit_sums(
    sums: CrossProducts,
    *,
    fixed: Sequence[str] | None = None,
    groups: Sequence[str] | None = None,
    method: Method = "REML",
    start: MixedFit | None = None,
) -> MixedFit:
    """Fit a model, or a submodel with these fixed columns and groups, to sums that were added up before.

    Parameters
    ----------
    start : MixedFit
        A fit of the same sums, or of part of them, whose variances the search starts from.

    Raises
    ------
    ValueError
        If ``method`` is neither REML nor ML, or a column or group was not added up.
    CannotFitError
        As for ``mixed``.
    """
    if method not in ("REML", "ML"):
        raise ValueError(f"method must be 'REML' or 'ML', got {method!r}")
    system = system_of(sums, fixed, groups)
    _check_levels(sums, system)
    reml = method == "REML"
    parameters = Parameters(system.blocks)
    if start is None:
        begin = parameters.near(variances_by_moments(system))
    else:
        before = start.solution
        own = {factor: before.system.own_factor(factor, before.factors) for factor in before.system.factors}
        begin = parameters.vector(system.block_factors(own))
    with one_thread():
        found = search(system, begin, reml)
    return _fit(sums, system, found, method)


def _check_levels(sums: CrossProducts, system: System) -> None:
    for factor in system.factors:
        owner = sums.design.factors[factor]
        if sums.levels(factor) < 2:
            raise CannotFitError(f"{owner.name} has one level, which tells nothing of how levels differ: leave it out")
        at = owner.columns.index("Intercept") if "Intercept" in owner.columns else -1
        if at >= 0 and sums.own[factor][:, at, at].max() <= 1:
            raise CannotFitError(
                f"every level of {owner.name} has one row, so that its variance cannot be told from the residual's"
            )


def _fit(
    sums: CrossProducts,
    system: System,
    found: Found,
    method: Method,
) -> MixedFit:
    reml, solution = method == "REML", found.solution
    scale = solution.sum_of_squares / solution.degrees(reml)
    variances, at_zero = _variances(sums, solution, scale)
    covariance = scale * system.basis @ solution.unscaled @ system.basis.T
    return MixedFit(
        formula=sums.design.formula.text,
        method=method,
        names=system.names,
        coefficients=system.basis @ solution.coefficients + system.offset,
        covariance=0.5 * (covariance + covariance.T),
        variances=variances,
        residual_variance=scale,
        deviance=solution.deviance(reml),
        rows=sums.rows,
        missing=sums.missing,
        groups=tuple(Group(sums.design.factors[t].name, sums.levels(t)) for t in system.factors),
        dropped=system.dropped,
        at_zero=at_zero,
        converged=found.converged,
        evaluations=found.evaluations,
        sums=sums,
        solution=solution,
    )


def _variances(sums: CrossProducts, solution: Solution, scale: float) -> tuple[tuple[Variance, ...], tuple[str, ...]]:
    """In the order of the formula."""
    found: list[Variance] = []
    at_zero: list[str] = []
    system = solution.system
    for factor in system.factors:
        owner, levels = sums.design.factors[factor], sums.levels(factor)
        half = system.own_factor(factor, solution.factors)
        phi = half @ half.T
        size = np.trace(sums.own[factor].mean(axis=0))
        for start, stop in owner.parts:
            part, columns = phi[start:stop, start:stop], owner.columns[start:stop]
            zero = np.diagonal(part) * size < _ZERO
            part = np.where(zero[:, None] | zero[None, :], 0.0, part)
            found.append(Variance(owner.name, columns, scale * part, levels))
            plain = owner.columns == ("Intercept",)
            at_zero += [owner.name if plain else f"{owner.name}: {c}" for c, z in zip(columns, zero, strict=True) if z]
    return tuple(found), tuple(at_zero)
