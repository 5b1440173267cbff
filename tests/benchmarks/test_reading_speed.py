"""Is reading a file, with everything in its cells made out, near the cost of reading it bare?"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from analysis.records.parsing import (
    State,
    parse_batches,
    parse_choice,
    parse_ids,
    parse_moments,
    parse_numbers,
    parse_texts,
)
from analysis.records.workbook import read_file

WORKBOOK_ROWS, TEXT_ROWS, SMALL_ROWS = 100_000, 1_000_000, 20
HEADERS = ["Batch", "Run", "Stage", "Sample", "Measured at", "Quantity", "Value", "Unit", "Meter"]
# The whole intake may cost 4 times the bare read of a workbook and 3 times the bare read and insert of a text table:
# reading and parsing take at most this much of it.
MOST_OF_WORKBOOK, MOST_OF_TEXT, MOST_MEMORY = 2.2, 0.6, 600e6
MOST_OF_START = 20.0
START = pd.Timestamp("2020-01-01 08:00")
STAGES = {"pack": "pack"}
QUANTITIES = {"do": "dissolved_oxygen", "haze": "haze"}


def best_of(times: int, work: Callable[[], object]) -> float:
    """Return the shortest of several timings [s]."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def frame(rows: int) -> pd.DataFrame:
    """Invented pack readings, eight cans a run, one value in fifty below the meter's limit."""
    rng, i = np.random.default_rng(1), np.arange(rows)
    value = np.round(rng.lognormal(3, 0.4, rows), 1).astype(str).astype(object)
    value[i % 50 == 0] = "<5"
    return pd.DataFrame(
        {
            "Batch": 2000 + i // 80,
            "Run": [f"R-{run:06d}" for run in i // 8],
            "Stage": "pack",
            "Sample": i % 8 + 1,
            "Measured at": (START + pd.to_timedelta(i * 2, unit="min")).strftime("%d/%m/%Y %H:%M"),
            "Quantity": np.where(i % 2, "DO", "haze"),
            "Value": value,
            "Unit": np.where(i % 2, "ppb", "EBC"),
            "Meter": "Meter A",
        }
    )  # fmt: skip


@pytest.fixture(scope="module")
def text_table(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("reading") / "readings.csv"
    frame(TEXT_ROWS).to_csv(path, index=False)
    return path


@pytest.fixture(scope="module")
def workbook(tmp_path_factory) -> Path:
    return write_workbook(tmp_path_factory.mktemp("reading") / "readings.xlsx", WORKBOOK_ROWS)


def write_workbook(path: Path, rows: int) -> Path:
    book = xlsxwriter.Workbook(path, {"constant_memory": True})
    sheet, form = book.add_worksheet("Readings"), book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    sheet.write_row(0, 0, HEADERS)
    for i, row in enumerate(frame(rows).itertuples(index=False)):
        sheet.write_row(i + 1, 0, row[:4])
        sheet.write_datetime(i + 1, 4, START.to_pydatetime() + timedelta(minutes=2 * i), form)
        sheet.write_string(i + 1, 5, row[5])
        sheet.write(i + 1, 6, row[6] if row[6].startswith("<") else float(row[6]))
        sheet.write_row(i + 1, 7, row[7:])
    book.close()
    return path


def read_and_parse(path: Path) -> int:
    """Read a file and make out all its columns; return the number of values."""
    read = read_file(path)
    assert read.problems == ()
    sheet = read.sheets[0]
    body = [column.take(slice(1, None)) for column in sheet.columns]
    parse_batches(body[0])
    for j in (1, 3, 8):
        parse_ids(body[j])
    parse_choice(body[2], STAGES)
    parse_choice(body[5], QUANTITIES)
    parse_texts(body[7])
    moments, numbers = parse_moments(body[4]), parse_numbers(body[6], sheet.decimal)
    assert (moments.state == State.READ).all()
    return int((numbers.state == State.READ).sum())


def bare_insert(path: Path) -> None:
    """Read a text table with pandas and insert its rows into an SQLite file."""
    rows = list(pd.read_csv(path).itertuples(index=False, name=None))
    base = sqlite3.connect(path.with_suffix(".db"))
    base.execute("drop table if exists readings")
    base.execute("create table readings (a, b, c, d, e, f, g, h, i)")
    base.executemany("insert into readings values (?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
    base.commit()
    base.close()


@pytest.mark.benchmark_floor
def test_a_workbook_of_a_hundred_thousand_readings(benchmark, workbook):
    bare = best_of(5, lambda: CalamineWorkbook.from_path(workbook).get_sheet_by_index(0).to_python())
    values = benchmark.pedantic(read_and_parse, args=(workbook,), rounds=5, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / bare
    benchmark.extra_info.update(ratio=ratio, floor_seconds=bare)
    assert values == WORKBOOK_ROWS
    assert ratio <= MOST_OF_WORKBOOK


@pytest.mark.benchmark_floor
def test_a_text_table_of_a_million_readings(benchmark, text_table):
    bare = best_of(2, lambda: bare_insert(text_table))
    values = benchmark.pedantic(read_and_parse, args=(text_table,), rounds=3, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / bare
    benchmark.extra_info.update(ratio=ratio, floor_seconds=bare)
    assert values == TEXT_ROWS
    assert ratio <= MOST_OF_TEXT


@pytest.mark.benchmark_floor
def test_a_small_workbook_costs_the_start_of_its_process(benchmark, tmp_path):
    path = write_workbook(tmp_path / "small.xlsx", SMALL_ROWS)
    bare = best_of(10, lambda: subprocess.run([sys.executable, "-c", "pass"], check=True))
    values = benchmark.pedantic(read_and_parse, args=(path,), rounds=10, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / bare
    benchmark.extra_info.update(ratio=ratio, floor_seconds=bare)
    assert values == SMALL_ROWS
    assert ratio <= MOST_OF_START


# The system counts a new process's peak from that of the one that started it; the status file counts its own alone.
MEASURE = """
import re, resource, sys
from pathlib import Path
from analysis.records.workbook import read_file
read = read_file(Path(sys.argv[1]))
own = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
print(max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss) * 1024)
"""


@pytest.mark.benchmark_floor
@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is told by Linux's status file of a process")
def test_peak_memory_of_reading(text_table, workbook):
    for path in (text_table, workbook):
        told = subprocess.run([sys.executable, "-c", MEASURE, path], capture_output=True, check=True, text=True)
        assert 0 < float(told.stdout) <= MOST_MEMORY
