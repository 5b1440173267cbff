"""Does every row of any sheet come out accepted, rejected or ignored, and nothing raise?"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers, SourceFile, take_in, write_rejects
from analysis.records.kinds import KINDS
from analysis.records.words import HEADERS

TODAY = date(2026, 11, 25)
FEW = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

CELLS = st.sampled_from([
    "", "", "2417", "#2417", "G2418", "R1", "R2", "1", "2", "35", "<5", "0,8", "1.048", "1,234", "9999999", "-3", "n/a",
    "broken", "2026-03-02", "03/04/2026", "25/04/2026", "31/09/2026", "2026-03-02 09:30", "09:30", "teatime", "P40",
    "2100-01-01", "FV3", "BBT1", "roused", "hexed", "fined", "haze", "DO (ppb)", "VDK", "NTU", "ppb", "FTU", "pt/bbl",
    "mL/hL", "can", "bucket", "papery", "AB", "Total", "Average", "a remark of some length", '"', "=1+1", "90", "25°",
    "0-9",
])  # fmt: skip
WORDS = sorted({word for columns in HEADERS.values() for words in columns.values() for word in words})
HEADER = st.one_of(
    st.sampled_from(WORDS),
    st.sampled_from(
        [
            "DO (ppb)",
            "DO 1",
            "DO 2",
            "TPO can 1",
            "TPO",
            "Haze (NTU)",
            "Haze 25° (EBC)",
            "Meter",
            "Papery",
            "Time",
            "Temp (°F)",
            "Who",
            "",
        ]
    ),
)


@st.composite
def tables(draw: st.DrawFn) -> list[list[str]]:
    """A kind's own headers (or any), rows of cells that may or may not make sense, a banner above or none."""
    kind = draw(st.sampled_from([*KINDS, ""]))
    own = [c.name.replace("_", " ") for c in KINDS[kind].columns if c.required] if kind else []
    headers = [*own, *draw(st.lists(HEADER, max_size=5))] or ["x"]
    banner = draw(st.sampled_from([[], [["A log"]], [["A log"], [""], ["of", "things"]]]))
    rows = draw(st.lists(st.lists(CELLS, min_size=len(headers), max_size=len(headers)), max_size=12))
    again = draw(st.booleans())
    return [*banner, headers, *rows, *([rows[0]] if again and rows else [])]


def _taken(folder: Path, table: Sequence[Sequence[str]], **said: object) -> Intake:
    text = io.StringIO()
    csv.writer(text).writerows(table)
    path = folder / "log.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    return take_in([SourceFile(path, "log.csv")], today=TODAY, **said)  # type: ignore[arg-type]


def _check(intake: Intake) -> None:
    for sheet in intake.sheets:
        assert sheet.rows == sheet.accepted + sheet.rejected + sheet.ignored
        assert min(sheet.accepted, sheet.rejected, sheet.ignored) >= 0
        assert sum(sheet.ignored_as.values()) == sheet.ignored
    accepted = sum(sheet.accepted for sheet in intake.sheets)
    records = pd.concat([f["source_row"].astype(int) for f in intake.records.values()], ignore_index=True)
    assert records.nunique() <= accepted
    if intake.sheets and intake.sheets[0].kind != "pack_runs":
        assert records.nunique() == accepted  # of packaging runs, the rows of one run are one record
    rejected = sum(len(rows.reasons) for rows in intake.rejects)
    assert rejected == sum(sheet.rejected for sheet in intake.sheets)
    assert all(reason for rows in intake.rejects for reason in rows.reasons)
    if rejected:
        costly = [p for p in intake.problems if p.severity in (Severity.REJECTED, Severity.QUESTION)]
        assert costly and all(p.file == "log.csv" and p.message and p.remedy for p in costly)


@FEW
@given(table=tables())
def test_rows_add_up_and_every_rejected_row_has_its_reason(tmp_path: Path, table: list[list[str]]) -> None:
    _check(_taken(tmp_path, table))


@FEW
@given(table=tables(), kind=st.sampled_from(list(KINDS)), data=st.data())
def test_rows_add_up_whatever_a_person_answers(
    tmp_path: Path, table: list[list[str]], kind: str, data: st.DataObject
) -> None:
    names = st.sampled_from([*(c.name for c in KINDS[kind].columns), "haze", "extra", "ignore", "attribute"])
    texts = st.sampled_from([cell for row in table for cell in row if cell] or ["x"])
    answers = Answers(
        kind=data.draw(st.sampled_from([None, kind])),
        header_row=data.draw(st.sampled_from([None, 1, 2, 99])),
        columns=data.draw(st.dictionaries(texts, names, max_size=3)),
        units=data.draw(st.dictionaries(texts, st.sampled_from(["NTU", "ppb", "hL", "nonsense"]), max_size=2)),
        dates=data.draw(st.dictionaries(texts, st.sampled_from(["day-month", "month-day"]), max_size=2)),
        angles=data.draw(st.dictionaries(texts, st.sampled_from(["90", "forward"]), max_size=1)),
        numbers=data.draw(st.dictionaries(texts, st.sampled_from(["sample", "replicate"]), max_size=1)),
        decimal=data.draw(st.sampled_from([None, ".", ","])),
    )
    _check(_taken(tmp_path, table, answers=SheetAnswers(answers), kind=data.draw(st.sampled_from([None, kind]))))


@settings(FEW, max_examples=40)
@given(table=tables())
def test_the_rejects_of_any_sheet_can_be_written(tmp_path: Path, table: list[list[str]]) -> None:
    intake = _taken(tmp_path, table)
    path = tmp_path / "rejects.xlsx"
    path.unlink(missing_ok=True)
    write_rejects(intake, path)
    assert path.stat().st_size > 0


@pytest.mark.parametrize(
    "text", ["", "\n\n", "a", "a,b\n", ",,,\n,,,\n", "Batch,Recipe\n", "\ufeffBatch,Recipe\n1,P40\n"]
)
def test_small_and_empty_files_are_taken(tmp_path: Path, text: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    intake = take_in([SourceFile(path, "log.csv")], today=TODAY)
    assert all(s.rows == s.accepted + s.rejected + s.ignored for s in intake.sheets)
    assert intake.problems or intake.sheets[0].accepted or intake.sheets[0].rows == 0


def test_a_file_that_is_not_there_or_no_table_is_a_problem(tmp_path: Path) -> None:
    picture = tmp_path / "photo.xlsx"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    intake = take_in([SourceFile(tmp_path / "gone.xlsx", "gone.xlsx"), SourceFile(picture, "photo.xlsx")])
    assert [(p.file, p.severity) for p in intake.problems] == [
        ("gone.xlsx", Severity.REJECTED), ("photo.xlsx", Severity.REJECTED),
    ]  # fmt: skip
    assert [file.sheets for file in intake.files] == [(), ()]
