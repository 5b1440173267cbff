"""Does taking in a large file, commit included, stay within a few times of the bare reading and writing of it?

Both sides run in processes of their own, so that each one's largest memory can be told and nothing is warm for one side
alone; the best of a few runs of each counts. The text table is told in processor time, its threads' included: other
work on the machine, which the wall clock counts, once made 3.2 of what is else 2.4 to 2.7.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

pytestmark = [pytest.mark.benchmark_floor, pytest.mark.timeout(900)]

ROUNDS = 4
WORKBOOK_ROWS, TEXT_ROWS = 100_000, 1_000_000
WORKBOOK_RATIO, TEXT_RATIO, MEMORY = 4.0, 3.0, 1_000_000_000

_END = """
import json, resource, time
seconds, processor = time.perf_counter() - began, time.process_time() - began_processor
# this process's own peak: getrusage would count that of the process which started it
own = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
memory = (own + resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss) * 1024
print(json.dumps({"seconds": seconds, "processor": processor, "memory": memory, "rows": rows}))
"""
_TAKE_IN = """
import sys, time
from pathlib import Path
from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
began, began_processor = time.perf_counter(), time.process_time()
path = Path(sys.argv[1])
with Ledger.open(sys.argv[2]) as ledger:
    rows = ledger.commit(take_in([SourceFile(path, path.name)]), "benchmark").counts["readings"].added
"""
_READ_WORKBOOK = """
import sys, time
from python_calamine import CalamineWorkbook
began, began_processor = time.perf_counter(), time.process_time()
rows = len(CalamineWorkbook.from_path(sys.argv[1]).get_sheet_by_index(0).to_python()) - 1
"""
_READ_AND_INSERT = """
import sqlite3, sys, time
import pandas as pd
began, began_processor = time.perf_counter(), time.process_time()
frame = pd.read_csv(sys.argv[1])
rows = len(frame)
with sqlite3.connect(sys.argv[2]) as connection:
    connection.execute(f"CREATE TABLE readings ({', '.join(chr(34) + name + chr(34) for name in frame.columns)})")
    cells = zip(*[frame[name].tolist() for name in frame.columns])
    connection.executemany(f"INSERT INTO readings VALUES ({', '.join('?' * len(frame.columns))})", cells)
connection.close()
"""


def _readings(n: int) -> pd.DataFrame:
    """A long sheet: a reading a row, ten columns."""
    rng = np.random.default_rng(20261125)
    run = rng.integers(1, 3_000, n)
    is_haze = rng.random(n) < 0.5
    minutes = np.sort(rng.integers(0, 5 * 365 * 1440, n))
    return pd.DataFrame(
        {
            "Batch": 2_000 + run // 2,
            "Run": [f"R{number:04d}" for number in run],
            "Stage": "pack",
            "Sample": np.arange(n) % 400 + 1,
            "Measured at": pd.Timestamp("2020-01-01") + pd.to_timedelta(minutes, unit="min"),
            "Quantity": np.where(is_haze, "haze", "dissolved oxygen"),
            "Value": np.round(rng.lognormal(3, 0.5, n), 1),
            "Unit": np.where(is_haze, "NTU", "ppb"),
            "Temperature (°C)": np.round(rng.normal(20, 1, n), 1),
            "Meter": np.where(rng.random(n) < 0.5, "OX1", "HZ1"),
        }
    )


def _run(program: str, *arguments: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-c", program + _END, *arguments], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def _compare(
    benchmark: Any, folder: Path, path: Path, floor_program: str, by: str = "seconds"
) -> tuple[list[dict[str, Any]], float, str]:
    """Return what each taking in told, how many times the floor the best of them took, and both in words.

    ``by`` says what is compared: "seconds" of the wall clock, or of the "processor".
    """
    floor: list[dict[str, Any]] = []
    told: list[dict[str, Any]] = []

    def bare() -> None:
        floor.append(_run(floor_program, str(path), str(folder / f"floor {len(floor)}.sqlite")))

    def take_in() -> None:
        told.append(_run(_TAKE_IN, str(path), f"sqlite:///{folder / f'{len(told)}.sqlite'}"))

    benchmark.pedantic(take_in, setup=bare, rounds=ROUNDS)  # in turn, so that both meet the same machine
    best, least = min(t[by] for t in told), min(f[by] for f in floor)
    memory = max(t["memory"] for t in told)
    words = f"{best:.2f} s, {best / least:.2f} times {least:.2f} s ({by}); {memory / 1e6:.0f} MB"
    benchmark.extra_info["compared"] = words
    return told, best / least, words


def test_a_workbook_of_100_000_readings_takes_at_most_four_times_its_bare_reading(
    benchmark: Any, tmp_path: Path
) -> None:
    path = tmp_path / "readings.xlsx"
    _readings(WORKBOOK_ROWS).to_excel(path, index=False, engine="xlsxwriter")
    told, ratio, words = _compare(benchmark, tmp_path, path, _READ_WORKBOOK)
    assert all(t["rows"] == WORKBOOK_ROWS for t in told)
    assert ratio <= WORKBOOK_RATIO, words
    assert max(t["memory"] for t in told) < MEMORY, words


def test_a_text_table_of_a_million_readings_takes_at_most_three_times_its_bare_reading_and_insert(
    benchmark: Any, tmp_path: Path
) -> None:
    path = tmp_path / "readings.csv"
    _readings(TEXT_ROWS).to_csv(path, index=False)
    told, ratio, words = _compare(benchmark, tmp_path, path, _READ_AND_INSERT, by="processor")
    assert all(t["rows"] == TEXT_ROWS for t in told)
    assert ratio <= TEXT_RATIO, words
    assert max(t["memory"] for t in told) < MEMORY, words
