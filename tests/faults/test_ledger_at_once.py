"""Do programmes that write to one ledger at the same time all get through, and lose nothing of each other's?"""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pytest

from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.records import FileIntake, Intake, SheetIntake

WRITERS, INTAKES, ROWS = 2, 8, 500

# Opens the ledger (a new one: all of them make it at once), then takes files in and takes every fourth one back.
_WRITER = f"""
import sys
import pandas as pd
from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.records import FileIntake, Intake, SheetIntake

url, me = sys.argv[1:]
with Ledger.open(url) as ledger:
    for number in range({INTAKES}):
        file = f"{{me}} {{number}}.xlsx"
        frame = pd.DataFrame({{"run": file, "sample": range({ROWS}), "quantity": "haze", "value": 1.0}})
        frame = frame.assign(file=file, sheet="s", source_row=range(2, {ROWS} + 2))
        records = {{"readings": Snapshot.of({{"readings": frame}}).frame("readings")}}
        sheet = SheetIntake(file, "s", "readings", 1, {ROWS}, {ROWS}, 0, 0)
        done = ledger.commit(Intake((FileIntake(file, file, (sheet,)),), (), records), me)
        assert len(snapshot(ledger, done.state).frame("readings")) % {ROWS} == 0
        if number % 4 == 3:
            ledger.withdraw(done.intake, "test", me)
"""


@pytest.mark.timeout(300)
def test_two_writers_get_through(ledger_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    command = [sys.executable, "-c", _WRITER, ledger_url]
    writers = [subprocess.Popen([*command, f"writer {n}"], stderr=subprocess.PIPE, text=True) for n in range(WRITERS)]
    told = [writer.communicate()[1] for writer in writers]
    assert [writer.returncode for writer in writers] == [0] * WRITERS, told
    with Ledger.open(ledger_url) as ledger:
        entries = ledger.history()
        assert len(entries) == WRITERS * INTAKES
        assert ledger.state == WRITERS * (INTAKES + INTAKES // 4)
        assert {entry.by for entry in entries} == {f"writer {n}" for n in range(WRITERS)}
        assert sorted(entry.taken.state for entry in entries) == [entry.taken.state for entry in entries]
        frame = snapshot(ledger).frame("readings")
        assert len(frame) == WRITERS * (INTAKES - INTAKES // 4) * ROWS
        assert frame["record"].is_unique


@pytest.mark.timeout(300)
def test_threads_that_share_a_ledger_get_through(ledger_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    with Ledger.open(ledger_url) as ledger:

        def take_in(number: int) -> int:
            file = f"{number}.xlsx"
            frame = pd.DataFrame({"recipe": [file], "quantity": ["haze"], "upper": [1.0]}).assign(file=file, sheet="s")
            records = {"targets": Snapshot.of({"targets": frame}).frame("targets")}
            sheet = SheetIntake(file, "s", "targets", 1, 1, 1, 0, 0)
            done = ledger.commit(Intake((FileIntake(file, file, (sheet,)),), (), records), "Ines")
            return len(snapshot(ledger, done.state).frame("targets"))

        with ThreadPoolExecutor(8) as pool:
            assert sorted(pool.map(take_in, range(24))) == list(range(1, 25))
        assert ledger.state == 24
