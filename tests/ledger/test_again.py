"""What does the same file, a corrected one, or another file that speaks of the same things change?"""

from __future__ import annotations

from datetime import datetime

import pytest

from analysis.ledger import Counts, Ledger, snapshot
from analysis.problems import Severity
from analysis.records.answers import Answers

DO = {"run": "1", "batch": "2417", "sample": "a", "quantity": "total_oxygen"}


def reading(value: float, **cells: object) -> dict[str, object]:
    return {**DO, "value": value, **cells}


def values(ledger: Ledger, state: int | None = None, kind: str = "readings", column: str = "value") -> list[object]:
    return snapshot(ledger, state).frame(kind)[column].tolist()


def test_the_same_file_again_adds_nothing(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    again = ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Tam")
    assert (again.intake, again.state, ledger.state) == (None, 1, 1)
    assert again.counts == {"readings": Counts(unchanged=1)}
    assert [p.code for p in again.problems] == ["file-again"]
    assert again.problems[0].severity is Severity.NOTE
    assert len(ledger.history()) == 1


def test_an_old_version_again_does_not_undo_the_correction(ledger: Ledger, offer):
    old = offer("log.xlsx", readings=[reading(35)])
    ledger.commit(old, "Ines")
    ledger.commit(offer("log (1).xlsx", readings=[reading(36)]), "Ines")
    assert ledger.commit(old, "Tam").intake is None
    assert values(ledger) == [36]


def test_the_same_file_read_in_another_way_is_not_the_same(ledger: Ledger, offer):
    first = offer("log.xlsx", "same", readings=[reading(35)])
    second = offer("log.xlsx", "same", {"answers": Answers(units={"DO": "mg/L"})}, readings=[reading(35000)])
    ledger.commit(first, "Ines")
    assert ledger.commit(second, "Ines").counts == {"readings": Counts(updated=1)}
    assert values(ledger) == [35000]


@pytest.mark.parametrize("name", ["log.xlsx", "log (1).xlsx", "log_v2.xlsx", "log corrected.xlsx", "log rejects.xlsx"])
def test_a_corrected_file_updates_and_keeps_what_was(ledger: Ledger, offer, name):
    ledger.commit(offer("log.xlsx", readings=[reading(35), reading(0.4, quantity="haze")]), "Ines")
    done = ledger.commit(offer(name, readings=[reading(36), reading(0.4, quantity="haze")]), "Ines")
    assert done.counts == {"readings": Counts(updated=1, unchanged=1)}
    assert done.problems == ()
    assert sorted(values(ledger)) == [0.4, 36]
    assert values(ledger, 1) == [35, 0.4]
    assert ledger.conflicts() == ()


def test_a_file_with_other_words_for_noise_is_no_other_value(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    done = ledger.commit(offer("lab.csv", readings=[reading(35.000000000000004)]), "Ines")
    assert done.counts == {"readings": Counts(unchanged=1)}
    assert values(ledger) == [35]


def test_another_file_with_the_same_values_adds_nothing_and_is_on_record(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    done = ledger.commit(offer("lab.xlsx", readings=[reading(35)]), "Tam")
    assert (done.intake, done.state) == (2, 2)
    assert ledger.history()[1].counts == {"readings": Counts(unchanged=1)}
    assert snapshot(ledger).frame("readings")["intake"].tolist() == [1]


def test_another_file_with_another_value_is_a_conflict(ledger: Ledger, offer):
    ledger.commit(
        offer("log.xlsx", readings=[reading(35), reading(0.4, quantity="haze")]), "Ines", datetime(2025, 1, 2)
    )
    done = ledger.commit(offer("lab.xlsx", readings=[reading(41)]), "Tam", datetime(2025, 1, 3))
    assert done.counts == {"readings": Counts(conflicting=1)}
    assert values(ledger) == [0.4]
    (conflict,) = ledger.conflicts()
    assert conflict.columns == ("value",)
    assert conflict.about == DO
    told = [(c.values["value"], c.file, c.sheet, c.source_row, c.intake, c.by, c.at) for c in conflict.claims]
    assert told == [
        (35, "log.xlsx", "readings", 2, 1, "Ines", datetime(2025, 1, 2)),
        (41, "lab.xlsx", "readings", 2, 2, "Tam", datetime(2025, 1, 3)),
    ]
    (problem,) = done.problems
    assert (problem.severity, problem.file, problem.row, problem.column) == (Severity.CONFLICT, "lab.xlsx", 2, "value")
    assert problem.message.endswith(
        "sample a, total package oxygen: value is 41 here and 35 in log.xlsx, readings, row 2 (intake 1)."
    ), problem.message
    frame = snapshot(ledger).conflicts["readings"]
    assert frame["value"].tolist() == [35, 41]
    assert frame["conflict"].nunique() == 1
    assert snapshot(ledger, 1).conflicts == {}


def test_two_values_in_one_file_are_a_conflict(ledger: Ledger, offer):
    done = ledger.commit(offer("log.xlsx", readings=[reading(35), reading(41), reading(35)]), "Ines")
    assert done.counts == {"readings": Counts(unchanged=1, conflicting=2)}
    assert values(ledger) == []
    assert len(ledger.conflicts()[0].claims) == 2


def test_a_limit_and_a_value_contradict_each_other(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(5)]), "Ines")
    done = ledger.commit(offer("lab.xlsx", readings=[reading(5, sign="<")]), "Ines")
    assert done.counts == {"readings": Counts(conflicting=1)}
    assert ledger.conflicts()[0].columns == ("sign",)


def test_a_correction_ends_a_conflict(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    ledger.commit(offer("lab.xlsx", readings=[reading(41)]), "Ines")
    done = ledger.commit(offer("lab corrected.xlsx", readings=[reading(35)]), "Ines")
    assert done.counts == {"readings": Counts(updated=1)}
    assert (values(ledger), ledger.conflicts()) == ([35], ())


def test_a_correction_of_what_another_file_confirmed_is_a_conflict(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    ledger.commit(offer("lab.xlsx", readings=[reading(35)]), "Ines")
    ledger.commit(offer("log_v2.xlsx", readings=[reading(36)]), "Ines")
    (conflict,) = ledger.conflicts()
    assert sorted((c.values["value"], c.file) for c in conflict.claims) == [(35, "lab.xlsx"), (36, "log_v2.xlsx")]


def test_files_fill_each_other_s_blanks(ledger: Ledger, offer):
    run = {"run": "1", "batch": "2417", "packed_at": datetime(2025, 3, 4, 9)}
    ledger.commit(offer("runs.xlsx", pack_runs=[{**run, "format": "can", "extra": '{"Shift": "early"}'}]), "Ines")
    done = ledger.commit(offer("line.xlsx", pack_runs=[{**run, "line": "2", "extra": '{"Crew": "B"}'}]), "Ines")
    assert done.counts == {"pack_runs": Counts(updated=1)}
    (filled,) = snapshot(ledger).frame("pack_runs").to_dict("records")
    assert (filled["format"], filled["line"], filled["extra"]) == ("can", "2", '{"Shift": "early", "Crew": "B"}')
    back = ledger.withdraw(2, "wrong line", "Ines")
    assert (back.removed, back.restored) == ({}, {"pack_runs": 1})
    (left,) = snapshot(ledger).frame("pack_runs").to_dict("records")
    assert (left["format"], left["file"], left["extra"]) == ("can", "runs.xlsx", '{"Shift": "early"}')
    assert snapshot(ledger).frame("pack_runs")["line"].isna().all()
    assert snapshot(ledger, 2).frame("pack_runs")["line"].tolist() == ["2"]


def test_a_row_that_says_less_changes_nothing(ledger: Ledger, offer):
    run = {"run": "1", "batch": "2417", "packed_at": datetime(2025, 3, 4, 9)}
    ledger.commit(offer("runs.xlsx", pack_runs=[{**run, "format": "can"}]), "Ines")
    done = ledger.commit(offer("line.xlsx", pack_runs=[run]), "Ines")
    assert done.counts == {"pack_runs": Counts(unchanged=1)}
    ledger.withdraw(1, "test", "Ines")
    assert snapshot(ledger).frame("pack_runs")["file"].tolist() == ["line.xlsx"]


def test_further_columns_that_differ_are_a_conflict(ledger: Ledger, offer):
    run = {"run": "1", "batch": "2417", "packed_at": datetime(2025, 3, 4, 9)}
    ledger.commit(offer("runs.xlsx", pack_runs=[{**run, "extra": '{"Shift": "early"}'}]), "Ines")
    ledger.commit(offer("line.xlsx", pack_runs=[{**run, "extra": '{"Shift": "late"}'}]), "Ines")
    assert ledger.conflicts()[0].columns == ("extra",)


def test_rows_that_a_corrected_file_no_longer_has_stay_and_are_told(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35), reading(36, sample="b"), reading(37, sample="c")]), "Ines")
    done = ledger.commit(offer("log v2.xlsx", readings=[reading(38)]), "Ines")
    (note,) = done.problems
    assert (note.code, note.severity) == ("rows-left-behind", Severity.NOTE)
    assert note.message.startswith("2 rows of readings")
    assert "withdraw intake 1" in note.remedy
    assert sorted(values(ledger)) == [36, 37, 38]
    ledger.withdraw(1, "rows b and c were wrong", "Ines")
    assert values(ledger) == [38]


