"""What does one step of a practice do, in the measure's own unit, and what is said beside it?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.estimate import Estimate
from analysis.findings.practice_cautions import Notes, cautions_for
from analysis.findings.practice_model import PracticeFits
from analysis.findings.practice_rows import FEWEST_BATCHES, Candidate
from analysis.findings.practice_separation import Companion
from analysis.findings.practice_slope import Slope
from analysis.findings.practice_verdicts import PracticeEffect
from analysis.findings.wording import listing
from analysis.models import BatchesNeeded, batches_needed
from analysis.verdicts import Effect, Judgement, MarginAtLevel, Verdict, judge_family, sequence_reach

__all__ = ["AT_ONE_LOOK", "practice_effect"]

# On a log scale an end further out is beyond all numbers: hardly more batches than practices.
WIDEST = 100.0
# The interval for repeated looks is asymptotic.
FEWEST_FOR_LOOKS = 10
# How a caution on repeated looks begins.
AT_ONE_LOOK = "holds at one look"
# Of so few practices hardly any batch is used up.
MOST_UNCROWDED = 2


def practice_effect(
    candidate: Candidate,
    judgement: Judgement,
    notes: Notes,
    fits: PracticeFits,
    margin: MarginAtLevel,
    level: float,
    unit: str,
) -> PracticeEffect:
    """Return what is said of one practice.

    Parameters
    ----------
    candidate : Candidate
    judgement : Judgement
    notes : Notes
    fits : PracticeFits
    margin : MarginAtLevel
        The one that judged it.
    level : float
        That of all packs together [``unit``].
    unit : str
        The measure's kept unit.
    """
    column, log = candidate.column, margin.log
    together = fits.together[column]
    alone, without_trend = fits.alone.get(column), fits.without_trend.get(column)
    followers = notes.separation.followers.get(column, ())
    kept = _kept(together.estimate, level, log)
    batches = int(notes.frame["batch"].nunique())
    crowded = judgement.verdict is Verdict.CANNOT_TELL_YET and MOST_UNCROWDED < len(fits.together) > together.df
    return PracticeEffect(
        practice=" + ".join([candidate.name, *(f.candidate.name for f in followers)]),
        label=_with_followers(candidate.label, ", with ", followers),
        spoken=_with_followers(candidate.subject, " together with ", followers),
        step=candidate.step,
        step_unit=candidate.step_unit,
        effect=_estimate(together, judgement.low, judgement.high, level, log, unit, 0.95),
        inner=_estimate(together, judgement.inner_low, judgement.inner_high, level, log, unit, 0.90),
        percent=100 * kept / level if level else math.nan,
        judgement=judgement,
        alone=_beside(alone, level, log, unit),
        without_trend=_beside(without_trend, level, log, unit),
        batches=batches,
        needed=None if crowded else _needed(judgement, margin, batches),
        crowded=crowded,
        looked_at_often=_often(together, batches, level, log, unit),
        along=tuple(_along(f, f.candidate.spoken) for f in followers),
        selected=_selected(together, judgement, level, log, unit),
        rests_on=notes.rests_on[column].batch if column in notes.rests_on else None,
        cautions=(
            *cautions_for(candidate, notes, together=together, alone=alone, without_trend=without_trend),
            *_at_one_look(together, judgement, margin, batches),
        ),
    )


def _with_followers(name: str, joined: str, followers: Sequence[Companion]) -> str:
    """Return a practice's name with what always moves along with it."""
    along = listing([_along(f, f.candidate.spoken) for f in followers])
    return f"{name}{joined}{along}" if along else name


def _along(follower: Companion, label: str) -> str:
    """Return what moves along with a practice, the other way round where it does."""
    if follower.correlation > 0:
        return label
    return (
        f"less {label[:1].lower()}{label[1:]}"
        if follower.candidate.practice.type in ("number", "count")
        else f"no {label}"
    )


def _needed(judgement: Judgement, margin: MarginAtLevel, batches: int) -> BatchesNeeded | None:
    """Return what it would take, where it cannot be told yet and there is enough to judge the spread by.

    What lowers a verdict (a change made only once, a check that failed) does so however many batches there are.
    """
    effect = judgement.effect
    if judgement.verdict is not Verdict.CANNOT_TELL_YET or effect.lowered_by or batches < FEWEST_BATCHES:
        return None
    return batches_needed(margin.inside[1], effect.standard_error, effect.df, batches)


def _kept(value: float, level: float, log: bool) -> float:
    """Return an effect on the model's scale in the kept unit, at the level."""
    return level * math.expm1(min(value, WIDEST)) if log else value


def _estimate(slope: Slope, low: float, high: float, level: float, log: bool, unit: str, at: float) -> Estimate:
    kept = [_kept(v, level, log) for v in (slope.estimate, low, high)]
    error = slope.standard_error * (level * math.exp(min(slope.estimate, WIDEST)) if log else 1.0)
    return Estimate(kept[0], kept[1], kept[2], unit, error, slope.df, at)


def _often(slope: Slope, batches: int, level: float, log: bool, unit: str) -> Estimate | None:
    if batches < FEWEST_FOR_LOOKS:
        return None
    reach = sequence_reach(slope.standard_error, slope.df, batches)
    if log and reach > WIDEST:
        return None
    return _estimate(slope, slope.estimate - reach, slope.estimate + reach, level, log, unit, 0.95)


def _at_one_look(slope: Slope, judgement: Judgement, margin: MarginAtLevel, batches: int) -> tuple[str, ...]:
    """Return what whoever looks again and again has to know of a settled verdict."""
    verdict = judgement.verdict
    if verdict is Verdict.CANNOT_TELL_YET:
        return ()
    if batches < FEWEST_FOR_LOOKS:
        return (f"{AT_ONE_LOOK}, and with so few batches no interval holds for more",)
    reach = sequence_reach(slope.standard_error, slope.df, batches)
    low, high = slope.estimate - reach, slope.estimate + reach
    if verdict is Verdict.NO_PRACTICAL_DIFFERENCE:
        holds, until = margin.inside[0] < low and high < margin.inside[1], "lies inside the margin too"
    else:
        holds, until = low > 0 or high < 0, "leaves zero out too"
    if holds:
        return ()
    return (
        f"{AT_ONE_LOOK}: if you look every week until something shows, wait until the interval “however often you "
        f"look” {until}",
    )


def _selected(slope: Slope, judgement: Judgement, level: float, log: bool, unit: str) -> Estimate | None:
    if judgement.verdict not in (Verdict.RAISES, Verdict.LOWERS):
        return None
    return _estimate(slope, judgement.selected_low, judgement.selected_high, level, log, unit, 0.95)


def _beside(slope: Slope | None, level: float, log: bool, unit: str) -> Estimate | None:
    if slope is None:
        return None
    judged = judge_family([Effect("", slope.estimate, slope.standard_error, slope.df)], None)[0]
    return _estimate(slope, judged.low, judged.high, level, log, unit, 0.95)
