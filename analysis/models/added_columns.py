"""What would one column more say, at the variances that a fit has found?

Fitting a model again for every column that might be in it costs a search each. At variances that stand, a column's
coefficient is one regression on what the others leave of it: with P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹, the column z has the
coefficient z'Py / z'Pz and the standard error σ / √(z'Pz), and σ² is estimated anew with the column in the model.
Variances that were found without the column hold what it explains too, so that its interval is rather too wide.

Source: Kang et al. 2010, Nature Genetics 42, 348–354, for holding the variances at those of the model without the
columns (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import Floats
from analysis.models.criterion import solve
from analysis.models.gradient import eliminated_products, rest_products
from analysis.models.information import LevelProducts
from analysis.models.mixed import MixedFit
from analysis.models.threads import one_thread

__all__ = ["AddedColumns", "WithoutLevels", "added_between_levels", "one_at_a_time", "without_each_level"]

_LEFT = 1e-8  # share of a column that the others must leave for it to be told


@dataclass(frozen=True)
class AddedColumns:
    """The coefficient and standard error of each column (m,), as if it alone were added; NaN where the model's own
    columns make it."""

    coefficients: Floats
    standard_errors: Floats

    @property
    def t(self) -> Floats:
        """(m,)"""
        return self.coefficients / self.standard_errors


@dataclass(frozen=True)
class WithoutLevels:
    """The fixed effects without each level of a group at the variances that stand, (L, p); NaN where a coefficient
    cannot be told without the level."""

    coefficients: Floats
    standard_errors: Floats


def one_at_a_time(fit: MixedFit, without: MixedFit, columns: Sequence[str]) -> AddedColumns:
    """Tell each of some columns of a fit in turn, beside the columns of a smaller fit and at its variances.

    Parameters
    ----------
    fit : MixedFit
        A fit with all of ``columns`` and all columns of ``without``.
    without : MixedFit
        The fit of the same sums and groups without ``columns``.

    Raises
    ------
    ValueError
        If ``fit`` lacks a column.
    """
    system = fit.solution.system
    with one_thread():
        products = solve(system, without.solution.factors).G
    beside = [_place(system.names, name) for name in without.names]
    told = [_place(system.names, name) for name in columns]
    inside, outside = products[np.ix_(beside, beside)], [*told, len(system.names)]
    left = _left(inside, products[np.ix_(beside, outside)])
    own = np.diagonal(products)[told]
    across = products[np.ix_(told, [-1])][:, 0] - np.einsum("pk,p->k", products[np.ix_(beside, told)], left[:, -1])
    remaining = own - np.einsum("pk,pk->k", products[np.ix_(beside, told)], left[:, :-1])
    total = products[-1, -1] - products[beside, -1] @ left[:, -1]
    return _told(across, remaining, own, total, fit.rows - len(beside) - 1)


def added_between_levels(fit: MixedFit, group: str, values: Floats) -> AddedColumns:
    """Tell columns that are constant within the levels of a group, each added alone to a fit.

    Parameters
    ----------
    group : str
        A factor of the fit with a random intercept.
    values : array, shape (levels, m)
        The columns, a row for each level in the order of the fit's labels.

    Raises
    ------
    ValueError
        If the fit has no such group or the rows are not one a level.
    """
    solution, sums = fit.solution, fit.sums
    names = [sums.design.factors[t].name for t in solution.system.factors]
    if group not in names:
        raise ValueError(f"group must be one of {', '.join(names)}, got {group!r}")
    factor = solution.system.factors[names.index(group)]
    if values.ndim != 2 or len(values) != len(sums.labels[factor]):
        raise ValueError(f"values must have a row for each of {len(sums.labels[factor])} levels, got {values.shape}")
    with one_thread():
        at, block, places = _where(fit, factor)
        stacked = np.zeros((block, values.shape[1]))
        stacked[places] = values
        own_products = LevelProducts(solution).apply(at, at, stacked)
        dense = _products(fit, at)
    own = np.einsum("qm,qm->m", stacked, own_products)
    with_dense = stacked.T @ dense
    with_fixed = with_dense[:, :-1]
    remaining = own - np.einsum("mp,pq,mq->m", with_fixed, solution.unscaled, with_fixed)
    across = with_dense[:, -1] - with_fixed @ solution.coefficients
    return _told(across, remaining, own, solution.sum_of_squares, fit.rows - len(fit.names) - 1)


def without_each_level(fit: MixedFit, group: str) -> WithoutLevels:
    """Tell what is left of the fixed effects when each level of a group has a constant of its own.

    For columns that are constant within levels that is the same as leaving the level out (the mean-shift form of
    deletion: Cook & Weisberg 1982, Residuals and Influence in Regression, section 2.2.2).

    Raises
    ------
    ValueError
        If the fit has no such group with a random intercept.
    """
    solution, sums = fit.solution, fit.sums
    names = [sums.design.factors[t].name for t in solution.system.factors]
    if group not in names:
        raise ValueError(f"group must be one of {', '.join(names)}, got {group!r}")
    with one_thread():
        at, _, places = _where(fit, solution.system.factors[names.index(group)])
        inner = LevelProducts(solution).level_blocks(at)
        width = inner.shape[1]
        own = inner[places // width, places % width, places % width]
        dense = _products(fit, at)[places]
    turned = dense[:, :-1] @ solution.unscaled
    left = own - np.einsum("lp,lp->l", turned, dense[:, :-1])
    across = dense[:, -1] - dense[:, :-1] @ solution.coefficients
    told = left > _LEFT * own
    safe = np.where(told, left, 1.0)
    coefficients = solution.coefficients - turned * (across / safe)[:, None]
    variance = np.maximum(solution.sum_of_squares - across**2 / safe, 0.0) / max(fit.rows - len(fit.names) - 1, 1)
    unscaled = np.diagonal(solution.unscaled) + turned**2 / safe[:, None]
    basis, offset = solution.system.basis, solution.system.offset
    gone = ~told[:, None]
    return WithoutLevels(
        np.where(gone, np.nan, coefficients @ basis.T + offset),
        np.where(gone, np.nan, np.sqrt(variance[:, None] * unscaled)),
    )


def _products(fit: MixedFit, block: int) -> Floats:
    """Z_t'V⁻¹D of one block, (q·c, p+1)."""
    eliminated = [eliminated_products(fit.solution)] if fit.solution.system.eliminated is not None else []
    rest = rest_products(fit.solution)
    return [*eliminated, *(rest[each.rows] for each in fit.solution.system.rest)][block]


