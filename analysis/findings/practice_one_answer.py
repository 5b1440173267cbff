"""Does one answer hold for every recipe, at every dose, and whatever else was done?

An effect that raises one recipe and lowers another, or that is least in the middle of its range, may be nothing on
average; to call it no practical difference would be wrong for every beer. So each practice is asked whether its slope
differs by recipe, bends with the dose, or depends on what the trade would ask after (finings in the tank, days of
rest). Every such column is added alone to the page's own model, at its variances; all these questions of a page are one
family. Only where one stands out is the model fitted again, to see whether some recipe or dose lies beyond the margin.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_shapes import (
    FINED,
    batch_knots,
    bend,
    by_recipe,
    interactions,
    partners,
    varies_enough,
)
from analysis.findings.practice_single import added_to_rows
from analysis.findings.practice_slope import Slope
from analysis.findings.practice_words import spoken_name
from analysis.models import MixedFit, fitted_rows
from analysis.models.added_columns import added_between_levels
from analysis.models.degrees_of_freedom import level_caps
from analysis.models.splines import restricted_cubic_basis
from analysis.verdicts import MarginAtLevel, adjusted_p_values

__all__ = ["BEND", "BENDS", "DEPENDS", "RECIPES", "RECIPES_DIFFER", "OneAnswer", "one_answer", "stand_out", "why_apart"]

FAMILY_RATE = 0.05
INNER = 0.90
# Doses closer to the middle than this many steps say nothing of a whole step.
LEAST_STEPS = 0.5
RECIPES, BEND = "recipes", "bend"
# How what stands against one answer begins.
RECIPES_DIFFER = "recipes differ in it beyond chance"
BENDS = "its effect bends"
DEPENDS = "it depends on"

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class OneAnswer:
    """What stands against one answer for a practice: sentences in a brewer's words, and whether it is small for each
    recipe, at each dose and either way all the same."""

    sentences: tuple[str, ...]
    small_all_the_same: bool


@dataclass(frozen=True, eq=False)
class _Question:
    """``asked`` is ``RECIPES``, ``BEND`` or the name of a partner; ``columns`` what is added to the model for it."""

    candidate: Candidate
    asked: str
    columns: Floats


def one_answer(
    page: MixedFit, frame: pd.DataFrame, candidates: Sequence[Candidate], margins: Mapping[str, MarginAtLevel]
) -> dict[str, OneAnswer]:
    """Return, by column, the practices for which one answer does not hold.

    Parameters
    ----------
    page : MixedFit
        The page's Gaussian model.
    frame : DataFrame
        The rows that it was fitted to.
    candidates : sequence of Candidate
        The design's; those that the model tells are asked of, the others may be partners.
    margins : mapping of column to MarginAtLevel
        Of those that are told.
    """
    found: dict[str, OneAnswer] = {}
    for column, asked in stand_out(page, frame, candidates).items():
        if column not in margins:
            continue
        candidate = next(c for c in candidates if c.column == column)
        small = _small_in_each(page, frame, candidate, asked, candidates, margins[column])
        found[column] = OneAnswer(tuple(_sentence(one) for one in asked), small)
    return found


def stand_out(page: MixedFit, frame: pd.DataFrame, candidates: Sequence[Candidate]) -> dict[str, tuple[str, ...]]:
    """Return, by column, the questions that a page answers with yes: ``RECIPES``, ``BEND`` or the name of a partner."""
    told = [c for c in candidates if c.column in page.names]
    grouped = any(factor.name == "batch" for factor in page.sums.design.factors)
    df = next((cap for name, cap, _ in level_caps(page) if name == "batch"), float(page.rows - len(page.names))) - 1.0
    if not told or df < 1:
        return {}
    questions = _questions(_by_batch(page, frame, candidates, grouped), told, candidates)
    if not questions:
        return {}
    columns = np.hstack([question.columns for question in questions])
    t = added_between_levels(page, "batch", columns).t if grouped else added_to_rows(page, frame, columns)[0]
    each = np.split(2.0 * stats.t.sf(np.abs(t), df), np.cumsum([q.columns.shape[1] for q in questions])[:-1])
    p = [min(1.0, float(np.nanmin(own)) * len(own)) if np.isfinite(own).any() else 1.0 for own in each]
    found: dict[str, tuple[str, ...]] = {}
    for question, adjusted in zip(questions, adjusted_p_values(p), strict=True):
        if adjusted <= FAMILY_RATE:
            column = question.candidate.column
            found[column] = (*found.get(column, ()), question.asked)
    return found


def _by_batch(page: MixedFit, frame: pd.DataFrame, candidates: Sequence[Candidate], grouped: bool) -> pd.DataFrame:
    """Return what was done to each batch, in the order of the fit's batches; the rows where each is a batch."""
    columns = [c.column for c in candidates]
    if not grouped:
        return frame[["recipe", "batch", *columns]].reset_index(drop=True)
    by_batch = frame.groupby("batch")
    means = by_batch[columns].mean().assign(recipe=by_batch["recipe"].first())
    at = [factor.name for factor in page.sums.design.factors].index("batch")
    return means.reindex([str(label) for label in page.sums.labels[at]]).reset_index(names="batch")


