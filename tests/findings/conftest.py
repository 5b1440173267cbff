"""A pack table straight from the invented brewery's simulation, past every spreadsheet."""

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
