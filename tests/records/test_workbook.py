"""Does a workbook's every cell come out as what it natively is, in its place?"""

import datetime
import hashlib

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.records.cells import (
    BOOL,
    CLOCK,
    EMPTY,
    ERROR,
    MOMENT,
    NUMBER,
    TEXT,
    RawColumn,
    clock_text,
    moment_text,
    number_text,
)
from analysis.records.limits import Limits
from analysis.records.workbook import read_file


def book(path, cells):
    """Write cells, each its address to a value or to (value, number format)."""
    made = openpyxl.Workbook()
    sheet = made.active
    for address, held in cells.items():
        value, form = held if isinstance(held, tuple) else (held, None)
        sheet[address] = value
        if form:
            sheet[address].number_format = form
    made.save(path)
    return path


def column(path, j=0):
    read = read_file(path)
    assert read.problems == ()
    return read.sheets[0].columns[j]


CASES = [
    ("Batch 2417 ", TEXT, "Batch 2417"),
    (2417, NUMBER, "2417"),
    (0.1 + 0.2, NUMBER, "0.3"),
    (True, BOOL, "TRUE"),
    (datetime.datetime(2026, 3, 4), MOMENT, "2026-03-04"),
    (datetime.datetime(2026, 3, 4, 14, 30), MOMENT, "2026-03-04 14:30"),
    (datetime.datetime(2026, 3, 4, 14, 30, 5), MOMENT, "2026-03-04 14:30:05"),
    (datetime.time(14, 30), CLOCK, "14:30"),
    (datetime.time(0, 0), CLOCK, "00:00"),
    ((0.5, "hh:mm"), CLOCK, "12:00"),
    ((1.1, "hh:mm"), CLOCK, "26:24"),
    ((1.0, "h:mm"), CLOCK, "24:00"),
    ((1.1, "[h]:mm"), CLOCK, "26:24"),
    ((62.5, "[hh]:mm:ss"), CLOCK, "1500:00"),
    ((45000.5, "dd/mm/yyyy hh:mm"), MOMENT, "2023-03-15 12:00"),
    ((0.003, "0.0%"), NUMBER, "0.003"),
    ("   ", EMPTY, ""),
    (None, EMPTY, ""),
]


def test_every_native_kind_of_cell_comes_out_as_itself(tmp_path):
    cells = {f"A{i + 1}": value for i, (value, *_) in enumerate(CASES)}
    read = column(book(tmp_path / "kinds.xlsx", {**cells, "A99": "end"}))
    assert [int(tag) for tag in read.tag[: len(CASES)]] == [tag for _, tag, _ in CASES]
    assert read.texts(range(len(CASES))) == [text for *_, text in CASES]
    assert list(read.text[: len(CASES)]) == [text for *_, text in CASES]


def test_clock_times_are_seconds_and_moments_are_microseconds(tmp_path):
    path = book(tmp_path / "t.xlsx", {"A1": (1.5, "[h]:mm"), "A2": datetime.datetime(2026, 3, 4, 14, 30)})
    read = column(path)
    assert read.number[0] == 1.5 * 86_400
    assert read.moment.dtype == np.dtype("datetime64[us]")
    assert read.moment[1] == np.datetime64("2026-03-04T14:30")
    assert np.isnan(read.number[1]) and np.isnat(read.moment[0])


@pytest.mark.parametrize("word", ["#N/A", "#DIV/0!", "#REF!", "#VALUE!"])
def test_an_error_cell_is_not_an_empty_cell(tmp_path, word):
    made = openpyxl.Workbook()
    made.active["C4"] = word
    made.active["C4"].data_type = "e"
    made.active["C5"] = 5
    made.save(tmp_path / "errors.xlsx")
    read = column(tmp_path / "errors.xlsx", 2)
    assert [int(tag) for tag in read.tag] == [EMPTY, EMPTY, EMPTY, ERROR, NUMBER]
    assert read.text_at(3) == word


def test_error_cells_are_found_in_the_right_sheet_and_across_pieces(tmp_path):
    made = openpyxl.Workbook()
    made.active.title = "Clean"
    sheet = made.create_sheet("Log")
    for row in range(1, 30_001):
        sheet.cell(row, 1, row)
        sheet.cell(row, 2, "#N/A" if row % 1000 == 0 else 0.5)
        if row % 1000 == 0:
            sheet.cell(row, 2).data_type = "e"
    made.save(tmp_path / "long.xlsx")
    clean, log = read_file(tmp_path / "long.xlsx").sheets
    assert (clean.name, clean.n_rows, log.name, log.n_rows) == ("Clean", 0, "Log", 30_000)
    assert np.array_equal(np.flatnonzero(log.columns[1].tag == ERROR), np.arange(999, 30_000, 1000))


def test_rows_and_columns_count_from_the_corner(tmp_path):
    read = read_file(book(tmp_path / "off.xlsx", {"C5": "Batch", "D6": 2417, "D40": "end"}))
    sheet = read.sheets[0]
    assert (sheet.n_rows, len(sheet.columns)) == (40, 4)
    assert sheet.row_texts(4) == ["", "", "Batch", ""]
    assert sheet.row_texts(5) == ["", "", "", "2417"]


