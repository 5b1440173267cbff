"""What does a fit say of each level, and of each row?

The modes of the random effects are b = ΦZ'V⁻¹(y − Xβ), the best linear unbiased predictions; their errors have the
covariance σ²(Φ − ΦZ'PZΦ) (Robinson 1991, Statistical Science 6, 15–32). The fitted values are Xβ + Zb = (I − P)y, so
that a row's leverage is 1 − P_ii.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.arrays import Bools, Floats, Ints
from analysis.models.blocks import Block
from analysis.models.design import Rows
from analysis.models.fitted_rows import FittedRows
from analysis.models.gradient import eliminated_products, rest_kernel, rest_products
from analysis.models.information import LevelProducts
from analysis.models.levels import places_among
from analysis.models.mixed import MixedFit
from analysis.models.scaling import by_level
from analysis.models.threads import one_thread

__all__ = ["LevelEffects", "RowFit", "level_effects", "row_fit"]

_CHUNK = 2_000


@dataclass(frozen=True)
class LevelEffects:
    """The predicted effects of a factor's levels: ``values`` and ``standard_errors`` (q, c) [response units]."""

    group: str
    columns: tuple[str, ...]
    levels: tuple[Hashable, ...]
    values: Floats
    standard_errors: Floats


@dataclass(frozen=True)
class RowFit:
    """What the fit makes of the complete rows of a frame.

    ``kept`` (rows of the frame,) marks them; ``fitted`` with the random effects, ``fixed_part`` without, ``residuals``
    (n,) [response units]; ``leverages`` (n,) in [0, 1], and ``standardised`` residuals r / (σ √(1 − h)).
    """

    kept: Bools
    fitted: Floats
    fixed_part: Floats
    residuals: Floats
    leverages: Floats
    standardised: Floats


def level_effects(fit: MixedFit) -> tuple[LevelEffects, ...]:
    """The predicted random effects of every factor."""
    with one_thread():
        modes = _modes(fit)
        inner = LevelProducts(fit.solution)
        found: dict[int, LevelEffects] = {}
        for k, (block, factor) in enumerate(zip(fit.solution.system.blocks, fit.solution.factors, strict=True)):
            phi = factor @ factor.T
            with_fixed = by_level(_products(fit)[k][:, :-1], block.levels)
            projected = inner.level_blocks(k) - with_fixed @ fit.solution.unscaled @ with_fixed.transpose(0, 2, 1)
            left = np.diagonal(phi - phi @ projected @ phi, axis1=1, axis2=2)
            errors = np.sqrt(np.maximum(left, 0.0) * fit.residual_variance)
            for each in block.owners:
                owner, labels = fit.sums.design.factors[each.factor], fit.sums.labels[each.factor]
                absent = each.places < 0
                values = np.where(absent, 0.0, modes[k].ravel()[each.places])
                spread = np.where(absent, errors.max(), errors.ravel()[each.places])
                found[each.factor] = LevelEffects(owner.name, owner.columns, labels, values, spread)
    return tuple(found[factor] for factor in sorted(found))


def row_fit(fit: MixedFit, frame: pd.DataFrame | FittedRows) -> RowFit:
    """Fitted values, residuals and leverages of a frame's complete rows, or of those that were fitted and read before.

    Levels that the fit has not seen have a random effect of 0.

    Raises
    ------
    ValueError
        If the frame lacks a column of the formula.
    """
    rows = frame.rows if isinstance(frame, FittedRows) else fit.sums.design.rows(frame)
    places = [fit.sums.names.index(name) for name in fit.names]
    fixed_part = rows.dense[:, places] @ fit.coefficients
    fitted = fixed_part.copy()
    modes = _modes(fit)
    for k, block in enumerate(fit.solution.system.blocks):
        of_row, varying = _block_rows(fit, rows, block)
        fitted += (varying * modes[k][of_row]).sum(axis=1)
    residuals = rows.dense[:, -1] - fitted
    with one_thread():
        leverages = _leverages(fit, rows)
    scale = np.sqrt(fit.residual_variance * np.maximum(1.0 - leverages, 1e-12))
    return RowFit(rows.kept, fitted, fixed_part, residuals, leverages, residuals / scale)


