"""A pack table straight from the invented brewery's simulation, past every spreadsheet."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.linking import PackTable
from analysis.vocabulary import PRACTICES, dose_practice, further_practice
from data_demo import truth
from data_demo.brewery import simulate
from data_demo.laboratory import Pack

MEASURE_OF_TARGET = {"Total oxygen": "total_oxygen", "DO (ppb)": "dissolved_oxygen", "Haze": "haze", "Papery": "papery"}
NAMED = (
    "rouse_minutes", "rouse_count", "hours_since_rouse", "finings_count", "hours_since_finings", "cone_dumps",
    "days_since_dump", "dry_hop_rate", "dry_hop_days", "cold_hours", "transfers", "fill_temperature", "tank", "line",
    "format",
)  # fmt: skip


def pack_row(pack: Pack) -> dict[str, object]:
    run = pack.run
    return {
        "run": run.run,
        "batch": run.key,
        "recipe": run.recipe.code,
        "format": run.form.format,
        "line": run.form.line,
        "tank": run.batch.fermenter,
        "packed_at": run.packed_at,
        "sample": str(pack.sample),
        "measured_at": pack.measured_at,
        "age_days": (pack.measured_at - run.packed_at).total_seconds() / 86_400,
        "blended": len(run.sources) > 1,
        "haze": np.nan if pack.haze is None else pack.haze,
        "haze_censored": 0,
        "haze_meter": pack.haze_meter.name,
        "total_oxygen": np.nan if pack.total is None else pack.total,
        "total_oxygen_censored": 0,
        "total_oxygen_meter": pack.oxygen_meter.name,
        "fill_temperature": run.fill_temperature,
        **run.practices,
    }


@pytest.fixture(scope="session")
def simulated_packs() -> PackTable:
    """The invented brewery's packs with their practices as they truly stood, and its targets."""
    nothing = pd.DataFrame()
    targets = pd.DataFrame(
        {
            "recipe": t.recipe,
            "format": t.format,
            "quantity": MEASURE_OF_TARGET[t.measure],
            "margin": t.margin,
        }
        for t in truth.TARGETS
    )
    practices = (
        *(PRACTICES[name] for name in NAMED),
        *(dose_practice(agent, "mL/hL") for agent in ("isinglass", "silica_sol", "auxiliary")),
        further_practice("Air bled", "yes_no", "operations"),
        further_practice("Yeast generation", "number", "batches"),
    )
    rows = pd.DataFrame([pack_row(pack) for pack in simulate().packs])
    return PackTable(
        state=1, rows=rows, tastings=nothing, readings=nothing, operations=nothing, batches=nothing,
        practices=practices, unlinked=pd.DataFrame(columns=["kind", "reason", "count"]), evidence=nothing,
        blends=nothing, targets=targets, not_offered=nothing,
    )  # fmt: skip


def tank_row(reading, recipes):
    censored = reading.quantity == "dissolved_oxygen" and reading.value < truth.OXYGEN_LIMIT
    return {
        "batch": reading.key, "run": reading.run or None, "recipe": recipes[reading.key],
        "tank": reading.vessel or None, "stage": reading.stage, "measured_at": reading.measured_at,
        "quantity": reading.quantity,
        "value": truth.OXYGEN_LIMIT if censored else reading.value, "censored": -1 if censored else 0,
        "meter": reading.meter.name,
    }  # fmt: skip


@pytest.fixture(scope="session")
def simulated_cellar(simulated_packs) -> PackTable:
    """The invented brewery's packs with the tank readings, cellar work, batches and haze targets beside them."""
    made = simulate()
    recipes = {batch.key: batch.recipe.code for batch in made.batches}
    operations = pd.DataFrame(
        {
            "batch": job.key, "recipe": recipes[job.key], "tank": job.vessel, "operation": job.operation,
            "started_at": job.started_at, "ended_at": job.ended_at, "minutes": np.nan, "agent": job.agent or None,
        }
        for job in made.jobs
    )  # fmt: skip
    batches = pd.DataFrame(
        {"batch": b.key, "number": b.number, "recipe": b.recipe.code, "brewed_on": b.brewed_at, "vessel": b.fermenter}
        for b in made.batches
    )
    targets = pd.DataFrame(
        {
            "recipe": t.recipe, "format": t.format, "quantity": MEASURE_OF_TARGET.get(t.measure, "dissolved_oxygen"),
            "lower": t.lower, "upper": t.upper, "target": t.target, "margin": t.margin,
        }
        for t in truth.TARGETS
    )  # fmt: skip
    blends = pd.DataFrame({"run": run.run, "batch": s.key, "share": s.share} for run in made.runs for s in run.sources)
    return replace(
        simulated_packs, readings=pd.DataFrame([tank_row(r, recipes) for r in made.tank_readings]),
        operations=operations.assign(ended_at=pd.to_datetime(operations["ended_at"])), batches=batches,
        targets=targets.astype({"lower": float, "upper": float}), blends=blends,
    )  # fmt: skip
