"""Does an intake land whole or not at all when its process is killed at any moment, and is none lost that was told?"""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.ledger import Ledger, snapshot

ROUNDS = 12
ROWS, TARGETS = 4_000, 50

# Takes in one file after the other, each with readings and targets, every third a correction, and now and then takes
# one back; tells of each when it is done.
_WRITER = f"""
import sys
import pandas as pd
from analysis.ledger import Ledger, Snapshot
from analysis.records import FileIntake, Intake, SheetIntake

ROWS, TARGETS = {ROWS}, {TARGETS}


def sheet(file, kind, rows):
    return SheetIntake(file, kind, kind, 1, rows, rows, 0, 0, layout=kind)


def intake(file, sha256, value):
    frames = {{
        "readings": pd.DataFrame({{"run": file, "sample": range(ROWS), "quantity": "haze", "value": value}}),
        "targets": pd.DataFrame({{"recipe": file, "quantity": [f"q{{n}}" for n in range(TARGETS)], "upper": value}}),
    }}
    frames = {{k: f.assign(file=file, sheet=k, source_row=range(2, len(f) + 2)) for k, f in frames.items()}}
    told = Snapshot.of(frames)
    records = {{kind: told.frame(kind) for kind in frames}}
    sheets = tuple(sheet(file, kind, len(frame)) for kind, frame in frames.items())
    return Intake((FileIntake(file, sha256, sheets),), (), records)


ledger = Ledger.open(sys.argv[1])
number = ledger.state
print("ready", flush=True)
while True:
    number += 1
    done = ledger.commit(intake(f"file {{number - number % 3}}.xlsx", f"sha {{number}}", float(number)), "writer")
    print(f"taken {{done.intake}} {{done.state}}", flush=True)
    if number % 4 == 0:
        back = ledger.withdraw(done.intake, "test", "writer")
        print(f"back {{back.intake}} {{back.state}}", flush=True)
"""


@pytest.fixture
def told() -> dict[str, set[int]]:
    """What the killed writers told they had done."""
    return {"taken": set(), "back": set(), "states": set()}


def _write_until_killed(url: str, least: int, seconds: float) -> Iterator[str]:
    """Start a writer, kill it a while after it told so many lines, and give all that it told."""
    with subprocess.Popen([sys.executable, "-c", _WRITER, url], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        lines = [writer.stdout.readline() for _ in range(least)]
        time.sleep(seconds)
        writer.kill()
        lines += writer.stdout.read().splitlines(keepends=True)
    yield from (line for line in lines if line.endswith("\n"))


def _check(url: str, told: dict[str, set[int]]) -> None:
    """Check that everything told is on record, and that whatever is on record is whole."""
    with Ledger.open(url) as ledger:
        entries = {entry.intake: entry for entry in ledger.history()}
        assert told["taken"] <= set(entries)
        assert told["back"] <= {n for n, entry in entries.items() if entry.withdrawn}
        assert ledger.state >= max(told["states"], default=0)
        assert sorted(entries) == list(range(1, len(entries) + 1))
        assert ledger.state == len(entries) + sum(1 for entry in entries.values() if entry.withdrawn)
        for entry in entries.values():
            assert {kind: count.rows for kind, count in entry.counts.items()} == {"readings": ROWS, "targets": TARGETS}
        _check_frames(ledger, {n for n, entry in entries.items() if not entry.withdrawn})


def _check_frames(ledger: Ledger, active: set[int]) -> None:
    """Check that of each file the latest version that stands is there, all of it and nothing beside."""
    shot = snapshot(ledger)
    assert not shot.conflicts
    for kind, rows in (("readings", ROWS), ("targets", TARGETS)):
        counts = shot.frame(kind)["intake"].value_counts()
        assert set(counts.index) <= active
        assert set(counts) <= {rows}
        file = shot.frame(kind)["file"].astype(str)
        assert file.value_counts().isin([rows]).all()


@pytest.mark.timeout(600)
def test_a_writer_is_killed_again_and_again(
    ledger_url: str, told: dict[str, set[int]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    chance = random.Random(20261125)
    for _ in range(ROUNDS):
        for line in _write_until_killed(ledger_url, chance.randint(0, 6), chance.uniform(0, 0.3)):
            what, intake, state = line.split()
            told[what].add(int(intake))
            told["states"].add(int(state))
        _check(ledger_url, told)
    assert len(told["taken"]) > ROUNDS, "the writers must have got on between the kills"
