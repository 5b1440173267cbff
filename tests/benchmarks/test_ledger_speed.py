"""Does putting a million readings on record stay near the bare insert of the same rows, and reading them near a file's?

The floor is the least that could be done: an ``executemany`` of the same columns into an SQLite table with no key, no
index and no history, from lists that are ready; and the reading of a Parquet file of the same frame.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.records import FileIntake, Intake, SheetIntake

pytestmark = [pytest.mark.benchmark_floor, pytest.mark.timeout(900)]

ROWS, ROUNDS = 1_000_000, 3
COMMIT_RATIO = 2.0  # of the bare insert
CACHED_RATIO = 2.0  # of the bare reading of a Parquet file


@pytest.fixture(scope="module")
def readings() -> pd.DataFrame:
    """A frame of readings as the door hands it on."""
    rng = np.random.default_rng(20261125)
    run = rng.integers(0, 3_000, ROWS)
    frame = pd.DataFrame(
        {
            "batch": pd.Series(2_000 + run // 2).astype("str"),
            "run": pd.Series(run).astype("str"),
            "stage": "pack",
            "sample": pd.Series(np.arange(ROWS) % 400 + 1).astype("str"),
            "measured_at": pd.Timestamp("2020-01-01") + pd.to_timedelta(np.arange(ROWS), unit="min"),
            "quantity": np.where(rng.random(ROWS) < 0.5, "haze", "dissolved_oxygen"),
            "value": np.round(rng.lognormal(3, 0.5, ROWS), 1),
            "unit": "EBC",
            "meter": np.where(rng.random(ROWS) < 0.5, "OX1", "HZ1"),
            "file": "readings.csv",
            "sheet": "readings",
            "source_row": np.arange(2, ROWS + 2),
        }
    )
    return Snapshot.of({"readings": frame}).frame("readings")


def _intake(frame: pd.DataFrame) -> Intake:
    sheet = SheetIntake("readings.csv", "readings", "readings", 1, ROWS, ROWS, 0, 0)
    return Intake((FileIntake("readings.csv", "abc", (sheet,)),), (), {"readings": frame})


def _best(work: Callable[[int], object]) -> float:
    """Return the least time that the work took [s]."""
    times = []
    for number in range(ROUNDS):
        began = time.perf_counter()
        work(number)
        times.append(time.perf_counter() - began)
    return min(times)


def _insert(frame: pd.DataFrame, folder: Path) -> float:
    """Return the time of the bare insert of the columns that hold anything [s]."""
    told = frame.drop(columns=["record", "intake", "file", "sheet"]).dropna(axis="columns", how="all")
    told["measured_at"] = told["measured_at"].astype("int64")
    cells = [told[name].tolist() for name in told.columns]
    marks = ", ".join("?" * len(cells))

    def work(number: int) -> None:
        connection = sqlite3.connect(folder / f"floor {number}.sqlite")
        with connection:
            connection.execute(f"CREATE TABLE readings ({', '.join(told.columns)})")
            connection.executemany(f"INSERT INTO readings VALUES ({marks})", zip(*cells, strict=True))
        connection.close()

    return _best(work)


def _compared(benchmark: Any, floor: float) -> tuple[float, str]:
    """Return how many times the floor the best round took, and both in words."""
    best = benchmark.stats.stats.min
    words = f"{best:.2f} s, {best / floor:.2f} times {floor:.2f} s"
    benchmark.extra_info["compared"] = words
    return best / floor, words


def test_a_million_readings_on_record(benchmark: Any, readings: pd.DataFrame, tmp_path: Path) -> None:
    floor = _insert(readings, tmp_path)
    ledgers = iter(Ledger.open(str(tmp_path / f"{number}.sqlite")) for number in range(ROUNDS))
    counts = []

    def commit() -> None:
        with next(ledgers) as ledger:
            counts.append(ledger.commit(_intake(readings), "benchmark").counts["readings"].added)

    benchmark.pedantic(commit, rounds=ROUNDS)
    ratio, words = _compared(benchmark, floor)
    assert counts == [ROWS] * ROUNDS
    assert ratio <= COMMIT_RATIO, words


def test_a_million_readings_from_the_cache(
    benchmark: Any, readings: pd.DataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    readings.to_parquet(tmp_path / "floor.parquet", compression="zstd")
    floor = _best(lambda _: pd.read_parquet(tmp_path / "floor.parquet"))
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as ledger:
        ledger.commit(_intake(readings), "benchmark")
        assert len(snapshot(ledger).frame("readings")) == ROWS
        benchmark.pedantic(lambda: snapshot(ledger).frame("readings"), rounds=ROUNDS)
    ratio, words = _compared(benchmark, floor)
    assert ratio <= CACHED_RATIO, words