def _questions(batches: pd.DataFrame, told: Sequence[Candidate], candidates: Sequence[Candidate]) -> list[_Question]:
    x = batches[[c.column for c in told]].to_numpy(dtype=np.float64)
    codes, names = pd.factorize(batches["recipe"])
    member = codes[:, None] == np.arange(len(names))
    enough = np.array([varies_enough(x[own]) for own in member.T])
    within = x - ((member.T @ x) / member.sum(axis=0)[:, None])[codes]
    found = []
    for k, candidate in enumerate(told):
        if enough[:, k].sum() > 1:
            found.append(_Question(candidate, RECIPES, x[:, [k]] * member[:, enough[:, k]]))
        knots = batch_knots(batches, candidate)
        if knots is not None:
            found.append(_Question(candidate, BEND, restricted_cubic_basis(x[:, k], knots)[:, 1:]))
        for partner in partners(batches, candidate, candidates):
            values = partner.values.to_numpy(dtype=np.float64)
            found.append(_Question(candidate, partner.name, (within[:, k] * (values - values.mean()))[:, None]))
    return found


def _small_in_each(
    page: MixedFit,
    frame: pd.DataFrame,
    candidate: Candidate,
    asked: Sequence[str],
    others: Sequence[Candidate],
    margin: MarginAtLevel,
) -> bool:
    """Return whether every recipe, dose or way of doing it lies inside the margin."""
    rows = fitted_rows(page, frame)
    small = True
    if RECIPES in asked:
        recipes = by_recipe(page, rows, candidate)
        small &= recipes is not None and all(_inside(slope, margin) for slope in recipes.slopes.values())
    if BEND in asked:
        bent = bend(page, rows, candidate)
        steps = [] if bent is None else [((at - bent.reference) / candidate.step, slope) for at, slope in bent.points]
        small &= bool(steps) and all(_inside(s, margin, abs(d)) for d, s in steps if abs(d) >= LEAST_STEPS)
    if set(asked) - {RECIPES, BEND}:
        met = [each for each in interactions(page, rows, candidate, others) if each.partner in asked]
        small &= bool(met) and all(_inside(slope, margin) for each in met for slope in (each.low, each.high))
    return bool(small)


def _inside(slope: Slope, margin: MarginAtLevel, steps: float = 1.0) -> bool:
    reach = float(stats.t.ppf((1 + INNER) / 2, slope.df)) * slope.standard_error
    low, high = margin.inside
    return (slope.estimate - reach) / steps > low and (slope.estimate + reach) / steps < high


def why_apart(lowered_by: Sequence[str]) -> str:
    """Return which of ``RECIPES_DIFFER``, ``BENDS`` and ``DEPENDS`` keeps a verdict from being given; empty else."""
    first = lowered_by[0] if lowered_by else ""
    return next((begins for begins in (RECIPES_DIFFER, BENDS, DEPENDS) if first.startswith(begins)), "")


def _sentence(asked: str) -> str:
    if asked == RECIPES:
        return f"{RECIPES_DIFFER}: one answer does not hold for all of them"
    if asked == BEND:
        return f"{BENDS}: one step does not do the same at every dose"
    if asked == FINED:
        return f"{DEPENDS} whether there are finings in the tank: one answer does not hold for both"
    return f"{DEPENDS} the {spoken_name(asked)}: one answer does not hold for short and long"
