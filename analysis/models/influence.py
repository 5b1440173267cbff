"""On which batch, recipe, tank or panellist does an effect rest?

Every level of a factor is left out in turn, by subtracting its cross products from those of all rows.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.arrays import Bools, CannotFitError, Floats
from analysis.models.cross_products import Accumulator, CrossProducts
from analysis.models.design import Rows
from analysis.models.fitted_rows import FittedRows, fitted_rows
from analysis.models.mixed import MixedFit, fit_sums
from analysis.models.threads import one_thread

__all__ = ["Influence", "leave_one_out"]


@dataclass(frozen=True)
class Influence:
    """The fixed effects without each level of a factor.

    ``coefficients`` and ``standard_errors`` (L, p) belong to ``names``, with NaN where the effect cannot be told
    without the level; ``rows`` (L,) are the rows left out.
    """

    factor: str
    levels: tuple[Hashable, ...]
    rows: tuple[int, ...]
    names: tuple[str, ...]
    coefficients: Floats
    standard_errors: Floats
    full: Floats
    full_standard_errors: Floats

    def shifts(self, name: str) -> Floats:
        """How far leaving each level out moves an effect, in its standard errors (L,)."""
        k = self._place(name)
        return np.asarray((self.coefficients[:, k] - self.full[k]) / self.full_standard_errors[k])

    def most(self, name: str) -> tuple[Hashable, float]:
        """The level that moves an effect most, and the effect without it; a level that carries it alone comes first."""
        moved = np.abs(self.shifts(name))
        at = int(np.argmax(np.where(np.isnan(moved), np.inf, moved)))
        return self.levels[at], float(self.coefficients[at, self._place(name)])

    def _place(self, name: str) -> int:
        if name not in self.names:
            raise ValueError(f"name must be one of {', '.join(self.names)}, got {name!r}")
        return self.names.index(name)


def leave_one_out(fit: MixedFit, frame: pd.DataFrame | FittedRows, factor: str) -> Influence:
    """Leave each level of a column out and fit again.

    Parameters
    ----------
    frame : DataFrame or FittedRows
        The rows that the model was fitted to.
    factor : str
        Any column of the frame, whether or not the model uses it.

    Raises
    ------
    ValueError
        If the frame has no such column or is not what was fitted.
    """
    read = frame if isinstance(frame, FittedRows) else fitted_rows(fit, frame)
    if factor not in read.frame.columns:
        raise ValueError(f"factor must be a column of the frame, got {factor!r}")
    codes, levels = pd.factorize(read.frame.loc[read.rows.kept, factor], sort=True)
    coefficients = np.full((len(levels), len(fit.names)), np.nan)
    errors = np.full_like(coefficients, np.nan)
    with one_thread():
        for level in range(len(levels)):
            without = _without(fit, fit.sums, read.rows, codes == level)
            if without is None:
                continue
            places = [fit.names.index(name) for name in without.names]
            coefficients[level, places] = without.coefficients
            errors[level, places] = without.standard_errors
    return Influence(
        factor=factor,
        levels=tuple(levels),
        rows=tuple(int(n) for n in np.bincount(codes, minlength=len(levels))),
        names=fit.names,
        coefficients=coefficients,
        standard_errors=errors,
        full=fit.coefficients,
        full_standard_errors=fit.standard_errors,
    )


def _without(fit: MixedFit, sums: CrossProducts, rows: Rows, left_out: Bools) -> MixedFit | None:
    part = Accumulator(sums.design, levels_from=sums)
    part.add_rows(rows.take(left_out))
    groups = [group.name for group in fit.groups]
    try:
        left = sums.minus(part.result())
        return fit_sums(left, fixed=fit.names, groups=groups, method=fit.method, start=fit)
    except CannotFitError:
        return None
