"""Can rejected rows be mended in the layout that they came in, and taken in again?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from analysis.records import Answers, Intake, SourceFile, take_in, write_rejects
from analysis.records.marks import REASON, SAMPLE

Take = Callable[..., Intake]
DAY = datetime(2026, 3, 2, 8, 15)


def _rows(path: Path, sheet: str) -> list[list[object]]:
    return [list(row) for row in openpyxl.load_workbook(path)[sheet].iter_rows(values_only=True)]


def test_rejected_rows_come_back_under_their_headers_with_a_reason(take: Take, tmp_path: Path) -> None:
    rows = [["A banner"], [], ["Run", "Batch", "Packed on", "DO (ppb)", "Who"], ["R1", 2417, DAY, 30, "ab"],
            ["R2", 2418.0, DAY, "lots", "cd"]]  # fmt: skip
    intake = take({"Cans": rows})
    write_rejects(intake, tmp_path / "rejects.xlsx")
    headers, row = _rows(tmp_path / "rejects.xlsx", "Cans")
    assert headers == ["Run", "Batch", "Packed on", "DO (ppb)", "Who", SAMPLE, REASON]
    assert row == ["R2", 2418, DAY, "lots", "cd", "1", "“lots” is not a number."]


def test_a_mended_file_is_taken_in_as_it_is(take: Take, tmp_path: Path) -> None:
    rows = [
        ["Run", "Batch", "Packed on", "DO (ppb)"],
        ["R1", 2417, "25/04/2026", 30],
        ["R1", 2417, "03/04/2026", "lots"],
    ]
    intake = take({"Cans": rows})
    path = tmp_path / "rejects.xlsx"
    write_rejects(intake, path)
    book = openpyxl.load_workbook(path)
    book["Cans"]["D2"] = 44
    book.save(path)
    mended = take_in([SourceFile(path, "rejects.xlsx")])
    assert (mended.sheets[0].accepted, mended.sheets[0].rejected, mended.problems) == (1, 0, ())
    assert mended.sheets[0].layout == intake.sheets[0].layout
    readings = mended.records["readings"]
    # the date's order was told by a row that was taken, and the sample's number by its place among all rows
    assert mended.records["pack_runs"]["packed_at"].tolist() == [datetime(2026, 4, 3)]
    assert readings[["run", "sample", "value"]].values.tolist() == [["R1", "2", 44.0]]


def test_a_row_that_left_out_its_runs_batch_and_date_comes_back_with_them(take: Take, tmp_path: Path) -> None:
    rows = [["Run", "Batch", "Packed on", "Can", "DO (ppb)"], ["R1", 2417, DAY, 1, 30], ["R1", None, None, 2, "lots"]]
    write_rejects(take({"Cans": rows}), tmp_path / "rejects.xlsx")
    assert _rows(tmp_path / "rejects.xlsx", "Cans")[1][:5] == ["R1", "2417", DAY, 2, "lots"]


def test_a_file_taken_in_again_unmended_is_rejected_for_the_same_reasons(take: Take, tmp_path: Path) -> None:
    rows = [
        ["Batch", "Recipe", "Brewed", "Vol (hL)"],
        ["1", "P40", DAY, "many"],
        ["2", None, DAY, 20],
        ["3", "P40", "soonish", 20],
    ]
    intake = take(rows)
    write_rejects(intake, tmp_path / "rejects.xlsx")
    again = take_in([SourceFile(tmp_path / "rejects.xlsx", "rejects.xlsx")])
    assert [(p.code, p.column, p.row) for p in again.problems] == [(p.code, p.column, p.row) for p in intake.problems]


def test_sheets_of_one_name_and_names_that_a_workbook_refuses_are_kept_apart(take_csv: Take, tmp_path: Path) -> None:
    first = take_csv("Batch,Recipe\n,P40\n", name="a:very/long name [of a file] that goes on and on.csv")
    both = Intake(first.files, first.problems, first.records, first.rejects * 2)
    write_rejects(both, tmp_path / "rejects.xlsx")
    names = openpyxl.load_workbook(tmp_path / "rejects.xlsx").sheetnames
    assert len(names) == 2 and all(len(name) <= 31 for name in names) and names[1].endswith("(2)")


def test_no_cell_becomes_a_formula(take_csv: Take, tmp_path: Path) -> None:
    intake = take_csv('Batch,Recipe,Remarks\n,"=1+1","=HYPERLINK(""x"")"\n')
    write_rejects(intake, tmp_path / "rejects.xlsx")
    cells = [c for row in openpyxl.load_workbook(tmp_path / "rejects.xlsx").active.iter_rows() for c in row if c.value]
    assert "=1+1" in [c.value for c in cells]
    assert all(cell.data_type == "s" for cell in cells)


def test_nothing_rejected_gives_a_workbook_that_says_so(take_csv: Take, tmp_path: Path) -> None:
    write_rejects(take_csv("Batch,Recipe\n1,P40\n"), tmp_path / "rejects.xlsx")
    assert _rows(tmp_path / "rejects.xlsx", "Rejected") == [["No row was rejected."]]


def test_a_path_that_cannot_be_written_is_misuse(take_csv: Take, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="path must be a file that can be written"):
        write_rejects(take_csv("Batch,Recipe\n1,P40\n"), tmp_path / "nowhere" / "rejects.xlsx")


def test_a_sheet_that_waits_for_an_answer_comes_back_whole_and_the_answer_holds_for_it(
    take: Take, tmp_path: Path
) -> None:
    rows = [["Brew no.", "FV", "Verrichtung", "Started"], [2417, "FV3", "roused", DAY]]
    intake = take(rows)
    write_rejects(intake, tmp_path / "rejects.xlsx")
    layout = intake.sheets[0].layout
    assert layout is not None
    said = {layout: Answers(columns={"Verrichtung": "operation"})}
    again = take_in([SourceFile(tmp_path / "rejects.xlsx", "rejects.xlsx")], remembered=said)
    assert again.records["operations"]["operation"].tolist() == ["rouse"]


def _mended(intake: Intake, folder: Path, cell: str, value: object) -> Intake:
    """Write the rejected rows of an intake's one sheet, mend a cell and take them in as they are."""
    path = folder / "rejects.xlsx"
    write_rejects(intake, path)
    book = openpyxl.load_workbook(path)
    book.worksheets[0][cell] = value
    book.save(path)
    return take_in([SourceFile(path, "rejects.xlsx")])


