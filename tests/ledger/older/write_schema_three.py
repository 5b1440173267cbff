"""How were the rows of ``schema_three.json`` made? Run by the code that wrote schema 3, before numbers had years.

    PYTHONPATH=<a copy of that code> python tests/ledger/older/write_schema_three.py schema_three.json

An invented brewery packs run 1 of batch 1 and run 2 of batch 2 in each of two years, and wrote both years down: a file
a year, whose rows then contradicted each other; one file that was begun anew under its old name, whose rows then took
the place of last year's; an intake that was withdrawn; and a run that a baseline leaves out.
"""

from __future__ import annotations

import json
import sys
import tempfile
from datetime import datetime
from pathlib import Path

import pandas as pd
from sqlalchemy import select

from analysis.ledger import Ledger, Snapshot
from analysis.ledger.tables import METADATA
from analysis.records.taken import FileIntake, Intake, SheetIntake


def _intake(file: str, sha256: str, runs: list[tuple[str, str, str]], cans: list[tuple[str, str, float]]) -> Intake:
    """Return a wide sheet: the runs with their batch and day, and a reading of each can without a date of its own."""
    rows = max(len(runs), len(cans))
    batch = {run: of for run, of, _ in runs}
    packed = pd.DataFrame(runs, columns=["run", "batch", "packed_at"]).assign(
        packed_at=lambda f: pd.to_datetime(f["packed_at"]), source_row=range(2, len(runs) + 2)
    )
    read = pd.DataFrame(cans, columns=["run", "sample", "value"]).assign(
        batch=lambda f: f["run"].map(batch), quantity="total_oxygen", stage="pack", unit="µg/L",
        source_row=range(2, len(cans) + 2),
    )  # fmt: skip
    frames = {"pack_runs": packed, "readings": read}
    records = {
        kind: Snapshot.of({kind: frame.assign(file=file, sheet="Packing")})
        .frame(kind)
        .drop(columns=["record", "intake"])
        for kind, frame in frames.items()
    }
    sheet = SheetIntake(file, "Packing", "pack_runs", 1, rows, rows, 0, 0, columns={"Run": "run"}, layout="packing")
    return Intake((FileIntake(file, sha256, (sheet,)),), (), records)


def write(ledger: Ledger) -> None:
    """Put the brewery's two years on record."""
    at = datetime(2026, 3, 9, 8)
    first = [("1", "1", "2025-01-20"), ("2", "2", "2025-02-03")]
    ledger.commit(_intake("2025.xlsx", "a", first, [("1", "1", 30), ("1", "2", 32), ("2", "1", 40)]), "Ines", at)
    ledger.decide("baseline", {"left_out": [{"run": "1", "because": "a loose seamer"}]}, "steady", "Ines", at)
    second = [("1", "1", "2026-01-19"), ("2", "2", "2026-02-02")]
    ledger.commit(_intake("2026.xlsx", "b", second, [("1", "1", 50), ("1", "2", 32), ("2", "1", 41)]), "Ines", at)
    wrong = _intake("wrong.xlsx", "c", [("2", "2", "2025-02-10")], [("2", "1", 99)])
    ledger.commit(wrong, "Tam", at)
    ledger.withdraw(3, "another brewery's", "Tam", at)
    ledger.commit(_intake("line.xlsx", "d", [("7", "7", "2025-03-03")], [("7", "1", 20)]), "Ines", at)
    ledger.commit(_intake("line.xlsx", "e", [("7", "7", "2026-03-02")], [("7", "1", 25)]), "Ines", at)


def main() -> None:
    """Write the rows of every table as JSON."""
    with tempfile.TemporaryDirectory() as folder, Ledger.open(str(Path(folder) / "ledger.sqlite")) as ledger:
        write(ledger)
        with ledger.database.reading() as connection:
            rows = {
                table.name: [dict(row) for row in connection.execute(select(table)).mappings()]
                for table in METADATA.sorted_tables
            }
    told = {name: own for name, own in rows.items() if own}
    Path(sys.argv[1]).write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
