"""Do the forecast's intervals hold on the brewery's own last batches, and does the pack read what the tank did?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri
from scipy.stats import binomtest

from analysis.estimate import Estimate
from analysis.findings.tank_readings import TankHaze, day_number, tank_haze
from analysis.haze import Settling, fit_settling, forecast
from analysis.linking import PackTable

__all__ = ["Checked", "HeldOut", "TankHistory", "held_out", "pack_over_tank", "settling_of", "tank_history"]

_MOST_HELD_OUT = 60
_SHARE_HELD_OUT = 3
_PARTS = 4
_SEEN = 2
_FEWEST_LEFT = 10
_FEWEST_PAIRS = 5
_BELIEF = 20


@dataclass(frozen=True)
class HeldOut:
    """How often the intervals held on batches that the fit did not see.

    Of ``batches``, each foretold in its last reading from its first ``seen``, ``held`` lay inside the interval at
    ``level``; ``low`` to ``high`` is the 95 % interval of the share that holds.
    """

    seen: int
    batches: int
    held: int
    level: float
    low: float
    high: float

    @property
    def as_stated(self) -> bool:
        """Whether the stated confidence lies within what these batches leave open."""
        return self.low <= self.level <= self.high

    @property
    def often_enough(self) -> bool:
        """Whether they leave open that the intervals hold as often as stated, or hold more often."""
        return self.level <= self.high


@dataclass(frozen=True)
class Checked:
    """How the forecast did on the last batches, before any reading (``unread``) and after two (``read``).

    ``stretch_unread`` and ``stretch_read`` are how much wider its intervals are told since, so that they would have
    held as often as stated on those batches; 1 where they did.
    """

    unread: HeldOut
    read: HeldOut
    stretch_unread: float
    stretch_read: float

    def stretch(self, readings: int) -> float:
        """Return how much wider an interval is told after so many readings."""
        return self.stretch_read if readings else self.stretch_unread


@dataclass(frozen=True, eq=False)
class TankHistory:
    """How the brewery's tanks have settled up to a moment.

    ``fit`` is None where too few were read; ``checked`` and ``pack_over_tank`` are None where they cannot be told.
    """

    read: TankHaze
    fit: Settling | None
    checked: Checked | None
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
        day_number(readings["measured_at"]),
    )  # fmt: skip


def held_out(readings: pd.DataFrame, level: float) -> Checked | None:
    """Foretell each of the last third's batches from what was read before its part of that time.

    The last third is cut into four parts of its time; each is foretold by a fit to what was read before it began, with
    intervals as wide as the misses of the parts before called for: so the score is one that nobody could have tuned.

    Parameters
    ----------
    readings : DataFrame
        As ``tank_haze`` gives them.
    level : float
        Confidence of the intervals.

    Returns
    -------
    Checked, or None where too few would be left to fit or none could be foretold.
    """
    begins = readings.groupby("settling")["stirred_at"].min().sort_values(kind="stable")
    last = min(_MOST_HELD_OUT, len(begins) // _SHARE_HELD_OUT)
    if not last or len(begins) < last + _FEWEST_LEFT:
        return None
    misses: dict[int, list[float]] = {0: [], _SEEN: []}
    held: dict[int, list[bool]] = {0: [], _SEEN: []}
    for part in np.array_split(begins.index[-last:].to_numpy(), min(_PARTS, last)):
        fit = settling_of(readings[readings["measured_at"] < begins[part[0]]])
        if fit is None:
            continue
        own = [settled for _, settled in readings[readings["settling"].isin(part)].groupby("settling")]
        for seen, before in misses.items():
            stretch = _stretch(before, level)
            told = [miss for settled in own if (miss := _miss(fit, settled, seen, level)) is not None]
            held[seen] += [miss <= stretch for miss in told]
            before.extend(told)
    if not held[_SEEN]:
        return None
    unread, read = (_score(seen, held[seen], level) for seen in (0, _SEEN))
    return Checked(unread, read, _stretch(misses[0], level), _stretch(misses[_SEEN], level))


def _score(seen: int, held: list[bool], level: float) -> HeldOut:
    exact = binomtest(sum(held), len(held)).proportion_ci(0.95, method="exact")
    return HeldOut(seen, len(held), sum(held), level, float(exact.low), float(exact.high))


def _miss(fit: Settling, own: pd.DataFrame, seen: int, level: float) -> float | None:
    """Return how far the last reading lay from what was expected, as a share of the interval's reach to that side."""
    own = own.sort_values("hours")
    if len(own) <= _SEEN:
        return None
    hours, haze = own["hours"].to_numpy(dtype=float), own["haze"].to_numpy(dtype=float)
    day = float(day_number(own["stirred_at"])[0])
    told = forecast(fit, str(own["recipe"].iloc[0]), hours[:seen], haze[:seen], hours[-1:], level=level, day=day)
    end = told.high[0] if haze[-1] > told.expected[0] else told.low[0]
    return abs(math.log(haze[-1] / told.expected[0]) / math.log(end / told.expected[0]))


def _stretch(misses: list[float], level: float) -> float:
    """Return by how much intervals must widen to be as wide as these misses are large; never less than 1.

    Misses as shares of an interval's reach are, where the forecast is right, those of a standard normal over its
    quantile. Their mean square is taken together with twenty batches' worth of belief that it is right (common
    practice, no source), so that a few misses do not widen everything.
    """
    squares = float(ndtri(0.5 + level / 2)) ** 2 * float(np.square(misses).sum()) + _BELIEF
    return max(1.0, math.sqrt(squares / (len(misses) + _BELIEF)))


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
            np.array([max(hours, 0.0)]), day=float(day_number(own["stirred_at"])[0]),
        )  # fmt: skip
        ratios.append(float(run["log"]) - math.log(float(told.expected[0])))
    if len(ratios) < _FEWEST_PAIRS:
        return None
    found = np.array(ratios)
    reach = 1.96 * float(found.std(ddof=1)) / math.sqrt(found.size)
    middle = float(found.mean())
    return Estimate(math.exp(middle), math.exp(middle - reach), math.exp(middle + reach), "")
