"""What is left of each run once the runs before it are taken out?

A chart of its own to look at, where neighbours are alike and the plain limits alarm too often: each point is how far a
run lies from what the run before it let one expect.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from analysis.charts import RULES
from analysis.findings.series import Point, Series, SignalFound
from analysis.findings.series_batches import SeveralRuns, pattern_says
from analysis.findings.wording import percent_of_ratio
from analysis.vocabulary import Scale

__all__ = ["after_memory_chart"]

_CHARTED = "how far each run lies from what the run before it let one expect"
_CHARTED_BATCHES = "how far each run lies from what the batch before its own let one expect"


def after_memory_chart(series: Series) -> Series | None:
    """Return the chart of what is left, in percent on a log scale and in the measure's unit on a linear one.

    Parameters
    ----------
    series : Series

    Returns
    -------
    Series or None
        None where the series has no memory worth taking out, or it cannot be told.
    """
    if not series.after_memory:
        return None
    points = tuple(_told(point, series.scale) for point in series.after_memory)
    signals = _signals(points, series.several_runs)
    charted = _CHARTED if series.several_runs is None else _CHARTED_BATCHES
    return series.charted_as(points, signals, charted=charted, unit="%" if series.scale == "log" else None)


def _told(point: Point, scale: Scale) -> Point:
    if scale != "log":
        return point
    value, centre, lower, upper = (
        percent_of_ratio(each) if math.isfinite(each) else each
        for each in (point.value, point.centre, point.lower, point.upper)
    )
    return replace(point, value=value, centre=centre, lower=lower, upper=upper)


def _signals(points: tuple[Point, ...], several: SeveralRuns | None) -> Iterator[SignalFound]:
    for place, point in enumerate(points):
        side = int(point.value > point.centre) - int(point.value < point.centre)
        for code in point.signals:
            length = RULES[code].points
            begins = max(place - length + 1, 0) if several is None else several.begins(place, length)
            yield SignalFound(code, pattern_says(code, several is not None), begins, place, side)
