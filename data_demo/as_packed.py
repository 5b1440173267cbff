"""How did each practice stand when a run was packed?

Worked out from the simulated jobs by plain loops over one batch at a time, with nothing of the tool's own linking, so
that the one can be held against the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from data_demo.cellar import Job, Plan
from data_demo.schedule import Batch

__all__ = ["PRACTICES", "Source", "blended", "practices_of", "sources_of"]

PRACTICES = (
    "rouse_minutes", "rouse_count", "hours_since_rouse", "isinglass_dose", "silica_sol_dose", "auxiliary_dose",
    "finings_count", "hours_since_finings", "cone_dumps", "days_since_dump", "dry_hop_rate", "dry_hop_days",
    "cold_hours", "transfers", "air_bled", "yeast_generation",
)  # fmt: skip
_COUNTS = ("rouse_count", "finings_count", "cone_dumps", "transfers")


@dataclass(frozen=True)
class Source:
    """A batch in a pack and its share of the volume."""

    key: str
    share: float


def sources_of(batch: Batch, batches: tuple[Batch, ...]) -> tuple[Source, ...]:
    """Return the batches in a pack of this batch, by the volumes that were moved together."""
    moved = [(b.key, b.moves[0].volume) for b in batches if batch.key in (b.into, b.key) and b.moves]
    if len(moved) < 2:
        return (Source(batch.key, 1.0),)
    total = sum(volume for _, volume in moved)
    return tuple(Source(key, volume / total) for key, volume in moved)


def practices_of(batch: Batch, plan: Plan, jobs: tuple[Job, ...], packed_at: datetime) -> dict[str, float]:
    """Return one batch's practices when it was packed; NaN where there was nothing to count from."""
    done = [j for j in jobs if j.key == batch.key and j.started_at < packed_at]
    rouses, finings = _of(done, "rouse"), _of(done, "finings")
    dumps, hops, chills = _of(done, "dump"), _of(done, "dry_hop"), _of(done, "chill")
    per_hl = {agent: _dose(finings, agent, batch.volume) for agent in ("isinglass", "silica sol", "auxiliary")}
    values = (
        sum(_minutes(j) for j in rouses), len(rouses), _hours_since(rouses, packed_at), per_hl["isinglass"],
        per_hl["silica sol"], per_hl["auxiliary"], len(finings), _hours_since(finings, packed_at), len(dumps),
        _hours_since(dumps, packed_at) / 24, sum(j.amount or 0.0 for j in hops) * 10 / batch.volume,
        _hours_since(hops[:1], packed_at) / 24, _hours_since(chills[:1], packed_at),
        sum(m.moved_at < packed_at for m in batch.moves), float(plan.air_bled) if rouses else np.nan,
        plan.yeast_generation,
    )  # fmt: skip
    return {name: float(value) for name, value in zip(PRACTICES, values, strict=True)}


def blended(parts: list[tuple[float, dict[str, float]]]) -> dict[str, float]:
    """Return the practices of a blend: the share-weighted mean, the maximum of a count."""
    return {
        name: max(p[name] for _, p in parts) if name in _COUNTS else sum(share * p[name] for share, p in parts)
        for name in PRACTICES
    }


def _of(done: list[Job], operation: str) -> list[Job]:
    return [job for job in done if job.operation == operation]


def _minutes(job: Job) -> float:
    return 0.0 if job.ended_at is None else (job.ended_at - job.started_at) / timedelta(minutes=1)


def _hours_since(done: list[Job], moment: datetime) -> float:
    """Return the hours from the end of the last of them, or from its start where no end was written."""
    if not done:
        return float("nan")
    return (moment - max(job.ended_at or job.started_at for job in done)) / timedelta(hours=1)


def _dose(finings: list[Job], agent: str, volume: float) -> float:
    """Return the sum of an agent's doses [mL/hL]; litres are spread over the batch."""
    doses = [job for job in finings if job.agent == agent]
    return sum((j.amount or 0.0) * (1000 / volume if j.unit == "L" else 1.0) for j in doses)
