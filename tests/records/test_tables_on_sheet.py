"""Is a second table below the first on a sheet read as a table of its own, with nothing lost of either?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time
from pathlib import Path

import xlsxwriter

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers, SourceFile, take_in

Take = Callable[..., Intake]
DAY, NEXT = datetime(2026, 2, 20), datetime(2026, 2, 27)
ROUSES = [
    ["Gyle", "Job", "Date", "Start", "Finish", "Tank"],
    [2601, "Rouse", DAY, time(9), time(9, 30), "FV1"],
    [2602, "Rouse", NEXT, time(23, 50), time(0, 10), "FV2"],
]
FININGS = [
    ["Gyle", "Date", "Job", "Finings", "Dose (mL/hL)", "Tank"],
    [2601, NEXT, "finings", "Isinglass", 3, "FV1"],
    [2602, NEXT, "finings", "Isinglass", "lots", "FV2"],
]


def test_a_second_table_is_read_by_its_own_headers(take: Take) -> None:
    intake = take({"Cellar": [*ROUSES, [], ["Finings given"], *FININGS]})
    first, second = intake.sheets
    assert (first.sheet, first.kind, first.header_row, first.rows, first.accepted) == ("Cellar", "operations", 1, 2, 2)
    assert (second.sheet, second.kind, second.header_row) == ("Cellar, table 2", "operations", 6)
    assert (second.rows, second.accepted, second.rejected) == (2, 1, 1)
    operations = intake.records["operations"]
    assert operations["source_row"].tolist() == [2, 3, 7]
    assert operations["ended_at"].tolist()[1] == datetime(2026, 2, 28, 0, 10)
    assert operations["agent"].tolist()[2] == "Isinglass"
    (problem,) = [p for p in intake.problems if p.severity is Severity.REJECTED]
    assert (problem.sheet, problem.row, problem.column, problem.value) == (
        "Cellar, table 2", 8, "Dose (mL/hL)", "lots",
    )  # fmt: skip


def test_the_same_headers_again_go_on_with_their_table(take: Take) -> None:
    intake = take({"Cellar": [["February"], *ROUSES, [], ["March"], ROUSES[0], *ROUSES[1:]]})
    (sheet,) = intake.sheets
    assert (sheet.ignored_as["header again"], sheet.ignored_as["remark"], sheet.rejected) == (1, 1, 0)


def test_a_month_alone_in_its_row_is_no_record(take: Take) -> None:
    (sheet,) = take({"Cellar": [*ROUSES[:2], ["March"], ROUSES[2], ["wk 14"], ["Apr 2026"], ["Summer"]]}).sheets
    assert (sheet.ignored_as["remark"], sheet.accepted, sheet.rejected) == (3, 2, 1)


def test_three_tables_of_three_kinds(take: Take) -> None:
    cans = [["Run", "Can", "DO (ppb)"], ["R1", 1, 40], ["R1", 2, 41]]
    batches = [["Gyle", "Beer", "Brewed on"], [2601, "Mild", DAY]]
    intake = take({"All": [*batches, [], *cans, [], *ROUSES]})
    assert [(s.sheet, s.kind) for s in intake.sheets] == [
        ("All", "batches"), ("All, table 2", "readings"), ("All, table 3", "operations"),
    ]  # fmt: skip
    assert [s.rejected for s in intake.sheets] == [0, 0, 0]


def test_rows_behind_a_blank_one_are_no_headers(take_csv: Take) -> None:
    text = "Beer,Format,Measure,Max,Unit\nMild,can,TPO,100,ppb\n\nMild,can,haze,1,EBC\nPale 1,bottle,TPO,80,ppb\n"
    (sheet,) = take_csv(text).sheets
    assert (sheet.kind, sheet.accepted) == ("targets", 3)


def test_a_person_who_names_the_header_row_has_one_table(take: Take) -> None:
    said = SheetAnswers(sheets={"log.xlsx/Cellar": Answers(header_row=5)})
    intake = take({"Cellar": [*ROUSES, [], *FININGS]}, answers=said)
    assert [(s.sheet, s.header_row) for s in intake.sheets] == [("Cellar", 5)]


def test_an_answer_may_be_given_to_the_second_table_alone(take: Take) -> None:
    said = SheetAnswers(sheets={"log.xlsx/Cellar, table 2": Answers(columns={"Tank": "ignore"})})
    first, second = take({"Cellar": [*ROUSES, [], *FININGS]}, answers=said).sheets
    assert (first.columns["Tank"], second.columns["Tank"]) == ("vessel", "ignore")


BATCHES = [["Gyle", "Beer", "Brewed on"], [31, "Bitter", DAY], [32, "Porter", NEXT]]
RUNS = [["Run", "Gyle", "Packed on", "TPO (ppb)"], ["K2", 32, NEXT, 75], ["K1", 31, NEXT, 70]]


def test_tables_beside_each_other_are_read_apart(take: Take) -> None:
    intake = take({"Both": [[*left, None, *right] for left, right in zip(BATCHES, RUNS, strict=True)]})
    assert [(s.sheet, s.kind, s.accepted) for s in intake.sheets] == [
        ("Both", "batches", 2), ("Both, table 2", "pack_runs", 2),
    ]  # fmt: skip
    runs = intake.records["pack_runs"]
    assert runs[["run", "batch"]].values.tolist() == [["K2", "32"], ["K1", "31"]], "not the batch of the same row"
    assert intake.records["batches"]["recipe"].tolist() == ["Bitter", "Porter"]


def test_a_blank_column_within_a_table_parts_nothing(take: Take) -> None:
    rows = [["Run", "Gyle", "Packed on", None, "TPO (ppb)", "Haze (EBC)"], ["K1", 31, NEXT, None, 70, 0.8]]
    intake = take(rows)
    assert [(s.kind, s.accepted) for s in intake.sheets] == [("pack_runs", 1)]
    assert intake.records["readings"]["value"].tolist() == [70.0, 0.8]


def test_a_hidden_sheet_is_said_to_be_one(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    with xlsxwriter.Workbook(path) as workbook:
        for name in ("Batches", "Old"):
            sheet = workbook.add_worksheet(name)
            sheet.write_row(0, 0, ["Gyle", "Beer"])
            sheet.write_row(1, 0, [len(name), "Mild"])
        sheet.hide()
    intake = take_in([SourceFile(path, "log.xlsx")])
    assert [(p.code, p.sheet) for p in intake.problems] == [("sheet-hidden", "Old")]
    assert len(intake.records["batches"]) == 2
