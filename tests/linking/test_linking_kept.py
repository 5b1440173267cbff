"""Is a pack table kept under the state of the ledger it was made from, and found again whole?"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.linking import PackTable, kept, link, pack_table

BATCH = {"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-03", "volume": 20.0, "vessel": "FV3"}
RUN = {"run": "R1", "batch": "2417", "packed_at": "2026-05-22 14:00", "format": "can", "size": 440.0, "headspace": 20.0}
ROUSE = {"batch": "2417", "operation": "rouse", "started_at": "2026-05-10 09:00", "minutes": 15.0}
READING = {
    "run": "R1",
    "stage": "pack",
    "sample": "1",
    "measured_at": "2026-05-23",
    "quantity": "dissolved_oxygen",
    "value": 40.0,
    "temperature": 20.0,
    "extra": '{"Seamer head": "4"}',
}


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ledger]:
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


def _intake(records: Snapshot, *kinds: str) -> Any:
    """What an intake of one file offers, a sheet a kind."""
    frames = {kind: records.frame(kind).drop(columns=["record", "intake"]) for kind in kinds}
    frames = {
        k: f.assign(file="log.xlsx", sheet=k).astype({"file": "category", "sheet": "category"})
        for k, f in frames.items()
    }
    sheets = [
        SimpleNamespace(
            file="log.xlsx",
            sheet=kind,
            kind=kind,
            header_row=1,
            rows=len(frame),
            accepted=len(frame),
            rejected=0,
            ignored=0,
            columns={},
            kept_as_extra=(),
            layout=kind,
            answers=None,
        )
        for kind, frame in frames.items()
    ]
    file = SimpleNamespace(file="log.xlsx", sha256=hashlib.sha256(repr(kinds).encode()).hexdigest(), sheets=sheets)
    return SimpleNamespace(files=(file,), records=frames, problems=())


def _assert_same(one: PackTable, other: PackTable) -> None:
    for field in fields(PackTable):
        first, second = getattr(one, field.name), getattr(other, field.name)
        if field.name == "targets":
            first, second = (frame.drop(columns=["by", "at"], errors="ignore") for frame in (first, second))
        if isinstance(first, pd.DataFrame):
            pd.testing.assert_frame_equal(first, second, obj=field.name)
        else:
            assert first == second, field.name


def test_what_is_kept_is_what_was_linked(ledger: Ledger, cellar: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    records = cellar(batches=[BATCH], pack_runs=[RUN], operations=[ROUSE], readings=[READING])
    ledger.commit(_intake(records, "batches", "pack_runs", "operations", "readings"), by="test")
    linked = link(snapshot(ledger))
    assert linked.rows["total_oxygen_computed"].tolist() == [True]
    assert linked.rows["seamer_head"].tolist() == [4.0]
    _assert_same(pack_table(ledger), linked)

    def refuse(_: Snapshot) -> PackTable:
        raise AssertionError("linked again")

    monkeypatch.setattr(kept, "link", refuse)
    _assert_same(pack_table(ledger), linked)


def test_a_new_state_is_linked_anew_and_the_old_one_stays(ledger: Ledger, cellar: Any) -> None:
    records = cellar(batches=[BATCH], pack_runs=[RUN], operations=[ROUSE], readings=[READING])
    first = ledger.commit(_intake(records, "batches", "pack_runs", "readings"), by="test")
    assert pack_table(ledger).rows["rouse_count"].isna().all()
    second = ledger.commit(_intake(records, "operations"), by="test")
    now = pack_table(ledger)
    assert now.rows["rouse_count"].tolist() == [1.0]
    assert now.state == second.state
    before = pack_table(ledger, first.state)
    assert before.state == first.state
    assert before.rows["rouse_count"].isna().all()


def test_targets_say_who_put_them_on_record_and_when(ledger: Ledger, cellar: Any) -> None:
    records = cellar(targets=[{"recipe": "P40", "quantity": "haze", "margin": 0.5}])
    commit_by = {"by": "the brewer", "at": datetime(2026, 6, 1, 9, 30)}
    ledger.commit(_intake(records, "targets"), **commit_by)
    target = pack_table(ledger).targets.iloc[0]
    assert target[["recipe", "quantity", "margin", "by", "at"]].tolist() == ["P40", "haze", 0.5, *commit_by.values()]


def test_an_empty_ledger(ledger: Ledger) -> None:
    _assert_same(pack_table(ledger), pack_table(ledger))
    assert pack_table(ledger).rows.empty
