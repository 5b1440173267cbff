"""What does each practice shift, alone and together with the others, and is the fit to be believed?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.findings.practice_censored import CensoredModel, Sides, censored_sides, censored_slopes, fit_censored
from analysis.findings.practice_design import PracticeDesign
from analysis.findings.practice_memory import Memory, memory_of, widened
from analysis.findings.practice_rows import FEWEST_BATCHES
from analysis.findings.practice_slope import Slope
from analysis.findings.practice_through import may_follow
from analysis.findings.wording import count
from analysis.models import CannotFitError, MixedFit, fit_read, fit_sums, read_rows
from analysis.models.added_columns import one_at_a_time
from analysis.models.contrasts import contrast
from analysis.models.degrees_of_freedom import level_caps
from analysis.models.threads import one_thread

__all__ = ["PracticeFits", "Slope", "fit_practices"]


@dataclass(frozen=True)
class PracticeFits:
    """The fits that a page of verdicts rests on, each a mapping of a candidate's column to its slope.

    ``together``: with all other practices and the smooth in time; ``alone``: without the other practices, at the
    variances of the model without any; ``without_trend``: with the other practices, without the smooth;
    ``without_times``: without the times that may follow from practices. A column that another set of columns makes is
    in none of them and stands in ``fit.dropped``. ``why_not`` is empty, or says why nothing could be fitted.

    ``fit`` is the model that ``together`` comes from. ``workings`` is the Gaussian one that checks, controls and
    influence come from, and ``frame`` the rows it was fitted to: the same model where every reading is exact; where
    some are limits, each of those stands there as the reading to be expected below (or above) its limit, and where
    limits are many the other mappings come from it too. ``memory`` says by how much intervals are wider because
    neighbouring batches are alike.
    """

    together: dict[str, Slope]
    alone: dict[str, Slope]
    without_trend: dict[str, Slope]
    without_times: dict[str, Slope]
    fit: MixedFit | CensoredModel | None
    workings: MixedFit | None = None
    frame: pd.DataFrame | None = None
    memory: Memory = field(default_factory=Memory)
    why_not: str = ""


@one_thread()
def fit_practices(design: PracticeDesign) -> PracticeFits:
    """Fit a design: all practices together, each alone, and all without the smooth in time.

    The rows are added up once; every one of these models is a part of the same sums.

    Returns
    -------
    PracticeFits
        With ``why_not`` where the rows cannot carry the model.
    """
    if design.censored and (why := _hardly_any_exact(design)):
        return PracticeFits({}, {}, {}, {}, None, why_not=why)
    try:
        read = read_rows(design.formula(), design.frame)
        censored = fit_censored(read) if design.censored else None
        rows = read if censored is None else read.with_response(censored.expected)
        fit = fit_read(rows)
    except CannotFitError as error:
        return PracticeFits({}, {}, {}, {}, None, why_not=str(error))
    frame = design.frame if censored is None else design.frame.assign(response=censored.expected)
    columns = [c.column for c in design.candidates if c.column in fit.names]
    times = [c.column for c in design.candidates if may_follow(c) and c.column in columns]
    memory = memory_of(fit, rows)
    with np.errstate(invalid="ignore"):  # a likelihood that is flat in a slope has no standard error for it
        plain = _slopes(fit, columns) if censored is None else censored_slopes(censored.laplace, fit, columns)
        together = widened({column: slope for column, slope in plain.items() if _is_told(slope)}, memory)
        sides = None if censored is None else censored_sides(censored, fit, together, design.trend, times)
    if sides is None:
        sides = _sides(fit, columns, together, design.trend, times)
    return PracticeFits(
        together=together,
        alone=sides.alone,
        without_trend=widened(sides.without_trend, memory) if design.trend else dict(together),
        without_times=widened(sides.without_times, memory),
        fit=fit if censored is None else censored,
        workings=fit,
        frame=frame,
        memory=memory,
    )


def _is_told(slope: Slope) -> bool:
    """Return whether the likelihood says how sure a slope is: with hardly more batches than practices, and limits among
    the readings, it may be flat in one."""
    return math.isfinite(slope.estimate) and 0 < slope.standard_error < math.inf


def _hardly_any_exact(design: PracticeDesign) -> str:
    """Return why nothing can be told where hardly a batch has a reading that is more than a limit; "" where some do."""
    exact = int(design.frame.loc[design.frame["censored"] == 0, "batch"].nunique())
    if exact >= FEWEST_BATCHES:
        return ""
    have = "no batch has" if not exact else f"only {count(exact, 'batch has', 'batches have')}"
    return f"{have} a reading that is more than a limit (“<” or “>”); at least {FEWEST_BATCHES} are needed"


def _sides(
    fit: MixedFit, columns: list[str], together: dict[str, Slope], trend: Sequence[str], times: Sequence[str]
) -> Sides:
    """What stands beside the Gaussian model."""
    beside = [name for name in fit.names if name not in columns]
    without = [name for name in fit.names if name not in trend]
    try:
        return Sides(
            alone=_alone(fit, beside, columns, together),
            without_trend=_slopes(fit_sums(fit.sums, fixed=without, start=fit), columns) if trend else {},
            without_times=_without_times(fit, times, columns),
        )
    except CannotFitError:  # where the joint model hardly stands, a part of it may not
        return Sides({}, {}, {})


def _without_times(fit: MixedFit, times: Sequence[str], columns: list[str]) -> dict[str, Slope]:
    if not times:
        return {}
    left = [name for name in fit.names if name not in times]
    return _slopes(fit_sums(fit.sums, fixed=left, start=fit), [c for c in columns if c not in times])


def _alone(fit: MixedFit, beside: Sequence[str], columns: list[str], together: dict[str, Slope]) -> dict[str, Slope]:
    """Each practice without the others, with the degrees of freedom that it has among them: rather too few."""
    if not columns:
        return {}
    told = one_at_a_time(fit, fit_sums(fit.sums, fixed=beside, start=fit), columns)
    each = zip(columns, told.coefficients.tolist(), told.standard_errors.tolist(), strict=True)
    return {c: Slope(value, error, together[c].df) for c, value, error in each if error > 0 and c in together}


def _slopes(fit: MixedFit, columns: Sequence[str]) -> dict[str, Slope]:
    return {column: _slope(fit, column) for column in columns if column in fit.names and column not in fit.dropped}


def _slope(fit: MixedFit, column: str) -> Slope:
    """Kenward and Roger's, unless their series breaks down, as it does with hardly more batches than practices: then
    the plain standard error with the batches that are left over as degrees of freedom."""
    with np.errstate(invalid="ignore"):
        tested = contrast(fit, column, method="capped")
    at = fit.names.index(column)
    plain = float(fit.standard_errors[at])
    if tested.standard_error > 0 and tested.df >= 1.0:
        return Slope(tested.value, max(tested.standard_error, plain), tested.df)
    caps = [cap for _, cap, between in level_caps(fit) if between[at]]
    return Slope(tested.value, plain, max(min(caps, default=1.0), 1.0))
