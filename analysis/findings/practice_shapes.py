"""Is a practice's effect the same in every recipe, at every dose, and whatever else was done?

Each question is one more fit of the page's model with a few columns more. Which of a page's many such questions are to
be answered with yes is told in ``practice_one_answer``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_rows import FEWEST_ON_A_SIDE, Candidate, where_it_varies
from analysis.findings.practice_slope import Slope
from analysis.models import CannotFitError, FittedRows, MixedFit, fit_with, joint_test
from analysis.models.contrasts import Contrast, contrast
from analysis.models.splines import CurvePoint, Spline, curve, knots_for, nonlinearity

__all__ = [
    "FINED",
    "Bend",
    "ByRecipe",
    "Interaction",
    "Partner",
    "batch_knots",
    "bend",
    "by_recipe",
    "interactions",
    "partners",
    "varies_enough",
]

FEWEST_BATCHES_OF_A_RECIPE = 6
FOUR_KNOTS_FROM_BATCHES = 60
CURVE_POINTS = 7
REST = ("hours_since_finings", "hours_since_rouse")
FINED = "fined"

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ByRecipe:
    """The slope in each recipe that the practice varied in, and the p of the test that they are all one."""

    slopes: Mapping[str, Slope]
    p: float


@dataclass(frozen=True)
class Bend:
    """The effect at each dose [the practice's unit] less that at ``reference``, and the p of the test of no bend."""

    points: tuple[tuple[float, Slope], ...]
    reference: float
    p: float


@dataclass(frozen=True, eq=False)
class Partner:
    """Another practice on which an effect may depend: its kept name (or that there are finings), its values row by row,
    and what one of them is in its own unit."""

    name: str
    values: pd.Series
    step: float


@dataclass(frozen=True)
class Interaction:
    """The slope of one step where another practice is low (or not done) and where it is high (or done)."""

    partner: str
    low_at: float
    high_at: float
    low: Slope
    high: Slope
    p: float


def by_recipe(page: MixedFit, rows: FittedRows, candidate: Candidate) -> ByRecipe | None:
    """Return the slope by recipe, or None where fewer than two recipes can carry one.

    Parameters
    ----------
    page : MixedFit
        The page's model.
    rows : FittedRows
        The rows that it was fitted to.
    candidate : Candidate
    """
    frame, column = rows.frame, candidate.column
    recipes = _recipes_that_vary(frame, column)
    if len(recipes) < 2:
        return None
    added = {f"{column} in {r}": frame[column] * (frame["recipe"] == r) for r in recipes[1:]}
    fit = _refit(page, rows, added)
    if fit is None or column not in fit.names:
        return None
    own = [name for name in added if name in fit.names]
    if len(own) < len(added):
        return None
    slopes = {recipes[0]: _slope(fit, {column: 1.0})}
    slopes |= {r: _slope(fit, {column: 1.0, name: 1.0}) for r, name in zip(recipes[1:], own, strict=True)}
    return ByRecipe(slopes, joint_test(fit, own).p) if _all_told(slopes.values()) else None


def bend(page: MixedFit, rows: FittedRows, candidate: Candidate) -> Bend | None:
    """Return the dose–response curve of a number, or None where too few doses were seen.

    Knots and doses are those of the recipes in which the dose varied: no curve is drawn to a dose of 0 that only other
    recipes had.
    """
    frame = rows.frame
    knots = batch_knots(frame, candidate)
    if knots is None:
        return None
    spline = Spline(candidate.column, knots)
    bent = spline.added_to(frame)
    fit = _refit(page, rows, {name: bent[name] for name in spline.bends})
    if fit is None or not {candidate.column, *spline.bends} <= set(fit.names):
        return None
    low, middle, high = np.quantile(_doses(frame, candidate.column), (0.05, 0.5, 0.95))
    doses = np.linspace(low, high, CURVE_POINTS)
    with np.errstate(all="ignore"):
        points = curve(fit, spline, doses.tolist(), float(middle), method="capped")
    told = [(p.at * candidate.step, _from_middle(p, float(middle))) for p in points]
    if not _all_told(slope for _, slope in told):
        return None
    return Bend(tuple(told), float(middle) * candidate.step, nonlinearity(fit, spline).p)


def _from_middle(point: CurvePoint, middle: float) -> Slope:
    """Return a dose's effect against the middle, which at the middle itself is nothing to the last digit."""
    told = _as_slope(point.difference)
    return Slope(0.0, 0.0, told.df) if math.isclose(point.at, middle, rel_tol=1e-9, abs_tol=1e-12) else told


def batch_knots(frame: pd.DataFrame, candidate: Candidate) -> tuple[float, ...] | None:
    """Return the knots of a practice's curve [steps], None where it is no number or had too few doses."""
    if candidate.practice.type != "number":
        return None
    doses = _doses(frame, candidate.column)
    try:
        return knots_for(doses, 4 if len(doses) >= FOUR_KNOTS_FROM_BATCHES else 3)
    except CannotFitError:
        return None


def _doses(frame: pd.DataFrame, column: str) -> Floats:
    """Return each batch's dose, of the recipes in which it varied."""
    first = where_it_varies(frame, column) & ~frame["batch"].duplicated().to_numpy()
    return frame[column].to_numpy(dtype=np.float64)[first]


def interactions(
    page: MixedFit, rows: FittedRows, candidate: Candidate, others: Sequence[Candidate]
) -> tuple[Interaction, ...]:
    """Return the interactions that the trade asks for: rousing with finings in the tank or not, a dose by its rest."""
    found = (_interaction(page, rows, candidate, partner) for partner in partners(rows.frame, candidate, others))
    return tuple(each for each in found if each is not None)


def partners(frame: pd.DataFrame, candidate: Candidate, others: Sequence[Candidate]) -> list[Partner]:
    """Return what the trade asks whether a practice's effect depends on, of what is on record in ``frame``."""
    by_name = {o.practice.name: o for o in others if o.column != candidate.column}
    found: list[Partner] = []
    name = candidate.practice.name
    if name in ("rouse_minutes", "rouse_count") and "finings_count" in by_name:
        found.append(Partner(FINED, (frame[by_name["finings_count"].column] > 0).astype(np.float64), 1.0))
    if name.endswith("_dose") or name == "dry_hop_rate":
        rests = ("dry_hop_days",) if name == "dry_hop_rate" else REST
        found += [Partner(r, frame[by_name[r].column], by_name[r].step) for r in rests if r in by_name]
    return found


def _interaction(page: MixedFit, rows: FittedRows, candidate: Candidate, partner: Partner) -> Interaction | None:
    frame, column, values = rows.frame, candidate.column, partner.values
    product = f"{candidate.column} with {partner.name}"
    seen = where_it_varies(frame, column)
    batches = values[seen].groupby(frame.loc[seen, "batch"]).first()
    low, high = (0.0, 1.0) if partner.name == FINED else tuple(float(q) for q in batches.quantile([0.1, 0.9]))
    if not low < high or min((batches > low).sum(), (batches < high).sum()) < FEWEST_ON_A_SIDE:
        return None
    added = {product: frame[column] * values} | ({FINED: values} if partner.name == FINED else {})
    fit = _refit(page, rows, added)
    if fit is None or not {column, product} <= set(fit.names):
        return None
    ends = [_slope(fit, {column: 1.0, product: at}) for at in (low, high)]
    if not _all_told(ends):
        return None
    tested = contrast(fit, product, method="capped")
    return Interaction(partner.name, low * partner.step, high * partner.step, ends[0], ends[1], tested.p)


def varies_enough(doses: Floats) -> npt.NDArray[np.bool_]:
    """Return for each practice whether a recipe's batches (n, k) are enough, and were now one way and now another."""
    changed = (np.abs(doses - np.median(doses, axis=0)) > 1e-9).sum(axis=0)
    return np.asarray((len(doses) >= FEWEST_BATCHES_OF_A_RECIPE) & (changed >= FEWEST_ON_A_SIDE))


def _recipes_that_vary(frame: pd.DataFrame, column: str) -> list[str]:
    by_batch = frame.groupby(["recipe", "batch"])[column].first()
    return [
        str(r) for r, own in by_batch.groupby("recipe") if varies_enough(own.to_numpy(dtype=np.float64)[:, None])[0]
    ]


def _refit(page: MixedFit, rows: FittedRows, added: Mapping[str, pd.Series]) -> MixedFit | None:
    columns = {name: values.to_numpy(dtype=np.float64)[rows.rows.kept] for name, values in added.items()}
    try:
        return fit_with(page, rows, columns)
    except CannotFitError:
        return None


def _slope(fit: MixedFit, weights: Mapping[str, float]) -> Slope:
    with np.errstate(all="ignore"):
        return _as_slope(contrast(fit, weights, method="capped"))


def _all_told(slopes: Iterable[Slope]) -> bool:
    """Return whether Kenward and Roger's series stands for every slope: with hardly more batches than columns it breaks
    down, and the question is not answered."""
    return all(math.isfinite(s.standard_error) and s.df >= 1.0 for s in slopes)


def _as_slope(told: Contrast) -> Slope:
    return Slope(told.value, told.standard_error, told.df)
