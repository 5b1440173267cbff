"""Has the level moved by about so much and stayed: does the sum of what lies beyond an allowance pass its bound?

Two one-sided sums, in sigmas. A sum that signals tells when the move began (the run after the sum was last 0) and what
the new level is about. A head start (fast initial response) finds quickly what was wrong from the first run.

Source: Page 1954, "Continuous inspection schemes", Biometrika 41; Lucas and Crosier 1982, "Fast initial response for
CUSUM quality-control schemes", Technometrics 24; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import FloatArray, IntArray, Scale, as_phases, as_series, from_scale, to_scale
from analysis.charts.cusum_run_length import check_cusum
from analysis.charts.individuals import individuals

__all__ = ["Cusum", "CusumSignal", "cusum"]


@dataclass(frozen=True)
class CusumSignal:
    """One excursion beyond the bound: the run that passes it, the run at which it began, both from 0, and its side.

    ``level`` is the estimated new level [measure's unit]; ``side`` is 1 above, -1 below.
    """

    at: int
    start: int
    side: int
    level: float


@dataclass(frozen=True, eq=False)
class Cusum:
    """The two sums in sigmas, shape (n,), NaN where a run is missing; ``lower`` is counted positive downward.

    ``centre`` [measure's unit] and ``sigma`` [on the chart's scale] are what runs were held against, shape (n,).
    ``allowance`` and ``bound`` are in sigmas. ``signals`` has the first run of each excursion beyond the bound.
    """

    upper: FloatArray
    lower: FloatArray
    centre: FloatArray
    sigma: FloatArray
    allowance: float
    bound: float
    signals: tuple[CusumSignal, ...]
    cautions: tuple[str, ...]


def cusum(
    values: ArrayLike,
    *,
    allowance: float = 0.5,
    bound: float = 4.7749,
    head_start: float = 0.0,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    centre: float | None = None,
    sigma: float | None = None,
) -> Cusum:
    """Return the tabular cumulative sums.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; a missing run (NaN) leaves the sums where they were.
    allowance : float
        What a run may lie off without being counted [sigma]: half the shift that should be found.
    bound : float
        The sum that signals [sigma]. The default gives, at an allowance of 0.5 and without a head start, one false
        alarm in 370 runs.
    head_start : float
        Where both sums start, as a share of the bound, from 0 to below 1; one half is usual.
    scale, baseline, phases, centre, sigma
        As for ``individuals``; the sums start anew with each phase.

    Raises
    ------
    ValueError
        If a setting is out of range, and as for ``individuals``.
    """
    check_cusum(allowance, bound, head_start)
    plain = individuals(
        values, scale=scale, baseline=baseline, phases=phases, centre=centre, sigma=sigma, rules=()
    ).values
    charted = to_scale(as_series(values), scale)
    phase = as_phases(phases, charted.size)
    z, start = plain.z, head_start * bound
    middle = to_scale(plain.centre, scale)
    sums, signals = [], []
    for side in (1, -1):
        total, begun = _one_sided(side * z, phase, allowance, start)
        for at in _first_beyond(total, phase, bound):
            runs = int(np.count_nonzero(~np.isnan(z[begun[at] : at + 1])))
            off = side * (allowance + (total[at] - (start if begun[at] == _phase_start(phase, at) else 0.0)) / runs)
            level = from_scale(np.array([middle[at] + off * plain.sigma[at]]), scale)
            signals.append(CusumSignal(at, int(begun[at]), side, float(level[0])))
        sums.append(total)
    return Cusum(
        upper=sums[0],
        lower=sums[1],
        centre=plain.centre,
        sigma=plain.sigma,
        allowance=allowance,
        bound=bound,
        signals=tuple(sorted(signals, key=lambda signal: signal.at)),
        cautions=plain.cautions,
    )


def _one_sided(z: FloatArray, phase: IntArray, allowance: float, start: float) -> tuple[FloatArray, IntArray]:
    """Return the sum after each run, NaN where the run is missing, and the run since which it has been above 0."""
    sums, begun = np.full(z.size, np.nan), np.zeros(z.size, dtype=np.int64)
    total, since, current = start, 0, None
    for i, (value, number) in enumerate(zip(z.tolist(), phase.tolist(), strict=True)):
        if number != current:
            total, since, current = start, i, number
        if math.isnan(value):
            begun[i] = since
            continue
        if total == 0:
            since = i
        total = max(0.0, total + value - allowance)
        sums[i], begun[i] = total, since
    return sums, begun


def _first_beyond(sums: FloatArray, phase: IntArray, bound: float) -> list[int]:
    """Return the first run of each excursion beyond the bound."""
    present = np.flatnonzero(~np.isnan(sums))
    beyond = sums[present] > bound
    new = np.ones(present.size, dtype=np.bool_)
    new[1:] = ~beyond[:-1] | (phase[present][1:] != phase[present][:-1])
    return [int(run) for run in present[beyond & new]]


def _phase_start(phase: IntArray, at: int) -> int:
    return int(np.searchsorted(phase, phase[at]))
