"""What happened at Marram Lock Brewery?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from data_demo.cellar import Job, Plan, jobs, plans
from data_demo.laboratory import Pack, Repeat, packs, repeats
from data_demo.meters import Check, checks
from data_demo.packaging import Run, runs
from data_demo.panel import Score, Triangle, scores, triangles
from data_demo.schedule import Batch, schedule
from data_demo.tanks import TankReading, tank_readings

__all__ = ["Brewery", "run_frame", "simulate"]


@dataclass(frozen=True)
class Brewery:
    """All that was done and read, before any hand wrote it down."""

    batches: tuple[Batch, ...]
    plans: dict[str, Plan]
    jobs: tuple[Job, ...]
    runs: tuple[Run, ...]
    packs: tuple[Pack, ...]
    repeats: tuple[Repeat, ...]
    tank_readings: tuple[TankReading, ...]
    scores: tuple[Score, ...]
    triangles: tuple[Triangle, ...]
    checks: tuple[Check, ...]


@cache
def simulate() -> Brewery:
    """Return the brewery; it is the same each time."""
    batches = schedule()
    planned = plans(batches)
    done = jobs(batches, planned)
    packed = runs(batches, planned, done)
    read = packs(packed)
    return Brewery(
        batches, planned, done, packed, read, repeats(read), tank_readings(batches, planned, done, packed),
        scores(packed), triangles(packed), checks(),
    )  # fmt: skip


def run_frame(made: Brewery) -> pd.DataFrame:
    """Return a row a run: what it was, its practices as they stood, the true haze and total oxygen of its fresh packs.

    ``haze`` [EBC] and ``total_oxygen`` [µg/L] are geometric means over the packs that were read, free of meter error.
    """
    packs_read = pd.DataFrame(
        [(p.run.run, p.true_haze, p.true_oxygen) for p in made.packs if p.haze is not None],
        columns=["run", "haze", "total_oxygen"],
    )
    means = packs_read.set_index("run").map(np.log).groupby(level=0).mean().map(np.exp)
    rows = [
        {
            "run": r.run, "batch": r.key, "recipe": r.recipe.code, "format": r.form.format, "line": r.form.line,
            "tank": r.batch.fermenter, "packed_at": r.packed_at, "fill_temperature": r.fill_temperature, **r.practices,
        }
        for r in made.runs
    ]  # fmt: skip
    return pd.DataFrame(rows).join(means, on="run")
