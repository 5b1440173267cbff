"""Do the forecast's intervals hold on the brewery's own last batches, and does the pack read what the tank did?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binomtest

from analysis.estimate import Estimate
from analysis.findings.tank_readings import TankHaze, tank_haze
from analysis.haze import Settling, fit_settling, forecast
from analysis.linking import PackTable

__all__ = ["HeldOut", "TankHistory", "held_out", "pack_over_tank", "settling_of", "tank_history"]

_MOST_HELD_OUT = 60
_SHARE_HELD_OUT = 3
_SEEN = 2
_FEWEST_LEFT = 10
_FEWEST_PAIRS = 5


@dataclass(frozen=True)
class HeldOut:
    """How often the intervals held on batches that the fit did not see.

    Of ``batches``, each foretold in its last reading from its first two, ``held`` lay inside the interval at ``level``;
    ``low`` to ``high`` is the 95 % interval of the share that holds.
    """

    batches: int
    held: int
    level: float
    low: float
    high: float

    @property
    def as_stated(self) -> bool:
        """Whether the stated confidence lies within what these batches leave open."""
        return self.low <= self.level <= self.high


@dataclass(frozen=True, eq=False)
class TankHistory:
    """How the brewery's tanks have settled up to a moment.

    ``fit`` is None where too few were read; ``checked`` and ``pack_over_tank`` are None where they cannot be told.
    """

    read: TankHaze
    fit: Settling | None
    checked: HeldOut | None
    pack_over_tank: Estimate | None


def tank_history(table: PackTable, until: pd.Timestamp, level: float) -> TankHistory:
    """Return how tanks have settled, from the readings made until then; ``level`` is the intervals' confidence."""
    told = tank_haze(table)
    readings = told.readings[told.readings["measured_at"] <= until]
    fit = settling_of(readings)
    read = TankHaze(readings, told.not_placed, told.not_exact)
    if fit is None:
        return TankHistory(read, None, None, None)
    return TankHistory(read, fit, held_out(readings, level), pack_over_tank(table, readings, fit))


def settling_of(readings: pd.DataFrame) -> Settling | None:
    """Return the fit of tank readings as ``tank_haze`` gives them; None where they are too few."""
    return fit_settling(
        readings["hours"].to_numpy(dtype=float), readings["haze"].to_numpy(dtype=float),
        readings["settling"].astype(str).tolist(), readings["recipe"].fillna("").astype(str).tolist(),
    )  # fmt: skip


def held_out(readings: pd.DataFrame, level: float) -> HeldOut | None:
    """Leave the last third out, fit the rest, and foretell each one's last reading from its first two.

    Parameters
    ----------
    readings : DataFrame
        As ``tank_haze`` gives them.
    level : float
        Confidence of the intervals.

    Returns
    -------
    HeldOut, or None where too few would be left to fit or none could be foretold.
    """
    begins = readings.groupby("settling")["stirred_at"].min().sort_values(kind="stable").index
    last = min(_MOST_HELD_OUT, len(begins) // _SHARE_HELD_OUT)
    if not last or len(begins) < last + _FEWEST_LEFT:
        return None
    out = set(begins[-last:])
    fit = settling_of(readings[~readings["settling"].isin(out)])
    if fit is None:
        return None
    told = [_holds(fit, own, level) for _, own in readings[readings["settling"].isin(out)].groupby("settling")]
    counted = [one for one in told if one is not None]
    if not counted:
        return None
    exact = binomtest(sum(counted), len(counted)).proportion_ci(0.95, method="exact")
    return HeldOut(len(counted), sum(counted), level, float(exact.low), float(exact.high))


def _holds(fit: Settling, own: pd.DataFrame, level: float) -> bool | None:
    own = own.sort_values("hours")
    hours, haze = own["hours"].to_numpy(dtype=float), own["haze"].to_numpy(dtype=float)
    if len(own) <= _SEEN:
        return None
    told = forecast(fit, str(own["recipe"].iloc[0]), hours[:_SEEN], haze[:_SEEN], hours[-1:], level=level)
    return bool(told.low[0] <= haze[-1] <= told.high[0])


def pack_over_tank(table: PackTable, readings: pd.DataFrame, fit: Settling) -> Estimate | None:
    """Return haze in the fresh pack over the tank's haze when it was packed, a ratio; None below five batches.

    The tank's haze is the settling curve through its readings at the moment of packing, so that the beer's last fall
    before packaging does not count as a difference.
    """
    if not len(table.rows) or "haze" not in table.rows:
        return None
    fresh = table.rows[(table.rows["age_days"].fillna(0) < 1) & (table.rows["haze"] > 0)]
    runs = fresh.assign(log=np.log(fresh["haze"])).groupby("batch").agg(log=("log", "mean"), at=("packed_at", "min"))
    ratios = []
    for _, own in readings[readings["batch"].isin(runs.index)].groupby("settling"):
        run = runs.loc[own["batch"].iloc[0]]
        hours = (run["at"] - own["stirred_at"].iloc[0]).total_seconds() / 3600
        told = forecast(
            fit, str(own["recipe"].iloc[0]), own["hours"].to_numpy(float), own["haze"].to_numpy(float),
            np.array([max(hours, 0.0)]),
        )  # fmt: skip
        ratios.append(float(run["log"]) - math.log(float(told.expected[0])))
    if len(ratios) < _FEWEST_PAIRS:
        return None
    found = np.array(ratios)
    reach = 1.96 * float(found.std(ddof=1)) / math.sqrt(found.size)
    middle = float(found.mean())
    return Estimate(math.exp(middle), math.exp(middle - reach), math.exp(middle + reach), "")
