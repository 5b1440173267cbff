"""May part of what a practice does run through something that follows from it?

The time that a tank rests, or stays cold, may be a consequence of what was done to it. With such a time in the model a
practice that works through it seems to do nothing. So every practice is told a second time without them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from analysis.findings.practice_rows import MAY_FOLLOW_THE_BEER, Candidate
from analysis.findings.practice_slope import Slope
from analysis.findings.wording import listing

__all__ = ["may_follow", "through_others"]

TELLING_DIFFERENCE = 2.0
NOTICEABLE = 0.3


def may_follow(candidate: Candidate) -> bool:
    """Return whether a practice may be a consequence of the beer or of another practice."""
    return candidate.practice.name in MAY_FOLLOW_THE_BEER


def through_others(
    frame: pd.DataFrame,
    candidates: Sequence[Candidate],
    together: Mapping[str, Slope],
    without_times: Mapping[str, Slope],
) -> dict[str, str]:
    """Return, by column, the sentence for each practice whose effect hides behind a time that may follow from it.

    Parameters
    ----------
    frame : DataFrame
        The fitted rows.
    candidates : sequence of Candidate
    together, without_times : mapping of column to Slope
        With the times that may follow from practices in the model, and without.
    """
    times = [c for c in candidates if may_follow(c)]
    return {
        c.column: _sentence(frame, c, times)
        for c in candidates
        if times and not may_follow(c) and _hides(together.get(c.column), without_times.get(c.column))
    }


def _hides(together: Slope | None, whole: Slope | None) -> bool:
    if together is None or whole is None:
        return False
    plain = abs(whole.estimate) >= TELLING_DIFFERENCE * whole.standard_error
    error = max(together.standard_error, whole.standard_error)
    apart = abs(whole.estimate - together.estimate) >= TELLING_DIFFERENCE * error
    shown = together.estimate * whole.estimate > 0 and (
        abs(together.estimate) >= TELLING_DIFFERENCE * together.standard_error
    )
    return plain and apart and not shown


def _sentence(frame: pd.DataFrame, candidate: Candidate, times: Sequence[Candidate]) -> str:
    columns = [candidate.column, *(t.column for t in times)]
    by_batch = frame.groupby(["recipe", "batch"])[columns].mean()
    within = by_batch - by_batch.groupby("recipe").transform("mean")
    related = within.corr()[candidate.column].abs()
    named = [t.spoken for t in times if related[t.column] >= NOTICEABLE] or [t.spoken for t in times]
    through = listing(named)
    return f"what it does may run through {through}, which may follow from it: seen as a whole it looks different"
