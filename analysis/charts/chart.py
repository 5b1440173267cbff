"""What does one chart hold: its points, its centre and limits, and its signals?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, from_scale
from analysis.charts.batches import OfBatches, batch_signals
from analysis.charts.run_patterns import ON
from analysis.charts.run_rules import LIMIT_ONLY, Signals, run_signals

__all__ = ["Chart", "draw_up", "small_baseline"]

FEW_RUNS = 20


@dataclass(frozen=True, eq=False)
class Chart:
    """One statistic over the runs, with its limits; every array has shape (n,).

    ``values``, ``centre``, ``lower`` and ``upper`` are in the unit of the statistic, on whichever ``scale`` the limits
    were made; a limit that there is not is NaN. ``z`` is the distance from the centre in sigmas on that scale, and
    ``sigma`` that sigma (a difference of natural logs where ``scale`` is ``"log"``). ``baseline`` marks the points that
    the limits were made from and ``phase`` the phase that each point belongs to. ``cautions`` are sentences to show.
    ``of_batches`` is what is known of the batches where one has several runs, None else.
    """

    statistic: str
    values: FloatArray
    centre: FloatArray
    lower: FloatArray
    upper: FloatArray
    sigma: FloatArray
    z: FloatArray
    scale: Scale
    baseline: BoolArray
    phase: IntArray
    signals: Signals
    cautions: tuple[str, ...] = ()
    of_batches: OfBatches | None = None

    @property
    def n(self) -> int:
        """The number of places on the chart, missing runs included."""
        return self.values.size

    @property
    def is_stable(self) -> bool:
        """True where no rule that is on has found anything."""
        return self.signals.first is None


def draw_up(
    statistic: str,
    charted: FloatArray,
    centre: FloatArray,
    sigma: FloatArray,
    *,
    scale: Scale = "linear",
    baseline: BoolArray,
    phase: IntArray,
    rules: Iterable[str] = LIMIT_ONLY,
    width: float = 3.0,
    lower: FloatArray | None = None,
    upper: FloatArray | None = None,
    unsure: BoolArray | None = None,
    cautions: tuple[str, ...] = (),
    of_batches: OfBatches | None = None,
) -> Chart:
    """Return the chart of a statistic whose centre and sigma are known at each point.

    Parameters
    ----------
    statistic : str
        What is charted, in words.
    charted, centre, sigma : array, shape (n,)
        The statistic, its centre line and its sigma, all on ``scale``.
    scale : {"log", "linear"}
        Scale of the three; the chart is handed back in the statistic's own unit.
    baseline, phase : array, shape (n,)
        As in ``Chart``.
    rules : iterable of str
        The run rules that are on.
    width : float
        Distance of the limits from the centre in sigmas.
    lower, upper : array, shape (n,), optional
        Limits on ``scale`` that stand in the place of those at ``width`` sigmas; NaN where there is none.
    unsure : array of bool, shape (n,), optional
        Points whose side of the centre is not known (censored): no rule counts them.
    cautions : tuple of str
        Sentences that the chart carries.
    of_batches : OfBatches, optional
        Where a batch has several runs: patterns of several points then count batches.
    """
    low = centre - width * sigma if lower is None else lower
    high = centre + width * sigma if upper is None else upper
    with np.errstate(invalid="ignore", divide="ignore"):
        counted = (sigma > 0) if unsure is None else (sigma > 0) & ~unsure
        z = np.where(counted, (charted - centre) / sigma, np.nan)
        slack = ON * sigma
        above, below = charted > high + slack, charted < low - slack
    if of_batches is None:
        signals = run_signals(z, rules, phases=phase, above=above, below=below)
    else:
        known = of_batches.batches, rules
        signals = batch_signals(z, of_batches.z, *known, phases=phase, above=above, below=below)
    return Chart(
        statistic=statistic,
        values=from_scale(charted, scale),
        centre=from_scale(centre, scale),
        lower=from_scale(low, scale),
        upper=from_scale(high, scale),
        sigma=sigma,
        z=z,
        scale=scale,
        baseline=baseline,
        phase=phase,
        signals=signals,
        cautions=cautions,
        of_batches=of_batches,
    )


def small_baseline(runs: int, found: str = "runs") -> tuple[str, ...]:
    """Return the caution that limits from few runs want, or none."""
    if runs >= FEW_RUNS:
        return ()
    return (f"Limits from only {runs} {found}: their false-alarm rate is not sure before there are {FEW_RUNS} to 25.",)
