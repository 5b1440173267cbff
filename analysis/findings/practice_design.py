"""Which model is fitted: on which scale, with what beside the practices, over which rows?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.findings.practice_rows import Candidate, ComparedRows, LeftOut
from analysis.models import CannotFitError, ScaleChoice, choose_scale, quoted
from analysis.models.splines import restricted_cubic_basis
from analysis.vocabulary import Measure

__all__ = ["PracticeDesign", "design_for"]

RESPONSE = "response"
FEWEST_RANDOM_LEVELS = 5
HAZE = ("haze", "haze_forward")
TREND_FROM_BATCHES = 20
TREND_FROM_DAYS = 120.0
# Knots at these quantiles of the packing dates: Harrell, F. E. (2015), Regression Modeling Strategies, table 2.3.
_FOUR_KNOTS = (0.05, 0.35, 0.65, 0.95)
_THREE_KNOTS = (0.10, 0.50, 0.90)
_FOUR_KNOTS_FROM_BATCHES = 60


@dataclass(frozen=True)
class PracticeDesign:
    """A model's frame and its parts.

    ``frame`` holds the complete rows, with ``response`` on the model's scale (the log where ``log`` is true).
    ``beside`` are the fixed columns that stand beside the practices, ``trend`` the columns of the smooth in time among
    them, and ``random`` the grouping factors. ``censored`` says that some reading is only a bound; ``scale`` why the
    scale is what it is.
    """

    frame: pd.DataFrame
    candidates: tuple[Candidate, ...]
    beside: tuple[str, ...]
    trend: tuple[str, ...]
    random: tuple[str, ...]
    log: bool
    censored: bool
    left_out: tuple[LeftOut, ...]
    scale: ScaleChoice = field(default_factory=lambda: ScaleChoice("log", 0.0, ""))

    def formula(self, candidates: Sequence[Candidate] | None = None, *, with_trend: bool = True) -> str:
        """Return the formula with these candidates, all of the design's where none are named."""
        chosen = self.candidates if candidates is None else candidates
        beside = [term for term in self.beside if with_trend or term not in self.trend]
        fixed = [*beside, *(candidate.column for candidate in chosen)]
        terms = [*(quoted(term) for term in fixed), *(f"(1|{quoted(group)})" for group in self.random)]
        return f"{RESPONSE} ~ {' + '.join(terms) or '1'}"


def design_for(compared: ComparedRows, measure: Measure, leaders: Sequence[Candidate]) -> PracticeDesign:
    """Return the model of a measure with the candidates that can be told apart.

    A practice that does not apply to a batch (the rest since a rouse, where none was) is filled with its recipe's mean
    and marked by a column of its own, so that it neither drops the batch nor counts as a value. Rows without a cellar
    log, or with a practice that was not written down, are left out and counted.

    Parameters
    ----------
    compared : ComparedRows
    measure : Measure
    leaders : sequence of Candidate
    """
    frame, marks = _filled(compared.frame, leaders)
    complete = frame[[candidate.column for candidate in leaders]].notna().all(axis=1)
    left_out = list(compared.left_out)
    if not complete.all():
        left_out.append(
            LeftOut("of batches without a cellar log, or with a practice not written down", int((~complete).sum()))
        )
    frame = _once_a_batch(frame[complete].reset_index(drop=True), left_out)
    scale = _scale(frame, measure)
    log = scale.scale == "log"
    frame = frame.assign(response=np.log(frame["y"]) if log else frame["y"])
    trend = _trend(frame)
    frame = pd.concat([frame, trend], axis=1)
    return PracticeDesign(
        frame=frame,
        candidates=tuple(leaders),
        beside=(
            *_standing_beside(frame, measure),
            *(mark for mark in marks if _varies(frame[mark])),
            *trend.columns,
        ),
        trend=tuple(trend.columns),
        random=_random(frame, measure, compared.spreads),
        log=log,
        scale=scale,
        censored=bool((frame["censored"] != 0).any()),
        left_out=tuple(left_out),
    )


def _once_a_batch(frame: pd.DataFrame, left_out: list[LeftOut]) -> pd.DataFrame:
    """Return the frame with one row a batch where all rows of every batch read exactly alike: a mean that was copied
    says nothing of how packs spread."""
    copied = frame.duplicated(["batch", "y", "censored"])
    if not copied.any() or not frame.loc[~copied, "batch"].is_unique:
        return frame
    left_out.append(LeftOut("that repeat the one reading of their batch", int(copied.sum())))
    return frame[~copied].reset_index(drop=True)


