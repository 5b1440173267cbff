"""Did something move that the practices do not explain?

Each run is charted as it would stand with the practices of the baseline, so that a signal is not merely "we fined
less": what a model expects of its practices, beyond the baseline's mean, is taken out. What the model expects is handed
in: the charts know nothing of practices.

Source: Mandel 1969, "The regression control chart", J. Qual. Technol. 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, Scale, as_flags, as_series, from_scale, to_scale
from analysis.charts.chart import Chart
from analysis.charts.individuals import individuals
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["Adjusted", "adjusted"]


@dataclass(frozen=True, eq=False)
class Adjusted:
    """The chart of what is left, and what was taken out.

    ``chart`` holds each run in the measure's unit, as it would stand with the baseline's practices. ``explained`` is by
    how much the model moved it from there, shape (n,), on the scale that was asked for (a difference of logs on the log
    scale). ``share_explained`` is the part of the baseline's variance that the model takes away; below 0 where it adds
    to it.
    """

    chart: Chart
    explained: FloatArray
    share_explained: float


def adjusted(
    values: ArrayLike,
    expected: ArrayLike,
    *,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
) -> Adjusted:
    """Return the chart of what is left of each run after what a model expects of it.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; NaN where a run is missing.
    expected : array, shape (n,)
        What the model expects of each run by its practices, in the measure's unit; only how it differs from the
        baseline's mean counts. NaN where it cannot tell, and the run is then left out of this chart.
    scale, baseline, phases, rules
        As for ``individuals``.

    Raises
    ------
    ValueError
        If the shapes differ, and as for ``individuals``.
    """
    charted = to_scale(as_series(values), scale)
    model = to_scale(as_series(expected, "expected"), scale)
    if model.shape != charted.shape:
        raise ValueError(f"expected must be {charted.size} numbers, got {model.size}")
    known = as_flags(baseline, charted.size, "baseline") & ~np.isnan(charted) & ~np.isnan(model)
    explained = model - _mean(model, known)
    left = charted - explained
    chart = individuals(from_scale(left, scale), scale=scale, baseline=baseline, phases=phases, rules=rules).values
    return Adjusted(chart, explained, _share_explained(charted, left, chart.baseline))


def _mean(series: FloatArray, used: BoolArray) -> float:
    return float(series[used].mean()) if used.any() else float("nan")


def _share_explained(charted: FloatArray, left: FloatArray, used: BoolArray) -> float:
    total = float(np.var(charted[used])) if used.any() else 0.0
    return 1 - float(np.var(left[used])) / total if total > 0 else float("nan")
