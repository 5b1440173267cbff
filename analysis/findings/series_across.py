"""Did something move across recipes: each run against its own recipe's centre, a chart a line?

Until a person freezes a baseline of the line, each recipe's centre comes from all of its runs. A frozen one holds the
centres to the runs of its dates on that line; a recipe with too few runs there is held against all of its runs still,
and named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import batch_individuals, standardised
from analysis.findings.baselines import FrozenPhase, SeriesPhases, phases_of, series_phases
from analysis.findings.series import Series
from analysis.findings.series_batches import batch_numbers, batches_of, counted_in, several_runs
from analysis.findings.series_charting import (
    FEWEST_RUNS,
    chart_points,
    chart_signals,
    last_baseline,
    phases_shown,
    too_few,
)
from analysis.findings.series_moves import memory_between_moves, moves_of
from analysis.findings.series_rests import rest_on_recipes
from analysis.findings.wording import listing
from analysis.vocabulary import Practice, Scale

__all__ = ["across_recipes"]

Floats = npt.NDArray[np.float64]

FEWEST_FOR_FROZEN_CENTRE = 5
"""A recipe with fewer runs in a frozen baseline has no centre from them alone."""


def across_recipes(
    runs: pd.DataFrame,
    practices: Sequence[Practice],
    scale: Scale,
    rules: Sequence[str],
    phases: Sequence[FrozenPhase] = (),
) -> tuple[Series, ...]:
    """Return a chart a line: each run against its own recipe and format, in sigmas; moves in percent of the level.

    Parameters
    ----------
    runs, practices, scale, rules
        As for ``series_of``, over all recipes and formats. Of one alone there is nothing across to chart.
    phases : sequence of FrozenPhase
        Those of the measure and stage; each line takes its own.
    """
    groups = _groups(runs)
    if not groups.size or not groups.max():
        return ()
    found = standardised(runs["value"].to_numpy(np.float64), groups, scale=scale, batches=batch_numbers(runs))
    lines = runs["line"].where(~np.isnan(found.chart.z))
    others = [practice for practice in practices if practice.name != "line"]
    series = []
    for line in sorted(lines.dropna().unique()):
        here = (lines == line).fillna(False).to_numpy(np.bool_)
        own = _OfLine(
            runs[here].reset_index(drop=True), found.chart.z[here], found.deviation[here], scale,
            phases_of(phases, None, None, str(line)),
        )  # fmt: skip
        series.append(_across(own, others, rules))
    return tuple(series)


def _groups(runs: pd.DataFrame) -> npt.NDArray[np.int64]:
    groups = runs.groupby(["recipe", "format"], dropna=False, sort=False).ngroup()
    return np.asarray(groups, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class _OfLine:
    """The runs of one line, how far each lies from its recipe's centre over all runs, and the line's frozen phases."""

    runs: pd.DataFrame
    sigmas: Floats
    deviation: Floats
    scale: Scale
    frozen: tuple[FrozenPhase, ...]


def _across(own: _OfLine, practices: Sequence[Practice], rules: Sequence[str]) -> Series:
    runs, n = own.runs, len(own.runs)
    numbers = batch_numbers(runs)
    batches = batches_of(numbers, n)
    enough = counted_in(batches, n)[0] >= FEWEST_RUNS
    held = _held(own) if own.frozen and enough else None
    sigmas = own.sigmas if held is None else held.sigmas
    marks = None if held is None else held.phases.marks
    chart = (
        batch_individuals(
            sigmas, numbers, centre=0.0, sigma=1.0, rules=rules,
            baseline=None if marks is None else marks.baseline, phases=None if marks is None else marks.phase,
        )
        if enough else None
    )  # fmt: skip
    moves = rest_on_recipes(
        moves_of(runs, own.sigmas, own.deviation, practices, own.scale), runs, own.deviation, own.scale
    )
    found = memory_between_moves(own.sigmas, moves, runs["at"], batches)
    points = chart_points(runs, sigmas, chart)
    return Series(
        recipe=None,
        format=None,
        line=str(runs["line"].iloc[0]),
        scale="linear",
        centre=0.0,
        lower=-3.0,
        upper=3.0,
        points=points,
        baseline=() if held is None or chart is None else last_baseline(points, chart),
        signals=chart_signals(chart),
        moves=moves,
        phases=() if held is None else phases_shown(held.phases.frozen, runs, sigmas, chart),
        why_not=too_few(chart, n, batches),
        correlation=float("nan") if found is None else found.correlation,
        after_memory=(),
        suggestion=None,
        targets=None,
        cautions=() if held is None else held.cautions,
        several_runs=several_runs(chart),
    )


@dataclass(frozen=True, eq=False)
class _Held:
    """How far each run of a line lies from its recipe's centre in the frozen baseline of its phase."""

    sigmas: Floats
    phases: SeriesPhases
    cautions: tuple[str, ...]


def _held(own: _OfLine) -> _Held:
    phases = series_phases(own.frozen, own.runs, first=None)
    marks, groups, sigmas = phases.marks, _groups(own.runs), own.sigmas.copy()
    short: list[str] = []
    for number, frozen in enumerate(phases.frozen):
        here = marks.phase == number
        known = np.bincount(groups[here & marks.baseline], minlength=groups.max() + 1)[groups]
        sure = here & (known >= (FEWEST_FOR_FROZEN_CENTRE if frozen is not None else 1))
        if frozen is not None:
            short += _called(own.runs[here & ~sure])
        if sure.any():
            sigmas[sure] = _from_baseline(own, sure, marks.baseline & sure, groups)[sure]
    left = tuple(dict.fromkeys(short))
    if not left:
        return _Held(sigmas, phases, ())
    return _Held(
        sigmas, phases,
        (f"Too few runs in the frozen baseline for a centre of their own: {listing(left)}. These are held against all "
         "of their runs.",),
    )  # fmt: skip


def _called(runs: pd.DataFrame) -> list[str]:
    pairs = runs[["recipe", "format"]].drop_duplicates().astype("object")
    return [", ".join(str(name) for name in pair if isinstance(name, str)) for pair in pairs.itertuples(index=False)]


def _from_baseline(
    own: _OfLine, sure: npt.NDArray[np.bool_], baseline: npt.NDArray[np.bool_], groups: npt.NDArray[np.int64]
) -> Floats:
    """Return the distances in sigmas of some runs from the centres of those in the baseline; NaN for all others."""
    numbers = batch_numbers(own.runs)
    codes = np.unique(groups[sure], return_inverse=True)[1]
    found = standardised(
        own.runs["value"].to_numpy(np.float64)[sure],
        codes,
        scale=own.scale,
        baseline=baseline[sure],
        batches=None if numbers is None else numbers[sure],
    )
    sigmas = np.full(len(own.runs), np.nan)
    sigmas[sure] = np.where(np.isnan(found.chart.z), own.sigmas[sure], found.chart.z)
    return sigmas
