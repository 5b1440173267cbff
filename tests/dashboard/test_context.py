"""Are answers remembered while nothing changed that they rest on, and always told with the present state?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from analysis.findings.practices import PracticesFinding, practices
from analysis.ledger import Ledger, Snapshot
from analysis.linking import PackTable
from analysis.records import FileIntake, Intake, SheetIntake
from dashboard.parts.context import Context
from dashboard.parts.staging import Stagings
from dashboard.settings import Settings


@pytest.fixture
def here(ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Context]:
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    _put(ledger, "a.xlsx", "haze")
    return Context(ledger, Settings(), Stagings.open(tmp_path / "waiting"))


def _put(ledger: Ledger, file: str, quantity: str) -> None:
    frame = pd.DataFrame({"recipe": ["P40"], "quantity": [quantity], "upper": [1.0], "file": [file], "sheet": ["s"]})
    records = {"targets": Snapshot.of({"targets": frame}).frame("targets").drop(columns=["record", "intake"])}
    sheet = SheetIntake(file, "s", "targets", 1, 1, 1, 0, 0)
    ledger.commit(Intake((FileIntake(file, file, (sheet,)),), (), records), "Ines")


def test_an_answer_to_a_signal_leaves_the_table_in_memory_with_the_new_state(here: Context):
    before = here.packs()
    here.ledger.decide("signal", {}, "so", "Ines")
    after = here.packs()
    assert (before.state, after.state) == (1, 2)
    assert after.rows is before.rows
    here.ledger.decide("meter", {"meter": "A", "quantity": "haze", "treatment": "set aside"}, "so", "Ines")
    assert here.packs().rows is not before.rows
    assert here.packs().as_read is not None
    again = here.packs()
    here.ledger.decide("review", {}, "so", "Ines")
    assert here.packs().rows is again.rows
    assert here.packs().as_read.state == here.packs().state == 4
    _put(here.ledger, "b.xlsx", "total_oxygen")
    assert len(here.packs().targets) == 2


def test_a_question_of_the_table_alone_is_asked_once(here: Context):
    asked: list[int] = []

    def ask(table: PackTable, measure: str) -> PracticesFinding:
        asked.append(table.state)
        return practices(table, measure)

    assert here.answer_of_table(ask, "haze").ledger_state == 1
    here.ledger.decide("signal", {}, "so", "Ines")
    assert here.answer_of_table(ask, "haze").ledger_state == 2
    assert asked == [1]
    number = here.ledger.decide("setting", {"setting": "another"}, "so", "Ines").number
    assert here.answer_of_table(ask, "haze").ledger_state == 3
    here.ledger.take_back(number, "no", "Ines")
    assert here.answer_of_table(ask, "haze").ledger_state == 4
    assert asked == [1, 3]


def test_a_question_of_more_than_the_table_is_asked_in_every_state(here: Context):
    asked: list[int] = []

    def ask(table: PackTable) -> int:
        asked.append(table.state)
        return table.state

    assert [here.answer(ask), here.answer(ask)] == [1, 1]
    here.ledger.decide("signal", {}, "so", "Ines")
    assert here.answer(ask) == 2
    assert asked == [1, 2]
