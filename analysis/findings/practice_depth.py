"""What stands behind one verdict: on what does it rest, where does it bend, and does it hold for every recipe?

Computed for one practice when somebody opens it, so that the page's first answer stays fast.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from analysis.estimate import Estimate
from analysis.findings.practice_one_answer import BEND, RECIPES, stand_out
from analysis.findings.practice_rows import Candidate, where_it_varies
from analysis.findings.practice_shapes import FINED, bend, by_recipe, interactions
from analysis.findings.practice_slope import Slope
from analysis.findings.practice_verdicts import BEYOND_TELLING, PracticeEffect, PracticesFinding
from analysis.findings.practice_words import dose_in_words, spoken_name
from analysis.findings.wording import change, percent
from analysis.models import (
    CannotFitError,
    FittedRows,
    MixedFit,
    NormalityCheck,
    SpreadCheck,
    fitted_rows,
    leave_one_out,
    normality,
    row_fit,
)
from analysis.models import spread_against_level as spread_check
from analysis.models.threads import one_thread
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES

__all__ = ["Checks", "CurveDot", "PartnerSlope", "PracticeDepth", "RecipeLevel", "RecipeSlope", "Without", "deepen"]

FEWEST_RECIPES = 4
# Recipes whose means lie closer say nothing of a whole step.
LEAST_STEPS_BETWEEN = 0.5
# On a log scale an end further out is beyond all numbers: hardly more batches than practices.
WIDEST = 100.0
# A level that holds more of the batches carries every verdict, which is no news.
MOST_OF_BATCHES = 1 / 3


@dataclass(frozen=True)
class RecipeSlope:
    """The effect of one step within one recipe [the measure's kept unit]."""

    recipe: str
    effect: Estimate


@dataclass(frozen=True)
class RecipeLevel:
    """A recipe's typical value, and what one step comes to there [the measure's kept unit]."""

    recipe: str
    level: float
    effect: Estimate


@dataclass(frozen=True)
class CurveDot:
    """The effect at a dose [the practice's unit] less that at the middle one [the measure's kept unit]."""

    at: float
    effect: Estimate


@dataclass(frozen=True)
class PartnerSlope:
    """The effect of one step where another practice is low (or not done), and where it is high (or done), and whether
    the two differ beyond chance."""

    partner: str
    low_at: float
    high_at: float
    low: Estimate
    high: Estimate
    p: float
    differs: bool


@dataclass(frozen=True)
class Without:
    """The recipe or tank whose leaving out moves the effect most, the effect without it [kept unit], and whether the
    verdict would fall; ``effect`` is None where it cannot be told without it."""

    factor: str
    level: str
    effect: Estimate | None
    falls: bool


@dataclass(frozen=True)
class Checks:
    """Of the whole model: are residuals normal, do they spread evenly, how much does the heaviest reading weigh?"""

    normality: NormalityCheck
    spread: SpreadCheck
    largest_leverage: float

    def as_document(self) -> dict[str, object]:
        """Return them as a JSON document."""
        return {
            "normal_p": _number(self.normality.p),
            "spread_p": _number(self.spread.p),
            "largest_leverage": _number(self.largest_leverage),
        }


@dataclass(frozen=True)
class PracticeDepth:
    """What stands behind one verdict.

    ``within`` is the slope within recipes, which the verdict is about; ``at_levels`` what that comes to at each
    recipe's own level, where effects are shares and it varied in several recipes; ``between`` the slope over the
    recipes' means, which is about brewing other beers. ``by_recipe`` and ``curve`` are empty where recipes do not
    differ, or the effect does not bend, beyond chance, after allowing for all such questions of the page; their
    p-values are those of the question by itself, NaN where it could not be asked. ``looked_at_often`` holds however
    often the page is looked at; it is None below ten batches, ``checks`` where there are too few packs.
    """

    practice: str
    within: Estimate
    at_levels: tuple[RecipeLevel, ...]
    between: Estimate | None
    recipes_differ_p: float
    by_recipe: tuple[RecipeSlope, ...]
    bends_p: float
    curve: tuple[CurveDot, ...]
    interactions: tuple[PartnerSlope, ...]
    without: tuple[Without, ...]
    looked_at_often: Estimate | None
    checks: Checks | None
    sentences: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return it as a JSON document."""
        return {
            "practice": self.practice,
            "within_recipes": _document(self.within),
            "at_levels": [
                {"recipe": r.recipe, "level": r.level, **(_document(r.effect) or {})} for r in self.at_levels
            ],
            "between_recipes": _document(self.between),
            "recipes_differ_p": _number(self.recipes_differ_p),
            "by_recipe": [{"recipe": r.recipe, **(_document(r.effect) or {})} for r in self.by_recipe],
            "bends_p": _number(self.bends_p),
            "curve": [{"at": d.at, **(_document(d.effect) or {})} for d in self.curve],
            "interactions": [
                {"with": i.partner, "p": i.p, "differs": i.differs, "low_at": i.low_at, "high_at": i.high_at,
                 "low": _document(i.low), "high": _document(i.high)}
                for i in self.interactions
            ],
            "without": [
                {"factor": w.factor, "level": w.level, "effect": _document(w.effect), "falls": w.falls}
                for w in self.without
            ],
            "looked_at_often": _document(self.looked_at_often),
            "checks": None if self.checks is None else self.checks.as_document(),
            "sentences": list(self.sentences),
        }  # fmt: skip


@one_thread()
def deepen(finding: PracticesFinding, practice: str) -> PracticeDepth:
    """Look behind one verdict of a finding.

    Parameters
    ----------
    finding : PracticesFinding
    practice : str
        As it stands in ``finding.practices``; of several that move together, their name joined or the first.

    Raises
    ------
    ValueError
        If the finding tells no such practice.
    """
    effect = next((e for e in finding.practices if practice in (e.practice, e.practice.split(" + ")[0])), None)
    if effect is None or finding.grounds is None:
        raise ValueError(
            f"practice must be one of {', '.join(e.practice for e in finding.practices) or 'none'}, got {practice!r}"
        )
    grounds = finding.grounds
    candidate = next(c for c in grounds.design.candidates if c.name == effect.judgement.effect.name)
    kept = _kept_by(finding)
    page, frame, rows = grounds.workings, grounds.frame, fitted_rows(grounds.workings, grounds.frame)
    recipes, bent = by_recipe(page, rows, candidate), bend(page, rows, candidate)
    met = interactions(page, rows, candidate, grounds.design.candidates)
    differs = stand_out(page, frame, grounds.design.candidates).get(candidate.column, ())
    depth = PracticeDepth(
        practice=effect.practice,
        within=effect.effect,
        at_levels=_at_levels(effect, finding, frame, candidate.column),
        between=_between(frame, candidate, kept),
        recipes_differ_p=math.nan if recipes is None else recipes.p,
        by_recipe=()
        if recipes is None or RECIPES not in differs
        else tuple(RecipeSlope(r, kept(s)) for r, s in recipes.slopes.items()),
        bends_p=math.nan if bent is None else bent.p,
        curve=() if bent is None or BEND not in differs else tuple(CurveDot(at, kept(s)) for at, s in bent.points),
        interactions=tuple(
            PartnerSlope(i.partner, i.low_at, i.high_at, kept(i.low), kept(i.high), i.p, i.partner in differs)
            for i in met
        ),
        without=_without_each(page, rows, candidate, effect, kept),
        looked_at_often=effect.looked_at_often,
        checks=_checks(page, rows),
        sentences=(),
    )
    return PracticeDepth(**{**vars(depth), "sentences": _sentences(depth, finding, candidate)})


def _kept_by(finding: PracticesFinding) -> Callable[[Slope], Estimate]:
    """Return what turns a slope on the model's scale into the kept unit at the finding's level."""
    level, log, unit = finding.level or 0.0, finding.log, finding.measure.unit

    def kept(slope: Slope) -> Estimate:
        reach = float(stats.t.ppf(0.975, slope.df)) * slope.standard_error
        ends = (slope.estimate, slope.estimate - reach, slope.estimate + reach)
        told = [level * math.expm1(min(v, WIDEST)) if log else v for v in ends]
        error = slope.standard_error * (level * math.exp(min(slope.estimate, WIDEST)) if log else 1.0)
        return Estimate(told[0], told[1], told[2], unit, error, slope.df, 0.95)

    return kept


def _at_levels(
    effect: PracticeEffect, finding: PracticesFinding, frame: pd.DataFrame, column: str
) -> tuple[RecipeLevel, ...]:
    """Return one step in the kept unit at each recipe's level, the mean over its batches on the model's scale, for the
    recipes in which the practice varied."""
    varied = frame[where_it_varies(frame, column)]
    if not (finding.log and finding.level) or varied["recipe"].nunique() < 2:
        return ()
    if effect.effect.high > BEYOND_TELLING * finding.level:
        return ()
    by_batch = varied.groupby(["recipe", "batch"])["response"].mean()
    told, found = effect.effect, []
    for recipe, mean in by_batch.groupby("recipe").mean().items():
        level = math.exp(mean)
        share = level / finding.level
        own = replace(
            told,
            value=told.value * share,
            low=told.low * share,
            high=told.high * share,
            standard_error=told.standard_error * share,
        )
        found.append(RecipeLevel(str(recipe), level, own))
    return tuple(found)


def _between(frame: pd.DataFrame, candidate: Candidate, kept: Callable[[Slope], Estimate]) -> Estimate | None:
    """Return the slope over the recipes' means, of the means of their batches."""
    by_batch = frame.groupby(["recipe", "batch"])[["response", candidate.column]].mean()
    means = by_batch.groupby("recipe").mean()
    if len(means) < FEWEST_RECIPES or np.ptp(means[candidate.column]) < LEAST_STEPS_BETWEEN:
        return None
    told = stats.linregress(means[candidate.column], means["response"])
    return kept(Slope(float(told.slope), float(told.stderr), float(len(means) - 2))) if told.stderr > 0 else None


def _without_each(
    fit: MixedFit,
    rows: FittedRows,
    candidate: Candidate,
    effect: PracticeEffect,
    kept: Callable[[Slope], Estimate],
) -> tuple[Without, ...]:
    frame = rows.frame
    factors = [f for f in ("recipe", "level_tank") if f in frame and len(frame[f].unique()) > 1]
    return tuple(_without(fit, rows, factor, candidate, effect, kept) for factor in factors)


def _without(
    fit: MixedFit,
    rows: FittedRows,
    factor: str,
    candidate: Candidate,
    effect: PracticeEffect,
    kept: Callable[[Slope], Estimate],
) -> Without:
    frame, found = rows.frame, leave_one_out(fit, rows, factor)
    level, value = found.most(candidate.column)
    at, column = found.levels.index(level), found.names.index(candidate.column)
    error = float(found.standard_errors[at, column])
    name = factor.removeprefix("level_")
    if not (math.isfinite(value) and error > 0):
        return Without(name, str(level), None, effect.verdict is not Verdict.CANNOT_TELL_YET)
    df = max(effect.judgement.effect.df - 1.0, 1.0)
    p = 2.0 * float(stats.t.sf(abs(value) / error, df))
    turned = value * effect.judgement.effect.estimate < 0 or p > 0.05
    own = frame.loc[frame[factor] == level, "batch"].nunique() / frame["batch"].nunique()
    falls = turned and own <= MOST_OF_BATCHES and effect.verdict in (Verdict.RAISES, Verdict.LOWERS)
    return Without(name, str(level), kept(Slope(value, error, df)), falls)


def _checks(fit: MixedFit, rows: FittedRows) -> Checks | None:
    told = row_fit(fit, rows)
    try:
        return Checks(
            normality(told.standardised), spread_check(told.residuals, told.fitted), float(np.max(told.leverages))
        )
    except CannotFitError:  # too few packs to check the model by
        return None


def _sentences(depth: PracticeDepth, finding: PracticesFinding, candidate: Candidate) -> tuple[str, ...]:
    level, unit = finding.level or math.nan, candidate.practice.unit

    def told(estimate: Estimate) -> str:
        return percent(100 * estimate.value / level) if finding.log else change(estimate.value, estimate.unit)

    said = []
    if depth.by_recipe:
        each = "; ".join(f"{r.recipe} {told(r.effect)}" for r in depth.by_recipe)
        said.append(f"recipes differ in it: {each}")
    if depth.curve:
        first, last = depth.curve[0], depth.curve[-1]
        said.append(
            f"the effect bends: against the middle, {told(first.effect)} at {dose_in_words(first.at, unit)} and "
            f"{told(last.effect)} at {dose_in_words(last.at, unit)}"
        )
    for met in depth.interactions:
        if met.differs:
            said.append(f"it depends on {_partner(met)}: {told(met.low)} and {told(met.high)}")
    said += [f"rests on {w.factor} {w.level}: without it this could not be told" for w in depth.without if w.falls]
    return tuple(said)


def _partner(met: PartnerSlope) -> str:
    if met.partner == FINED:
        return "finings in the tank, without and with them"
    low, high = (dose_in_words(at, PRACTICES[met.partner].unit) for at in (met.low_at, met.high_at))
    return f"{spoken_name(met.partner)}, at {low} and {high}"


def _document(estimate: Estimate | None) -> dict[str, object] | None:
    if estimate is None:
        return None
    return {"effect": estimate.value, "low": estimate.low, "high": estimate.high}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
