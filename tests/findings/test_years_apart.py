"""Where numbers begin again each January: does any finding mix the runs or packs of two years?"""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.findings.counted import TASTE_TESTS, counted
from analysis.findings.meters import meters
from analysis.findings.packs import packs
from analysis.ledger import Snapshot
from analysis.linking import link

YEARS = (2024, 2025, 2026)
RUNS = range(1, 6)


@pytest.fixture(scope="module")
def records() -> Snapshot:
    """Five batches, runs and taste tests a year under the same numbers; each pack read twice on two meters."""
    at = [(year, n, pd.Timestamp(year, 1, 2) + pd.Timedelta(days=20 * n)) for year in YEARS for n in RUNS]
    batches = [{"batch": str(n), "recipe": f"R{year}", "brewed_on": day - pd.Timedelta(days=18)} for year, n, day in at]
    runs = [{"run": str(n), "batch": str(n), "packed_at": day, "format": "can"} for _, n, day in at]
    readings = [
        {
            "run": str(n), "batch": str(n), "stage": stage, "sample": "1", "quantity": "dissolved_oxygen",
            "measured_at": day + pd.Timedelta(hours=1), "meter": meter, "replicate": str(k),
            "value": 20.0 + 10 * (year - 2024) + n + 0.1 * k + (12 if stage == "pack" else 0),
        }
        for year, n, day in at for stage in ("filler", "pack") for meter in ("A", "B") for k in (1, 2)
    ]  # fmt: skip
    tests = [
        {"run": str(n), "test": "triangle", "tasted_on": day + pd.Timedelta(days=9), "tasters": 24.0,
         "correct": 8.0 + (year - 2024)}
        for year, n, day in at
    ]  # fmt: skip
    frames = {"batches": batches, "pack_runs": runs, "readings": readings, "taste_tests": tests}
    return Snapshot.of({kind: pd.DataFrame(rows) for kind, rows in frames.items()})


def test_packs_runs_and_batches_are_counted_year_by_year(records: Snapshot) -> None:
    table = link(records)
    found = packs(table)
    assert found.answer.startswith("15 packs of 15 runs from 15 batches of R2024, R2025 and R2026")
    assert set(found.rows["run"]) == {f"{n} ({year})" for year in YEARS for n in RUNS}


def test_a_repeat_study_takes_the_packs_of_two_years_for_two_packs(records: Snapshot) -> None:
    readings = records.frame("readings")
    in_pack = records.replacing("readings", readings[readings["stage"] == "pack"], "packs")
    (study,) = meters(in_pack, link(in_pack)).studies
    assert (study.study.sums.parts, study.study.sums.repeats, study.recipes) == (15, 2, 3)


def test_taste_tests_are_of_the_run_of_their_year(records: Snapshot) -> None:
    (series,) = counted(link(records), TASTE_TESTS, records.frame("taste_tests")).across
    assert [point.run for point in series.points] == [f"{n} ({year})" for year in YEARS for n in RUNS]
    shares = [round(24 * point.value / 100) for point in series.points]
    assert shares == [8 + year - 2024 for year in YEARS for _ in RUNS]
