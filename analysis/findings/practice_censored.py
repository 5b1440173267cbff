"""What does each practice shift where some readings are only limits, such as "<5"?

The log-normal mixed model with each row's own limit. A limit never enters as a value: leaving "<" out, or putting the
limit or half of it in, bends every slope.

Its variances are by maximum likelihood, too small by what the coefficients used up, and it has no degrees of freedom of
its own. So for an effect that moves only between the B batches, among b coefficients that do (a constant one counts),
the standard error is multiplied by √(B / (B − b)) and its t distribution has B − b degrees of freedom; for one that
moves within batches the same with the n readings and all p coefficients. Without limits this is what restricted
maximum likelihood comes to in a balanced design.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.findings.practice_design import RESPONSE, PracticeDesign
from analysis.findings.practice_slope import Slope
from analysis.models import Group, LaplaceFit, MixedFit, Variance, censored_mixed
from analysis.models.degrees_of_freedom import level_caps

__all__ = ["CensoredModel", "censored_slopes", "fit_censored"]

Floats = npt.NDArray[np.float64]

CENSORED = "censored"


@dataclass(frozen=True, eq=False)
class CensoredModel:
    """A fitted model of readings of which some are limits, with the face of the Gaussian fit.

    ``expected`` (n,) holds the readings on the model's scale, and for each limit the mean of what lies beyond it.
    """

    laplace: LaplaceFit
    expected: Floats

    @property
    def residual_variance(self) -> float:
        """σ² of single packs [model's scale, squared]."""
        return math.exp(2.0 * float(self.laplace.own[0]))

    @property
    def variances(self) -> tuple[Variance, ...]:
        """Of the random terms."""
        return self.laplace.variances

    @property
    def groups(self) -> tuple[Group, ...]:
        """The grouping factors."""
        return self.laplace.groups

    @property
    def names(self) -> tuple[str, ...]:
        """The fixed columns."""
        return self.laplace.names

    @property
    def dropped(self) -> tuple[str, ...]:
        """Fixed columns that the others make."""
        return self.laplace.dropped

    @property
    def at_zero(self) -> tuple[str, ...]:
        """Random terms whose variance is estimated as 0."""
        return self.laplace.at_zero

    @property
    def rows(self) -> int:
        """How many readings and limits."""
        return self.laplace.rows

    @property
    def missing(self) -> int:
        """Rows left out because a value was missing."""
        return self.laplace.missing


def fit_censored(design: PracticeDesign) -> CensoredModel:
    """Fit the design to readings and limits.

    Raises
    ------
    CannotFitError
        If every reading is a limit on the same side, or the rows cannot carry the model.
    """
    fitted = censored_mixed(design.formula(), design.frame, censored=CENSORED)
    values = design.frame[RESPONSE].to_numpy(dtype=np.float64)
    side = design.frame[CENSORED].to_numpy(dtype=np.float64)
    return CensoredModel(fitted, _expected(values, side, fitted.linear_predictor, math.exp(float(fitted.own[0]))))


def censored_slopes(fit: CensoredModel, workings: MixedFit, columns: Sequence[str]) -> dict[str, Slope]:
    """Return the slopes with the small-sample allowance that the module states.

    Parameters
    ----------
    workings : MixedFit
        The same formula fitted to the expected readings: it says which columns move between batches only.
    """
    caps = {name: (cap, between) for name, cap, between in level_caps(workings)}
    cap, between = caps["batch"]
    spent = sum(between)
    found = {}
    for column in columns:
        if column not in fit.names:
            continue
        at_batches = between[workings.names.index(column)]
        df = cap if at_batches else float(max(fit.rows - len(fit.names), 1))
        used = spent if at_batches else len(fit.names)
        told = fit.laplace.contrast(column, df=df)
        found[column] = Slope(told.value, told.standard_error * math.sqrt((df + used) / df), df)
    return found


def _expected(values: Floats, side: Floats, predicted: Floats, sigma: float) -> Floats:
    """Each reading, or the mean of a normal beyond its limit."""
    z = side * (values - predicted) / sigma  # of "<" the limit lies above what is meant, of ">" below it
    beyond = predicted + side * sigma * np.exp(stats.norm.logpdf(z) - stats.norm.logsf(z))
    return np.where(side == 0, values, beyond)
