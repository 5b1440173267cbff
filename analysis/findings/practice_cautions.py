"""What must a brewer know before acting on a verdict?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.findings.practice_influence import RestsOn
from analysis.findings.practice_joint import JointStatement
from analysis.findings.practice_memory import Memory
from analysis.findings.practice_once import ChangedOnce
from analysis.findings.practice_one_answer import OneAnswer
from analysis.findings.practice_rounding import Lost, rounding_caution
from analysis.findings.practice_rows import Candidate, where_it_varies
from analysis.findings.practice_separation import Companion, Separation
from analysis.findings.practice_slope import Slope
from analysis.findings.practice_words import dose_in_words
from analysis.findings.wording import MINUS, count, figure, listing

__all__ = ["Notes", "cautions_for", "together_note"]

# Two slopes that differ by more than this many standard errors tell different stories.
TELLING_DIFFERENCE = 2.0


@dataclass(frozen=True)
class Notes:
    """What is known beside the fits: the fitted rows, what moves together, what changed once, what hides behind a time
    that may follow from it (both by column), the joint statements, the batch that a verdict rests on, what coarse
    writing takes off an effect, how alike neighbouring batches are, what may be a consequence of the beer, and where
    one answer does not hold for every recipe, dose or way of doing it."""

    frame: pd.DataFrame
    separation: Separation
    once: Mapping[str, ChangedOnce]
    hidden: Mapping[str, str]
    joint: tuple[JointStatement, ...]
    rests_on: Mapping[str, RestsOn] = field(default_factory=dict)
    lost: Mapping[str, Lost] = field(default_factory=dict)
    memory: Memory = field(default_factory=Memory)
    follows: Mapping[str, str] = field(default_factory=dict)
    uneven: Mapping[str, OneAnswer] = field(default_factory=dict)


def cautions_for(
    candidate: Candidate,
    notes: Notes,
    *,
    together: Slope,
    alone: Slope | None,
    without_trend: Slope | None,
) -> tuple[str, ...]:
    """Return the cautions of one verdict, in a brewer's words, the weightiest first."""
    column, separation, once = candidate.column, notes.separation, notes.once
    said = [
        *(statement.sentence for statement in notes.joint if column in statement.columns),
        together_note(candidate, separation.followers.get(column, ())),
        *(notes.uneven[column].sentences if column in notes.uneven else ()),
        _partly_together(separation.companions.get(column, ())),
        once[column].sentence if column in once else "",
        notes.memory.sentence(column),
        notes.rests_on[column].sentence if column in notes.rests_on else "",
        _tells_otherwise(together, alone, "alone", "part of it may run through another practice"),
        _tells_otherwise(together, without_trend, "without allowing for drift over time", "it may be the season"),
        notes.hidden.get(column, ""),
        notes.follows.get(column, ""),
        rounding_caution(candidate, notes.lost.get(column)),
        _range_seen(candidate, notes.frame),
    ]
    return tuple(caution for caution in said if caution)


def together_note(candidate: Candidate, followers: tuple[Companion, ...]) -> str:
    """Return the sentence that names the practices whose effects cannot be told from this one's."""
    if not followers:
        return ""
    names = [f"{f.candidate.spoken} (correlation {_told(f.correlation)}{_as_much(candidate, f)})" for f in followers]
    return f"moves together with {listing(names)}: cannot separate these; the effect is that of all together"


def _as_much(candidate: Candidate, follower: Companion) -> str:
    """Return how much of a dose goes with one step of another, in brackets behind the correlation."""
    if {candidate.practice.type, follower.candidate.practice.type} != {"number"}:
        return ""
    much = float(f"{abs(follower.steps) * follower.candidate.step:.2g}")
    of_it = dose_in_words(much, follower.candidate.practice.unit)
    return f", about {of_it} {'more' if follower.steps > 0 else 'less'} of it with one step"


def _partly_together(companions: tuple[Companion, ...]) -> str:
    if not companions:
        return ""
    closest = sorted(companions, key=lambda c: -abs(c.correlation))[:3]
    names = [f"{c.candidate.spoken} (correlation {_told(c.correlation)})" for c in closest]
    return f"moves in part with {listing(names)}, which widens its interval"


def _told(correlation: float) -> str:
    return f"{correlation:.2f}".replace("-", MINUS)


def _tells_otherwise(together: Slope, other: Slope | None, how: str, why: str) -> str:
    if other is None:
        return ""
    error = max(together.standard_error, other.standard_error)
    if abs(other.estimate - together.estimate) < TELLING_DIFFERENCE * error:
        return ""
    return f"looks different {how}: {why}"


def _range_seen(candidate: Candidate, frame: pd.DataFrame) -> str:
    if candidate.practice.type in ("yes_no", "category"):
        batches = frame.loc[frame[candidate.column] > 0, "batch"].nunique()
        return f"seen in {count(batches, 'batch', 'batches')} of {frame['batch'].nunique():,}"
    varied = where_it_varies(frame, candidate.column)
    values = frame[candidate.column].to_numpy(dtype=np.float64)[varied] * candidate.step
    low, high = (float(end) for end in np.quantile(values, (0.02, 0.98)))
    unit = candidate.practice.unit
    if candidate.practice.type == "count":
        return f"range seen {low:.0f} to {high:.0f} {unit}".rstrip() + "; nothing is said beyond it"
    if unit in ("h", "d"):
        days = 24.0 if unit == "h" else 1.0
        low, high, unit = low / days, high / days, "days"
    return f"range seen {figure(low)} to {figure(high, unit)}; nothing is said beyond it"