def _where(fit: MixedFit, factor: int) -> tuple[int, int, np.ndarray]:
    """The block that holds a factor, its rows, and the places of the factor's intercepts among them."""
    for k, block in enumerate(fit.solution.system.blocks):
        for owner in block.owners:
            if owner.factor == factor:
                return k, block.levels * block.width, owner.places[:, 0]
    raise ValueError(f"factor must be one of the fit's, got {factor}")


def _place(names: Sequence[str], name: str) -> int:
    if name not in names:
        raise ValueError(f"columns must be among {', '.join(names)}, got {name!r}")
    return list(names).index(name)


def _left(inside: Floats, right: Floats) -> Floats:
    scale = np.sqrt(np.diagonal(inside))
    return np.asarray(np.linalg.solve(inside / np.outer(scale, scale), right / scale[:, None]) / scale[:, None])


def _told(across: Floats, remaining: Floats, own: Floats, total: float, df: int) -> AddedColumns:
    told = remaining > _LEFT * np.maximum(own, 1e-300)
    safe = np.where(told, remaining, 1.0)
    variance = np.maximum(total - across**2 / safe, 0.0) / max(df, 1)
    nan = np.full_like(across, np.nan)
    return AddedColumns(np.where(told, across / safe, nan), np.where(told, np.sqrt(variance / safe), nan))
