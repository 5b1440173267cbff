"""What did each meter show when it was checked?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np

from data_demo.draws import stream
from data_demo.laboratory import meter_bias
from data_demo.physics import air_saturation
from data_demo.truth import FIRST_BREW, METERS, NOW, MeterTruth

__all__ = ["Check", "checks"]

_ZERO_SPREAD = 0.8


@dataclass(frozen=True)
class Check:
    """A reading of something known, both in ``unit``."""

    meter: MeterTruth
    checked_at: datetime
    against: str
    reference: float
    observed: float
    unit: str


def checks() -> tuple[Check, ...]:
    """Return a check a week of each oxygen meter (saturated water, zero water), one a fortnight of a haze meter."""
    rng = stream("checks")
    found: list[Check] = []
    for week in range((NOW.date() - FIRST_BREW).days // 7 + 1):
        day = FIRST_BREW + timedelta(weeks=week)
        for place, meter in enumerate(METERS):
            at = datetime.combine(day, time(7, 40)) + timedelta(minutes=25 * place + float(rng.integers(0, 10)))
            if meter.quantity == "dissolved_oxygen":
                found.extend(_oxygen(rng, meter, at))
            elif week % 2 == 0:
                found.extend(_haze(rng, meter, at))
    return tuple(check for check in found if check.checked_at < NOW)


def _oxygen(rng: np.random.Generator, meter: MeterTruth, at: datetime) -> list[Check]:
    """Air-saturated water at the day's temperature and pressure [mg/L]; oxygen-free water [µg/L]."""
    saturated = round(air_saturation(float(rng.normal(18.5, 1.0)), float(rng.normal(1.0, 0.008))), 3)
    shown = round(saturated * float(np.exp(meter_bias(meter, at) + rng.normal(0, meter.check_spread))), 3)
    zero = round(max(0.0, float(rng.normal(1.2, _ZERO_SPREAD))), 1)
    return [
        Check(meter, at, "air-saturated water", saturated, shown, "mg/L"),
        Check(meter, at + timedelta(minutes=8), "zero water", 0.0, zero, "ppb"),
    ]


def _haze(rng: np.random.Generator, meter: MeterTruth, at: datetime) -> list[Check]:
    """Formazin of 1 EBC and 5 EBC, written in the meter's own unit."""
    factor = 4.0 if meter.unit == "NTU" else 1.0
    standards = (1.0 * factor, 5.0 * factor)
    spread = meter.check_spread
    return [
        Check(meter, at + timedelta(minutes=4 * n), "formazin", standard,
              round(standard * float(np.exp(meter_bias(meter, at) + rng.normal(0, spread))), 2), meter.unit)
        for n, standard in enumerate(standards)
    ]  # fmt: skip
