"""What stands when an intake is withdrawn, and when a conflict is settled?"""

from __future__ import annotations

from datetime import datetime

import pytest

from analysis.ledger import Ledger, snapshot
from analysis.records.answers import Answers

DO = {"run": "1", "batch": "2417", "sample": "a", "quantity": "total_oxygen"}


def reading(value: float, **cells: object) -> dict[str, object]:
    return {**DO, "value": value, **cells}


def values(ledger: Ledger, state: int | None = None) -> list[float]:
    return sorted(snapshot(ledger, state).frame("readings")["value"].tolist())


@pytest.fixture
def corrected(ledger: Ledger, offer) -> Ledger:
    """Intake 1 says 35 and 50, its correction, intake 2, says 36 and no more of the other."""
    ledger.commit(offer("log.xlsx", readings=[reading(35), reading(50, sample="b")]), "Ines")
    ledger.commit(offer("log v2.xlsx", readings=[reading(36)]), "Ines")
    return ledger


def test_the_correction_and_then_the_file(corrected: Ledger):
    back = corrected.withdraw(2, "wrong file", "Tam")
    assert (back.state, back.removed, back.restored) == (3, {}, {"readings": 1})
    assert values(corrected) == [35, 50]
    back = corrected.withdraw(1, "wrong brewery", "Tam")
    assert (back.removed, back.restored) == ({"readings": 2}, {})
    assert values(corrected) == []
    assert [values(corrected, state) for state in range(5)] == [[], [35, 50], [36, 50], [35, 50], []]


def test_the_file_and_then_the_correction(corrected: Ledger):
    back = corrected.withdraw(1, "replaced", "Tam")
    assert (back.removed, back.restored) == ({"readings": 1}, {})
    assert values(corrected) == [36]
    back = corrected.withdraw(2, "wrong too", "Tam")
    assert back.removed == {"readings": 1}
    assert values(corrected) == []
    assert [values(corrected, state) for state in range(5)] == [[], [35, 50], [36, 50], [36], []]


def test_what_was_withdrawn_may_be_taken_in_again(ledger: Ledger, offer):
    file = offer("log.xlsx", readings=[reading(35)])
    ledger.commit(file, "Ines")
    ledger.withdraw(1, "too early", "Ines")
    again = ledger.commit(file, "Ines")
    assert (again.intake, again.counts["readings"].added) == (2, 1)
    assert values(ledger) == [35]


def test_what_another_file_says_as_well_stays(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35), reading(50, sample="b")]), "Ines")
    ledger.commit(offer("lab.xlsx", readings=[reading(35)]), "Ines")
    back = ledger.withdraw(1, "lost", "Ines")
    assert (back.removed, back.restored) == ({"readings": 1}, {})
    frame = snapshot(ledger).frame("readings")
    assert frame[["value", "file", "intake", "source_row"]].values.tolist() == [[35, "lab.xlsx", 2, 2]]
    ledger.withdraw(2, "lost", "Ines")
    assert values(ledger) == []


def test_a_growing_log_keeps_its_rows_whichever_version_goes(ledger: Ledger, offer):
    rows = [reading(30 + day, sample=str(day)) for day in range(6)]
    for version in range(1, 4):
        ledger.commit(offer("log.xlsx", readings=rows[: 2 * version]), "Ines")
    ledger.withdraw(1, "test", "Ines")
    assert values(ledger) == [30, 31, 32, 33, 34, 35]
    assert set(snapshot(ledger).frame("readings")["intake"]) == {2, 3}
    ledger.withdraw(3, "test", "Ines")
    assert values(ledger) == [30, 31, 32, 33]
    ledger.withdraw(2, "test", "Ines")
    assert values(ledger) == []


