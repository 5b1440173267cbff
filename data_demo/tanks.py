"""What was read in the fermenters, bright tanks and at the filler while the beer was on its way?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from data_demo.cellar import Job, Plan
from data_demo.draws import stream
from data_demo.laboratory import meter_bias
from data_demo.packaging import Run
from data_demo.schedule import Batch
from data_demo.truth import CENTRES, METERS, NOW, PICKUP, SPREADS, MeterTruth

__all__ = ["TankReading", "tank_readings"]

_OXYGEN_METERS, _HAZE_METER = METERS[:2], METERS[2]
_FOLLOWED = 0.75
_ROUSE_OXYGEN = 4.0


@dataclass(frozen=True)
class TankReading:
    """One reading on the way to the pack: oxygen [µg/L] or haze [EBC]; ``run`` is "" before the filler."""

    key: str
    number: str
    run: str
    vessel: str
    stage: str
    quantity: str
    measured_at: datetime
    value: float
    temperature: float
    meter: MeterTruth


@dataclass(frozen=True)
class _Level:
    """What a batch settles to: haze [EBC] and its pack's total oxygen [µg/L] in an ordinary can."""

    haze: float
    oxygen: float


def tank_readings(
    batches: tuple[Batch, ...], planned: dict[str, Plan], jobs: tuple[Job, ...], runs: tuple[Run, ...]
) -> tuple[TankReading, ...]:
    """Return every reading that was made before the books end, in the order of time."""
    rng = stream("tanks")
    found: list[TankReading] = []
    for batch in batches:
        own = [run for run in runs if batch.key in [s.key for s in run.sources]]
        level = _level(rng, batch, own)
        rouses = [j for j in jobs if j.key == batch.key and j.operation == "rouse"]
        if rouses and rng.random() < _FOLLOWED:
            found.extend(_settling(rng, batch, level))
        if rouses and rng.random() < _FOLLOWED:
            found.extend(_oxygen(rng, batch, planned[batch.key], level, rouses[-1]))
        for run in own:
            if run.batch is batch and rng.random() < _FOLLOWED:
                found.append(_filler(rng, run, level))
    return tuple(sorted((r for r in found if r.measured_at < NOW), key=lambda r: r.measured_at))


def _level(rng: np.random.Generator, batch: Batch, own: list[Run]) -> _Level:
    """The batch's own level: that of its first run, or a draw about the recipe's where it is still in tank."""
    haze, oxygen = rng.normal(0, SPREADS["haze"].batch), rng.normal(0, SPREADS["total_oxygen"].batch)
    if not own:
        return _Level(batch.recipe.haze * np.exp(haze), batch.recipe.oxygen * np.exp(oxygen))
    return _Level(own[0].haze, own[0].oxygen * np.exp(-own[0].form.log_oxygen))


def _settling(rng: np.random.Generator, batch: Batch, level: _Level) -> list[TankReading]:
    """Haze above the floor falls exponentially; read soon after the last rouse and about daily from then on."""
    stirred = batch.recipe.stirred * np.exp(rng.normal(0, 0.10 if batch.recipe.fined else 0.03))
    hours = np.cumsum([rng.uniform(1, 4), *rng.uniform(14, 26, 5)])
    found = []
    for wait in hours:
        at = _minute(batch.settle_at + timedelta(hours=float(wait)))
        vessel, stage = _place(batch, at)
        if at >= batch.pack_at:
            break
        floor = level.haze * (1 + (stirred - 1) * np.exp(-wait / batch.recipe.settling))
        found.append(_reading(rng, batch, vessel, stage, "haze", at, floor * np.exp(rng.normal(0, 0.04)), _HAZE_METER))
    return found


def _place(batch: Batch, at: datetime) -> tuple[str, str]:
    """Return the vessel and stage at which a batch stood at that time."""
    moved = [move.to_vessel for move in batch.moves if move.moved_at <= at]
    return (moved[-1], "bright_tank") if moved else (batch.fermenter, "fermenter")


def _oxygen(rng: np.random.Generator, batch: Batch, plan: Plan, level: _Level, rouse: Job) -> list[TankReading]:
    """Before and after the last rouse in the fermenter, then in the bright tank."""
    base = level.oxygen * PICKUP.fermenter
    air = _ROUSE_OXYGEN * (3.0 if not plan.air_bled else 1.0)
    after = (rouse.ended_at or rouse.started_at) + timedelta(minutes=25)
    places = [(rouse.started_at - timedelta(minutes=20), base * 0.8), (after, base * 0.8 + air)]
    if batch.moves:
        share = PICKUP.bright_tank / CENTRES["transfers"] * len(batch.moves)
        at = batch.moves[-1].moved_at + timedelta(hours=1.5)
        places.append((at, level.oxygen * (PICKUP.bright_tank * 0.5 + share * 0.5)))
    meter = _OXYGEN_METERS[rng.integers(2)]
    found = []
    for moment, value in places:
        at, read = _minute(moment), value * float(np.exp(rng.normal(0, 0.12)))
        if at < batch.pack_at:
            found.append(_reading(rng, batch, *_place(batch, at), "dissolved_oxygen", at, read, meter))
    return found


def _filler(rng: np.random.Generator, run: Run, level: _Level) -> TankReading:
    at = run.packed_at + timedelta(minutes=float(rng.integers(10, 25)))
    value = level.oxygen * PICKUP.filler * np.exp(rng.normal(0, 0.12))
    read = _reading(rng, run.batch, "", "filler", "dissolved_oxygen", at, value, _OXYGEN_METERS[rng.integers(2)])
    return TankReading(**{**read.__dict__, "run": run.run})


def _reading(
    rng: np.random.Generator, batch: Batch, vessel: str, stage: str, quantity: str, at: datetime, value: float,
    meter: MeterTruth,
) -> TankReading:  # fmt: skip
    read = float(value * np.exp(meter_bias(meter, at) + rng.normal(0, 0.02)))
    temperature = round(float(rng.normal(1.0, 0.4)), 1)
    return TankReading(batch.key, batch.number, "", vessel, stage, quantity, at, read, temperature, meter)


def _minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0)