def test_a_column_formatted_to_the_last_row_costs_nothing(tmp_path):
    made = xlsxwriter.Workbook(tmp_path / "formatted.xlsx")
    sheet = made.add_worksheet("Log")
    form = made.add_format({"bg_color": "#ffff00", "num_format": "dd/mm/yyyy"})
    sheet.set_column(0, 200, 10, form)
    sheet.write_row(0, 0, ["Batch", "Value"])
    sheet.write_blank(1_048_575, 150, None, form)
    made.close()
    read = read_file(tmp_path / "formatted.xlsx")
    assert [(sheet.n_rows, len(sheet.columns)) for sheet in read.sheets] == [(1, 2)]


def test_a_long_column_that_changes_its_kind_is_joined_in_order(tmp_path):
    made = xlsxwriter.Workbook(tmp_path / "long.xlsx", {"constant_memory": True})
    sheet = made.add_worksheet("Log")
    for row in range(70_000):
        sheet.write(row, 0, f"R{row % 7}" if row < 40_000 else row)
    made.close()
    read = column(tmp_path / "long.xlsx")
    assert (read.tag[:40_000] == TEXT).all() and (read.tag[40_000:] == NUMBER).all()
    assert read.texts([0, 39_999, 40_000, 69_999]) == ["R0", f"R{39_999 % 7}", "40000", "69999"]
    assert len(read.words) == 7


def test_a_file_says_what_it_hashes_to_and_what_the_user_calls_it(tmp_path):
    path = book(tmp_path / "upload-1", {"A1": 1})
    read = read_file(path, "Cellar 2026.xlsx")
    assert read.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (read.file, read.sheets[0].file) == ("Cellar 2026.xlsx", "Cellar 2026.xlsx")


def test_texts_that_show_a_decimal_comma_say_so(tmp_path):
    assert read_file(book(tmp_path / "comma.xlsx", {"A1": "DO", "A2": "12,5"})).sheets[0].decimal == ","
    assert read_file(book(tmp_path / "none.xlsx", {"A1": "DO", "A2": 12.5})).sheets[0].decimal is None


def test_limits_that_allow_nothing_are_refused():
    with pytest.raises(ValueError, match="memory must be greater than 0, got 0"):
        Limits(memory=0)


def test_arrays_of_different_lengths_are_refused():
    one = RawColumn.of_texts(["a"])
    two = RawColumn.of_texts(["a", "b"])
    with pytest.raises(ValueError, match="same length"):
        RawColumn(one.tag, two.code, two.words, two.number, two.moment)


def test_taking_rows_keeps_only_their_words():
    whole = RawColumn.of_texts(["a", "b", None, "c", "b"])
    some = whole.take(np.array([1, 2, 4]))
    assert list(some.text) == ["b", "", "b"]
    assert some.words.to_pylist() == ["b"]
    assert list(whole.take(slice(0, 0)).text) == []


CELL = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**9), 10**9),
    st.floats(-1e9, 1e9).map(lambda x: float(f"{x:.12g}")),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]), min_size=1, max_size=8),
    st.datetimes(datetime.datetime(1911, 1, 1), datetime.datetime(2100, 1, 1)).map(lambda t: t.replace(microsecond=0)),
    st.times().map(lambda t: t.replace(microsecond=0)),
)


def shown(cell):
    """How a person reads the cell."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, int | float):
        return number_text(float(cell))
    if isinstance(cell, str):
        return cell.strip(" \t\r\n\v\f\u00a0\u1680\u2002\u2003\u2007\u2009\u200a\u200b\u202f\u3000\ufeff")
    if isinstance(cell, datetime.datetime):
        return moment_text(np.datetime64(cell))
    return clock_text(cell.hour * 3600 + cell.minute * 60 + cell.second)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=60))
def test_whatever_is_written_is_read_back(tmp_path, table):
    made = xlsxwriter.Workbook(
        tmp_path / "any.xlsx", {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    sheet = made.add_worksheet("Log")
    forms = {kind: made.add_format({"num_format": form}) for kind, form in
             ((datetime.datetime, "yyyy-mm-dd hh:mm:ss"), (datetime.time, "hh:mm:ss"))}  # fmt: skip
    for i, row in enumerate(table):
        for j, cell in enumerate(row):
            if isinstance(cell, str):
                sheet.write_string(i, j, cell)
            elif isinstance(cell, datetime.datetime | datetime.time):
                sheet.write_datetime(i, j, cell, forms[type(cell)])
            elif cell is not None:
                sheet.write(i, j, cell)
    sheet.write(len(table), 2, "end")
    made.close()
    read = read_file(tmp_path / "any.xlsx").sheets[0]
    padded = [read.row_texts(i) for i in range(len(table))]
    assert padded == [[shown(cell) for cell in row] for row in table]
