"""How large is an effect, and how sure is that?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from analysis.estimate import Estimate
from analysis.models.arrays import CannotFitError, Floats
from analysis.models.degrees_of_freedom import DfMethod, SmallSample, level_caps, small_sample
from analysis.models.mixed import MixedFit

__all__ = ["Contrast", "JointTest", "contrast", "interval_of", "joint_test", "weights_of"]


@dataclass(frozen=True)
class Contrast:
    """A linear combination of fixed effects with its t test.

    ``low`` and ``high`` bound the two-sided interval at ``level``; ``capped_by`` names the factor whose levels bound
    the degrees of freedom, where one does.
    """

    value: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    level: float
    t: float
    p: float
    method: str
    capped_by: str | None = None

    @property
    def df(self) -> float:
        """The degrees of freedom."""
        return self.degrees_of_freedom

    def interval(self, level: float) -> tuple[float, float]:
        """The two-sided interval at another level."""
        return interval_of(self.value, self.standard_error, self.degrees_of_freedom, level)

    def estimate(self, unit: str = "") -> Estimate:
        """The same as an ``Estimate`` in ``unit``."""
        return Estimate(self.value, self.low, self.high, unit, self.standard_error, self.degrees_of_freedom, self.level)


@dataclass(frozen=True)
class JointTest:
    """Whether several contrasts are all zero: F on (rows, degrees_of_freedom)."""

    F: float
    rows: int
    degrees_of_freedom: float
    p: float
    scale: float


def contrast(
    fit: MixedFit,
    L: str | Mapping[str, float] | ArrayLike,
    *,
    method: DfMethod = "kenward-roger",
    level: float = 0.95,
) -> Contrast:
    """Estimate one linear combination L'β of the fixed effects.

    Parameters
    ----------
    L : str, mapping or array, shape (p,)
        One column's name, weights by name, or a weight for each of ``fit.names``.
    method : "kenward-roger", "satterthwaite" or "capped"
        ``capped`` is Kenward & Roger's with the degrees of freedom bounded by the levels that the effect moves between.

    Raises
    ------
    ValueError
        If a name is no fixed column, the shape is wrong, the method is unknown or the level is not in (0, 1).
    CannotFitError
        If the combination needs a column that was dropped because the others make it.
    """
    weights = weights_of(fit.names, fit.dropped, L)
    small = small_sample(fit, method)
    shifted = fit.solution.system.basis.T @ weights
    value = float(weights @ fit.coefficients)
    standard_error = float(np.sqrt(float(shifted @ small.covariance @ shifted)))
    df, capped_by = small.degrees(shifted), None
    if method == "capped":
        df, capped_by = _capped(fit, shifted, df)
    t = value / standard_error if standard_error > 0 else float("nan")
    low, high = interval_of(value, standard_error, df, level)
    p = float(2.0 * scipy.special.stdtr(df, -abs(t)))
    return Contrast(value, standard_error, df, low, high, level, t, p, method, capped_by)


def joint_test(fit: MixedFit, rows: Sequence[str | Mapping[str, float]] | Floats) -> JointTest:
    """Test whether several combinations of the fixed effects are all zero (Kenward & Roger 1997, section 3).

    Parameters
    ----------
    rows : names, mappings, or array of shape (r, p)
        The r combinations; they must be independent.
    """
    L = np.array([weights_of(fit.names, fit.dropped, row) for row in rows]) @ fit.solution.system.basis
    small = small_sample(fit, "kenward-roger")
    values = np.array([weights_of(fit.names, fit.dropped, row) for row in rows]) @ fit.coefficients
    count = len(L)
    covariance = L @ small.covariance @ L.T
    if np.linalg.matrix_rank(L @ small.plain @ L.T) < count:
        raise ValueError("rows must be independent combinations, got some that the others make")
    scale, df = _moments(L, small, count)
    F = scale / count * float(values @ np.linalg.solve(covariance, values))
    return JointTest(F, count, df, float(scipy.special.fdtrc(count, df, F)), scale)


def weights_of(names: tuple[str, ...], dropped: tuple[str, ...], L: str | Mapping[str, float] | ArrayLike) -> Floats:
    """A combination as an array of a weight for each name (p,)."""
    if isinstance(L, str):
        return weights_of(names, dropped, {L: 1.0})
    if isinstance(L, Mapping):
        lost = [name for name in L if name in dropped]
        if lost:
            raise CannotFitError(f"{', '.join(lost)} cannot be told apart from the columns before it")
        strange = [name for name in L if name not in names]
        if strange:
            raise ValueError(f"contrast: names must be among {', '.join(names)}, got {', '.join(strange)}")
        return np.array([float(L.get(name, 0.0)) for name in names])
    weights = np.asarray(L, dtype=np.float64)
    if weights.shape != (len(names),):
        raise ValueError(f"contrast: L must have shape ({len(names)},), got {weights.shape}")
    return weights


def interval_of(value: float, standard_error: float, df: float, level: float) -> tuple[float, float]:
    """The two-sided interval of the t distribution, of the normal where ``df`` is infinite.

    Raises
    ------
    ValueError
        If the level is not in (0, 1).
    """
    if not 0 < level < 1:
        raise ValueError(f"contrast: level must lie between 0 and 1, got {level}")
    upper = 0.5 * (1.0 + level)
    reach = standard_error * float(scipy.special.ndtri(upper) if np.isinf(df) else scipy.special.stdtrit(df, upper))
    return value - reach, value + reach


def _capped(fit: MixedFit, shifted: Floats, df: float) -> tuple[float, str | None]:
    """The cap of every factor between whose levels alone the contrast moves."""
    capped_by = None
    used = np.abs(shifted) > 0
    for name, cap, between in level_caps(fit):
        if cap < df and np.all(np.array(between)[used]):
            df, capped_by = cap, name
    return df, capped_by


def _moments(L: Floats, small: SmallSample, count: int) -> tuple[float, float]:
    """The scale λ and the denominator degrees of freedom m that match the first two moments of F."""
    if count == 1:
        return 1.0, small.degrees(L[0])
    inner = np.linalg.inv(L @ small.plain @ L.T)
    turned = np.einsum("ab,bp,ipq,cq->iac", inner, L, small.slopes, L)
    singles = np.einsum("iaa->i", turned)
    a1 = float(singles @ small.of_variances @ singles)
    a2 = float(np.einsum("ij,iab,jba->", small.of_variances, turned, turned))
    b = (a1 + 6.0 * a2) / (2.0 * count)
    g = ((count + 1) * a1 - (count + 4) * a2) / ((count + 2) * a2)
    below = 3.0 * count + 2.0 * (1.0 - g)
    c1, c2, c3 = g / below, (count - g) / below, (count + 2 - g) / below
    mean = 1.0 / (1.0 - a2 / count)
    variance = 2.0 / count * (1.0 + c1 * b) / ((1.0 - c2 * b) ** 2 * (1.0 - c3 * b))
    rho = variance / (2.0 * mean**2)
    df = 4.0 + (count + 2) / (count * rho - 1.0)
    return df / (mean * (df - 2.0)), df
