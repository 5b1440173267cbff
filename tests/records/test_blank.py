"""Does intake take the blank workbooks without a word, and what is filled into them?"""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from analysis.records import Intake, SourceFile, take_in, write_blank
from analysis.records.kinds import KINDS
from analysis.records.marks import EXAMPLE, EXAMPLE_HEADER


@pytest.fixture(scope="module")
def blanks(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    return write_blank(tmp_path_factory.mktemp("blank") / "new folder")


def _taken(paths: tuple[Path, ...]) -> Intake:
    return take_in([SourceFile(path, path.name) for path in paths])


def test_there_is_a_workbook_for_each_kind_and_one_for_cans(blanks: tuple[Path, ...]) -> None:
    assert [path.name for path in blanks] == [*(f"{kind.label}.xlsx" for kind in KINDS.values()), "Cans.xlsx"]


def test_intake_takes_them_without_a_problem_and_ignores_the_examples(blanks: tuple[Path, ...]) -> None:
    intake = _taken(blanks)
    assert intake.problems == ()
    assert all(frame.empty for frame in intake.records.values())
    records = [sheet for sheet in intake.sheets if sheet.kind is not None]
    assert [sheet.kind for sheet in records] == [*KINDS, "pack_runs"]
    assert all(dict(sheet.ignored_as) == {"example": 1} and not sheet.kept_as_extra for sheet in records)


def test_every_kept_column_has_its_own_header(blanks: tuple[Path, ...]) -> None:
    for kind, sheet in zip(KINDS.values(), [s for s in _taken(blanks).sheets if s.kind], strict=False):
        taken = [name for name in sheet.columns.values() if name != "ignore"]
        assert taken == [column.name for column in kind.headed]


def test_the_example_row_is_a_record_once_its_mark_is_taken_away(blanks: tuple[Path, ...], tmp_path: Path) -> None:
    filled = []
    for path in blanks:
        book = openpyxl.load_workbook(path)
        sheet = book.worksheets[0]
        (mark,) = [cell for cell in sheet[2] if cell.value == EXAMPLE]
        assert sheet.cell(1, mark.column).value == EXAMPLE_HEADER
        for j in range(1, mark.column):
            sheet.cell(3, j).value = sheet.cell(2, j).value
        filled.append(tmp_path / path.name)
        book.save(filled[-1])
    intake = _taken(tuple(filled))
    records = [sheet for sheet in intake.sheets if sheet.kind is not None]
    assert [(p.code, p.message) for p in intake.problems] == []
    assert all((sheet.accepted, sheet.rejected, sheet.ignored) == (1, 0, 1) for sheet in records)
    assert intake.records["operations"].iloc[0][["operation", "amount", "unit"]].tolist() == ["finings", 300.0, "mL/hL"]


def test_words_to_choose_from_are_words_that_intake_knows(blanks: tuple[Path, ...]) -> None:
    for path in blanks:
        sheet = openpyxl.load_workbook(path).worksheets[0]
        headers = {cell.column_letter: cell.value for cell in sheet[1]}
        lists = {headers[str(v.sqref).rstrip("0123456789:")[:1]]: v.formula1.strip('"').split(",")
                 for v in sheet.data_validations.dataValidation}  # fmt: skip
        kind = next((k for k in KINDS.values() if k.label == path.stem), None)
        for column in kind.columns if kind is not None else ():
            if column.choices and column.name != "sign":
                header = column.name.replace("_", " ").capitalize()
                assert [word.replace(" ", "_") for word in lists[header]] == list(column.choices)


def test_a_folder_that_cannot_be_made_is_misuse(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ValueError, match="folder must be one that can be written"):
        write_blank(tmp_path / "file")
