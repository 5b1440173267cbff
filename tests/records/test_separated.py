"""Is a text table read as it was written, whatever its separator, quote, encoding and decimal sign?"""

import codecs
import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.problems import Severity
from analysis.records.cells import EMPTY, TEXT
from analysis.records.limits import Limits
from analysis.records.refusals import NotReadError
from analysis.records.separated import find_layout, read_separated
from analysis.records.text_encoding import decode


def read(text, encoding="utf-8"):
    data = text if isinstance(text, bytes) else text.encode(encoding)
    sheet, problems = read_separated(data, "log.csv", Limits())
    return sheet, problems


def rows(sheet):
    return [sheet.row_texts(row) for row in range(sheet.n_rows)]


TABLE = "Batch;DO [ppb];Note\n2417;12,5;fine\n2418;<5;\n2419;1.234,5;µ and °\n"
ROWS = [["Batch", "DO [ppb]", "Note"], ["2417", "12,5", "fine"], ["2418", "<5", ""], ["2419", "1.234,5", "µ and °"]]


@pytest.mark.parametrize(
    ("encoding", "mark", "found"),
    [
        ("utf-8", b"", "utf-8"),
        ("utf-8", codecs.BOM_UTF8, "utf-8-sig"),
        ("utf-16-le", codecs.BOM_UTF16_LE, "utf-16"),
        ("utf-16-be", codecs.BOM_UTF16_BE, "utf-16"),
        ("utf-16-le", b"", "utf-16-le"),
        ("utf-16-be", b"", "utf-16-be"),
        ("utf-32-le", codecs.BOM_UTF32_LE, "utf-32"),
        ("cp1252", b"", "cp1252"),
    ],
)
def test_the_encoding_is_found(encoding, mark, found):
    sheet, problems = read(mark + TABLE.encode(encoding))
    assert rows(sheet) == ROWS
    assert sheet.encoding == found
    assert problems == ()
    assert (sheet.separator, sheet.decimal, sheet.name) == (";", ",", "log")


def test_an_encoding_that_is_only_likely_is_noted():
    text = "Šarže,Poznámka\n2417,příliš žluťoučký kůň úpěl ďábelské ódy\n2418,měření po druhém přečerpání, špatné\n"
    sheet, problems = read(text.encode("cp1250"))
    assert [problem.code for problem in problems] == ["encoding-guessed"]
    assert problems[0].severity is Severity.NOTE
    assert sheet.encoding != "cp1252"
    assert sheet.n_rows == 3


@pytest.mark.parametrize("encoding", ["mac_roman", "cp850"])
def test_the_signs_of_units_tell_old_encodings(encoding):
    sheet, problems = read("Batch,Temp [°C],DO [µg/L]\n2417,4,12\n".encode(encoding))
    assert sheet.row_texts(0) == ["Batch", "Temp [°C]", "DO [µg/L]"]
    assert sheet.encoding == encoding
    assert [problem.code for problem in problems] == ["encoding-guessed"]


def test_bytes_that_only_latin_1_takes_are_still_read():
    sheet, problems = read(b"a,b\n1,\x81\x8d\x8f\n")
    assert sheet.row_texts(1)[0] == "1"
    assert [problem.code for problem in problems] == ["encoding-guessed"]


@pytest.mark.parametrize("data", [b"a,b\n\x00\x01\x02", b"\xff\xfea\x00b", b"\x01\x02\x03,\x04"])
def test_what_is_no_text_is_not_read(data):
    with pytest.raises(NotReadError):
        decode(data)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_the_separator_is_found_with_every_line_end(separator, end):
    lines = [["Batch", "Value", "Note"], ["2417", "5", ""], ["2418", "6.5", "a b"]]
    sheet, _ = read(end.join(separator.join(line) for line in lines) + end)
    assert rows(sheet) == lines
    assert sheet.separator == separator


def test_a_semicolon_wins_where_commas_are_decimal_signs():
    sheet, _ = read("Batch;DO;NTU\n2417;0,8;1,5\n2418;0,9;1,6\n2419;1,0;1,7\n")
    assert (sheet.separator, sheet.decimal) == (";", ",")
    assert len(sheet.columns) == 3


def test_the_line_that_names_the_separator_is_heeded_and_not_a_row():
    sheet, _ = read("sep=;\r\nBatch;A,B,C\r\n2417;1,2,3\r\n")
    assert rows(sheet) == [["Batch", "A,B,C"], ["2417", "1,2,3"]]


def test_line_ends_separators_and_doubled_quotes_in_quotes_stay_in_their_cell():
    sheet, problems = read('Batch,Note,Value\n2417,"two\nlines, and a ""word""",5\n2418,plain,6\n')
    assert rows(sheet)[1] == ["2417", 'two\nlines, and a "word"', "5"]
    assert sheet.n_rows == 3
    assert problems == ()


def test_single_quotes_are_found():
    sheet, _ = read("'Batch','Note'\n'2417','warm, late'\n'2418','cold'\n")
    assert rows(sheet) == [["Batch", "Note"], ["2417", "warm, late"], ["2418", "cold"]]


def test_an_apostrophe_is_no_quote():
    sheet, _ = read("Batch,Note\n2417,panel's choice\n2418,'til noon\n")
    assert rows(sheet)[2] == ["2418", "'til noon"]


def test_spaces_before_quotes_are_no_part_of_the_cell():
    sheet, _ = read('Batch, Note, Value\n2417, "warm, late", 5\n')
    assert rows(sheet) == [["Batch", "Note", "Value"], ["2417", "warm, late", "5"]]


