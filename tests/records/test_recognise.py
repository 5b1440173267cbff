"""Which kind is a sheet, where is its header row, and what do its headers mean?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time

import pytest

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers
from analysis.records.headers import angle_of, read_header, unique_headers
from analysis.records.kinds import KINDS
from analysis.records.measure_headers import measure_of
from analysis.records.recognise import layout_of
from analysis.records.words import HEADERS

Take = Callable[..., Intake]
DAY = datetime(2026, 3, 2)


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("DO (ppb)", "do", "ppb"),
        ("Haze, EBC", "haze", "EBC"),
        ("Vol hL", "vol", "hL"),
        ("Dose mL/hL", "dose", "mL/hL"),
        ("Volume [hL]", "volume", "hL"),
        ("Temp/°C", "temp", "°C"),
        ("Yeast 10^6 cells/mL", "yeast", "10^6 cells/mL"),
    ],
)
def test_a_unit_is_read_behind_brackets_commas_slashes_and_spaces(header: str, name: str, unit: str) -> None:
    read = read_header(header)
    assert any(n == name and (u or read.unit) == unit for n, u in read.names)


@pytest.mark.parametrize(
    ("header", "measure", "unit", "stage", "number"),
    [
        ("DO (ppb)", "dissolved_oxygen", "ppb", None, None),
        ("TPO", "total_oxygen", None, None, None),
        ("NTU", "haze", "ntu", None, None),
        ("Haze 25° (EBC)", "haze_forward", "EBC", None, None),
        ("BBT DO 2 (ppb)", "dissolved_oxygen", "ppb", "bright_tank", "2"),
        ("O2 (%)", "headspace_oxygen", "%", None, None),
        ("O2 (ppb)", "dissolved_oxygen", "ppb", None, None),
        ("CO2 (vols)", "carbon_dioxide", "vols", None, None),
        ("HS O2 %", "headspace_oxygen", "%", None, None),
        ("DO in can [µg/L]", "dissolved_oxygen", "µg/L", "pack", None),
    ],
)
def test_a_measure_is_known_by_the_words_of_the_trade(
    header: str, measure: str, unit: str | None, stage: str | None, number: str | None
) -> None:
    read = measure_of(read_header(header))
    assert read is not None
    assert (read.measure, read.unit, read.stage, read.number) == (measure, unit, stage, number)


def test_angles_are_told_apart() -> None:
    assert [angle_of(t) for t in ("Haze 90°", "Haze @ 25", "forward", "Haze", "20 °C")] == [
        "90", "forward", "forward", None, None,
    ]  # fmt: skip


def test_headers_are_made_unique_and_blank_ones_named() -> None:
    assert unique_headers(["Meter", "", "METER", "Meter"]) == ["Meter", "Column B", "METER (2)", "Meter (3)"]


def test_every_kept_column_has_words_and_no_sure_word_means_two_columns_of_a_kind() -> None:
    for kind in KINDS.values():
        own = {c.name for c in kind.headed}
        assert set(HEADERS[kind.name]) == own
        sure = [word for words in HEADERS[kind.name].values() for word, rank in words.items() if rank == 0]
        assert len(sure) == len(set(sure)), kind.name


SHEETS = {
    "batches": [["Gyle", "Beer", "Brew day", "FV", "OG (°P)"], ["2417", "P40", DAY, "FV3", 10.4]],
    "transfers": [["From gyle", "To gyle", "From tank", "To tank", "hL", "Xfer date"], [1, 1, "FV1", "BBT1", 20, DAY]],
    "operations": [["BREW NO.", "Tank", "Job", "Started", "Mins"], [2417, "FV3", "roused", DAY, 20]],
    "pack_runs": [["Run #", "Lot", "Canned on", "Package", "mL"], ["R1", 2417, DAY, "cans", 440]],
    "readings": [["Batch", "Sample point", "Date", "Test", "Result", "UoM"], [2417, "FV", DAY, "D.O.", 31, "ppb"]],
    "tastings": [["Run", "Taster", "Descriptor", "Rating"], ["R1", "AB", "papery", 3]],
    "taste_tests": [["Run", "Against", "Test", "Assessors", "Correct"], ["R1", "R2", "triangle", 12, 6]],
    "meter_checks": [["Instrument", "Date", "Standard", "Reading", "Units"], ["HZ1", DAY, 20, 20.4, "NTU"]],
    "targets": [["Beer", "Parameter", "Min", "Max", "Aim"], ["P40", "haze (EBC)", 0.2, 1.5, 0.8]],
}  # fmt: skip


@pytest.mark.parametrize("kind", SHEETS)
def test_each_kind_is_known_by_other_words_for_its_columns(take: Take, kind: str) -> None:
    (sheet,) = take(SHEETS[kind]).sheets
    assert (sheet.kind, sheet.header_row, sheet.accepted, sheet.rejected) == (kind, 1, 1, 0)
    assert sheet.kept_as_extra == ()


def test_the_header_row_is_found_behind_a_banner_blank_rows_and_a_merged_title(take: Take) -> None:
    rows = [["Canning line: quality log", "", "", ""], [], ["kept by the packaging hall", None, None, None], [],
            ["Run", "Batch", "Packed on", "DO (ppb)"], ["R1", "2417", DAY, 33]]  # fmt: skip
    (sheet,) = take({"Log": rows}, merged={"Log": [(0, 0, 0, 3)]}).sheets
    assert (sheet.kind, sheet.header_row, sheet.rows, sheet.accepted) == ("pack_runs", 5, 1, 1)


def test_a_merged_title_is_read_together_with_the_headers_under_it(take: Take) -> None:
    rows = [[None, None, "Dissolved oxygen", None, "Haze", None],
            ["Run", "Can", "ppb", "Meter", "EBC", "Meter"], ["R1", 1, 35, "OX1", 0.8, "HZ1"]]  # fmt: skip
    intake = take({"QC": rows}, merged={"QC": [(0, 2, 0, 3), (0, 4, 0, 5)]})
    readings = intake.records["readings"]
    assert readings[["quantity", "value", "meter"]].values.tolist() == [
        ["dissolved_oxygen", 35.0, "OX1"], ["haze", 0.8, "HZ1"],
    ]  # fmt: skip


def test_a_row_of_units_under_the_headers_belongs_to_them(take: Take) -> None:
    intake = take([["Run", "Can", "DO", "Haze"], [None, None, "(ppm)", "(NTU)"], ["R1", 1, 0.035, 4]])
    (sheet,) = intake.sheets
    assert (sheet.rows, sheet.accepted) == (1, 1)
    assert intake.records["readings"]["value"].tolist() == pytest.approx([35.0, 1.0])


def test_sheets_by_month_are_one_kind_and_a_workbook_holds_several(take: Take) -> None:
    intake = take({"Jan": SHEETS["operations"], "Feb": SHEETS["operations"], "Brews": SHEETS["batches"]})
    assert [sheet.kind for sheet in intake.sheets] == ["operations", "operations", "batches"]
    assert len(intake.records["operations"]) == 2


def test_a_sheet_that_is_no_record_is_ignored_with_a_note(take: Take) -> None:
    intake = take({"Notes": [["To do"], ["order isinglass", "ask the lab"], ["fix the filler"]], "Chart": []})
    notes, chart = intake.sheets
    assert (notes.kind, notes.rows, notes.ignored) == (None, 3, 3)
    assert (chart.kind, chart.rows) == (None, 0)
    assert [(p.code, p.severity) for p in intake.problems] == [
        ("sheet-not-recognised", Severity.NOTE), ("sheet-empty", Severity.NOTE),
    ]  # fmt: skip


def test_a_sheet_that_lacks_one_column_is_asked_about_and_an_answer_lets_it_in(take: Take) -> None:
    rows = [["Brew no.", "FV", "Verrichtung", "Started", "Minutes"], [2417, "FV3", "roused", DAY, 20]]
    intake = take(rows)
    (sheet,) = intake.sheets
    (problem,) = intake.problems
    assert (sheet.kind, sheet.rejected) == (None, 1)
    assert (problem.code, problem.severity) == ("column-missing", Severity.QUESTION)
    assert '{"columns": {"Verrichtung": "operation"}}' in problem.remedy
    answered = take(rows, answers=SheetAnswers(Answers(columns={"verrichtung": "operation"})))
    assert answered.records["operations"]["operation"].tolist() == ["rouse"]


def test_two_kinds_that_fit_equally_are_asked_about(take: Take) -> None:
    rows = [["Batch", "Run", "Date", "Recipe"], [2417, "R1", DAY, "P40"]]
    intake = take(rows)
    (problem,) = [p for p in intake.problems if p.severity is Severity.QUESTION]
    assert (problem.code, intake.sheets[0].rejected) == ("kind-ambiguous", 1)
    assert "--kind" in problem.remedy
    told = take(rows, kind="batches")
    assert (told.sheets[0].kind, told.sheets[0].accepted) == ("batches", 1)


def test_an_answer_is_remembered_for_the_layout(take: Take) -> None:
    rows = [["Brew no.", "FV", "Verrichtung", "Started"], [2417, "FV3", "roused", DAY]]
    layout = take(rows).sheets[0].layout
    assert layout is not None
    again = take([[], ["Log"], *rows], remembered={layout: Answers(columns={"Verrichtung": "operation"})})
    assert (again.sheets[0].kind, again.sheets[0].accepted) == ("operations", 1)


def test_a_layout_is_the_same_in_any_case_and_spacing_and_another_for_other_headers() -> None:
    assert layout_of(["Batch No.", "DO (ppb)"]) == layout_of(["BATCH  no", "DO [ppb]"])
    assert layout_of(["Batch", "DO"]) != layout_of(["DO", "Batch"])


def test_a_header_row_and_a_kind_that_a_person_names_are_taken(take: Take) -> None:
    rows = [["Run", "Batch", "Packed on"], ["Run", "Batch", "Packed on"], ["R1", 2417, DAY]]
    (sheet,) = take(rows, answers=SheetAnswers(Answers(kind="pack_runs", header_row=2))).sheets
    assert (sheet.header_row, sheet.accepted) == (2, 1)


def test_a_clock_column_is_told_from_a_column_of_moments_by_its_cells(take: Take) -> None:
    clocks = take([["Date", "Batch", "Job", "Start", "End"], [DAY, 1, "rouse", time(23, 50), time(0, 20)]])
    moments = take(
        [["Batch", "Job", "Start", "End"], [1, "rouse", datetime(2026, 3, 2, 23, 50), datetime(2026, 3, 3, 0, 20)]]
    )
    for intake in (clocks, moments):
        (row,) = intake.records["operations"].itertuples()
        assert (row.started_at, row.ended_at, row.minutes) == (
            datetime(2026, 3, 2, 23, 50), datetime(2026, 3, 3, 0, 20), 30.0,
        )  # fmt: skip


def test_an_answer_that_names_no_column_is_told(take: Take) -> None:
    intake = take(SHEETS["batches"], answers=SheetAnswers(Answers(columns={"Beer": "bier"})))
    assert [p.code for p in intake.problems] == ["answer-unknown"]
    assert intake.sheets[0].columns["Beer"] == "recipe"
