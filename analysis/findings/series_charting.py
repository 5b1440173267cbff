"""Which limits, signals and moves does a series of runs give?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import (
    RULES,
    Chart,
    Shift,
    alarm_rate_with_memory,
    censored_individuals,
    individuals,
    level_shifts,
    levels_about,
    memory,
    standardised,
)
from analysis.findings.coincidences import coincidences
from analysis.findings.series import Move, Point, Series, SignalFound
from analysis.findings.wording import count, percent_of_ratio
from analysis.vocabulary import Practice, Scale

__all__ = ["BASELINE_RUNS", "FEWEST_RUNS", "across_recipes", "series_of"]

FEWEST_RUNS = 8
"""Fewer runs than this give no limits."""
BASELINE_RUNS = 25
"""Until a person freezes a baseline, limits come from this many first runs."""
_FEWEST_FOR_MEMORY = 20

Floats = npt.NDArray[np.float64]
Bounded = tuple[Shift, int, int]


def series_of(
    runs: pd.DataFrame,
    practices: Sequence[Practice],
    scale: Scale,
    rules: Sequence[str],
    *,
    recipe: str | None,
    format: str | None,
) -> Series:
    """Return the chart of one recipe's runs.

    Parameters
    ----------
    runs : DataFrame
        As in ``RunValues``, of one recipe and format, in order, with the practices beside.
    practices : sequence of Practice
        What to look at for coincidences.
    scale : {"log", "linear"}
    rules : sequence of str
        The run rules that are on.
    recipe, format : str or None
        What the series is called.
    """
    values = runs["value"].to_numpy(np.float64)
    charted = np.log(values) if scale == "log" else values
    moves = tuple(_move(runs, charted, practices, found, scale) for found in _bounded(charted))
    chart = _chart(runs, values, scale, rules) if len(runs) >= FEWEST_RUNS else None
    why_not = _why_not(chart, len(runs))
    correlation, remembered = _memory(charted, moves)
    said = chart.cautions if chart is not None and why_not is None else ()
    return Series(
        recipe=recipe,
        format=format,
        line=None,
        scale=scale,
        centre=_level(chart, "centre"),
        lower=_level(chart, "lower"),
        upper=_level(chart, "upper"),
        points=_points(runs, runs["value"].to_numpy(np.float64), chart),
        signals=_signals(chart),
        moves=moves,
        why_not=why_not,
        correlation=correlation,
        cautions=(*said, *remembered),
    )


def across_recipes(
    runs: pd.DataFrame, practices: Sequence[Practice], scale: Scale, rules: Sequence[str]
) -> tuple[Series, ...]:
    """Return a chart a line: each run against its own recipe and format, in sigmas; moves in percent of the level.

    Parameters
    ----------
    runs, practices, scale, rules
        As for ``series_of``, over all recipes and formats.
    """
    groups = runs.groupby(["recipe", "format"], dropna=False, sort=False).ngroup().to_numpy(np.int64)
    found = standardised(runs["value"].to_numpy(np.float64), groups, scale=scale)
    known = ~np.isnan(found.chart.z)
    lines = runs["line"].where(known)
    return tuple(
        _across(
            runs, found.chart.z, found.deviation, (lines == line).fillna(False).to_numpy(bool), practices, scale, rules
        )
        for line in sorted(lines.dropna().unique())
    )


def _across(
    runs: pd.DataFrame,
    z: Floats,
    deviation: Floats,
    here: npt.NDArray[np.bool_],
    practices: Sequence[Practice],
    scale: Scale,
    rules: Sequence[str],
) -> Series:
    own = runs[here].reset_index(drop=True)
    sigmas = z[here]
    chart = individuals(sigmas, centre=0.0, sigma=1.0, rules=rules).values if len(own) >= FEWEST_RUNS else None
    others = [practice for practice in practices if practice.name != "line"]
    moves = tuple(_move(own, deviation[here], others, found, scale) for found in _bounded(sigmas))
    return Series(
        recipe=None,
        format=None,
        line=str(own["line"].iloc[0]),
        scale="linear",
        centre=0.0,
        lower=-3.0,
        upper=3.0,
        points=_points(own, sigmas, chart),
        signals=_signals(chart),
        moves=moves,
        why_not=_why_not(chart, len(own)),
        correlation=_memory(sigmas, moves)[0],
        cautions=(),
    )


def _chart(runs: pd.DataFrame, values: Floats, scale: Scale, rules: Sequence[str]) -> Chart:
    baseline = np.arange(values.size) < BASELINE_RUNS
    sign = runs["censored"].to_numpy(np.int8)
    if (sign[baseline] != 0).any():
        return censored_individuals(values, sign, scale=scale, baseline=baseline, rules=rules).values
    return individuals(values, scale=scale, baseline=baseline, rules=rules).values


def _why_not(chart: Chart | None, runs: int) -> str | None:
    if chart is None:
        return f"only {count(runs, 'run')}: limits want at least {FEWEST_RUNS}"
    return chart.cautions[0] if math.isnan(_level(chart, "centre")) or math.isnan(_level(chart, "upper")) else None


def _level(chart: Chart | None, line: str) -> float:
    return float("nan") if chart is None else float(getattr(chart, line)[0])


def _points(runs: pd.DataFrame, values: Floats, chart: Chart | None) -> tuple[Point, ...]:
    codes = chart.signals.codes() if chart is not None else ((),) * len(runs)
    baseline = chart.baseline.tolist() if chart is not None else [False] * len(runs)
    return tuple(
        Point(None if pd.isna(run) else str(run), str(batch), at, value, int(sign), int(packs), used, signals)
        for run, batch, at, value, sign, packs, used, signals in zip(
            runs["run"], runs["batch"], runs["at"], values.tolist(), runs["censored"], runs["packs"], baseline, codes,
            strict=True,
        )
    )  # fmt: skip


def _signals(chart: Chart | None) -> tuple[SignalFound, ...]:
    if chart is None:
        return ()
    return tuple(
        SignalFound(signal.rule, RULES[signal.rule].says, signal.start, signal.at, signal.side)
        for signal in chart.signals.listed()
    )


def _bounded(charted: Floats) -> Iterator[Bounded]:
    """Yield each move with the first and the past-the-last run of the stretch that it divides."""
    shifts = level_shifts(charted)
    edges = [0, *(shift.at for shift in shifts), charted.size]
    for place, shift in enumerate(shifts):
        yield shift, edges[place], edges[place + 2]


def _move(
    runs: pd.DataFrame,
    sized: Floats,
    practices: Sequence[Practice],
    found: Bounded,
    scale: Scale,
) -> Move:
    """Return a move as it is told; ``sized`` is the series, on ``scale``, that its size is taken from."""
    shift, left, right = found
    at, earliest, latest = (runs["at"].iloc[place] for place in (shift.at, shift.earliest, shift.latest))
    levels = levels_about(sized[left:right], shift.at - left)
    within = replace(shift, at=shift.at - left, earliest=shift.earliest - left, latest=shift.latest - left)
    log = scale == "log"
    percents = [_percent(size, levels.before, log) for size in (levels.after - levels.before, levels.low, levels.high)]
    return Move(
        at=at,
        earliest=earliest,
        latest=latest,
        point=shift.at,
        before=math.exp(levels.before) if log else levels.before,
        after=math.exp(levels.after) if log else levels.after,
        percent=percents[0],
        low=percents[1],
        high=percents[2],
        coincides_with=coincidences(runs.iloc[left:right], practices, within),
    )


def _percent(size: float, before: float, log: bool) -> float:
    if log:
        return percent_of_ratio(size)
    return 100 * size / abs(before) if before else float("nan")


def _memory(charted: Floats, moves: Sequence[Move]) -> tuple[float, tuple[str, ...]]:
    """Return the memory from one run to the next once the moves are taken out, and the caution that it wants."""
    edges = [0, *(move.point for move in moves), charted.size]
    steady = np.concatenate([charted[a:b] - charted[a:b].mean() for a, b in pairwise(edges) if b > a] or [charted])
    found = memory(steady) if charted.size >= _FEWEST_FOR_MEMORY else None
    if found is None or not found.matters:
        return (float("nan") if found is None else found.correlation), ()
    one_in = 1 / alarm_rate_with_memory(found.correlation)
    return found.correlation, (
        f"A run is like the run before it (correlation {found.correlation:.2f}): these limits alarm once in about "
        f"{one_in:.0f} steady runs, not once in 370, and a move of the level is too easily seen.",
    )
