"""Which part of each chart lies within the dates that were asked about?

Limits, signals and moves come from the whole series: a filter of dates chooses what is shown, never what the limits are
made from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analysis.findings.filters import Filters
from analysis.findings.series import Series

__all__ = ["shown"]


def shown(series: Sequence[Series], filters: Filters) -> tuple[Series, ...]:
    """Return the series cut to the dates asked about, without those that have no run there.

    Parameters
    ----------
    series : sequence of Series
        With all their points.
    filters : Filters
        Only ``since`` and ``until`` are looked at.
    """
    if filters.since is None and filters.until is None:
        return tuple(series)
    cut = (_cut(one, filters) for one in series)
    return tuple(one for one in cut if one.points)


def _cut(series: Series, filters: Filters) -> Series:
    first = pd.Timestamp.min if filters.since is None else pd.Timestamp(filters.since)
    end = pd.Timestamp.max if filters.until is None else pd.Timestamp(filters.until) + pd.Timedelta(days=1)
    inside = [place for place, point in enumerate(series.points) if first <= point.at < end]
    left, right = (inside[0], inside[-1] + 1) if inside else (0, 0)
    return replace(
        series,
        points=series.points[left:right],
        signals=tuple(
            replace(signal, start=max(signal.start - left, 0), at=signal.at - left)
            for signal in series.signals
            if left <= signal.at < right
        ),
        moves=tuple(replace(move, point=move.point - left) for move in series.moves if left <= move.point < right),
        after_memory=series.after_memory[left:right],
        several_runs=None if series.several_runs is None else series.several_runs.cut(left, right),
    )
