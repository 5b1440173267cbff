"""What of a control chart is drawn?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from analysis.findings.baseline_requests import why_never_frozen
from analysis.findings.series import PhaseShown, Point, Series
from analysis.findings.wording import amount, day
from analysis.vocabulary import Measure

__all__ = ["BEYOND", "BaselineDrawing", "ChartDrawing", "ShiftDrawing", "drawing_of", "kept_points"]

BEYOND = "beyond-limit"
MOST_MARKED = 2_000


@dataclass(frozen=True)
class ShiftDrawing:
    """A move of the level: when, and between which dates."""

    at: datetime
    earliest: datetime
    latest: datetime


@dataclass(frozen=True)
class BaselineDrawing:
    """A phase: when it begins, and between which moments its baseline lies; ``first`` is true for the first one."""

    begins: datetime
    since: datetime | None
    until: datetime | None
    first: bool


@dataclass(frozen=True, eq=False)
class ChartDrawing:
    """One series as it is drawn; every sequence has one entry a point, in the order of time.

    ``values``, ``centre``, ``lower`` and ``upper`` are in ``unit``, NaN where there is none; ``hover`` is what a point
    says of itself, ``runs`` the run whose history it opens ("" where there is none), ``signals`` the codes of the rules
    that it completes. ``behind`` is drawn faintly behind the points, such as the runs behind their running mean.
    ``may_freeze`` is whether a baseline can be dragged over it.
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
    baselines: Sequence[BaselineDrawing] = ()
    behind: npt.NDArray[np.float64] | None = None
    may_freeze: bool = False

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


def drawing_of(series: Series, measure: Measure, behind: Series | None = None) -> ChartDrawing:
    """Return what is drawn of a series; one across recipes counts in sigmas from each recipe's own centre.

    Parameters
    ----------
    series : Series
    measure : Measure
    behind : Series, optional
        The runs as measured, where ``series`` is something made of them in the same unit.
    """
    of_one_recipe = series.recipe is not None or bool(series.charted)
    unit = series.unit_of(measure)
    label = measure.label if of_one_recipe else "From each recipe’s own centre"  # fits a phone
    return ChartDrawing(
        title=series.name,
        label=f"{label}, running sum" if series.unit == "σ" else label,
        unit=unit,
        log=series.scale == "log" and of_one_recipe,
        at=[point.at.to_pydatetime() for point in series.points],
        values=_floats(point.value for point in series.points),
        centre=_floats(point.centre for point in series.points),
        lower=_floats(point.lower for point in series.points),
        upper=_floats(point.upper for point in series.points),
        hover=[_hover(point, unit) for point in series.points],
        runs=[point.run or "" for point in series.points],
        signals=[point.signals for point in series.points],
        shifts=[
            ShiftDrawing(move.at.to_pydatetime(), move.earliest.to_pydatetime(), move.latest.to_pydatetime())
            for move in series.moves
        ],
        baselines=[_baseline(phase, place == 0) for place, phase in enumerate(series.phases)],
        may_freeze=series.why_not is None and not why_never_frozen(series),
        behind=None if behind is None else _floats(point.value for point in behind.points),
    )


def _floats(values: Iterable[float]) -> npt.NDArray[np.float64]:
    return np.fromiter(values, dtype=np.float64)


def _baseline(phase: PhaseShown, first: bool) -> BaselineDrawing:
    since = None if phase.since is None else phase.since.to_pydatetime()
    until = None if phase.until is None else phase.until.to_pydatetime()
    return BaselineDrawing(phase.begins.to_pydatetime(), since, until, first)


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
