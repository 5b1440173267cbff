"""Which chart finds such a shift within so many runs, at so few false alarms?

"Find a 30 % rise in oxygen within five runs at one false alarm a year" is a shift in sigmas, a wanted delay and a
wanted run length in control. Each kind of chart is set to that run length and its delay for that shift computed.

Source: Gan 1991, "An optimal design of CUSUM quality control charts", J. Qual. Technol. 23, and Lucas and Saccucci
1990, Technometrics 32, for choosing an allowance and a weight by the shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq
from scipy.special import ndtri

from analysis.charts.cusum_run_length import cusum_bound, cusum_run_length
from analysis.charts.ewma_run_length import ewma_run_length, ewma_width

__all__ = ["Design", "chart_designs", "smallest_shift_found"]

ChartKind = Literal["individuals", "ewma", "cusum"]

WEIGHTS = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8)
_LARGEST_SHIFT = 8.0


@dataclass(frozen=True)
class Design:
    """One chart set to the wanted run length in control.

    ``delay`` is the average number of runs until a shift is signalled, the signalling run included; ``in_time`` is
    whether that is within what was asked. ``width`` is NaN for a CUSUM, ``weight`` for all but an EWMA, ``allowance``
    and ``bound`` for all but a CUSUM; all four in sigmas but the weight.
    """

    kind: ChartKind
    delay: float
    in_time: bool
    width: float = math.nan
    weight: float = math.nan
    allowance: float = math.nan
    bound: float = math.nan


def chart_designs(shift: float, in_control: float, within: float) -> tuple[Design, ...]:
    """Return the best chart of each kind for a shift, the quickest first.

    Parameters
    ----------
    shift : float
        The shift to find, above 0 [sigma of the run-to-run spread]. On the log scale a rise of 30 % is log 1.3 over
        that spread.
    in_control : float
        Wanted average number of runs between false alarms, above 1: the runs of a year, for one a year.
    within : float
        Wanted delay, at least 1 [runs].

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not shift > 0:
        raise ValueError(f"shift must be above 0 sigma, got {shift}")
    if not within >= 1:
        raise ValueError(f"within must be at least 1 run, got {within}")
    designs = (_individuals(shift, in_control), _ewma(shift, in_control), _cusum(shift, in_control))
    return tuple(
        Design(d.kind, d.delay, d.delay <= within, d.width, d.weight, d.allowance, d.bound)
        for d in sorted(designs, key=lambda d: d.delay)
    )


def smallest_shift_found(in_control: float, within: float) -> float:
    """Return the smallest shift [sigma] that the best of the charts signals within so many runs on average.

    Parameters
    ----------
    in_control, within : float
        As for ``chart_designs``; ``within`` above 1.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not within > 1:
        raise ValueError(f"within must be above 1 run, got {within}")

    def late(shift: float) -> float:
        return math.log(chart_designs(shift, in_control, within)[0].delay / within)

    smallest = 0.05
    if late(smallest) <= 0:
        return smallest
    return float(brentq(late, smallest, _LARGEST_SHIFT, xtol=1e-3))


def _individuals(shift: float, in_control: float) -> Design:
    if not in_control > 1:
        raise ValueError(f"in_control must be above 1 run, got {in_control}")
    width = -float(ndtri(0.5 / in_control))
    return Design("individuals", ewma_run_length(1.0, width, shift), False, width=width)


def _ewma(shift: float, in_control: float) -> Design:
    tried = []
    for weight in WEIGHTS:
        width = ewma_width(weight, in_control)
        tried.append(Design("ewma", ewma_run_length(weight, width, shift), False, width=width, weight=weight))
    return min(tried, key=lambda design: design.delay)


def _cusum(shift: float, in_control: float) -> Design:
    """An allowance of half the shift is the best for it; past the limit of single runs there is no bound left."""
    allowance = min(shift / 2, -0.9 * float(ndtri(0.5 / in_control)))
    bound = cusum_bound(allowance, in_control)
    return Design("cusum", cusum_run_length(allowance, bound, shift), False, allowance=allowance, bound=bound)
