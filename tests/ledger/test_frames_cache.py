"""Are frames kept for the next time, never the wrong ones, and made again when they are lost or damaged?"""

from __future__ import annotations

import os
import shutil
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest

from analysis.ledger import Cache, Ledger, Snapshot, snapshot
from analysis.ledger.database import Database

DO = {"run": "1", "batch": "2417", "quantity": "total_oxygen"}
TARGET = {"recipe": "P40", "quantity": "haze", "upper": 1.0}


@pytest.fixture
def unreadable(monkeypatch: pytest.MonkeyPatch):
    """Make every read of a frame from the database fail: a frame that comes all the same came from the cache."""

    def refuse(*_arguments: object, **_named: object) -> pa.Table:
        raise AssertionError("the database was read")

    module = sys.modules[Snapshot.__module__]  # its name in the package is that of a function
    return lambda: monkeypatch.setattr(module, "read_rows", refuse)


def _files(folder: Path, series: str = "readings") -> list[Path]:
    return sorted(folder.rglob(f"{series}@*.parquet"))


def test_a_frame_is_read_once_from_the_database(ledger: Ledger, offer, unreadable):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0, "extra": '{"Crew": "B"}'}]), "Ines")
    first = snapshot(ledger).frame("readings")
    unreadable()
    pd.testing.assert_frame_equal(snapshot(ledger).frame("readings"), first)


def test_a_change_of_one_kind_leaves_the_others_frames(ledger: Ledger, offer, unreadable):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}]), "Ines")
    snapshot(ledger).frame("readings")
    ledger.commit(offer("b.xlsx", targets=[TARGET]), "Ines")
    unreadable()
    assert snapshot(ledger).frame("readings")["value"].tolist() == [35]
    with pytest.raises(AssertionError, match="the database was read"):
        snapshot(ledger).frame("targets")


@pytest.mark.parametrize("damage", ["cut", "flip", "empty", "gone", "of something else"])
def test_a_damaged_table_is_made_again(ledger: Ledger, offer, cache_folder: Path, damage: str):
    rows = [{**DO, "value": float(n), "sample": str(n)} for n in range(500)]
    ledger.commit(offer("a.xlsx", readings=rows), "Ines")
    expected = snapshot(ledger).frame("readings")
    (path,) = _files(cache_folder)
    whole = path.read_bytes()
    if damage == "gone":
        path.unlink()
    elif damage == "of something else":
        pd.DataFrame({"a": [1]}).to_parquet(path)
    else:
        middle = len(whole) // 3
        flipped = whole[:middle] + bytes(b ^ 0xFF for b in whole[middle : middle + 64]) + whole[middle + 64 :]
        path.write_bytes({"cut": whole[: len(whole) // 2], "flip": flipped, "empty": b""}[damage])
    pd.testing.assert_frame_equal(snapshot(ledger).frame("readings"), expected)
    pd.testing.assert_frame_equal(pd.read_parquet(path), expected)


def test_only_the_newest_tables_are_kept(ledger: Ledger, offer, cache_folder: Path):
    for number in range(6):
        ledger.commit(offer("a.xlsx", readings=[{**DO, "value": float(number)}]), "Ines")
        assert snapshot(ledger).frame("readings")["value"].tolist() == [number]
    assert len(_files(cache_folder)) == 3
    assert snapshot(ledger, 1).frame("readings")["value"].tolist() == [0]


def test_what_was_half_written_long_ago_is_thrown_away(tmp_path: Path):
    stale, fresh = tmp_path / "a@1.parquet.x.part", tmp_path / "a@2.parquet.y.part"
    stale.touch()
    fresh.touch()
    os.utime(stale, (time.time() - 7200,) * 2)
    Cache(tmp_path).table("a", "3", lambda: pa.table({"n": [1]}))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a@2.parquet.y.part", "a@3.parquet"]


def test_a_folder_that_cannot_be_written_costs_time_alone(ledger: Ledger, offer, tmp_path: Path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "file" / "cache"))
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}]), "Ines")
    assert snapshot(ledger).frame("readings")["value"].tolist() == [35]


