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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.findings.practice_slope import Slope
from analysis.models import (
    CannotFitError,
    CensoredRows,
    FittedRows,
    Group,
    LaplaceFit,
    MixedFit,
    Variance,
    censored_rows,
    fit_censored_rows,
    one_censored_at_a_time,
)
from analysis.models.degrees_of_freedom import level_caps

__all__ = ["CensoredModel", "Sides", "censored_sides", "censored_slopes", "fit_censored"]

Floats = npt.NDArray[np.float64]

CENSORED = "censored"


@dataclass(frozen=True, eq=False)
class CensoredModel:
    """A fitted model of readings of which some are limits, with the face of the Gaussian fit.

    ``expected`` (n,) holds the readings on the model's scale, and for each limit the mean of what lies beyond it.
    """

    laplace: LaplaceFit
    expected: Floats
    readings: CensoredRows = field(repr=False)

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


@dataclass(frozen=True)
class Sides:
    """What stands beside the joint model, by column: each practice alone, and all of them without the smooth in time
    or without the times that may follow from practices."""

    alone: dict[str, Slope]
    without_trend: dict[str, Slope]
    without_times: dict[str, Slope]


def fit_censored(read: FittedRows) -> CensoredModel:
    """Fit readings and limits; the column ``censored`` of the frame says which are limits.

    Raises
    ------
    CannotFitError
        If every reading is a limit on the same side, or the rows cannot carry the model.
    """
    rows = censored_rows(read, censored=CENSORED)
    fitted = fit_censored_rows(rows)
    side = read.frame.loc[read.rows.kept, CENSORED].to_numpy(dtype=np.float64)
    expected = _expected(rows.known, side, fitted.linear_predictor, math.exp(float(fitted.own[0])))
    return CensoredModel(fitted, expected, rows)


def censored_slopes(fitted: LaplaceFit, workings: MixedFit, columns: Sequence[str]) -> dict[str, Slope]:
    """Return the slopes with the small-sample allowance that the module states.

    Parameters
    ----------
    fitted : LaplaceFit
        With all or some of the columns of ``workings``.
    workings : MixedFit
        The joint formula fitted to the expected readings: it says which columns move between batches only.
    """
    found, at_batches = {}, _at_batches(workings)
    for column in columns:
        if column in fitted.names:
            df, wider = _allowance(column, fitted.names, workings, at_batches)
            told = fitted.contrast(column, df=df)
            found[column] = Slope(told.value, told.standard_error * wider, df)
    return found


def censored_sides(
    model: CensoredModel,
    workings: MixedFit,
    together: dict[str, Slope],
    trend: Sequence[str],
    times: Sequence[str],
) -> Sides | None:
    """Return what stands beside the joint model, of the same likelihood; None where limits are so many that each of
    these fits would take seconds, or the exact readings alone cannot carry one.

    Parameters
    ----------
    together : mapping of column to Slope
        The practices; each keeps its degrees of freedom where it is told alone, which are rather too few.
    trend, times : sequences of columns
        The smooth in time, and the times that may follow from practices.
    """
    if not model.readings.few:
        return None
    columns = list(together)
    try:
        return Sides(
            alone=_alone(model, workings, together),
            without_trend=_without(model, workings, columns, trend) if trend else dict(together),
            without_times=_without(model, workings, columns, times) if times else {},
        )
    except (CannotFitError, np.linalg.LinAlgError):  # where the joint model hardly stands, a part of it may not
        return None


def _without(model: CensoredModel, workings: MixedFit, columns: Sequence[str], gone: Sequence[str]) -> dict[str, Slope]:
    kept = [name for name in model.names if name not in gone]
    fitted = fit_censored_rows(model.readings, kept, start=model.laplace)
    return censored_slopes(fitted, workings, [column for column in columns if column not in gone])


def _alone(model: CensoredModel, workings: MixedFit, together: dict[str, Slope]) -> dict[str, Slope]:
    told = one_censored_at_a_time(model.readings, list(together), start=model.laplace)
    at_batches = _at_batches(workings)
    beside = [name for name in model.names if name not in together]
    found = {}
    for k, (column, slope) in enumerate(together.items()):
        _, wider = _allowance(column, [*beside, column], workings, at_batches)
        found[column] = Slope(float(told.coefficients[k]), float(told.standard_errors[k]) * wider, slope.df)
    return found


def _at_batches(workings: MixedFit) -> dict[str, bool]:
    """Which columns move between batches only: none where every batch has a single row, which then count as such."""
    between = next((moves for name, _, moves in level_caps(workings) if name == "batch"), None)
    if between is None:
        return dict.fromkeys(workings.names, False)
    return dict(zip(workings.names, between, strict=True))


def _allowance(
    column: str, names: Sequence[str], workings: MixedFit, at_batches: Mapping[str, bool]
) -> tuple[float, float]:
    """Degrees of freedom, and what a standard error is multiplied by, in a model of these columns."""
    if not at_batches[column]:
        df = float(max(workings.rows - len(names), 1))
        return df, math.sqrt((df + len(names)) / df)
    spent = sum(at_batches[name] for name in names)
    df = float(max(next(group.levels for group in workings.groups if group.name == "batch") - spent, 1))
    return df, math.sqrt((df + spent) / df)


def _expected(values: Floats, side: Floats, predicted: Floats, sigma: float) -> Floats:
    """Each reading, or the mean of a normal beyond its limit."""
    z = side * (values - predicted) / sigma  # of "<" the limit lies above what is meant, of ">" below it
    beyond = predicted + side * sigma * np.exp(stats.norm.logpdf(z) - stats.norm.logsf(z))
    return np.where(side == 0, values, beyond)