def _filled(frame: pd.DataFrame, leaders: Sequence[Candidate]) -> tuple[pd.DataFrame, list[str]]:
    """Fill the candidates that do not apply to a batch, and mark where."""
    columns = [candidate.column for candidate in leaders]
    has_log = frame[columns].notna().any(axis=1) if columns else pd.Series(True, index=frame.index)
    filled, marks = frame.copy(), []
    for candidate in leaders:
        if not candidate.practice.may_not_apply:
            continue
        missing = filled[candidate.column].isna() & has_log
        if missing.any():
            usual = filled.groupby("recipe")[candidate.column].transform("mean")
            usual = usual.fillna(filled[candidate.column].mean())
            mark = f"not_{candidate.column}"
            filled = filled.assign(
                **{candidate.column: filled[candidate.column].where(~missing, usual), mark: missing.astype(np.float64)}
            )
            marks.append(mark)
    return filled, marks


def _standing_beside(frame: pd.DataFrame, measure: Measure) -> list[str]:
    """Return the fixed columns that every model has: the recipe, the meter, and the age of the pack."""
    beside = ["recipe"] if _varies(frame["recipe"]) else []
    if 1 < frame["meter"].nunique() < FEWEST_RANDOM_LEVELS:
        beside.append("meter")
    if frame["age_days"].notna().all() and frame["age_days"].std() > 0:
        beside.append("age_days")
    if measure.is_tasting and 1 < frame["panellist"].nunique() < FEWEST_RANDOM_LEVELS:
        beside.append("panellist")
    return beside


def _random(frame: pd.DataFrame, measure: Measure, spreads: Sequence[str]) -> tuple[str, ...]:
    """Return the grouping factors: batches (unless each has a single row, which is then the batch itself), runs where a
    batch has several, then whatever has enough levels."""
    groups = ["batch"] if 1 < frame["batch"].nunique() < len(frame) else []
    if FEWEST_RANDOM_LEVELS <= frame["batch"].nunique() < frame["run"].nunique():
        groups.append("run")
    groups += ["meter"] if frame["meter"].nunique() >= FEWEST_RANDOM_LEVELS else []
    groups += ["panellist"] if measure.is_tasting and frame["panellist"].nunique() >= FEWEST_RANDOM_LEVELS else []
    groups += ["session"] if measure.is_tasting and _is_session(frame) else []
    groups += [spread for spread in spreads if frame[spread].nunique() >= FEWEST_RANDOM_LEVELS]
    return tuple(groups)


def _is_session(frame: pd.DataFrame) -> bool:
    """Return whether days of tasting are something else than runs: what a panel scores on one day may move together."""
    days, runs = frame["session"].nunique(), frame["run"].nunique()
    pairs = len(frame[["run", "session"]].drop_duplicates())
    return bool(days >= FEWEST_RANDOM_LEVELS and (pairs > runs or days < runs))


def _scale(frame: pd.DataFrame, measure: Measure) -> ScaleChoice:
    """Return the scale on which packs spread evenly: of haze it is looked up in the packs, for it depends on the beer.

    Oxygen is told in shares always; a tasting score, a temperature as it is.
    """
    if measure.scale != "log" or not (frame["y"] > 0).all():
        return ScaleChoice("linear", 0.0, "")
    usual = ScaleChoice("log", 0.0, "")
    if measure.name not in HAZE or (frame["censored"] != 0).any() or frame["batch"].nunique() < FEWEST_RANDOM_LEVELS:
        return usual
    recipe = "recipe + " if _varies(frame["recipe"]) else ""
    try:
        return choose_scale(f"y ~ {recipe}(1|batch)", frame[["y", "recipe", "batch"]])
    except CannotFitError:
        return usual


def _trend(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a smooth in time, where there are enough batches over enough days to tell it from the batches."""
    batches = frame["batch"].nunique()
    if batches < TREND_FROM_BATCHES or np.ptp(frame["day"]) < TREND_FROM_DAYS:
        return pd.DataFrame(index=frame.index)
    quantiles = _FOUR_KNOTS if batches >= _FOUR_KNOTS_FROM_BATCHES else _THREE_KNOTS
    by_run = frame.groupby("run")["day"].first()
    knots = np.quantile(by_run, quantiles)
    if not (np.diff(knots) > 0).all():  # packed on a few days only: recipes and batches say all that time could
        return pd.DataFrame(index=frame.index)
    basis = restricted_cubic_basis(frame["day"].to_numpy(np.float64), knots)
    return pd.DataFrame(basis, index=frame.index, columns=[f"trend_{i}" for i in range(1, basis.shape[1] + 1)])


def _varies(column: pd.Series) -> bool:
    return bool((column != column.iloc[0]).any()) if len(column) else False
