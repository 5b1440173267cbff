"""Did something move across recipes: each run against its own recipe's centre, a chart a line?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import batch_individuals, standardised
from analysis.findings.series import Series
from analysis.findings.series_batches import batch_numbers, batches_of, counted_in, several_runs
from analysis.findings.series_charting import FEWEST_RUNS, chart_points, chart_signals, too_few
from analysis.findings.series_moves import memory_between_moves, moves_of
from analysis.findings.series_rests import rest_on_recipes
from analysis.vocabulary import Practice, Scale

__all__ = ["across_recipes"]

Floats = npt.NDArray[np.float64]


def across_recipes(
    runs: pd.DataFrame, practices: Sequence[Practice], scale: Scale, rules: Sequence[str]
) -> tuple[Series, ...]:
    """Return a chart a line: each run against its own recipe and format, in sigmas; moves in percent of the level.

    Parameters
    ----------
    runs, practices, scale, rules
        As for ``series_of``, over all recipes and formats. Of one alone there is nothing across to chart.
    """
    groups = runs.groupby(["recipe", "format"], dropna=False, sort=False).ngroup().to_numpy(np.int64)
    if not groups.size or not groups.max():
        return ()
    found = standardised(runs["value"].to_numpy(np.float64), groups, scale=scale, batches=batch_numbers(runs))
    lines = runs["line"].where(~np.isnan(found.chart.z))
    others = [practice for practice in practices if practice.name != "line"]
    series = []
    for line in sorted(lines.dropna().unique()):
        here = (lines == line).fillna(False).to_numpy(np.bool_)
        own = runs[here].reset_index(drop=True)
        series.append(_across(own, found.chart.z[here], found.deviation[here], others, scale, rules))
    return tuple(series)


def _across(
    own: pd.DataFrame,
    sigmas: Floats,
    deviation: Floats,
    practices: Sequence[Practice],
    scale: Scale,
    rules: Sequence[str],
) -> Series:
    numbers = batch_numbers(own)
    batches = batches_of(numbers, len(own))
    enough = counted_in(batches, len(own))[0] >= FEWEST_RUNS
    chart = batch_individuals(sigmas, numbers, centre=0.0, sigma=1.0, rules=rules) if enough else None
    moves = rest_on_recipes(moves_of(own, sigmas, deviation, practices, scale), own, deviation, scale)
    found = memory_between_moves(sigmas, moves, own["at"], batches)
    return Series(
        recipe=None,
        format=None,
        line=str(own["line"].iloc[0]),
        scale="linear",
        centre=0.0,
        lower=-3.0,
        upper=3.0,
        points=chart_points(own, sigmas, chart),
        baseline=(),
        signals=chart_signals(chart),
        moves=moves,
        phases=(),
        why_not=too_few(chart, len(own), batches),
        correlation=float("nan") if found is None else found.correlation,
        after_memory=(),
        suggestion=None,
        targets=None,
        cautions=(),
        several_runs=several_runs(chart),
    )
