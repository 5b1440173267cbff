"""How much do the packs of one run differ among themselves, and is that stable?

The packs of a run tell only the spread within it. A filler that fills unevenly, or a meter whose readings do not
repeat, shows here while the runs' means stay where they were.

There is no chart of the runs' means with limits from this spread (X-bar): runs differ by more than their packs do, so
that such limits call steady runs out of control (76 of 187 runs of total oxygen in the invented brewery, 5 by their own
spread). The runs' means have limits from their own spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.charts import Chart, between_within
from analysis.findings.run_values import single_readings
from analysis.findings.series import Point, Series, SignalFound
from analysis.findings.wording import count
from analysis.linking import PackTable
from analysis.vocabulary import Measure

__all__ = ["Within", "within_chart"]

_CHARTED = "how much the packs of each run differ (their standard deviation{of})"
_FEWEST_RUNS = 8
_SAYS = "how much the packs of the run differ lies beyond a limit"


@dataclass(frozen=True)
class Within:
    """The chart of the spread within runs, and what it says; ``chart`` is None where ``sentences`` say why."""

    chart: Series | None
    sentences: tuple[str, ...]


def within_chart(table: PackTable, measure: Measure, stage: str, series: Series) -> Within:
    """Return the chart of how much the packs of a run differ, for a recipe's series.

    Parameters
    ----------
    table : PackTable
    measure : Measure
    stage : str
    series : Series
        The chart of the runs as measured: its baseline and its phases hold here too.

    Notes
    -----
    On a log scale the spread is told in percent of the level. A pack beyond the meter's range has no place here; a run
    with fewer than two packs is passed over.
    """
    if series.recipe is None or series.why_not is not None:
        return Within(None, (f"It wants a chart of one recipe with limits: {series.why_not or 'choose one below'}.",))
    values, runs, censored = _packs(table, measure, stage, series)
    baseline = np.array([point.in_baseline for point in series.points], dtype=np.bool_)
    phase = np.array([sum(p.begins <= point.at for p in series.phases) for point in series.points], dtype=np.int64)
    batches = None if series.several_runs is None else series.several_runs.batch
    found = between_within(values, runs, scale=series.scale, baseline=baseline, phases=phase, batches=batches)
    several = np.flatnonzero(~np.isnan(found.within.values))
    if several.size < _FEWEST_RUNS or math.isnan(found.sigma_within):
        few = count(int(several.size), "run")
        return Within(None, (f"Only {few} had two packs or more read: the spread within runs wants {_FEWEST_RUNS}.",))
    return Within(_chart(series, found.within, several), _sentences(found.share_between, censored))


def _packs(
    table: PackTable, measure: Measure, stage: str, series: Series
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64], int]:
    """Return every pack's reading, the place of its run among the points, and how many are beyond the meter's range."""
    readings = single_readings(table, measure, stage)
    places = {point.run or point.batch: place for place, point in enumerate(series.points)}
    own = readings[(readings["recipe"] == series.recipe) & readings["key"].isin(list(places))]
    own = own[own["format"].isna() if series.format is None else own["format"] == series.format]
    beyond = (own["censored"].fillna(0) != 0).to_numpy()
    usable = ~beyond & (own["value"].to_numpy(np.float64) > 0 if series.scale == "log" else ~beyond)
    values = np.where(usable, own["value"].to_numpy(np.float64), np.nan)
    runs = own["key"].map(places).to_numpy(np.int64)
    every = np.arange(len(series.points))  # a place for each run, also where no pack of it counts
    nothing = np.full(every.size, np.nan)
    return np.concatenate([values, nothing]), np.concatenate([runs, every]), int(np.count_nonzero(beyond))


def _chart(series: Series, chart: Chart, several: npt.NDArray[np.int64]) -> Series:
    log = series.scale == "log"
    codes = chart.signals.codes()
    points = tuple(
        replace(
            series.points[place],
            value=_told(chart.values[place], log),
            centre=_told(chart.centre[place], log),
            lower=_told(chart.lower[place], log),
            upper=_told(chart.upper[place], log),
            in_baseline=bool(chart.baseline[place]),
            signals=codes[place],
            censored=0,
        )
        for place in several.tolist()
    )
    return series.charted_as(
        points,
        _signals(points),
        charted=_CHARTED.format(of=" in percent" if log else ""),
        unit="%" if log else None,
        cautions=chart.cautions,
    )


def _told(value: float, log: bool) -> float:
    return 100 * math.expm1(value) if log else float(value)


def _signals(points: tuple[Point, ...]) -> list[SignalFound]:
    return [
        SignalFound(code, _SAYS, place, place, 1 if point.value > point.centre else -1)
        for place, point in enumerate(points)
        for code in point.signals
    ]


def _sentences(share_between: float, censored: int) -> tuple[str, ...]:
    said = (
        f"Of the spread of single packs (its variance) {100 * share_between:.0f} % lies between runs and "
        f"{100 * (1 - share_between):.0f} % within them.",
    )
    if not censored:
        return said
    packs = count(censored, "pack lies", "packs lie")
    return (*said, f"{packs} beyond the meter’s range and {'is' if censored == 1 else 'are'} left out here.")
