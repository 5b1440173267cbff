"""What did the laboratory read, in packs and in tanks, and with which meter?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from data_demo.draws import stream
from data_demo.packaging import Run
from data_demo.physics import partition
from data_demo.truth import AGED_DECAY, METER_DRIFT, METERS, SPREADS, MeterTruth

__all__ = ["Pack", "Repeat", "meter_bias", "packs", "repeats"]

_OXYGEN_METERS = tuple(m for m in METERS if m.quantity == "dissolved_oxygen")
_HAZE_METERS = tuple(m for m in METERS if m.quantity == "haze")
_AGED_RUNS = 10
_REPEATED_RUNS = 10


@dataclass(frozen=True)
class Pack:
    """One pack that was opened and read.

    Oxygen [µg/L] and haze [EBC] are as the meters gave them, before a hand writes them down in a meter's own unit; None
    is a reading that was not made. ``total`` is what the meter worked out from ``dissolved`` and the headspace.
    ``temperature`` [°C] is that of the pack when it was shaken.
    """

    run: Run
    sample: int
    measured_at: datetime
    temperature: float
    oxygen_meter: MeterTruth
    haze_meter: MeterTruth
    dissolved: float
    total: float | None
    haze: float | None
    forward: float | None
    true_oxygen: float
    true_haze: float


@dataclass(frozen=True)
class Repeat:
    """One of several haze readings of the same pack [EBC]."""

    run: Run
    sample: int
    meter: MeterTruth
    replicate: int
    measured_at: datetime
    haze: float


def meter_bias(meter: MeterTruth, moment: datetime) -> float:
    """Return how far a meter reads from the truth at that time (log scale)."""
    weeks = (moment.date() - METER_DRIFT.begins).days / 7 if meter.name == METER_DRIFT.meter else 0.0
    return meter.log_bias + METER_DRIFT.log_per_week * max(0.0, weeks)


def packs(runs: tuple[Run, ...]) -> tuple[Pack, ...]:
    """Return the packs that were opened within hours of packing, and a few that were kept for weeks."""
    rng = stream("packs")
    found = [pack for run in runs for pack in _fresh(rng, run)]
    bottled = [run for run in runs if run.form.headspace]
    for run in bottled[3 :: len(bottled) // _AGED_RUNS][:_AGED_RUNS]:
        found.extend(_aged(rng, run))
    return tuple(found)


def _fresh(rng: np.random.Generator, run: Run) -> list[Pack]:
    count = int(rng.integers(4, 7)) if run.form.headspace else 2
    meter, haze_meter = _OXYGEN_METERS[rng.integers(2)], _HAZE_METERS[int(rng.random() < 0.4)]
    begins = run.packed_at + timedelta(minutes=float(rng.integers(30, 120)))
    times = [begins + timedelta(minutes=7 * place) for place in range(count)]
    forward = rng.random() < 0.25
    return [_read(rng, run, n, at, meter, haze_meter, forward) for n, at in enumerate(times, start=1)]


def _aged(rng: np.random.Generator, run: Run) -> list[Pack]:
    """Two packs from the shelf: their oxygen has gone into the beer."""
    at = run.packed_at + timedelta(days=float(rng.integers(28, 50)), hours=2)
    meter, haze_meter = _OXYGEN_METERS[rng.integers(2)], _HAZE_METERS[0]
    return [_read(rng, run, n, at + timedelta(minutes=9 * n), meter, haze_meter, False) for n in (21, 22)]


def _read(
    rng: np.random.Generator, run: Run, sample: int, at: datetime, meter: MeterTruth, haze_meter: MeterTruth,
    forward: bool,
) -> Pack:  # fmt: skip
    days = max(0.0, (at - run.packed_at).total_seconds() / 86_400)
    oxygen = run.oxygen * np.exp(rng.normal(0, SPREADS["total_oxygen"].pack) - AGED_DECAY * (days if days > 1 else 0.0))
    haze = run.haze * np.exp(rng.normal(0, SPREADS["haze"].pack))
    temperature = round(float(rng.normal(20.0, 0.4)), 1)
    ratio = partition(temperature, run.headspace, run.form.size)
    read = oxygen * np.exp(meter_bias(meter, at) + rng.normal(0, SPREADS["total_oxygen"].meter))
    read_haze = haze * np.exp(meter_bias(haze_meter, at) + rng.normal(0, SPREADS["haze"].meter))
    return Pack(
        run, sample, at, temperature, meter, haze_meter,
        dissolved=float(read / ratio),
        total=float(read) if run.form.headspace and days < 1 else None,
        haze=float(read_haze) if days < 1 else None,
        forward=float(read_haze * run.recipe.forward * np.exp(rng.normal(0, 0.05))) if forward and days < 1 else None,
        true_oxygen=float(oxygen),
        true_haze=float(haze),
    )  # fmt: skip


def repeats(read: tuple[Pack, ...]) -> tuple[Repeat, ...]:
    """Return a study of the haze meters: the same packs, three times on each."""
    rng = stream("repeats")
    clear = [p for p in read if p.sample == 1 and p.run.recipe.fined and p.haze is not None]
    found = []
    for pack in clear[7 :: len(clear) // _REPEATED_RUNS][:_REPEATED_RUNS]:
        for place, meter in enumerate(_HAZE_METERS * 3):
            at = pack.measured_at + timedelta(hours=2, minutes=4 * place)
            spread = rng.normal(0, SPREADS["haze"].meter * (1.0 if meter.name == "HZ1" else 2.0))
            haze = float(pack.true_haze * np.exp(meter_bias(meter, at) + spread))
            found.append(Repeat(pack.run, pack.sample, meter, place // len(_HAZE_METERS) + 1, at, haze))
    return tuple(found)
