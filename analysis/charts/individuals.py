"""Is a series of single values stable, by its own run-to-run spread?

Limits stand three sigmas from the mean of the baseline, sigma being the mean moving range over d2(2): a range of two
neighbours does not see a shift or a drift that lies between other runs, as a standard deviation over all would.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; ASTM E2587-16, section 8.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_phases, as_series, to_scale
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.constants import MEDIAN_MOVING_RANGE, chart_constants
from analysis.charts.phases import by_phase, fewest_in_a_phase
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["Individuals", "Spread", "individuals", "mean_of", "moving_ranges", "sigma_of_moving_ranges"]

Spread = Literal["moving range", "median moving range", "standard deviation"]
FEWEST_RUNS = 2


@dataclass(frozen=True, eq=False)
class Individuals:
    """The chart of the values and, below it, the chart of their moving ranges (on the values' scale)."""

    values: Chart
    moving_range: Chart


def individuals(
    values: ArrayLike,
    *,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    spread: Spread = "moving range",
    centre: float | None = None,
    sigma: float | None = None,
) -> Individuals:
    """Return the individuals and moving-range charts of a series.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; NaN where a run is missing.
    scale : {"log", "linear"}
        Scale on which the limits are made; log where the spread grows with the level.
    baseline : array of bool, shape (n,), optional
        The runs that the limits are made from; all of them without it. Limits do not move with later runs.
    phases : array of int, shape (n,), optional
        Phase of each run: each phase has limits from its own baseline runs.
    rules : iterable of str
        The run rules that are on for the values; moving ranges have the limit alone.
    spread : {"moving range", "median moving range", "standard deviation"}
        What sigma is made from.
    centre, sigma : float, optional
        A centre [measure's unit] and a sigma [on ``scale``] that are given, and so not made from the baseline.

    Returns
    -------
    Individuals
        Where a phase has fewer than two neighbours in its baseline, its limits are NaN and the chart says so.

    Raises
    ------
    ValueError
        If an array has another shape, a value on the log scale is not positive, or ``sigma`` is not above 0.
    """
    charted = to_scale(as_series(values), scale)
    n = charted.size
    in_baseline = as_flags(baseline, n, "baseline") & ~np.isnan(charted)
    phase = as_phases(phases, n)
    ranges = moving_ranges(charted, phase)
    usable = in_baseline & _after_baseline(in_baseline)
    given_centre = None if centre is None else float(to_scale(np.array([centre]), scale)[0])
    middle = by_phase(charted, in_baseline, phase, mean_of, given_centre)
    if sigma is not None and not sigma > 0:
        raise ValueError(f"sigma must be above 0, got {sigma}")
    if spread == "standard deviation":
        width = by_phase(charted, in_baseline, phase, _sample_sd, sigma)
    else:
        width = by_phase(ranges, usable, phase, lambda found: sigma_of_moving_ranges(found, spread), sigma)
    cautions = _cautions(in_baseline, width, phase) if sigma is None else ()
    above = draw_up(
        "value", charted, middle, width, scale=scale, baseline=in_baseline, phase=phase, rules=rules, cautions=cautions
    )
    return Individuals(above, _range_chart(ranges, width, usable, phase))


def moving_ranges(charted: FloatArray, phase: IntArray) -> FloatArray:
    """Return the distance of each run from the one before it, shape (n,); NaN across a gap or a change of phase."""
    ranges = np.full(charted.size, np.nan)
    if charted.size:
        ranges[1:] = np.where(phase[1:] == phase[:-1], np.abs(np.diff(charted)), np.nan)
    return ranges


def sigma_of_moving_ranges(ranges: FloatArray, spread: Spread = "moving range") -> float:
    """Return sigma from moving ranges of two, NaN being left out; NaN where there is none."""
    found = ranges[~np.isnan(ranges)]
    if not found.size:
        return float("nan")
    if spread == "moving range":
        return float(found.mean() / chart_constants(2).d2)
    if spread == "median moving range":
        return float(np.median(found) / MEDIAN_MOVING_RANGE)
    allowed = "moving range, median moving range, standard deviation"
    raise ValueError(f"spread must be one of {allowed}, got {spread!r}")


def _after_baseline(in_baseline: BoolArray) -> BoolArray:
    """Return which runs stand right after a baseline run: only then is the moving range the baseline's own."""
    after = np.zeros_like(in_baseline)
    after[1:] = in_baseline[:-1]
    return after


def mean_of(found: FloatArray) -> float:
    """Return the mean of what was found, NaN where there is nothing."""
    return float(found.mean()) if found.size else float("nan")


def _sample_sd(found: FloatArray) -> float:
    return float(found.std(ddof=1)) if found.size >= FEWEST_RUNS else float("nan")


def _range_chart(ranges: FloatArray, sigma: FloatArray, usable: BoolArray, phase: IntArray) -> Chart:
    constants = chart_constants(2)
    return draw_up(
        "moving range",
        ranges,
        constants.d2 * sigma,
        constants.d3 * sigma,
        baseline=usable,
        phase=phase,
        lower=np.full(ranges.size, np.nan),
        upper=constants.D2 * sigma,
    )


def _cautions(in_baseline: BoolArray, sigma: FloatArray, phase: IntArray) -> tuple[str, ...]:
    if np.isnan(sigma).all():
        return ("No limits: the baseline has no two runs side by side.",)
    if np.isnan(sigma).any():
        return ("A phase has no limits: its baseline has no two runs side by side.",)
    if (sigma == 0).any():
        return ("No signals: the baseline's runs are all alike, so that its spread is 0.",)
    return small_baseline(fewest_in_a_phase(in_baseline, phase))
