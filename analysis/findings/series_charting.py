"""Which limits and signals does a series of runs give?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import (
    Batches,
    Chart,
    Memory,
    PhaseMarks,
    batch_individuals,
    censored_individuals,
    individuals,
    residual_chart,
)
from analysis.findings.baselines import FrozenPhase, series_phases
from analysis.findings.series import Move, PhaseShown, Point, Series, SignalFound
from analysis.findings.series_batches import batch_numbers, batches_of, counted_in, pattern_says, several_runs
from analysis.findings.series_moves import memory_between_moves, memory_caution, moves_of
from analysis.findings.series_targets import TargetLimits, targets_kept
from analysis.findings.wording import count, day
from analysis.vocabulary import Practice, Scale

__all__ = [
    "FEWEST_RUNS",
    "chart_points",
    "chart_signals",
    "last_baseline",
    "phases_shown",
    "series_of",
    "too_few",
]

FEWEST_RUNS = 8
"""Fewer runs than this give no limits; fewer batches, where one has several runs."""

Floats = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.int64] | None


def series_of(
    runs: pd.DataFrame,
    practices: Sequence[Practice],
    scale: Scale,
    rules: Sequence[str],
    phases: Sequence[FrozenPhase] = (),
    limits: TargetLimits | None = None,
    *,
    recipe: str | None,
    format: str | None,
) -> Series:
    """Return the chart of one recipe's runs, all of them shown.

    Parameters
    ----------
    runs : DataFrame
        As in ``RunValues``, of one recipe and format, in order, with the practices beside.
    practices : sequence of Practice
        What to look at for coincidences.
    scale : {"log", "linear"}
    rules : sequence of str
        The run rules that are on.
    phases : sequence of FrozenPhase
        The series' own, in order; without one the first runs are the baseline.
    limits : TargetLimits, optional
        The targets on record.
    recipe, format : str or None
        What the series is called.
    """
    values = runs["value"].to_numpy(np.float64)
    charted = np.log(values) if scale == "log" else values
    moves = moves_of(runs, charted, charted, practices, scale)
    found_phases = series_phases(phases, runs)
    numbers = batch_numbers(runs)
    batches = batches_of(numbers, len(runs))
    enough = counted_in(batches, len(runs))[0] >= FEWEST_RUNS
    chart = _chart(runs, values, scale, rules, found_phases.marks, numbers) if enough else None
    why_not = too_few(chart, len(runs), batches)
    found = memory_between_moves(charted, moves, runs["at"], batches)
    points = chart_points(runs, values, chart)
    shown = phases_shown(found_phases.frozen, runs, values, chart)
    return Series(
        recipe=recipe,
        format=format,
        line=None,
        scale=scale,
        centre=_last(chart, "centre"),
        lower=_last(chart, "lower"),
        upper=_last(chart, "upper"),
        points=points,
        baseline=() if chart is None else last_baseline(points, chart),
        signals=chart_signals(chart),
        moves=moves,
        phases=shown,
        why_not=why_not,
        correlation=float("nan") if found is None else found.correlation,
        after_memory=_after_memory(runs, values, rules, chart, found, numbers),
        suggestion=_suggestion(moves, chart, batches),
        targets=targets_kept(
            chart, limits, runs["censored"].to_numpy(np.int8), _moved_in_last_phase(found_phases.marks, moves)
        ),
        cautions=(
            *(chart.cautions if chart is not None and why_not is None else ()),
            *memory_caution(found, "run" if batches is None else "batch"),
        ),
        several_runs=several_runs(chart) if why_not is None else None,
    )


def _moved_in_last_phase(marks: PhaseMarks, moves: Sequence[Move]) -> bool:
    begins = int(np.searchsorted(marks.phase, marks.phase[-1])) if marks.phase.size else 0
    return any(move.point > begins for move in moves)


def too_few(chart: Chart | None, runs: int, batches: Batches | None = None) -> str | None:
    """Return why there are no limits, or None where there are."""
    if chart is None:
        units = counted_in(batches, runs)
        packaged = "" if batches is None else f" in {count(runs, 'run')}"
        return f"only {count(*units)}{packaged}: limits want at least {FEWEST_RUNS}"
    missing = math.isnan(_last(chart, "centre")) or math.isnan(_last(chart, "upper"))
    return chart.cautions[0].removeprefix("No limits: ").rstrip(".") if missing else None


def chart_points(runs: pd.DataFrame, values: Floats, chart: Chart | None) -> tuple[Point, ...]:
    """Return the points of a chart, or of the runs alone where there is none."""
    n = len(runs)
    nothing = [float("nan")] * n
    codes = chart.signals.codes() if chart is not None else ((),) * n
    baseline = chart.baseline.tolist() if chart is not None else [False] * n
    lines = [nothing] * 3 if chart is None else [line.tolist() for line in (chart.centre, chart.lower, chart.upper)]
    return tuple(
        Point(None if pd.isna(run) else str(run), str(batch), at, value, int(sign), int(packs), used, signals, *limits)
        for run, batch, at, value, sign, packs, used, signals, *limits in zip(
            *(runs[name].tolist() for name in ("run", "batch", "at")), values.tolist(), runs["censored"].tolist(),
            runs["packs"].tolist(), baseline, codes, *lines, strict=True,
        )
    )  # fmt: skip


def chart_signals(chart: Chart | None) -> tuple[SignalFound, ...]:
    """Return the patterns on a chart, none where there is no chart."""
    if chart is None:
        return ()
    return tuple(
        SignalFound(
            signal.rule, pattern_says(signal.rule, chart.of_batches is not None), signal.start, signal.at, signal.side
        )
        for signal in chart.signals.listed()
    )


def _chart(
    runs: pd.DataFrame, values: Floats, scale: Scale, rules: Sequence[str], marks: PhaseMarks, numbers: Numbers
) -> Chart:
    sign = runs["censored"].to_numpy(np.int8)
    if (sign[marks.baseline] != 0).any():
        return censored_individuals(
            values, sign, scale=scale, baseline=marks.baseline, phases=marks.phase, rules=rules, batches=numbers
        ).values
    return batch_individuals(values, numbers, scale=scale, baseline=marks.baseline, phases=marks.phase, rules=rules)


def _last(chart: Chart | None, line: str) -> float:
    return float("nan") if chart is None else float(getattr(chart, line)[-1])


def last_baseline(points: tuple[Point, ...], chart: Chart) -> tuple[Point, ...]:
    """Return the points that the limits of a chart's last phase are made from."""
    used = chart.baseline & (chart.phase == chart.phase[-1])
    return tuple(points[place] for place in np.flatnonzero(used))


