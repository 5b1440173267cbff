"""Are spreadsheets that others wrote read without a crash, and read right? (foreign/SOURCES.md says whose they are.)"""

from pathlib import Path

import numpy as np
import pytest

from analysis.records.cells import BOOL, CLOCK, EMPTY, ERROR, MOMENT, NUMBER, TEXT
from analysis.records.workbook import SUFFIXES, read_file

FOREIGN = Path(__file__).parent / "foreign"
ALL_FILES = sorted(path for path in FOREIGN.rglob("*") if path.suffix in SUFFIXES and path.name != "LICENCE.txt")
EMPTY_CELLS = [""] * 10


def sheets(name):
    read = read_file(FOREIGN / name)
    assert read.problems == ()
    return {sheet.name: sheet for sheet in read.sheets}


def rows(sheet):
    return [sheet.row_texts(row) for row in range(sheet.n_rows)]


@pytest.mark.parametrize("path", ALL_FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_file_gives_sheets_or_one_problem(path):
    read = read_file(path)
    assert len(read.sha256) == 64
    assert bool(read.sheets) != bool([problem for problem in read.problems if problem.severity == "rejected"])
    for sheet in read.sheets:
        assert all(len(column) == sheet.n_rows for column in sheet.columns)
        for column in sheet.columns:
            assert list(column.text) == [column.text_at(row) for row in range(len(column))]
            assert ((column.code >= 0) == ((column.tag == TEXT) | (column.tag == ERROR))).all()
            assert (~np.isnat(column.moment) == (column.tag == MOMENT)).all()
            assert (~np.isnan(column.number) == np.isin(column.tag, (NUMBER, CLOCK, BOOL))).all()


@pytest.mark.parametrize("suffix", ["xlsx", "xls", "xlsb", "ods"])
def test_the_same_sheet_in_four_formats_reads_the_same(suffix):
    found = sheets(f"python-calamine/base.{suffix}")
    assert {"Sheet1", "Sheet2", "Merged Cells"} <= set(found)
    sheet = found["Sheet1"]
    assert rows(sheet) == [
        EMPTY_CELLS,
        [
            "String",
            "1",
            "1.1",
            "TRUE",
            "FALSE",
            "2010-10-10",
            "2010-10-10 10:10:10",
            "10:10:10",
            "10:10:10",
            "255:10:10",
        ],
    ]
    tags = [int(column.tag[1]) for column in sheet.columns]
    assert tags == [TEXT, NUMBER, NUMBER, BOOL, BOOL, MOMENT, MOMENT, CLOCK, CLOCK, CLOCK]
    assert (sheet.tags(slice(0, 1)) == EMPTY).all()


def test_a_sheet_that_starts_off_the_corner_keeps_its_rows_and_columns():
    sheet = sheets("python-calamine/base.xlsx")["Sheet3"]
    assert rows(sheet)[:3] == [["", "", "", ""], ["", "line1", "line1", "line1"], ["", "line2", "line2", "line2"]]


@pytest.mark.parametrize("suffix", ["xls", "ods"])
def test_hidden_sheets_are_marked(suffix):
    found = sheets(f"python-calamine/any_sheets.{suffix}")
    assert {name: found[name].hidden for name in ("Visible", "Hidden", "VeryHidden")} == {
        "Visible": False, "Hidden": True, "VeryHidden": True,
    }  # fmt: skip
    assert [sheet.hidden for sheet in sheets("pyexcel-xls/hidden_sheets.xls").values()] == [False, True]


@pytest.mark.parametrize("suffix", ["xlsx", "xls", "xlsb", "ods"])
def test_a_locked_workbook_says_so(suffix):
    read = read_file(FOREIGN / f"python-calamine/password.{suffix}")
    assert read.sheets == ()
    assert [problem.code for problem in read.problems] == ["file-locked"]
    assert "password" in read.problems[0].remedy


def test_moments_and_clock_times_of_a_workbook():
    sheet = sheets("xlsx2csv/timeformat.xlsx")["Sheet2"]
    assert [row[0] for row in rows(sheet)] == ["2017-08-03 14:35", "2017-08-03", "2017-08-03 15:40"]
    assert [row[1] for row in rows(sheet)] == ["14:40:30", "11:30", "00:01:59"]
    assert list(sheet.columns[1].number) == [52830.0, 41400.0, 119.0]


def test_dates_and_times_of_an_old_workbook():
    sheet = sheets("pyexcel-xls/date_field.xls")["Sheet1"]
    assert rows(sheet)[:3] == [["Date", "Time"], ["2014-12-25", "11:11:11"], ["2014-12-26", "12:12:12"]]


def test_an_error_cell_keeps_its_word():
    sheet = next(iter(sheets("pyexcel-xls/pyexcel_issue_151.xlsx").values()))
    assert rows(sheet) == [["#N/A", "zzzz1234"]]
    assert int(sheet.columns[0].tag[0]) == ERROR


def test_an_error_cell_of_an_old_workbook_is_an_error():
    sheet = sheets("tablib/errors.xls")["Feuille1"]
    assert rows(sheet)[1] == ["#DIV/0!", "#NAME?", "#N/A", "#N/A"]
    assert [int(column.tag[1]) for column in sheet.columns] == [ERROR] * 4


def test_a_duration_of_days_is_a_duration():
    sheet = sheets("pyexcel-ods3/12_day_as_time.ods")["Sheet1"]
    assert int(sheet.columns[0].tag[0]) == CLOCK
    assert sheet.columns[0].number[0] == 12 * 86_400
    old = sheets("agate-excel/test_ambiguous_date.xls")["Sheet1"]
    assert int(old.columns[0].tag[1]) == CLOCK
    assert old.columns[0].number[1] == 86_400


def test_merged_ranges_are_known_and_only_their_first_cell_is_filled():
    sheet = sheets("pyexcel-xls/merged-cell-sheet.xls")["Sheet1"]
    assert set(sheet.merged) == {(3, 1, 3, 2), (0, 0, 2, 0)}
    assert rows(sheet)[:2] == [["1", "2", "3"], ["", "5", "6"]]


def test_a_macro_workbook_is_read_as_any_other():
    assert rows(sheets("pyexcel/example.xlsm")["Sheet1"]) == [["1", "2", "3"], ["4", "5", "6"], ["7", "8", "9"]]


def test_what_a_file_says_of_its_size_is_not_believed():
    assert rows(sheets("tablib/bad_dimensions.xlsx")["Sheet1"])[0] == ["PN", "Qty", "Price"]


def test_cells_without_addresses_and_an_empty_first_row_keep_their_places():
    for name in ("no_cell_ids", "empty_row"):
        sheet = next(iter(sheets(f"xlsx2csv/{name}.xlsx").values()))
        assert rows(sheet)[0] == [""] * 13
        assert rows(sheet)[1][:3] == ["Date", "Agency", "Customer"]
        assert sheet.merged == ((2, 0, 2, 6),)


def test_columns_past_z_and_letters_of_any_script():
    assert len(sheets("xlsx2csv/twolettercolumns.xlsx")["Sheet1"].columns) == 28
    assert rows(sheets("xlsx2csv/utf8.xlsx")["Sheet1"])[1][0] == "こんにちは"


def test_many_lines_in_a_cell_stay_one_cell():
    assert rows(sheets("pyexcel-ods3/multilineods.ods")["Sheet1"]) == [["1\n2\n3\n4"], ["Line 1\n\nLine 2"]]


@pytest.mark.parametrize(
    ("name", "encoding", "separator", "expected"),
    [
        ("test_utf16_little.csv", "utf-16", ",", [["a", "b", "c"], ["1", "2", "3"], ["4", "5", "ʤ"]]),
        ("test_utf16_big.csv", "utf-16", ",", [["a", "b", "c"], ["1", "2", "3"], ["4", "5", "ʤ"]]),
        ("test_utf8_bom.csv", "utf-8-sig", ",", [["foo", "bar", "baz"], ["1", "2", "3"], ["4", "5", "ʤ"]]),
        ("test_latin1.csv", "cp1252", ",", [["a", "b", "c"], ["1", "2", "3"], ["4", "5", "©"]]),
        ("optional_quote_characters.csv", "utf-8", ",", [["a", "b", "c"], ["1", "2", "3"]]),
        ("sniff_limit.csv", "utf-8", ";", [["a", "b", "c"], ["1", "2", "3"]]),
        ("blanks.csv", "utf-8", ",", [["a", "b", "c", "d", "e", "f"], ["", "NA", "N/A", "NONE", "NULL", "."]]),
        ("mac_newlines.csv", "utf-8", ",", [["a", "b", "c"], ["1", "2", "3"], ["Once upon\ra time", "5", "6"]]),
        (
            "bad.csv", "utf-8", ",",
            [["column_a", "column_b", "column_c", ""], ["1", "27", "", "I'm too long!"], ["", "I'm too short!", "", ""],
             ["0", "mixed types.... uh oh", "17", ""]],
        ),
    ],
)  # fmt: skip
def test_text_tables_of_others(name, encoding, separator, expected):
    sheet = sheets(f"csvkit/{name}")[name.removesuffix(".csv")]
    assert (sheet.encoding, sheet.separator) == (encoding, separator)
    assert rows(sheet) == expected


def test_a_decimal_comma_is_found():
    assert sheets("csvkit/test_locale.csv")["test_locale"].decimal == ","


def test_a_zero_byte_is_no_text():
    assert [problem.code for problem in read_file(FOREIGN / "csvkit/null_byte.csv").problems] == ["text-unreadable"]
