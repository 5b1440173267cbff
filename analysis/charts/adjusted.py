"""Did something move that the practices do not explain?

Each run is charted less what a model of the practices expects of it, so that a signal is not merely "we fined less".
What the model expects is handed in: the charts know nothing of practices.

Source: Mandel 1969, "The regression control chart", J. Qual. Technol. 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, Scale, as_series, to_scale
from analysis.charts.chart import Chart
from analysis.charts.individuals import individuals
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["Adjusted", "adjusted"]


@dataclass(frozen=True, eq=False)
class Adjusted:
    """The chart of what is left, and what was taken out.

    ``chart`` holds what is left on the scale that was asked for (a difference of logs on the log scale). ``explained``
    is what the model moved each run from the baseline's mean, shape (n,), on that scale. ``share_explained`` is the
    part of the baseline's variance that the model takes away; below 0 where it adds to it.
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
        What the model expects of each run, in the measure's unit; NaN where it cannot tell, and the run is then left
        out of this chart.
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
    left = charted - model
    chart = individuals(left, baseline=baseline, phases=phases, rules=rules).values
    used = chart.baseline
    return Adjusted(chart, model - _mean(model, used), _share_explained(charted, left, used))


def _mean(series: FloatArray, used: BoolArray) -> float:
    return float(series[used].mean()) if used.any() else float("nan")


def _share_explained(charted: FloatArray, left: FloatArray, used: BoolArray) -> float:
    total = float(np.var(charted[used])) if used.any() else 0.0
    return 1 - float(np.var(left[used])) / total if total > 0 else float("nan")