def test_the_mended_rows_alone_are_not_taken_for_the_whole_file(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", readings=[reading(35)]), "Ines")
    done = ledger.commit(offer("log rejects.xlsx", readings=[reading(36, sample="b")]), "Ines")
    assert done.problems == ()
    assert done.counts == {"readings": Counts(added=1)}


def test_blanks_in_what_names_a_thing_are_equal(ledger: Ledger, offer):
    row = {"quantity": "total_oxygen", "batch": "2417", "value": 35.0}
    ledger.commit(offer("a.xlsx", readings=[row]), "Ines")
    done = ledger.commit(offer("b.xlsx", readings=[row, {**row, "vessel": "FV1"}]), "Ines")
    assert done.counts == {"readings": Counts(added=1, unchanged=1)}


BATCH = {"batch": "2417", "recipe": "P40"}
FIRST, SECOND = datetime(2024, 3, 1), datetime(2025, 3, 1)


def test_a_batch_without_its_day_is_the_only_one_of_that_number(ledger: Ledger, offer):
    ledger.commit(offer("brews.xlsx", batches=[{**BATCH, "brewed_on": FIRST}]), "Ines")
    done = ledger.commit(offer("tanks.xlsx", batches=[{**BATCH, "vessel": "FV3"}]), "Ines")
    assert done.counts == {"batches": Counts(updated=1)}
    (batch,) = snapshot(ledger).frame("batches").to_dict("records")
    assert (batch["brewed_on"], batch["vessel"]) == (FIRST, "FV3")


def test_the_day_may_come_later(ledger: Ledger, offer):
    ledger.commit(offer("tanks.xlsx", batches=[{**BATCH, "vessel": "FV3"}]), "Ines")
    ledger.commit(offer("brews.xlsx", batches=[{**BATCH, "brewed_on": FIRST}]), "Ines")
    (batch,) = snapshot(ledger).frame("batches").to_dict("records")
    assert (batch["brewed_on"], batch["vessel"]) == (FIRST, "FV3")
    ledger.commit(offer("more.xlsx", batches=[{**BATCH, "brewed_on": SECOND}]), "Ines")
    batches = snapshot(ledger).frame("batches")
    assert batches["brewed_on"].isna().sum() == 1, "of two batches it cannot be said which one is meant"
    assert len(batches) == 3
    ledger.withdraw(3, "no such brew", "Ines")
    assert snapshot(ledger).frame("batches")["brewed_on"].tolist() == [FIRST]


def test_batch_numbers_that_come_round_again_do_not_mix(ledger: Ledger, offer):
    rows = [{**BATCH, "brewed_on": FIRST, "volume": 20.0}, {**BATCH, "brewed_on": SECOND, "volume": 30.0}]
    assert ledger.commit(offer("brews.xlsx", batches=rows), "Ines").counts == {"batches": Counts(added=2)}
    done = ledger.commit(offer("brews v2.xlsx", batches=[rows[0], {**rows[1], "volume": 31.0}]), "Ines")
    assert done.counts == {"batches": Counts(updated=1, unchanged=1)}
    assert sorted(values(ledger, kind="batches", column="volume")) == [20, 31]


def test_a_batch_in_two_words_conflicts_though_one_lacks_the_day(ledger: Ledger, offer):
    ledger.commit(offer("brews.xlsx", batches=[{**BATCH, "brewed_on": FIRST}]), "Ines")
    ledger.commit(offer("tanks.xlsx", batches=[{"batch": "2417", "recipe": "I62"}]), "Ines")
    (conflict,) = ledger.conflicts()
    assert conflict.columns == ("recipe", "brewed_on")
    assert conflict.about["batch"] == "2417"