def test_a_decimal_sign_that_the_file_told_goes_with_the_rejected_row(take_csv: Take, tmp_path: Path) -> None:
    text = "Batch,Recipe,Brewed,OG,Volume (hL)\n1,P40,2026-03-02,1.0481,20\n2,P40,2026-03-03,1.062,full\n"
    mended = _mended(take_csv(text), tmp_path, "E2", 21)
    assert mended.problems == ()
    assert mended.records["batches"]["original_gravity"].tolist() == pytest.approx([15.2], abs=0.05)


def test_a_unit_that_all_the_numbers_told_goes_with_the_rejected_row(take_csv: Take, tmp_path: Path) -> None:
    text = "Batch,Tank,Date,Temp\n1,FV1,2026-03-02,68\n1,FV1,someday,36\n1,FV1,2026-03-04,35\n"
    intake = take_csv(text)
    assert intake.sheets[0].units == {"Temp": "°F"}
    mended = _mended(intake, tmp_path, "C2", datetime(2026, 3, 3))
    assert mended.problems == ()
    assert mended.records["readings"]["value"].tolist() == pytest.approx([2.2], abs=0.05)


def test_a_title_over_several_headers_goes_with_the_rejected_row(take: Take, tmp_path: Path) -> None:
    rows = [[None, None, None, "Dissolved oxygen (ppb)", None], ["Run", "Batch", "Packed on", "1", "2"],
            ["R1", 2417, DAY, 30, 31], ["R2", 2418, DAY, 40, "lots"]]  # fmt: skip
    intake = take({"Cans": rows}, merged={"Cans": [(0, 3, 0, 4)]})
    mended = _mended(intake, tmp_path, "E2", 44)
    assert mended.sheets[0].layout == intake.sheets[0].layout
    assert mended.records["readings"]["value"].tolist() == [40, 44]


def test_a_date_of_readings_stays_one_though_the_runs_stand_on_another_sheet(take: Take, tmp_path: Path) -> None:
    read, packed = datetime(2026, 3, 9, 10), datetime(2026, 3, 2)
    cans = [["Run", "Batch", "Date", "Can", "DO (ppb)"], ["R1", 2417, read, 1, 30], ["R1", 2417, read, 2, "lots"]]
    runs = [["Run", "Batch", "Packed on"], ["R1", 2417, packed]]
    mended = _mended(take({"Cans": cans, "Runs": runs}), tmp_path, "E2", 44)
    assert mended.problems == ()
    assert len(mended.records["pack_runs"]) == 0
    assert mended.records["readings"][["measured_at", "value"]].values.tolist() == [[pd.Timestamp(read), 44.0]]
    alone = _mended(take({"Cans": cans}), tmp_path, "E2", 44)
    assert alone.records["pack_runs"]["packed_at"].tolist() == [read]
