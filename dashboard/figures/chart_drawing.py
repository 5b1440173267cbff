"""What of a control chart is drawn?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from analysis.findings.series import Point, Series
from analysis.findings.wording import amount, day
from analysis.vocabulary import Measure

__all__ = ["BEYOND", "ChartDrawing", "ShiftDrawing", "drawing_of", "kept_points"]

BEYOND = "beyond-limit"
MOST_MARKED = 2_000


@dataclass(frozen=True)
class ShiftDrawing:
    """A move of the level: when, and between which dates."""

    at: datetime
    earliest: datetime
    latest: datetime


@dataclass(frozen=True, eq=False)
class ChartDrawing:
    """One series as it is drawn; every sequence has one entry a point, in the order of time.

    ``values``, ``centre``, ``lower`` and ``upper`` are in ``unit``, NaN where there is none; ``hover`` is what a point
    says of itself, ``runs`` the run whose history it opens ("" where there is none), ``signals`` the codes of the rules
    that it completes.
    """

    title: str
    label: str
    unit: str
    log: bool
    at: Sequence[datetime]
    values: npt.NDArray[np.float64]
    centre: npt.NDArray[np.float64]
    lower: npt.NDArray[np.float64]
    upper: npt.NDArray[np.float64]
    hover: Sequence[str]
    runs: Sequence[str]
    signals: Sequence[Sequence[str]]
    shifts: Sequence[ShiftDrawing] = ()

    @property
    def beyond(self) -> npt.NDArray[np.bool_]:
        """Which points lie beyond a limit, shape (n,)."""
        return np.array([BEYOND in codes for codes in self.signals], dtype=bool)

    @property
    def in_pattern(self) -> npt.NDArray[np.bool_]:
        """Which points complete a pattern but lie inside the limits, shape (n,)."""
        return np.array([bool(codes) and BEYOND not in codes for codes in self.signals], dtype=bool)

    @property
    def milliseconds(self) -> npt.NDArray[np.float64]:
        """The moments as milliseconds since 1970, shape (n,)."""
        return np.array(self.at, dtype="datetime64[ms]").astype(np.float64)


def drawing_of(series: Series, measure: Measure) -> ChartDrawing:
    """Return what is drawn of a series; one across recipes counts in sigmas from each recipe's own centre."""
    n = len(series.points)
    of_one_recipe = series.recipe is not None
    unit = measure.unit if of_one_recipe else "σ"
    return ChartDrawing(
        title=series.name,
        label=measure.label if of_one_recipe else f"{measure.label}, from each recipe’s own centre",
        unit=unit,
        log=series.scale == "log" and of_one_recipe,
        at=[point.at.to_pydatetime() for point in series.points],
        values=np.array([point.value for point in series.points], dtype=np.float64),
        centre=np.full(n, series.centre),
        lower=np.full(n, series.lower),
        upper=np.full(n, series.upper),
        hover=[_hover(point, unit) for point in series.points],
        runs=[point.run or "" for point in series.points],
        signals=[point.signals for point in series.points],
        shifts=[
            ShiftDrawing(move.at.to_pydatetime(), move.earliest.to_pydatetime(), move.latest.to_pydatetime())
            for move in series.moves
        ],
    )


def _hover(point: Point, unit: str) -> str:
    sign = {-1: "<", 1: ">"}.get(point.censored, "")
    who = f"Run {point.run}" if point.run else f"Batch {point.batch}"
    return f"<b>{sign}{amount(point.value, unit)}</b><br>{who}, {day(point.at)}"


def kept_points(drawing: ChartDrawing, most: int = MOST_MARKED) -> npt.NDArray[np.int64]:
    """Return which points are drawn: all of them up to ``most``; of more, the lowest and the highest of each stretch.

    A point with a signal is never dropped.
    """
    n = len(drawing.values)
    if n <= most:
        return np.arange(n)
    stretches = np.array_split(np.arange(n), most // 2)
    ends = [pick for stretch in stretches for pick in _ends(drawing.values, stretch)]
    signals = np.flatnonzero(drawing.beyond | drawing.in_pattern)
    return np.unique(np.concatenate([np.array(ends, dtype=np.int64), signals]))


def _ends(values: npt.NDArray[np.float64], stretch: npt.NDArray[np.int64]) -> tuple[int, ...]:
    known = stretch[~np.isnan(values[stretch])]
    if not len(known):
        return ()
    return int(known[np.argmin(values[known])]), int(known[np.argmax(values[known])])