def test_a_conflict_ends_with_one_of_its_sides(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    ledger.commit(offer("lab.xlsx", readings=[reading(41)]), "Ines")
    back = ledger.withdraw(1, "wrong meter", "Ines")
    assert (back.removed, back.restored) == ({}, {"readings": 1})
    assert (values(ledger), ledger.conflicts()) == ([41], ())
    assert values(ledger, 2) == []
    assert len(snapshot(ledger, 2).conflicts["readings"]) == 2


@pytest.mark.parametrize("intake", [0, 2, -1])
def test_an_intake_that_is_not_there_is_refused(ledger: Ledger, offer, intake: int):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    with pytest.raises(ValueError, match=f"one of the intakes on record \\(1\\), got {intake}"):
        ledger.withdraw(intake, "test", "Ines")
    assert ledger.state == 1


def test_an_intake_is_withdrawn_once(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    ledger.withdraw(1, "test", "Ines", datetime(2026, 5, 12))
    with pytest.raises(ValueError, match="got 1, which Ines withdrew on 12 May 2026"):
        ledger.withdraw(1, "test", "Tam")
    assert ledger.state == 2


def test_a_reason_and_a_name_are_asked_for(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    with pytest.raises(ValueError, match="because must say why"):
        ledger.withdraw(1, "", "Ines")
    with pytest.raises(ValueError, match="by must say who"):
        ledger.withdraw(1, "test", "")


def test_history_keeps_who_when_why_and_how_it_was_read(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines", datetime(2026, 5, 1, 8, 30))
    ledger.withdraw(1, "wrong meter", "Tam", datetime(2026, 5, 2))
    (entry,) = ledger.history()
    assert (entry.intake, entry.by, entry.at) == (1, "Ines", datetime(2026, 5, 1, 8, 30))
    assert entry.withdrawn is not None
    assert (entry.withdrawn.by, entry.withdrawn.because, entry.withdrawn.state) == ("Tam", "wrong meter", 2)
    (file,) = entry.files
    assert (file.file, len(file.sha256)) == ("log.xlsx", 64)
    (sheet,) = file.sheets
    assert (sheet.sheet, sheet.kind, sheet.header_row, sheet.rows, sheet.accepted) == ("readings", "readings", 1, 1, 1)
    assert sheet.columns == {"Run no.": "run"}


@pytest.fixture
def contradicted(ledger: Ledger, offer) -> Ledger:
    """Intake 1 says 35 and intake 2 says 41."""
    ledger.commit(offer("log.xlsx", readings=[reading(35), reading(50, sample="b")]), "Ines")
    ledger.commit(offer("lab.xlsx", readings=[reading(41)]), "Ines")
    return ledger


def test_one_side_is_kept(contradicted: Ledger):
    (conflict,) = contradicted.conflicts()
    done = contradicted.resolve(
        conflict, conflict.claims[1], "the lab's meter was checked", "Tam", datetime(2026, 5, 3)
    )
    assert (done.state, done.kept.values["value"]) == (3, 41)
    assert (values(contradicted), contradicted.conflicts()) == ([41, 50], ())
    assert values(contradicted, 2) == [50]
    (kept,) = contradicted.resolutions()
    assert (kept.by, kept.because, kept.at, kept.kept.file) == (
        "Tam", "the lab's meter was checked", datetime(2026, 5, 3), "lab.xlsx",
    )  # fmt: skip


def test_a_decision_holds_while_its_side_is_said(contradicted: Ledger, offer):
    (conflict,) = contradicted.conflicts()
    contradicted.resolve(conflict.number, conflict.claims[1].record, "checked", "Tam")
    contradicted.commit(offer("copy of the log sheet.xlsx", readings=[reading(35)]), "Ines")
    assert values(contradicted) == [41, 50], "said again, it is as wrong as before"
    contradicted.withdraw(2, "the lab's file was another beer", "Ines")
    assert values(contradicted) == [35, 50]


def test_a_third_value_is_a_new_conflict(contradicted: Ledger, offer):
    (conflict,) = contradicted.conflicts()
    contradicted.resolve(conflict, conflict.claims[1], "checked", "Tam")
    contradicted.commit(offer("third.xlsx", readings=[reading(44)]), "Ines")
    (again,) = contradicted.conflicts()
    assert again.number != conflict.number
    assert [claim.values["value"] for claim in again.claims] == [41, 44]
    contradicted.resolve(again, again.claims[1], "measured twice", "Tam")
    assert values(contradicted) == [44, 50]


def test_what_cannot_be_settled_is_refused(contradicted: Ledger):
    (conflict,) = contradicted.conflicts()
    with pytest.raises(ValueError, match="number of an open conflict, got 99"):
        contradicted.resolve(99, 1, "test", "Tam")
    with pytest.raises(ValueError, match=r"keep must be a record of conflict 1 \(1, 3\), got 2"):
        contradicted.resolve(conflict, 2, "test", "Tam")
    contradicted.resolve(conflict, 1, "test", "Tam")
    with pytest.raises(ValueError, match="number of an open conflict, got 1"):
        contradicted.resolve(conflict, 1, "test", "Tam")


def test_answers_are_remembered_by_layout_until_their_intake_is_withdrawn(ledger: Ledger, offer):
    said = [Answers(columns={"DO": "dissolved_oxygen"}), Answers(dates={"Packed": "day-month"}), Answers()]
    for number, answers in enumerate(said):
        rows = [reading(35, sample=str(number))]
        ledger.commit(offer(f"log {number}.xlsx", said={"answers": answers}, readings=rows), "Ines")
    assert ledger.remembered() == {"readings layout": said[1]}
    assert ledger.history()[0].files[0].sheets[0].answers == said[0]
    ledger.withdraw(2, "read wrongly", "Ines")
    assert ledger.remembered() == {"readings layout": said[0]}
