"""Are error cells (#DIV/0!, #N/A) of old workbooks and of ods files told from empty ones?

``made/errors.xls`` was written with xlwt 1.3.0; xlrd 2.0.2 reads the same error cells from it, from every old file of
``foreign`` and from one of 100,000 cells of which 1,965 were errors. The cells of the ods files are written as
LibreOffice 7 writes them (from memory), and as other programs do that know no ``calcext``.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from analysis.problems import Severity
from analysis.records import Intake, SourceFile, take_in
from analysis.records.workbook import read_file
from analysis.records.workbook_errors import error_cells

MADE = Path(__file__).parent / "made"
MIMETYPE = "application/vnd.oasis.opendocument.spreadsheet"
SPACES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
}
MANIFEST = (
    '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{MIMETYPE}"/></manifest:manifest>'
)
ERROR = (
    '<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
    'calcext:value-type="error"{}><text:p>#DIV/0!</text:p></table:table-cell>'
)
PLAIN_ERROR = (
    '<table:table-cell table:formula="of:=NA()" office:value-type="float" office:value="0"><text:p>#N/A</text:p>'
    "</table:table-cell>"
)


def _text(word: str) -> str:
    return f'<table:table-cell office:value-type="string"><text:p>{word}</text:p></table:table-cell>'


def _number(value: float) -> str:
    shown = f"<text:p>{value}</text:p>"
    return f'<table:table-cell office:value-type="float" office:value="{value}">{shown}</table:table-cell>'


def _row(*cells: str, times: int = 1) -> str:
    repeated = f' table:number-rows-repeated="{times}"' if times > 1 else ""
    return f"<table:table-row{repeated}>{''.join(cells)}</table:table-row>"


@pytest.fixture
def ods(tmp_path: Path) -> Callable[..., Path]:
    """Write an ods file of sheets, each by its rows."""

    def write(**sheets: str) -> Path:
        path = tmp_path / "log.ods"
        spaces = " ".join(f'xmlns:{name}="{address}"' for name, address in SPACES.items())
        tables = "".join(f'<table:table table:name="{name}">{rows}</table:table>' for name, rows in sheets.items())
        body = f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body>"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("mimetype", MIMETYPE)
            archive.writestr("META-INF/manifest.xml", MANIFEST)
            content = f'<?xml version="1.0"?><office:document-content {spaces}>{body}</office:document-content>'
            archive.writestr("content.xml", content)
        return path

    return write


def test_the_error_cells_of_an_old_workbook_stand_where_they_are() -> None:
    assert error_cells(MADE / "errors.xls") == [
        [(2, 4, "#DIV/0!"), (3, 4, "#N/A")],
        [],
        [(5, 3, "#REF!")],
    ]


def test_an_old_workbooks_errors_count_as_missing_and_are_told() -> None:
    intake = take_in([SourceFile(MADE / "errors.xls", "errors.xls")])
    _is_told(intake, "“#DIV/0!” (1) in row 3, “#N/A” (1) in row 4", [41.0, 44.0])


def _is_told(intake: Intake, words: str, values: list[float]) -> None:
    assert intake.records["readings"]["value"].tolist() == values
    (problem,) = [problem for problem in intake.problems if problem.code == "value-missing"]
    assert (problem.severity, problem.column) == (Severity.NOTE, "DO (ppb)")
    assert words in problem.message


@pytest.mark.parametrize(("cell", "word"), [(ERROR.format(""), "#DIV/0!"), (PLAIN_ERROR, "#N/A")])
def test_an_error_of_an_ods_file_counts_as_missing_and_is_told(ods: Callable[..., Path], cell: str, word: str) -> None:
    headers = ("Run", "Batch", "Packed on", "Can", "DO (ppb)")
    path = ods(
        Cans=_row(*map(_text, headers))
        + _row(_text("R1"), _text("7"), _text("2026-03-02"), _text("1"), _number(41))
        + _row(_text("R1"), _text("7"), _text("2026-03-02"), _text("2"), cell)
    )
    _is_told(take_in([SourceFile(path, "log.ods")]), f"“{word}” (1)", [41.0])


def test_repeated_rows_and_columns_and_groups_of_rows_are_counted(ods: Callable[..., Path]) -> None:
    empty = '<table:table-cell table:number-columns-repeated="3"/>'
    twice = ERROR.format(' table:number-columns-repeated="2"')
    path = ods(
        First=_row(_number(1)),
        Log=_row(empty, ERROR.format(""))
        + _row("<table:table-cell/>", times=4)
        + "<table:table-row-group>" + _row(_text("#N/A"), "<table:covered-table-cell/>", twice, times=2)
        + "</table:table-row-group>" + _row(_number(2)),
    )  # fmt: skip
    assert error_cells(path) == [
        [],
        [(0, 3, "#DIV/0!"), (5, 2, "#DIV/0!"), (5, 3, "#DIV/0!"), (6, 2, "#DIV/0!"), (6, 3, "#DIV/0!")],
    ]
    _, log = read_file(path).sheets
    assert log.row_texts(5) == ["#N/A", "", "#DIV/0!", "#DIV/0!"], "a text that reads like an error is a text"


def test_a_zero_beneath_an_error_is_no_number(ods: Callable[..., Path]) -> None:
    path = ods(Log=_row(_text("a"), _number(5)) + _row(_text("b"), PLAIN_ERROR))
    (log,) = read_file(path).sheets
    assert log.columns[1].number.tolist()[0] == 5
    assert str(log.columns[1].number[1]) == "nan"
    assert log.columns[1].text_at(1) == "#N/A"


@pytest.mark.parametrize("cut", [40, 600, 2_000, 5_000])
def test_a_damaged_old_workbook_has_no_error_cells(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "cut.xls"
    path.write_bytes((MADE / "errors.xls").read_bytes()[:cut])
    assert [cell for sheet in error_cells(path) for cell in sheet] in ([], [(2, 4, "#DIV/0!"), (3, 4, "#N/A")])


def test_an_old_workbook_whose_sectors_run_in_a_circle_ends(tmp_path: Path) -> None:
    data = bytearray((MADE / "errors.xls").read_bytes())
    data[68:76] = (0).to_bytes(4, "little") + (2**31).to_bytes(4, "little")
    path = tmp_path / "circle.xls"
    path.write_bytes(bytes(data))
    assert isinstance(error_cells(path), list)
