"""Are rows that lack something, or say what cannot be, rejected with where, what and what to do?"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from analysis.problems import Severity
from analysis.records import Intake

Take = Callable[..., Intake]

WRONG = [
    ("Batch,Recipe,Brewed\n,P40,2026-03-02\n", "value-needed", 2, "Batch"),
    ("Batch,Recipe,Brewed\n2417,n/a,2026-03-02\n", "value-needed", 2, "Recipe"),
    ("Batch,Recipe,Brewed\n2417,P40,2027-03-02\n", "date-in-future", 2, "Brewed"),
    ("Batch,Recipe,Brewed\n2417,P40,1926-03-02\n", "date-too-early", 2, "Brewed"),
    ("Batch,Recipe,Brewed\n2417,P40,31/09/2026\n", "date-unreadable", 2, "Brewed"),
    ("Batch,Recipe,Volume (hL)\n2417,P40,99000\n", "value-implausible", 2, "Volume (hL)"),
    ("Batch,Recipe,Volume (hL)\n2417,P40,full\n", "number-unreadable", 2, "Volume (hL)"),
    ("Batch,Recipe,Volume (hL)\n2417,P40,<20\n", "limit-not-taken", 2, "Volume (hL)"),
    ("Run,Sample,DO (ppb)\nR1,1,30000\n", "value-implausible", 2, "DO (ppb)"),
    ("Run,Sample,Test,Result,Unit\nR1,1,DO,30000,ppb\n", "value-implausible", 2, "Result"),
    ("Run,Sample,Test,Result,Unit\nR1,1,DO,30,EBC\n", "unit-unknown", 2, "Result"),
    ("Run,Vessel,Test,Result,Unit\n,FV3,DO,30,ppb\n", "value-needed", 2, None),
    ("Batch,Job,Start,End\n1,rouse,2026-03-02 10:00,2026-03-01 10:00\n", "end-before-start", 2, "End"),
    ("Batch,Job,Start,Minutes\n1,rouse,2026-03-02 10:00,-5\n", "value-implausible", 2, "Minutes"),
    ("Batch,Job,Start,Minutes\n1,rouse,2026-03-02 10:00,20000\n", "value-implausible", 2, "Minutes"),
    ("Batch,Job,Start,End\n1,rouse,2026-03-02 10:00,2026-03-12 10:00\n", "minutes-implausible", 2, None),
    ("Batch,Job,Date,Time\n1,rouse,2026-03-02,teatime\n", "time-unreadable", 2, "Time"),
    ("Run,Batch,Packed on,Format\nR1,1,2026-03-02,bucket\n", "word-unknown", 2, "Format"),
    ("From batch,To batch,Date\n1,1,2026-03-02\n", "transfer-nowhere", 2, None),
    ("Run,Panellist,Attribute,Score,Scale\nR1,AB,papery,12,0-9\n", "score-above-scale", 2, "Score"),
    ("Run,Tasters,Correct\nR1,12,14\n", "more-right-than-tasters", 2, "Correct"),
    ("Run,Tasters,Correct\nR1,12,5.5\n", "number-unreadable", 2, "Correct"),
    ("Recipe,Measure,Lower,Upper\nP40,haze (EBC),2,1\n", "limits-crossed", 2, None),
    ("Recipe,Measure,Upper,Margin\nP40,haze (EBC),2,0\n", "margin-not-positive", 2, None),
    ("Recipe,Measure,Upper\nP40,happiness,2\n", "measure-unknown", 2, "Measure"),
]


@pytest.mark.parametrize(("text", "code", "row", "column"), WRONG, ids=[f"{w[1]}-{k}" for k, w in enumerate(WRONG)])
def test_what_cannot_be_is_rejected_at_its_place(
    take_csv: Take, text: str, code: str, row: int, column: str | None
) -> None:
    intake = take_csv(text)
    rejected = [p for p in intake.problems if p.severity is Severity.REJECTED]
    assert [(p.code, p.file, p.sheet, p.row, p.column) for p in rejected] == [(code, "log.csv", "log", row, column)]
    assert all(p.message.endswith(".") and p.remedy.endswith(".") for p in rejected)
    assert (intake.sheets[0].accepted, intake.sheets[0].rejected) == (0, 1)
    assert all(frame.empty for frame in intake.records.values())


def test_many_rows_with_one_fault_are_told_one_by_one_and_then_together(take_csv: Take) -> None:
    intake = take_csv("Run,Sample,DO (ppb)\n" + "".join(f"R{k},1,lots\n" for k in range(600)))
    assert intake.sheets[0].rejected == 600
    assert len(intake.problems) == 501
    assert "100 more, from row 502 to row 601" in intake.problems[-1].message


def test_totals_averages_headers_again_blank_rows_and_remarks_are_ignored_and_counted(take_csv: Take) -> None:
    text = (
        "Run,Sample,DO (ppb),Haze (EBC)\nR1,1,30,0.8\n,,,\nMarch 2026 follows,,,\nR1,2,31,0.9\n"
        "Run,Sample,DO (ppb),Haze (EBC)\nR2,1,40,0.7\nAverage,,33.7,0.8\nTotal:,3,,\nMax of month,,40,\nSt. dev.,,1,1\n"
        "Mittelwert,,33.7,0.8\n"
    )
    (sheet,) = take_csv(text).sheets
    assert (sheet.rows, sheet.accepted, sheet.rejected, sheet.ignored) == (11, 3, 0, 8)
    assert dict(sheet.ignored_as) == {"blank": 1, "header again": 1, "total": 5, "remark": 1}


def test_total_oxygen_is_no_total(take_csv: Take) -> None:
    (sheet,) = take_csv("Measure,Recipe,Upper\ntotal oxygen,P40,100\n").sheets
    assert (sheet.accepted, sheet.ignored) == (1, 0)


def test_a_row_that_repeats_another_in_every_cell_is_ignored_with_a_note(take_csv: Take) -> None:
    intake = take_csv("Run,Sample,DO (ppb)\nR1,1,30\nR1,2,31\nR1,1,30\n")
    assert (intake.sheets[0].accepted, dict(intake.sheets[0].ignored_as)) == (2, {"repeated": 1})
    assert [(p.code, p.severity) for p in intake.problems] == [("row-repeated", Severity.NOTE)]
    assert "row 4" in intake.problems[0].message


def test_two_values_for_one_reading_are_a_conflict_and_both_are_handed_on(take_csv: Take) -> None:
    intake = take_csv("Run,Sample,DO (ppb)\nR1,1,30\nR1,1,35\nR1,2,31\n")
    assert [(p.code, p.severity, p.row, p.value) for p in intake.problems] == [
        ("conflict", Severity.CONFLICT, 2, "30"), ("conflict", Severity.CONFLICT, 3, "35"),
    ]  # fmt: skip
    assert intake.records["readings"]["value"].tolist() == [30.0, 35.0, 31.0]


def test_one_slip_in_a_sheet_without_sample_numbers_is_a_conflict_and_a_pattern_is_samples(take_csv: Take) -> None:
    slip = take_csv("Run,Test,Result,Unit\nR1,DO,30,ppb\nR1,DO,35,ppb\nR2,DO,31,ppb\nR3,DO,31,ppb\nR4,DO,31,ppb\n")
    assert [p.code for p in slip.problems] == ["conflict", "conflict"]
    pattern = take_csv("Run,Test,Result,Unit\nR1,DO,30,ppb\nR1,DO,35,ppb\nR2,DO,31,ppb\nR2,DO,31,ppb\n")
    assert [p.code for p in pattern.problems] == ["sample-numbered"]
    assert pattern.records["readings"]["sample"].tolist() == ["1", "2", "1", "2"]


def test_minutes_that_differ_from_start_to_end_are_told(take_csv: Take) -> None:
    intake = take_csv("Batch,Job,Start,End,Minutes\n1,rouse,2026-03-02 10:00,2026-03-02 10:30,20\n")
    assert [p.code for p in intake.problems] == ["minutes-differ"]
    assert intake.records["operations"]["minutes"].tolist() == [20.0]
