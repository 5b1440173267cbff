"""A ledger on SQLite, and the same one on PostgreSQL where a server is named."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.ledger import Ledger, Snapshot
from analysis.records.taken import FileIntake, Intake, SheetIntake


@pytest.fixture(autouse=True)
def cache_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of the test's own."""
    folder = tmp_path / "cache"
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(folder))
    return folder


@pytest.fixture
def ledger(ledger_url: str) -> Iterator[Ledger]:
    """A new ledger, on each database."""
    with Ledger.open(ledger_url) as opened:
        yield opened


Offer = Callable[..., Intake]


@pytest.fixture
def offer() -> Offer:
    """Make an intake of one file: ``offer("log.xlsx", readings=[{"run": "1", ...}, ...])``, a sheet a kind.

    ``said`` gives fields of the sheets in place of the usual ones.
    """

    def make(
        file: str, sha256: str | None = None, said: dict[str, Any] | None = None, **rows: Sequence[dict[str, Any]]
    ) -> Intake:
        records, sheets = {}, []
        for kind, cells in rows.items():
            frame = pd.DataFrame(list(cells)).assign(file=file, sheet=kind, source_row=range(2, len(cells) + 2))
            records[kind] = Snapshot.of({kind: frame}).frame(kind).drop(columns=["record", "intake"])
            sheets.append(replace(_sheet(file, kind, len(cells)), **(said or {})))
        digest = sha256 or hashlib.sha256(repr((file, rows)).encode()).hexdigest()
        return Intake((FileIntake(file, digest, tuple(sheets)),), (), records)

    return make


def _sheet(file: str, kind: str, rows: int) -> SheetIntake:
    return SheetIntake(file, kind, kind, 1, rows, rows, 0, 0, columns={"Run no.": "run"}, layout=f"{kind} layout")