def phases_shown(
    phases: Sequence[FrozenPhase | None], runs: pd.DataFrame, values: Floats, chart: Chart | None
) -> tuple[PhaseShown, ...]:
    """Return a chart's phases, each with its baseline and its limits; ``phases`` has one entry a phase number."""
    if chart is None:
        return ()
    shown = []
    moments = runs["at"].tolist()
    for number in np.unique(chart.phase).tolist():
        here = chart.phase == number
        used = [moments[place] for place in np.flatnonzero(here & chart.baseline)]
        frozen = phases[number]
        first = int(np.flatnonzero(here)[0])
        shown.append(
            PhaseShown(
                begins=moments[first],
                since=used[0] if used else None,
                until=used[-1] if used else None,
                runs=len(used),
                centre=float(chart.centre[first]),
                lower=float(chart.lower[first]),
                upper=float(chart.upper[first]),
                because=None if frozen is None else frozen.because,
                by=None if frozen is None else frozen.by,
                left_out=() if frozen is None else tuple((left.run, left.because) for left in frozen.left_out),
                at=None if frozen is None else frozen.at,
                number=None if frozen is None else frozen.number,
                batches=_batches_used(chart, here),
                run_by_run=_run_by_run(values, chart, first) if _was_run_by_run(frozen, chart) else None,
            )
        )
    return tuple(shown)


def _batches_used(chart: Chart, here: npt.NDArray[np.bool_]) -> int:
    if chart.of_batches is None:
        return 0
    return int(np.unique(chart.of_batches.batches.of_run[here & chart.baseline]).size)


def _was_run_by_run(frozen: FrozenPhase | None, chart: Chart) -> bool:
    """Return whether a phase was frozen while limits were made run by run, and that makes a difference here."""
    return frozen is not None and frozen.unit == "run" and chart.of_batches is not None


def _run_by_run(values: Floats, chart: Chart, first: int) -> tuple[float, float]:
    """Return the limits that a phase's baseline gives run by run, as they stood when it was frozen."""
    before = individuals(values, scale=chart.scale, baseline=chart.baseline, phases=chart.phase, rules=()).values
    return float(before.lower[first]), float(before.upper[first])


def _after_memory(
    runs: pd.DataFrame,
    values: Floats,
    rules: Sequence[str],
    chart: Chart | None,
    found: Memory | None,
    numbers: Numbers,
) -> tuple[Point, ...]:
    """Return what is left of each run once the memory is taken out, where it matters."""
    if chart is None or found is None or not found.matters or (runs["censored"] != 0).any():
        return ()
    left = residual_chart(
        values, scale=chart.scale, baseline=chart.baseline, phases=chart.phase, rules=rules, batches=numbers
    )
    return () if left is None else chart_points(runs, left.values, left)


def _suggestion(moves: Sequence[Move], chart: Chart | None, batches: Batches | None) -> str | None:
    """Return a question about a new phase where the level has stayed away from its baseline."""
    if chart is None or not moves:
        return None
    last = moves[-1]
    _, *unit = counted_in(batches, chart.n)
    stayed = chart.n - last.point if batches is None else np.unique(batches.of_run[last.point :]).size
    baseline_ends = int(np.flatnonzero(chart.baseline)[-1]) if chart.baseline.any() else chart.n
    if stayed < FEWEST_RUNS or last.point <= baseline_ends:
        return None
    return (
        f"The level has stayed there for {count(stayed, *unit)}, since about {day(last.at)}. If you know the cause and "
        "it is there to stay, begin a phase there and say why; limits do not move by themselves."
    )
