"""Where does a dose's effect bend?

The restricted cubic spline: cubic between the knots, straight beyond the first and the last, because few batches lie
there. Its first column is the dose itself, so that a test of the others is one of a bend.

Source: Harrell 2015, Regression Modeling Strategies, 2nd edition, section 2.4.5, and table 2.3 for the knots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.contrasts import Contrast, JointTest, contrast, joint_test
from analysis.models.degrees_of_freedom import DfMethod
from analysis.models.formula import quoted
from analysis.models.mixed import MixedFit

__all__ = ["CurvePoint", "Spline", "curve", "knots_for", "nonlinearity", "restricted_cubic_basis"]

_QUANTILES = {3: (0.1, 0.5, 0.9), 4: (0.05, 0.35, 0.65, 0.95), 5: (0.05, 0.275, 0.5, 0.725, 0.95)}


@dataclass(frozen=True)
class Spline:
    """A column's spline: ``knots`` in the column's units, ascending, at least three."""

    column: str
    knots: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.knots) < 3 or any(b <= a for a, b in zip(self.knots, self.knots[1:], strict=False)):
            raise ValueError(f"Spline: knots must be at least three and ascend, got {self.knots}")

    @property
    def bends(self) -> tuple[str, ...]:
        """The names of the columns beside the dose itself."""
        return tuple(f"{self.column} bend {k}" for k in range(1, len(self.knots) - 1))

    @property
    def terms(self) -> str:
        """What stands for it in a formula."""
        return " + ".join(quoted(name) for name in (self.column, *self.bends))

    def added_to(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The frame with the spline's further columns."""
        basis = restricted_cubic_basis(frame[self.column].to_numpy(dtype=np.float64), self.knots)
        return frame.assign(**{name: basis[:, k] for k, name in enumerate(self.bends, start=1)})


@dataclass(frozen=True)
class CurvePoint:
    """The response at ``at`` less that at the reference."""

    at: float
    difference: Contrast


def restricted_cubic_basis(x: ArrayLike, knots: ArrayLike) -> Floats:
    """Return the columns of a restricted cubic spline: x itself and its bends, straight beyond the outer knots.

    Parameters
    ----------
    x : array, shape (n,)
    knots : array, shape (k,)
        At least three, rising.

    Returns
    -------
    array, shape (n, k − 1)
        ``x``, then k − 2 bends in units of the first, divided by the squared distance of the outer knots.

    Raises
    ------
    ValueError
        If there are fewer than three knots or they do not rise.
    """
    at, places = np.asarray(knots, dtype=np.float64), np.asarray(x, dtype=np.float64)
    if at.size < 3 or np.any(np.diff(at) <= 0):
        raise ValueError(f"restricted_cubic_basis: knots must be at least three and rise, got {at.tolist()}")
    last, before = at[-1], at[-2]
    beyond = np.maximum(places[:, None] - at, 0.0) ** 3
    pull = (last - at[:-2]) / (last - before)
    bends = beyond[:, :-2] - beyond[:, [-2]] * pull + beyond[:, [-1]] * (pull - 1.0)
    return np.column_stack([places, bends / (last - at[0]) ** 2])


def knots_for(x: ArrayLike, count: int = 4) -> tuple[float, ...]:
    """Knots at the quantiles that Harrell recommends, for 3, 4 or 5 knots.

    Raises
    ------
    ValueError
        If the count is another.
    CannotFitError
        If too few different values are there for the knots to ascend.
    """
    if count not in _QUANTILES:
        raise ValueError(f"count must be 3, 4 or 5, got {count}")
    values = np.asarray(x, dtype=np.float64)
    knots = tuple(float(k) for k in np.quantile(values[np.isfinite(values)], _QUANTILES[count]))
    if len(set(knots)) < count:
        raise CannotFitError(f"too few different values for {count} knots")
    return knots


def nonlinearity(fit: MixedFit, spline: Spline) -> JointTest:
    """Test whether the effect bends at all.

    Raises
    ------
    CannotFitError
        If a bend was dropped because other columns make it.
    """
    return joint_test(fit, spline.bends)


def curve(
    fit: MixedFit,
    spline: Spline,
    at: Sequence[float],
    reference: float,
    *,
    method: DfMethod = "kenward-roger",
    level: float = 0.95,
) -> tuple[CurvePoint, ...]:
    """The response at each dose less that at the reference, with pointwise intervals."""
    doses = np.append(np.asarray(at, dtype=np.float64), reference)
    columns = restricted_cubic_basis(doses, spline.knots)
    differences = columns[:-1] - columns[-1]
    names = (spline.column, *spline.bends)
    points = []
    for dose, row in zip(at, differences, strict=True):
        weights = dict(zip(names, row.tolist(), strict=True))
        points.append(CurvePoint(float(dose), contrast(fit, weights, method=method, level=level)))
    return tuple(points)
