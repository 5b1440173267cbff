"""What does each practice shift, alone and together with the others, and is the fit to be believed?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings.practice_design import PracticeDesign
from analysis.models import CannotFitError, MixedFit, accumulate, fit_sums
from analysis.models.contrasts import contrast

__all__ = ["PracticeFits", "Slope", "fit_practices"]


@dataclass(frozen=True)
class Slope:
    """The effect of one step on the model's scale, its standard error and its degrees of freedom."""

    estimate: float
    standard_error: float
    df: float


@dataclass(frozen=True)
class PracticeFits:
    """The fits that a page of verdicts rests on, each a mapping of a candidate's column to its slope.

    ``together``: with all other practices and the smooth in time; ``alone``: without the other practices;
    ``without_trend``: with the other practices, without the smooth. A column that another set of columns makes is in
    none of them and stands in ``fit.dropped``. ``why_not`` is empty, or says why nothing could be fitted.
    """

    together: dict[str, Slope]
    alone: dict[str, Slope]
    without_trend: dict[str, Slope]
    fit: MixedFit | None
    why_not: str = ""


def fit_practices(design: PracticeDesign) -> PracticeFits:
    """Fit a design: all practices together, each alone, and all without the smooth in time.

    The rows are added up once; every one of these models is a part of the same sums.

    Returns
    -------
    PracticeFits
        With ``why_not`` where the rows cannot carry the model.
    """
    try:
        sums = accumulate(design.formula(), design.frame)
        fit = fit_sums(sums)
    except CannotFitError as error:
        return PracticeFits({}, {}, {}, None, str(error))
    columns = [c.column for c in design.candidates if c.column in fit.names]
    beside = [name for name in fit.names if name not in columns]
    without = [name for name in beside if name not in design.trend]
    alone = {c: _slopes(fit_sums(sums, fixed=[*beside, c], start=fit), [c]).get(c) for c in columns}
    untrended = fit_sums(sums, fixed=[*without, *columns], start=fit) if design.trend else fit
    return PracticeFits(
        together=_slopes(fit, columns),
        alone={c: slope for c, slope in alone.items() if slope is not None},
        without_trend=_slopes(untrended, columns),
        fit=fit,
    )


def _slopes(fit: MixedFit, columns: Sequence[str]) -> dict[str, Slope]:
    found = {}
    for column in columns:
        if column in fit.names and column not in fit.dropped:
            tested = contrast(fit, column, method="capped")
            found[column] = Slope(tested.value, tested.standard_error, tested.df)
    return found
