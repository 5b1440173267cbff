"""Do the records of a ledger from before come right, where the brewery's numbers begin again each year?

``older/schema_three.json`` has the rows that the code of schema 3 wrote; ``older/write_schema_three.py`` made them.
"""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from sqlalchemy import Column, MetaData, Table, create_engine, insert, inspect

from analysis.ledger import Ledger, snapshot
from analysis.ledger.tables import METADATA
from dashboard.commands import main

ROWS = json.loads((Path(__file__).parent / "older" / "schema_three.json").read_text(encoding="utf-8"))
GAINED = {("readings", "packed_at")}  # the columns that schema 4 added


@pytest.fixture
def older(ledger_url: str) -> str:
    """The address of a ledger of schema 3 with the rows of two years."""
    then = MetaData()
    for table in METADATA.sorted_tables:
        columns = [
            Column(c.name, c.type, primary_key=c.primary_key, nullable=c.nullable, autoincrement=False)
            for c in table.columns
            if (table.name, c.name) not in GAINED
        ]
        Table(table.name, then, *columns)
    engine = create_engine(ledger_url)
    with engine.begin() as connection:
        then.create_all(connection)
        for name, rows in ROWS.items():
            connection.execute(insert(then.tables[name]), rows)
        assert "packed_at" not in {column["name"] for column in inspect(connection).get_columns("readings")}
    engine.dispose()
    return ledger_url


def _runs(ledger: Ledger, state: int | None = None) -> list[tuple[str, str]]:
    frame = snapshot(ledger, state).frame("pack_runs").sort_values("packed_at")
    return list(zip(frame["run"], frame["packed_at"].dt.strftime("%Y-%m-%d"), strict=True))


def _cans(ledger: Ledger) -> list[tuple[str, str, int, float]]:
    frame = snapshot(ledger).frame("readings")
    years = frame["packed_at"].dt.year
    return sorted(zip(frame["run"], frame["sample"], years, frame["value"], strict=True))


def test_what_contradicted_each_other_stands_year_by_year(older: str):
    with Ledger.open(older) as ledger:
        assert ledger.conflicts() == ()
        assert _runs(ledger) == [
            ("1", "2025-01-20"), ("2", "2025-02-03"), ("7", "2025-03-03"),
            ("1", "2026-01-19"), ("2", "2026-02-02"), ("7", "2026-03-02"),
        ]  # fmt: skip
        assert _cans(ledger) == [
            ("1", "1", 2025, 30), ("1", "1", 2026, 50), ("1", "2", 2025, 32), ("1", "2", 2026, 32),
            ("2", "1", 2025, 40), ("2", "1", 2026, 41), ("7", "1", 2025, 20), ("7", "1", 2026, 25),
        ]  # fmt: skip


def test_the_states_before_stay_as_they_were(older: str):
    with Ledger.open(older) as ledger:
        assert ledger.state == 8
        assert _runs(ledger, 1) == [("1", "2025-01-20"), ("2", "2025-02-03")]
        assert _runs(ledger, 7) == [("7", "2026-03-02")]
        assert len(snapshot(ledger, 7).in_conflict("pack_runs")) == 4


def test_a_withdrawn_intake_stays_withdrawn_and_others_can_be_withdrawn(older: str):
    with Ledger.open(older) as ledger:
        assert ledger.history()[2].withdrawn is not None
        assert "2025-02-10" not in dict(map(reversed, _runs(ledger)))
        with pytest.raises(ValueError, match="must not be withdrawn yet, got 3"):
            ledger.withdraw(3, "again", "Tam")
        back = ledger.withdraw(2, "the wrong year's sheet", "Ines")
        assert back.removed == {"pack_runs": 2, "readings": 3}
        assert _runs(ledger) == [
            ("1", "2025-01-20"), ("2", "2025-02-03"), ("7", "2025-03-03"), ("7", "2026-03-02"),
        ]  # fmt: skip
        ledger.withdraw(5, "that too", "Ines")
        assert {year for _, _, year, _ in _cans(ledger)} == {2025}


def test_decisions_stay_as_they_were_made(older: str):
    with Ledger.open(older) as ledger:
        (entry,) = ledger.journal()
        assert (entry.subject, entry.by, entry.because, entry.state) == ("baseline", "Ines", "steady", 2)
        assert entry.content == {"left_out": [{"run": "1", "because": "a loose seamer"}]}


def test_the_files_taken_in_again_or_corrected_find_their_own_year(older: str, offer):
    with Ledger.open(older) as ledger:
        said = [{"run": "1", "batch": "1", "packed_at": pd.Timestamp("2026-01-19")}]
        again = ledger.commit(offer("elsewhere.xlsx", pack_runs=said), "Ines")
        assert again.counts["pack_runs"].unchanged == 1
        moved = ledger.commit(
            offer("2026 corrected.xlsx", pack_runs=[{**said[0], "packed_at": pd.Timestamp("2026-01-20")}]), "Ines"
        )
        assert moved.counts["pack_runs"].rows == 1
        assert ("1", "2025-01-20") in _runs(ledger)


def test_the_history_says_why_the_records_stand_otherwise(older: str):
    with Ledger.open(older) as ledger:
        (upgrade,) = ledger.upgrades()
    assert (upgrade.state, upgrade.by) == (8, "Dropbright")
    assert upgrade.because is not None
    assert "told apart by the day of packing" in upgrade.because


@pytest.mark.parametrize("ledger_url", ["sqlite"], indirect=True)
def test_the_command_lists_what_a_newer_version_told(older: str):
    told = CliRunner().invoke(main, ["history", "--json", "--ledger", older])
    (document,) = json.loads(told.stdout)["upgrades"]
    assert (document["ledger_state"], document["by"]) == (8, "Dropbright")
    assert "told apart by the day of packing" in CliRunner().invoke(main, ["history", "--ledger", older]).stdout


def test_it_is_done_once(older: str):
    with Ledger.open(older) as ledger:
        state = ledger.state
    with Ledger.open(older) as ledger:
        assert ledger.state == state
        with ledger.database.reading() as connection:
            names = {c["name"] for c in inspect(connection).get_columns("readings")}
        assert "packed_at" in names
