"""What are the readings of a meter that has moved, set right by its checks or set aside?

Nothing on record is changed: a frame of readings is made beside the one that stands. Only what the meter has moved from
its first level is taken back. The bias that it always had stays: the model of practices has the meter beside them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.findings.meter_bias import Checked, MeterBias
from analysis.findings.meter_episodes import Episode, begun_by, excess_of

__all__ = [
    "READ_WITH",
    "MeterTreatment",
    "Touched",
    "Treatment",
    "covered",
    "excess",
    "moved_meters",
    "treated",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

READ_WITH: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "dissolved_oxygen": ("dissolved_oxygen", "total_oxygen"),
        "total_oxygen": ("total_oxygen",),
        "haze": ("haze", "haze_forward", "chill_haze"),
    }
)
"""What a meter whose checks are of a quantity reads with the same share of error."""


class Treatment(StrEnum):
    """What is done with readings that a meter read wrongly."""

    SET_RIGHT = "set right"
    SET_ASIDE = "set aside"


@dataclass(frozen=True)
class MeterTreatment:
    """What is done with a meter's readings.

    From the day ``since`` to the day ``until``, both included. Without ``since`` it is about the readings from while
    the meter was off its first level, as its checks have it; with it a reading is set aside whatever the checks say.
    ``decided`` is when that was decided: a time off that began only after the meter had come back is no part of it.
    """

    meter: str
    quantity: str
    treatment: Treatment
    since: date | None = None
    until: date | None = None
    decided: datetime | None = None


@dataclass(frozen=True, eq=False)
class Touched:
    """Which readings a treatment touched.

    ``records`` (n,) are their numbers in the ledger and ``at`` (n,) their moments. ``off`` and ``off_zero`` are by how
    much the meter was off at most [natural log, and the quantity's kept unit against zero], 0 where it was not;
    ``varies`` is true where it was not off by as much all the time. ``below_nothing`` counts readings that would come
    out at or below 0 and are left out instead.
    """

    treatment: MeterTreatment
    records: NDArray[np.int64]
    at: pd.Series
    off: float
    off_zero: float
    varies: bool
    below_nothing: int = 0


def moved_meters(meters: Iterable[MeterBias]) -> tuple[MeterBias, ...]:
    """Return the meters whose checks have left their first level at some time."""
    return tuple(m for m in meters if any(c is not None and c.episodes for c in (m.span, m.zero)))


def excess(checked: Checked | None, at: pd.Series, decided: datetime | None = None) -> Floats:
    """Return by how much a meter read beyond its first level at each time, shape (n,) [natural log, or kept unit].

    0 before it left its course and after it came back. A drift is taken to go on at its rate after the last check.
    ``decided`` leaves out what began later, as ``MeterTreatment`` has it.
    """
    if checked is None:
        return np.zeros(len(at))
    days = ((at - pd.Timestamp(checked.began)).dt.total_seconds() / 86_400).to_numpy(dtype=np.float64)
    return np.where(np.isfinite(days), excess_of(covered(checked, decided), np.nan_to_num(days)), 0.0)


def covered(checked: Checked, decided: datetime | None) -> tuple[Episode, ...]:
    """Return the times in which a meter was off that a decision of a moment is about; all where there is none."""
    if decided is None:
        return checked.episodes
    return begun_by(checked.episodes, (decided - checked.began).total_seconds() / 86_400)


def treated(
    readings: pd.DataFrame, treatments: Sequence[MeterTreatment], meters: Iterable[MeterBias]
) -> tuple[pd.DataFrame, tuple[Touched, ...]]:
    """Return the readings with treatments applied, and which of them each touched.

    Parameters
    ----------
    readings : DataFrame
        As the ledger keeps them; it is not changed.
    treatments : sequence of MeterTreatment
        At most one a meter and quantity: of several the last counts.
    meters : iterable of MeterBias
        What the checks say of each meter.

    Returns
    -------
    DataFrame
        The readings in the same order; the value of one that was set aside is missing.
    tuple of Touched
        One a treatment that counts.
    """
    biases = {(m.meter, m.measure.name): m for m in meters}
    chosen = {(t.meter, t.quantity): t for t in treatments}
    value = readings["value"].to_numpy(dtype=np.float64, copy=True)
    touched = []
    for key, treatment in chosen.items():
        rows, new, told = _treat(readings, treatment, biases.get(key))
        value[rows] = new
        touched.append(told)
    return readings.assign(value=value), tuple(touched)


def _treat(
    readings: pd.DataFrame, treatment: MeterTreatment, bias: MeterBias | None
) -> tuple[NDArray[np.int64], Floats, Touched]:
    """Return the places of the readings that a treatment touches, their new values and what to say of them."""
    names = READ_WITH.get(treatment.quantity, (treatment.quantity,))
    own = (readings["meter"] == treatment.meter) & readings["quantity"].isin(names) & readings["value"].notna()
    places = np.flatnonzero(own.to_numpy(dtype=bool) & _within(readings["measured_at"], treatment))
    part = readings.iloc[places]
    off = excess(None if bias is None else bias.span, part["measured_at"], treatment.decided)
    own_quantity = (part["quantity"] == treatment.quantity).to_numpy(dtype=bool)
    off_zero = np.where(
        own_quantity, excess(None if bias is None else bias.zero, part["measured_at"], treatment.decided), 0.0
    )
    hit = (off != 0) | (off_zero != 0)
    if treatment.treatment is Treatment.SET_ASIDE:
        hit = hit | (treatment.since is not None)
    value = part["value"].to_numpy(dtype=np.float64)[hit]
    right = (value - off_zero[hit]) / np.exp(off[hit])
    nothing = (right <= 0) & (value > 0)
    aside = treatment.treatment is Treatment.SET_ASIDE
    told = Touched(
        treatment,
        part["record"].to_numpy(dtype=np.int64)[hit],
        part["measured_at"][hit],
        _largest(off[hit]),
        _largest(off_zero[hit]),
        any(one.size and np.ptp(one) > 1e-9 for one in (off[hit], off_zero[hit][own_quantity[hit]])),
        0 if aside else int(nothing.sum()),
    )
    return places[hit], np.where(aside | nothing, np.nan, right), told


def _within(at: pd.Series, treatment: MeterTreatment) -> Flags:
    inside = at.notna()
    if treatment.since is not None:
        inside &= at >= pd.Timestamp(treatment.since)
    if treatment.until is not None:
        inside &= at < pd.Timestamp(datetime.combine(treatment.until, datetime.min.time()) + timedelta(days=1))
    return inside.to_numpy(dtype=bool)


def _largest(off: Floats) -> float:
    return float(off[np.argmax(np.abs(off))]) if off.size else 0.0
