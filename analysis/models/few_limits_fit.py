"""What does a fit of many exact readings and a few limits tell, in the terms of the other families' fits?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.models.added_columns import AddedColumns
from analysis.models.arrays import Bools, Floats
from analysis.models.cross_products import Accumulator, CrossProducts
from analysis.models.design import CONSTANT, Design, Rows
from analysis.models.families import Family
from analysis.models.few_limits import (
    Place,
    Setting,
    bend_inside,
    by_inside,
    by_phi,
    maximise,
    placed,
    setting_of,
    with_one_more,
)
from analysis.models.foretold import level_modes
from analysis.models.gradient import eliminated_products, rest_products
from analysis.models.laplace import LaplaceSolution
from analysis.models.laplace_fit import Prepared
from analysis.models.limit_terms import limit_terms

__all__ = ["MOST_LIMITS", "AddedUp", "added_up", "covariance_of", "maximise_few_limits", "one_column_at_a_time"]

MOST_LIMITS = 100
_ZERO = 1e-8
_STEP = 3e-4


@dataclass(frozen=True, eq=False)
class AddedUp:
    """Exact readings, added up, and the rows that are limits, of a family of one parameter, log σ."""

    data: Prepared
    rows: Rows
    limits: Rows
    X: Floats
    family: Family
    sums: CrossProducts

    def setting(self, fixed: Sequence[str] | None = None) -> Setting:
        """The model with all fixed columns, or some of them.

        Raises
        ------
        CannotFitError
            If the exact readings alone cannot carry the fixed columns.
        """
        names = self.data.names if fixed is None else tuple(name for name in self.data.names if name in fixed)
        places = [self.data.names.index(name) for name in names]
        return setting_of(self.sums, self.limits, self.X[:, places], self.family, names)


def added_up(data: Prepared, response: Floats, limits: Bools, family: Family) -> AddedUp:
    """Add exact readings up and put the limits beside them.

    Parameters
    ----------
    response : array, shape (n,)
        The readings; of limits any finite value.
    limits : array, shape (n,)
        Which rows are limits.
    family : Family
        Of the limits alone.
    """
    design, rows = _standardised(data, response)
    accumulator = Accumulator(design)
    accumulator.add_rows(rows.take(~limits))
    return AddedUp(data, rows, rows.take(limits), data.X[limits], family, accumulator.result())


def maximise_few_limits(
    added: AddedUp, fixed: Sequence[str] | None = None, start: Mapping[int, Floats] | None = None
) -> LaplaceSolution:
    """Fit exact readings and a few limits.

    Parameters
    ----------
    start : mapping of factor to array, shape (c, c)
        Each factor's Λ, from which the search starts.

    Raises
    ------
    CannotFitError
        If the exact readings alone cannot carry the model, or the search does not end.
    """
    setting, data, rows = added.setting(fixed), added.data, added.rows
    place, tried = maximise(setting, _begin(setting, start))
    system = setting.system
    effects = _effects(setting, place, added.limits)
    beta = system.basis @ place.beta + system.offset
    eta = data.X[:, [data.names.index(name) for name in system.names]] @ beta
    for factor, codes in enumerate(rows.codes):
        varying = rows.columns[factor]
        of_level = effects[factor][codes]
        eta += of_level[:, 0] if varying is None else (varying * of_level).sum(axis=1)
    phi = np.array([_variance(setting, place, factor, column) for factor, column in data.order])
    turn = np.eye(len(beta) + 1)
    turn[:-1, :-1] = system.basis
    scaled = [effects[t][:, a] / np.sqrt(max(each, 1e-10)) for (t, a), each in zip(data.order, phi, strict=True)]
    return LaplaceSolution(
        phi=phi,
        beta=beta,
        own=np.array([place.log_sd]),
        effects=np.concatenate([*scaled, np.zeros(0)]),
        covariance=turn @ covariance_of(setting, place) @ turn.T,
        log_likelihood=place.value,
        eta=eta,
        converged=True,
        evaluations=tried,
    )


def one_column_at_a_time(
    added: AddedUp, columns: Sequence[str], start: Mapping[int, Floats] | None = None
) -> AddedColumns:
    """Tell each of some columns in turn beside those that are not among them, at the variances of these alone.

    Raises
    ------
    CannotFitError
        As for ``maximise_few_limits``.
    """
    data = added.data
    beside = [name for name in data.names if name not in columns]
    smaller, setting = added.setting(beside), added.setting()
    alone, _ = maximise(smaller, _begin(smaller, start))
    kept, told = [data.names.index(name) for name in beside], [data.names.index(name) for name in columns]
    places = with_one_more(setting, alone, kept, told)
    scale = np.array([data.back[at, at] for at in told])
    coefficients = np.array([place.beta[-1] for place in places]) * scale
    errors = np.array([math.sqrt(np.linalg.inv(bend_inside(place))[-2, -2]) for place in places]) * scale
    return AddedColumns(coefficients, errors)


def covariance_of(setting: Setting, place: Place) -> Floats:
    """Of the system's coefficients and log σ (p+1, p+1), the variances that are not at 0 having been estimated too."""
    inside = _bend_inside(setting, place)
    free = np.flatnonzero(place.phi * place.variance > _ZERO)
    size = len(free)
    bend = np.zeros((size + len(inside),) * 2)
    bend[size:, size:] = inside
    for row, at in enumerate(free):
        step = np.zeros_like(place.phi)
        step[at] = _STEP * place.phi[at]
        ends = [placed(setting, place.phi + sign * step, place) for sign in (1.0, -1.0)]
        slopes = [np.append(by_phi(setting, end)[free], by_inside(end)) for end in ends]
        change = -(slopes[0] - slopes[1]) / (2.0 * step[at])
        bend[row, size:] = bend[size:, row] = change[size:]
        bend[row, :size] += 0.5 * change[:size]
        bend[:size, row] += 0.5 * change[:size]
    scale = np.sqrt(np.abs(np.diagonal(bend)))
    scale = np.where(scale > 0, scale, 1.0)
    inverse = np.linalg.pinv(bend / np.outer(scale, scale), hermitian=True) / np.outer(scale, scale)
    return np.asarray(inverse[size:, size:])


