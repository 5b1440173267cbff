"""What is a person told when the ledger's disk is full, its file is gone or locked, or its server ends? Is all kept?"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pandas as pd
import pytest
from sqlalchemy import event, make_url, text

from analysis.ledger import Ledger, LedgerError, Snapshot, snapshot
from analysis.ledger import database as ledger_database
from analysis.records import FileIntake, Intake, SheetIntake


@pytest.fixture(autouse=True)
def _cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))


def _intake(name: str, rows: int) -> Intake:
    frame = pd.DataFrame({"run": name, "sample": range(rows), "quantity": "haze", "value": 1.0})
    frame = frame.assign(file=name, sheet="s", source_row=range(2, rows + 2))
    records = {"readings": Snapshot.of({"readings": frame}).frame("readings")}
    return Intake((FileIntake(name, name, (SheetIntake(name, "s", "readings", 1, rows, rows, 0, 0),)),), (), records)


def test_a_full_disk_is_told_and_nothing_is_lost(tmp_path: Path):
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as ledger:
        ledger.commit(_intake("small", 10), "Ines")
        engine = ledger.database.engine

        @event.listens_for(engine, "begin")
        def allow_few_pages(connection) -> None:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 5}")

        with pytest.raises(LedgerError, match="no room left on the disk") as caught:
            ledger.commit(_intake("large", 50_000), "Ines")
        assert "Nothing was changed" in caught.value.remedy
        event.remove(engine, "begin", allow_few_pages)
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as ledger:
        assert ledger.state == 1
        assert len(snapshot(ledger).frame("readings")) == 10
        assert ledger.commit(_intake("large", 5_000), "Ines").intake == 2


def test_a_ledger_that_is_locked_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(ledger_database, "_PATIENCE", 0.2)
    path = tmp_path / "ledger.sqlite"
    with Ledger.open(str(path)) as ledger:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LedgerError, match="is busy"):
            ledger.commit(_intake("small", 10), "Ines")
        assert ledger.state == 0, "reading goes on"
        other.execute("ROLLBACK")
        other.close()
        assert ledger.commit(_intake("small", 10), "Ines").intake == 1


def test_a_ledger_that_may_not_be_written_is_told(tmp_path: Path):
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as ledger:
        ledger.commit(_intake("small", 10), "Ines")

        @event.listens_for(ledger.database.engine, "begin")
        def read_only(connection) -> None:
            connection.exec_driver_sql("PRAGMA query_only = 1")

        with pytest.raises(LedgerError, match="cannot be written to"):
            ledger.commit(_intake("other", 10), "Ines")
        assert len(snapshot(ledger).frame("readings")) == 10


@pytest.mark.postgres
def test_a_server_that_ends_the_connection_is_told_and_found_again(postgres_url: str):
    with Ledger.open(postgres_url) as ledger:
        ledger.commit(_intake("small", 10), "Ines")
        with pytest.raises(LedgerError, match="cannot be reached"), ledger.database.writing() as connection:
            connection.execute(text("DELETE FROM readings"))
            connection.execute(text("SELECT pg_terminate_backend(pg_backend_pid())"))
        assert ledger.state == 1
        assert len(snapshot(ledger).frame("readings")) == 10


@pytest.mark.postgres
def test_a_server_that_waits_too_long_for_another_is_told(postgres_url: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(ledger_database, "_PATIENCE", 1.0)
    with Ledger.open(postgres_url) as ledger, ledger.database.writing() as other:
        other.execute(text("SELECT state FROM ledger FOR UPDATE"))
        with pytest.raises(LedgerError, match="is busy"):
            ledger.commit(_intake("small", 10), "Ines")


@pytest.mark.postgres
def test_a_wrong_password_is_told_without_being_shown(postgres_url: str):
    wrong = postgres_url.replace("://dropbright:", "://dropbright:wrong-")
    with pytest.raises(LedgerError, match="refused the user or the password") as caught:
        Ledger.open(wrong)
    assert "wrong-" not in str(caught.value)


@pytest.mark.postgres
def test_a_database_that_is_not_there_is_told(postgres_url: str):
    with pytest.raises(LedgerError, match="names a database that is not there"):
        Ledger.open(make_url(postgres_url).set(database="no_such_database").render_as_string(hide_password=False))
