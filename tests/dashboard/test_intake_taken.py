"""Is what an intake changed told on the page from a real ledger's own words?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from plotly.utils import PlotlyJSONEncoder

from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.parts.intake_history import consequence, history_table
from dashboard.parts.taken import taken_parts

BATCHES = "Batch,Recipe,Brewed on,Volume (hL)\n2417,P40,2026-05-04,20\n2418,I62,2026-05-11,20\n"


@pytest.fixture
def files(tmp_path: Path) -> list[SourceFile]:
    path = tmp_path / "brews.csv"
    path.write_text(BATCHES, encoding="utf-8")
    return [SourceFile(path, path.name)]


def words(component: object) -> str:
    return json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)


def test_taking_in_is_told_and_stands_in_the_history(ledger: Ledger, files: list[SourceFile]) -> None:
    commit = ledger.commit(take_in(files), by="QA")
    assert "Intake 1: batches 2 new." in words(taken_parts(commit))
    shown = words(history_table(ledger.history()))
    assert "brews.csv" in shown
    assert "on record" in shown
    assert "2 batches" in consequence(ledger.history()[0])


def test_the_same_file_again_adds_nothing_and_says_so(ledger: Ledger, files: list[SourceFile]) -> None:
    ledger.commit(take_in(files), by="QA")
    assert "Nothing new" in words(taken_parts(ledger.commit(take_in(files), by="QA")))


def test_an_intake_that_was_taken_back_says_who_and_why(ledger: Ledger, files: list[SourceFile]) -> None:
    ledger.commit(take_in(files), by="QA")
    ledger.withdraw(1, because="wrong year", by="Head brewer")
    shown = words(history_table(ledger.history()))
    assert "by Head brewer: wrong year" in shown