def test_many_may_make_the_same_table_at_once(tmp_path: Path):
    table = pa.table({"n": list(range(50_000))})
    with ThreadPoolExecutor(8) as pool:
        got = list(pool.map(lambda _: Cache(tmp_path).table("a", "1", lambda: table), range(40)))
    assert all(each.equals(table) for each in got)
    assert [path.name for path in tmp_path.iterdir()] == ["a@1.parquet"]


def test_copies_of_a_ledger_that_went_separate_ways_are_told_apart(tmp_path: Path, offer):
    with Ledger.open(str(tmp_path / "one.sqlite")) as one:
        one.commit(offer("a.xlsx", readings=[{**DO, "value": 1.0}]), "Ines")
    shutil.copy(tmp_path / "one.sqlite", tmp_path / "two.sqlite")
    with Ledger.open(str(tmp_path / "one.sqlite")) as one, Ledger.open(str(tmp_path / "two.sqlite")) as two:
        for ledger, value in ((one, 2.0), (two, 3.0)):
            ledger.commit(offer("a.xlsx", readings=[{**DO, "value": value}]), "Ines")
        assert one.state == two.state == 2
        assert snapshot(one).name != snapshot(two).name
        assert snapshot(one).frame("readings")["value"].tolist() == [2]
        assert snapshot(two).frame("readings")["value"].tolist() == [3]


def test_a_snapshot_does_not_change_with_the_ledger_or_its_frames(ledger: Ledger, offer):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}]), "Ines")
    before = snapshot(ledger)
    ledger.commit(offer("a v2.xlsx", readings=[{**DO, "value": 36.0}]), "Ines")
    frame = before.frame("readings")
    assert frame["value"].tolist() == [35]
    frame.loc[:, "value"] = 0.0
    assert before.frame("readings")["value"].tolist() == [35]
    assert (before.state, snapshot(ledger).state) == (1, 2)


@pytest.mark.parametrize("state", [-1, 2])
def test_a_state_that_never_was_is_refused(ledger: Ledger, offer, state: int):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}]), "Ines")
    with pytest.raises(ValueError, match=f"state must lie between 0 and 1, got {state}"):
        snapshot(ledger, state)


def test_a_kind_that_is_none_is_refused():
    with pytest.raises(ValueError, match="must be one of batches"):
        Snapshot.empty().frame("beers")
    assert Snapshot.empty().conflicts == {}


def test_another_frame_may_stand_in_a_kinds_place(ledger: Ledger, offer):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}], targets=[TARGET]), "Ines")
    records = snapshot(ledger)
    frame = records.frame("readings").assign(value=30.0)
    other = records.replacing("readings", frame, "lowered")
    assert other.frame("readings")["value"].tolist() == [30]
    assert records.frame("readings")["value"].tolist() == [35]
    pd.testing.assert_frame_equal(other.frame("targets"), records.frame("targets"))
    assert not other.conflicts
    assert (other.state, other.name) == (records.state, records.name)
    assert other.records == f"{records.records}-lowered"
    with pytest.raises(ValueError, match="must be one of batches"):
        records.replacing("beers", frame, "lowered")


def test_reading_sees_one_state_while_another_writes(ledger: Ledger, offer):
    ledger.commit(offer("a.xlsx", readings=[{**DO, "value": 35.0}]), "Ines")
    database: Database = ledger.database
    with database.reading() as connection:
        count = "SELECT COUNT(*) FROM readings"
        before = connection.exec_driver_sql(count).scalar()
        ledger.commit(offer("b.xlsx", readings=[{**DO, "value": 1.0, "sample": "b"}]), "Ines")
        assert connection.exec_driver_sql(count).scalar() == before == 1
    assert len(snapshot(ledger).frame("readings")) == 2