def _products(fit: MixedFit) -> list[Floats]:
    """Z_t'V⁻¹D of each block."""
    system = fit.solution.system
    rest = rest_products(fit.solution)
    first = [eliminated_products(fit.solution)] if system.eliminated is not None else []
    return first + [rest[block.rows] for block in system.rest]


def _modes(fit: MixedFit) -> list[Floats]:
    results = []
    pairs = zip(_products(fit), fit.solution.system.blocks, fit.solution.factors, strict=True)
    for products, block, factor in pairs:
        residual = products[:, -1] - products[:, :-1] @ fit.solution.coefficients
        results.append(residual.reshape(block.levels, block.width) @ (factor @ factor.T))
    return results


def _codes(fit: MixedFit, rows: Rows, factor: int) -> Ints:
    """The rows' levels as the fit numbers them, −1 where it has not seen one."""
    return places_among(rows.labels[factor], fit.sums.labels[factor])[rows.codes[factor]]


def _block_rows(fit: MixedFit, rows: Rows, block: Block) -> tuple[Ints, Floats]:
    """Each row's level of a block (n,) and the values of its columns (n, c), 0 where the fit has not seen the level."""
    of_row = np.zeros(len(rows.dense), dtype=np.int64)
    varying = np.zeros((len(rows.dense), block.width))
    for owner in block.owners:
        codes = _codes(fit, rows, owner.factor)
        known = np.flatnonzero((codes >= 0) & (owner.places[codes, 0] >= 0))
        level, column = np.divmod(owner.places[codes[known]], block.width)
        of_row[known] = level[:, 0]
        columns = rows.columns[owner.factor]
        varying[known[:, None], column] = 1.0 if columns is None else columns[known]
    return of_row, varying


def _leverages(fit: MixedFit, rows: Rows) -> Floats:
    """1 − P_ii, some rows at a time."""
    count = len(rows.dense)
    result = np.zeros(count)
    system = fit.solution.system
    kernel = rest_kernel(fit.solution)
    placed = [_block_rows(fit, rows, block) for block in system.blocks]
    for start in range(0, count, _CHUNK):
        chunk = slice(start, min(start + _CHUNK, count))
        result[chunk] = _chunk_leverages(fit, rows, placed, kernel, chunk)
    return result


def _chunk_leverages(
    fit: MixedFit, rows: Rows, placed: list[tuple[Ints, Floats]], kernel: Floats, chunk: slice
) -> Floats:
    solution, system = fit.solution, fit.solution.system
    size = chunk.stop - chunk.start
    places = [fit.sums.names.index(name) for name in fit.names]
    fixed = (rows.dense[chunk] - fit.sums.shift)[:, places] if 0 in places else rows.dense[chunk][:, places]
    rest, leverage = np.zeros((size, len(kernel))), np.zeros(size)
    first, reduction = system.eliminated, system.reduction
    of_blocks = placed if first is None else placed[1:]
    for block, (of_row, varying) in zip(system.rest, of_blocks, strict=True):
        for a in range(block.width):
            rest[np.arange(size), block.start + of_row[chunk] * block.width + a] = varying[chunk, a]
    if first is not None and reduction is not None:
        of_row, varying = placed[0][0][chunk], placed[0][1][chunk]
        phi = solution.factors[0] @ solution.factors[0].T
        weighted = np.einsum("na,nab->nb", varying, (phi @ solution.shrink)[of_row])
        leverage += (weighted * varying).sum(axis=1)
        at = (of_row * first.width)[:, None] + np.arange(first.width)
        for a in range(first.width):
            of_rest = reduction.rest[at[:, a]]
            rest -= weighted[:, [a]] * (of_rest if isinstance(of_rest, np.ndarray) else of_rest.toarray())
            fixed = fixed - weighted[:, [a]] * reduction.dense[at[:, a], :-1]
    turned = rest @ kernel
    leverage += (turned * rest).sum(axis=1)
    fixed = fixed - turned @ solution.ND[:, :-1]
    return np.asarray(leverage + np.einsum("np,pq,nq->n", fixed, solution.unscaled, fixed))
