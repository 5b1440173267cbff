"""How large is a matter, in the measure's unit, against which runs?

The runs of a matter are held against the runs before it: the level before a move, else the baseline's runs, else all
others of the chart; where the level climbed slowly, the end of the climb against its beginning. On a chart across
recipes each run is held against runs of its own recipe and format, weighted as the matter's own runs are; recipes
without a run before are left aside. On a log scale the size is taken from means of logs and told in the unit at the
usual level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.review_stretches import Stretch
from analysis.findings.series import Series
from analysis.findings.wording import percent_of_ratio

__all__ = ["FEWEST_AGAINST", "Size", "chart_runs", "size_of"]

FEWEST_AGAINST = 3

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Size:
    """``before`` and ``after`` [kept unit], ``change`` between them with its 95 % interval ``low`` to ``high``, and
    ``percent`` of ``before`` (NaN where that has no meaning). The interval is NaN where signals alone made the matter:
    its runs were picked for standing out, and no interval of theirs would hold.

    ``on_scale`` is the change on the measure's scale. ``weights``, shape (n,), has an entry for each run of the chart:
    their sum of products with anything known of the runs is its change; it is 0 for runs that were not held against
    each other.
    """

    before: float
    after: float
    change: float
    low: float
    high: float
    percent: float
    on_scale: float
    log: bool
    weights: Floats

    @property
    def unit_a_log(self) -> float:
        """What turns parts of ``on_scale`` into parts of ``change``, so that parts that add up there add up here.

        On a log scale it is the logarithmic mean of both levels.

        Source: Ang 2004, "Decomposition analysis for policymaking in energy", Energy Policy 32 (from memory).
        """
        if not self.log:
            return 1.0
        return self.change / self.on_scale if abs(self.on_scale) > 1e-9 else self.before

    @property
    def inside(self) -> Flags:
        """Which runs of the chart the change is of, shape (n,)."""
        return np.asarray(self.weights > 0)

    @property
    def against(self) -> Flags:
        """Which runs of the chart they are held against, shape (n,)."""
        return np.asarray(self.weights < 0)


def chart_runs(series: Series, runs: pd.DataFrame) -> pd.DataFrame:
    """Return one row a point of a chart: ``label`` (the run, or the batch before there is a run), and as in
    ``RunValues``, with ``group`` (recipe and format)."""
    labels = [point.run or point.batch for point in series.points]
    keyed = runs.assign(label=runs["run"].where(runs["run"].notna(), runs["batch"])).drop_duplicates("label")
    own = keyed.set_index("label").loc[labels].reset_index()
    group = own["recipe"].fillna("").astype("str") + "\x1f" + own["format"].fillna("").astype("str")
    return own.assign(group=pd.factorize(group)[0])


def size_of(series: Series, stretch: Stretch, runs: pd.DataFrame, *, log: bool) -> Size | None:
    """Return the size of a stretch, None where there is nothing to hold it against.

    Parameters
    ----------
    series : Series
    stretch : Stretch
    runs : DataFrame
        As from ``chart_runs``.
    log : bool
        Whether the measure is on a log scale.
    """
    values = runs["value"].to_numpy(np.float64)
    y = np.log(values) if log else values
    place = np.arange(len(y))
    for inside, against in _choices(series, stretch, place):
        weights = weights_of(runs["group"].to_numpy(np.int64), inside, against)
        if weights is not None:
            return _size(series, stretch, y, runs["group"].to_numpy(np.int64), weights, log)
    return None


def _choices(series: Series, stretch: Stretch, place: npt.NDArray[np.int64]) -> tuple[tuple[Flags, Flags], ...]:
    """Return which runs may be held against which, the best choice first."""
    inside = (place >= stretch.first) & (place <= stretch.last)
    earlier = (place >= stretch.before) & (place < stretch.first)
    if stretch.move is not None and stretch.move.gradual:
        return _of_a_climb(series, stretch, inside, earlier)
    before = (inside, ~inside & (place < stretch.first))
    if stretch.move is not None:
        return (inside, earlier), before, (inside, ~inside)
    baseline = np.array([point.in_baseline for point in series.points], dtype=np.bool_)
    return (inside, baseline & ~inside), before, (inside, ~inside)


def _of_a_climb(series: Series, stretch: Stretch, inside: Flags, earlier: Flags) -> tuple[tuple[Flags, Flags], ...]:
    """A climb's runs differ among themselves: its two ends are held against each other, quarters of it where needed."""
    assert stretch.move is not None
    over = np.array([stretch.move.ends is not None and point.at >= stretch.move.ends for point in series.points])
    quarter = max((stretch.last - stretch.first + 1) // 4, FEWEST_AGAINST)
    own = np.cumsum(inside)
    first, last = inside & (own <= quarter), inside & (own > own[-1] - quarter)
    end = over & inside if int((over & inside).sum()) >= FEWEST_AGAINST else last
    return (end, earlier), (end, earlier | first), (last, first)


def weights_of(groups: npt.NDArray[np.int64], inside: Flags, against: Flags) -> Floats | None:
    """Return each run's weight in a change within groups, None where fewer than three runs stand against it."""
    n_in = np.bincount(groups[inside], minlength=groups.max() + 1).astype(np.float64)
    n_out = np.bincount(groups[against], minlength=groups.max() + 1).astype(np.float64)
    both = (n_in > 0) & (n_out > 0)
    if not both.any() or n_out[both].sum() < FEWEST_AGAINST:
        return None
    share = np.where(both, n_in, 0.0) / n_in[both].sum()
    weights = np.zeros(len(groups), dtype=np.float64)
    used_in, used_out = inside & both[groups], against & both[groups]
    weights[used_in] = (share / np.maximum(n_in, 1))[groups[used_in]]
    weights[used_out] = -(share / np.maximum(n_out, 1))[groups[used_out]]
    return weights


def _size(
    series: Series, stretch: Stretch, y: Floats, groups: npt.NDArray[np.int64], weights: Floats, log: bool
) -> Size:
    before = float(-weights[weights < 0] @ y[weights < 0])
    change, low, high = float(weights @ y), math.nan, math.nan
    if stretch.move is not None:
        low, high = _interval(y, groups, weights)
    told = _as_moved(series, stretch, log)
    if told is not None:
        change, low, high = told
    level = math.exp(before) if log else before
    size, least, most = (level * math.expm1(part) if log else part for part in (change, low, high))
    of_level = percent_of_ratio(change) if log else 100 * change / abs(before) if before else math.nan
    return Size(level, level + size, size, least, most, of_level, change, log, weights)


def _as_moved(series: Series, stretch: Stretch, log: bool) -> tuple[float, float, float] | None:
    """Return the change that the chart itself tells of a single move, so that both pages say one figure."""
    move = stretch.move
    if move is None:
        return None
    if log and all(math.isfinite(part) and part > -100 for part in (move.percent, move.low, move.high)):
        return tuple(math.log1p(part / 100) for part in (move.percent, move.low, move.high))  # type: ignore[return-value]
    if log or series.recipe is None or not (move.before and math.isfinite(move.low)):
        return None
    unit = abs(move.before) / 100
    return move.percent * unit, move.low * unit, move.high * unit


def _interval(y: Floats, groups: npt.NDArray[np.int64], weights: Floats) -> tuple[float, float]:
    """Return the change's 95 % interval from the spread between runs within groups and sides."""
    used = weights != 0
    if int((weights > 0).sum()) < 2:
        return math.nan, math.nan
    cells = pd.factorize(2 * groups[used] + (weights[used] > 0))[0]
    n = np.bincount(cells)
    means = np.bincount(cells, y[used]) / n
    df = int(used.sum()) - len(n)
    if df < 1:
        return math.nan, math.nan
    left = y[used] - means[cells]
    error = math.sqrt(float(left @ left) / df * float(weights @ weights))
    change, reach = float(weights @ y), float(stats.t.ppf(0.975, df)) * error
    return change - reach, change + reach