def test_banner_rows_blank_rows_and_long_rows_keep_their_row_numbers():
    text = "Cellar log\nprinted 2026-03-04, page 1\n\nBatch,Value,Note\n2417,5,\n2418,6,ok,and more,still\n\n2419,7,x\n"
    sheet, problems = read(text)
    assert rows(sheet) == [
        ["Cellar log", "", "", "", ""],
        ["printed 2026-03-04", "page 1", "", "", ""],
        ["", "", "", "", ""],
        ["Batch", "Value", "Note", "", ""],
        ["2417", "5", "", "", ""],
        ["2418", "6", "ok", "and more", "still"],
        ["", "", "", "", ""],
        ["2419", "7", "x", "", ""],
    ]
    assert problems == ()


def test_a_quote_that_never_closes_swallows_nothing():
    text = "Batch,Note,Value\n2417,fine,5\n" + '2418,"hose 2,6\n' + "2419,fine,7\n" * 50
    sheet, problems = read(text)
    assert sheet.n_rows == 53
    assert sheet.row_texts(2) == ["2418", '"hose 2', "6"]
    assert [(problem.code, problem.row, problem.severity) for problem in problems] == [
        ("quote-unclosed", 3, Severity.NOTE)
    ]


def test_two_quotes_far_apart_swallow_nothing_between_them():
    text = "Batch,Note,Value\n" + '2418,"hose,6\n' + "2419,fine,7\n" * 300 + '2420,"clamp,8\n' + "2421,fine,9\n"
    sheet, problems = read(text)
    assert sheet.n_rows == 304
    assert sheet.row_texts(302) == ["2420", '"clamp', "8"]
    assert [problem.code for problem in problems] == ["quote-unclosed"]


def test_a_sloppy_quote_does_not_undo_the_others():
    text = 'Batch,Note,Value\n2417,"warm, late",5\n2418,"8" hose,6,more\n2419,5" clamp,7\n'
    sheet, problems = read(text)
    assert sheet.row_texts(1)[:3] == ["2417", "warm, late", "5"]
    assert sheet.row_texts(2) == ["2418", "8 hose", "6", "more"]
    assert sheet.row_texts(3)[1] == '5" clamp'
    assert problems == ()


def test_words_for_missing_stay_words():
    sheet, _ = read("a,b\nNA,None\nnull,nan\nN/A,\n")
    assert rows(sheet)[1:] == [["NA", "None"], ["null", "nan"], ["N/A", ""]]
    assert [int(column.tag[3]) for column in sheet.columns] == [TEXT, EMPTY]


def test_cells_of_spaces_are_empty_and_spaces_at_ends_go():
    sheet, _ = read("a,b\n  2417\t,\u00a0 \n")
    assert rows(sheet)[1] == ["2417", ""]
    assert int(sheet.columns[1].tag[1]) == EMPTY


def test_a_table_of_one_column_and_one_of_no_rows():
    assert rows(read("Batch\n2417\n2418\n")[0]) == [["Batch"], ["2417"], ["2418"]]
    assert rows(read("Batch,Value")[0]) == [["Batch", "Value"]]


def test_the_decimal_sign_is_what_the_cells_show():
    assert read("a,b\n1.5,2\n")[0].decimal == "."
    assert read('a,b\n"1,5",2\n"2,25",3\n')[0].decimal == ","
    assert read("a;b\n1,5;2\n")[0].decimal == ","
    assert read("a;b\n1.5;2\n")[0].decimal == "."
    assert read("a;b\n1,234;2\n")[0].decimal is None
    assert read("a,b\n1,2\n")[0].decimal == "."
    assert read("a;b\n1,5;2.5\n")[0].decimal is None


def test_many_ragged_rows_are_read_one_by_one():
    text = "a,b,c\n" + "".join("1,2,3\n" + "1,2\n" * (i % 2) + "1,2,3,4\n" for i in range(15_000))
    sheet, _ = read(text)
    assert sheet.n_rows == 1 + 15_000 + 7_500 + 15_000
    assert len(sheet.columns) == 4
    assert sheet.row_texts(sheet.n_rows - 1) == ["1", "2", "3", "4"]


PLAIN = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]), max_size=12)
CELLS = st.one_of(
    PLAIN, st.sampled_from(["a\nb", 'say "so"', "x;y", "1,5", "<5", "n/a", "", "it's", "a|b", "tab\there"])
)


@given(st.lists(st.tuples(st.integers(0, 9999), CELLS, CELLS), min_size=4, max_size=30), st.sampled_from(",;\t|"))
def test_whatever_a_csv_writer_writes_is_read_back(body, separator):
    written = io.StringIO()
    writer = csv.writer(written, delimiter=separator, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    table = [["Batch", "Note", "More"], *([str(number), *cells] for number, *cells in body)]
    writer.writerows(table)
    sheet, problems = read(written.getvalue())
    assert problems == ()
    assert sheet.separator == separator
    blanks = " \t\r\n\v\f\u00a0\u1680\u2002\u2003\u2007\u2009\u200a\u200b\u202f\u3000\ufeff"
    assert rows(sheet) == [[cell.strip(blanks) for cell in row] for row in table]


@given(st.integers(2, 6), st.integers(1, 40))
def test_the_layout_of_plain_numbers_is_found(width, height):
    line = ";".join(f"{j},5" for j in range(width))
    layout = find_layout("\n".join([line] * height).encode())
    assert (layout.separator, layout.width) == (";", width)


def test_a_column_keeps_each_word_once():
    sheet, _ = read("a,b\n" + "x,1\n y ,1\ny,1\n" * 100)
    words = sheet.columns[0].words.to_pylist()
    assert sorted(words) == ["a", "x", "y"]
    body = sheet.columns[0].take(slice(1, None))
    assert sorted(body.words.to_pylist()) == ["x", "y"]
    assert len(body) == 300
    assert np.array_equal(body.text.to_numpy(), np.tile(["x", "y", "y"], 100))