def _bend_inside(setting: Setting, place: Place) -> Floats:
    """Minus the second derivatives by β and log σ; those of the limits along the directions that move their means."""
    variance, forms = place.variance, place.told.forms[:, :-1]
    left, size = place.solution.G @ place.turn, len(place.beta)
    bend = np.empty((size + 1, size + 1))
    bend[:size, :size] = place.solution.G[:-1, :-1] / variance
    bend[:size, size] = bend[size, :size] = 2.0 * left[:-1] / variance
    bend[size, size] = 2.0 * float(place.turn @ left) / variance
    across, lengths, along = np.linalg.svd(forms, full_matrices=False)
    moved = [_limit_slopes(setting, place, direction, 0.0) for direction in across.T]
    by_mean = across.T @ np.column_stack([m[:-1] for m in moved])
    turned = lengths[:, None] * along
    bend[:size, :size] -= turned.T @ (0.5 * (by_mean + by_mean.T)) @ turned
    by_log_sd = _limit_slopes(setting, place, np.zeros(len(forms)), 1.0)
    crossed = forms.T @ by_log_sd[:-1]
    bend[:size, size] -= crossed
    bend[size, :size] -= crossed
    bend[size, size] -= by_log_sd[-1]
    return bend


def _limit_slopes(setting: Setting, place: Place, direction: Floats, by_log_sd: float) -> Floats:
    """How the limits' slopes by their means and by log σ change along a shift of the means, or of log σ, (c+1,)."""
    step = _STEP * (1.0 if by_log_sd else math.sqrt(place.variance))
    mean = place.limits.eta - place.variance * place.told.covariance @ place.limits.pull
    slopes = []
    for sign in (step, -step):
        log_sd = place.log_sd + sign * by_log_sd
        variance = math.exp(2.0 * log_sd)
        covariance = variance * place.told.covariance
        own, pull = np.array([log_sd]), place.limits.pull
        told = limit_terms(setting.family, mean + sign * direction, covariance, own, pull)
        total = told.by_own + 2.0 * float((told.by_covariance * covariance).sum())
        slopes.append(np.append(told.by_mean, total))
    return np.asarray((slopes[0] - slopes[1]) / (2.0 * step))


def _begin(setting: Setting, start: Mapping[int, Floats] | None) -> Floats | None:
    return None if start is None else setting.parameters.vector(setting.system.block_factors(start))


def _standardised(data: Prepared, response: Floats) -> tuple[Design, Rows]:
    """The design whose columns are the standardised ones, and its rows."""
    others = [k for k, name in enumerate(data.names) if name != CONSTANT]
    names = (CONSTANT, *(data.names[k] for k in others), data.design.response)
    dense = np.column_stack([np.ones(len(response)), data.X[:, others], response])
    return replace(data.design, names=names, fixed=data.names, spec=None), replace(data.rows, dense=dense)


def _effects(setting: Setting, place: Place, limits: Rows) -> list[Floats]:
    """The random effects of each factor's levels, (q, c) each."""
    solution, system = place.solution, setting.system
    first, rest = eliminated_products(solution) @ place.turn, rest_products(solution) @ place.turn
    products = ([] if system.eliminated is None else [first]) + [rest[block.rows] for block in system.rest]
    pull = place.variance * place.limits.pull
    modes = level_modes(solution, place.told, products, pull)
    found: dict[int, Floats] = {}
    for block, factor, mode in zip(system.blocks, solution.factors, modes, strict=True):
        for part, owner in zip(block.parts, block.owners, strict=False):
            values = mode.ravel()[owner.places]
            lost = owner.places[:, 0] < 0
            if lost.any():
                codes = limits.codes[owner.factor]
                alone = np.bincount(codes, pull, len(lost)) * factor[part.start, part.start] ** 2
                values[lost, 0] = alone[lost]
            found[owner.factor] = values
    return [found[t] for t in range(len(found))]


def _variance(setting: Setting, place: Place, factor: int, column: int) -> float:
    """The variance of one random column."""
    half = setting.system.own_factor(factor, place.solution.factors)
    return float(half[column, column] ** 2) * place.variance
