"""Are the runs of two years told apart where their numbers begin again, and is a correction still a correction?"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from analysis.ledger import Counts, Ledger, snapshot
from analysis.problems import Severity


def run(day: str, number: str = "1", batch: str = "1", **cells: object) -> dict[str, Any]:
    return {"run": number, "batch": batch, "packed_at": pd.Timestamp(day), **cells}


def can(value: float, packed: str | None = None, **cells: object) -> dict[str, Any]:
    moment = {} if packed is None else {"packed_at": pd.Timestamp(packed)}
    return {"run": "1", "batch": "1", "sample": "1", "quantity": "haze", "value": value, **moment, **cells}


def days(ledger: Ledger) -> list[str]:
    return sorted(snapshot(ledger).frame("pack_runs")["packed_at"].dt.strftime("%Y-%m-%d"))


def codes(commit: Any) -> list[str]:
    return [problem.code for problem in commit.problems]


def test_the_same_numbers_of_two_years_are_two_runs_and_it_is_said(ledger: Ledger, offer):
    ledger.commit(offer("2025.xlsx", pack_runs=[run("2025-01-20"), run("2025-02-03", "2", "2")]), "Ines")
    done = ledger.commit(offer("2026.xlsx", pack_runs=[run("2026-01-19"), run("2026-02-02", "2", "2")]), "Ines")
    assert done.counts == {"pack_runs": Counts(added=2)}
    assert days(ledger) == ["2025-01-20", "2025-02-03", "2026-01-19", "2026-02-02"]
    (note,) = done.problems
    assert (note.code, note.severity, note.file, note.row) == ("numbers-again", Severity.NOTE, "2026.xlsx", 2)
    assert note.message.startswith("2 runs have the run and batch number of a run of another year: run 1 of batch 1")
    assert "20 January 2025 and on 19 January 2026" in note.message
    assert "correct the year" in note.remedy


def test_a_log_that_grows_tells_of_new_runs_alone(ledger: Ledger, offer):
    first = [run("2025-01-20"), run("2026-01-19")]
    assert codes(ledger.commit(offer("log.xlsx", pack_runs=first), "Ines")) == ["numbers-again"]
    done = ledger.commit(offer("log.xlsx", pack_runs=[*first, run("2026-02-02", "2", "2")]), "Ines")
    assert (codes(done), done.counts["pack_runs"]) == ([], Counts(added=1, unchanged=2))


def test_a_sheet_begun_anew_under_its_old_name_takes_nothing_away(ledger: Ledger, offer):
    ledger.commit(offer("packing.xlsx", pack_runs=[run("2025-01-20"), run("2025-02-03", "2", "2")]), "Ines")
    begun = ledger.commit(offer("packing.xlsx", pack_runs=[run("2026-01-20"), run("2026-02-02", "2", "2"),
                                                           run("2026-02-09", "3", "3")]), "Ines")  # fmt: skip
    assert "rows-left-behind" not in codes(begun)
    assert len(days(ledger)) == 5
    fixed = ledger.commit(offer("packing v2.xlsx", pack_runs=[run("2026-01-21"), run("2026-02-02", "2", "2"),
                                                              run("2026-02-09", "3", "3")]), "Ines")  # fmt: skip
    assert fixed.counts == {"pack_runs": Counts(updated=1, unchanged=2)}
    assert days(ledger) == ["2025-01-20", "2025-02-03", "2026-01-21", "2026-02-02", "2026-02-09"]
    old = ledger.commit(offer("packing old.xlsx", pack_runs=[run("2025-01-20")]), "Ines")
    assert old.counts == {"pack_runs": Counts(unchanged=1)}


def test_a_run_moved_across_new_year_is_corrected(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", pack_runs=[run("2025-12-30", "50", "98")]), "Ines")
    done = ledger.commit(offer("log v2.xlsx", pack_runs=[run("2026-01-02", "50", "98")]), "Ines")
    assert done.counts == {"pack_runs": Counts(updated=1)}
    assert (days(ledger), done.problems) == (["2026-01-02"], ())


def test_two_files_that_put_a_run_on_either_side_of_new_year_contradict_each_other(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", pack_runs=[run("2025-12-30", "50", "98")]), "Ines")
    done = ledger.commit(offer("line.xlsx", pack_runs=[run("2026-01-02", "50", "98")]), "Ines")
    assert done.counts == {"pack_runs": Counts(conflicting=1)}
    assert ledger.conflicts()[0].columns == ("packed_at",)


@pytest.mark.parametrize("mended", ["2026-01-02", "2026-02-01"])
def test_the_year_of_a_row_is_corrected_in_its_place(ledger: Ledger, offer, mended: str):
    others = [run("2025-12-01", "47", "95"), run("2025-12-08", "48", "96")]
    ledger.commit(offer("log.xlsx", pack_runs=[*others, run("2025-01-02", "1", "98")]), "Ines")
    done = ledger.commit(offer("log v2.xlsx", pack_runs=[*others, run(mended, "1", "98")]), "Ines")
    assert done.counts == {"pack_runs": Counts(updated=1, unchanged=2)}
    assert days(ledger) == ["2025-12-01", "2025-12-08", mended]
    (note,) = done.problems
    assert (note.code, note.severity, note.row) == ("year-corrected", Severity.NOTE, 4)
    assert note.message.startswith("1 run was dated in another year by an earlier version of this sheet: run 1 of")
    assert "under another name" in note.remedy
    grown = [*others, run(mended, "1", "98"), run("2026-01-09", "2", "1")]
    again = ledger.commit(offer("log v3.xlsx", pack_runs=grown), "Ines")
    assert codes(again) == []
    ledger.withdraw(3, "it was right before", "Ines")
    ledger.withdraw(2, "it was right before", "Ines")
    assert days(ledger) == ["2025-01-02", "2025-12-01", "2025-12-08"]


def test_the_year_of_a_row_that_another_file_confirms_is_a_conflict(ledger: Ledger, offer):
    others = [run("2025-12-01", "47", "95"), run("2025-12-08", "48", "96")]
    ledger.commit(offer("log.xlsx", pack_runs=[*others, run("2025-01-02", "1", "98")]), "Ines")
    ledger.commit(offer("line.xlsx", pack_runs=[run("2025-01-02", "1", "98")]), "Ines")
    ledger.commit(offer("log v2.xlsx", pack_runs=[*others, run("2026-01-02", "1", "98")]), "Ines")
    (conflict,) = ledger.conflicts()
    assert {f"{claim.values['packed_at']:%Y}" for claim in conflict.claims} == {"2025", "2026"}
    assert len(days(ledger)) == 2


def test_another_year_in_another_place_is_another_run_and_the_old_row_is_told(ledger: Ledger, offer):
    others = [run("2025-12-01", "47", "95"), run("2025-12-08", "48", "96")]
    ledger.commit(offer("log.xlsx", pack_runs=[run("2025-01-02", "1", "98"), *others]), "Ines")
    done = ledger.commit(offer("log v2.xlsx", pack_runs=[*others, run("2026-01-02", "1", "98")]), "Ines")
    assert codes(done) == ["numbers-again", "rows-left-behind"]
    assert len(days(ledger)) == 4


def test_two_dates_within_a_year_still_contradict_each_other(ledger: Ledger, offer):
    done = ledger.commit(offer("log.xlsx", pack_runs=[run("2025-01-12"), run("2025-12-01")]), "Ines")
    assert done.counts == {"pack_runs": Counts(conflicting=2)}


def test_the_same_file_read_with_another_order_of_the_date_is_corrected(ledger: Ledger, offer):
    ledger.commit(offer("log.xlsx", "same", pack_runs=[run("2004-03-26")]), "Ines")
    said = {"columns": {"Packed": "packed_at"}}
    done = ledger.commit(offer("log.xlsx", "same", said, pack_runs=[run("2026-03-04")]), "Ines")
    assert codes(done) == ["year-corrected"]
    assert (done.counts, days(ledger)) == ({"pack_runs": Counts(updated=1)}, ["2026-03-04"])


def test_readings_without_a_date_go_with_their_run(ledger: Ledger, offer):
    ledger.commit(offer("2025.xlsx", readings=[can(1.0, "2025-01-20")]), "Ines")
    same = ledger.commit(offer("2026.xlsx", readings=[can(1.0, "2026-01-19")]), "Ines")
    assert same.counts == {"readings": Counts(added=1)}, "two cans may read the same"
    fixed = ledger.commit(offer("2026 v2.xlsx", readings=[can(1.2, "2026-01-19")]), "Ines")
    assert fixed.counts == {"readings": Counts(updated=1)}
    assert sorted(snapshot(ledger).frame("readings")["value"]) == [1.0, 1.2]
    other = ledger.commit(offer("lab.xlsx", readings=[can(1.5, "2025-01-21")]), "Ines")
    assert other.counts == {"readings": Counts(conflicting=1)}
    (conflict,) = ledger.conflicts()
    assert (conflict.columns, f"{conflict.about['packed_at']:%Y}") == (("value",), "2025")


def test_two_years_in_one_file(ledger: Ledger, offer):
    rows = [can(1.0, "2025-01-20"), can(1.0, "2026-01-19")]
    runs = [run("2025-01-20"), run("2026-01-19")]
    done = ledger.commit(offer("log.xlsx", pack_runs=runs, readings=rows), "Ines")
    assert done.counts == {"pack_runs": Counts(added=2), "readings": Counts(added=2)}
    back = ledger.withdraw(1, "wrong", "Ines")
    assert back.removed == {"pack_runs": 2, "readings": 2}


def test_a_reading_that_says_nothing_of_its_year_is_of_the_only_one(ledger: Ledger, offer):
    ledger.commit(offer("2025.xlsx", readings=[can(1.0, "2025-01-20")]), "Ines")
    assert ledger.commit(offer("lab.xlsx", readings=[can(1.0)]), "Ines").counts["readings"] == Counts(unchanged=1)
    done = ledger.commit(offer("lab2.xlsx", readings=[can(2.0)]), "Ines")
    assert done.counts["readings"] == Counts(conflicting=1)


def test_readings_without_a_date_that_contradict_each_other_ask_for_the_date(ledger: Ledger, offer):
    ledger.commit(offer("cans 2025.xlsx", readings=[can(1.0)]), "Ines")
    done = ledger.commit(offer("cans 2026.xlsx", readings=[can(2.0)]), "Ines")
    (problem,) = done.problems
    assert problem.code == "conflict"
    assert problem.remedy.endswith("write the date beside each and take both in again.")
