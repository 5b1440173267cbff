"""Does a broken or hostile file give one clear message, and does the program that read it live on?"""

import io
import json
import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from analysis.problems import Severity
from analysis.records import workbook_child
from analysis.records.limits import Limits
from analysis.records.workbook import read_file

MEBIBYTE = 1 << 20
SMALL = Limits(memory=768 * MEBIBYTE, processor=20, wall=30.0)


def refused(path, limits=SMALL, name=None):
    """Read a file that must be refused with one message, and return that message."""
    read = read_file(path, name, limits)
    assert read.sheets == ()
    assert len(read.problems) == 1
    problem = read.problems[0]
    assert problem.severity is Severity.REJECTED
    assert problem.file == (name or path.name)
    assert problem.message.endswith(".") and problem.remedy.endswith(".")
    assert "{" not in problem.message + problem.remedy
    return problem


def workbook(path, cells):
    book = openpyxl.Workbook()
    for address, value in cells.items():
        book.active[address] = value
    book.save(path)
    return path


def replaced(path, part, data):
    """Return the bytes of a workbook with one part of its archive replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, data if name == part else old.read(name))
    return out.getvalue()


def test_two_cells_at_opposite_corners_do_not_end_the_program(tmp_path):
    path = workbook(tmp_path / "corners.xlsx", {"A1": "Batch", "XFD1048576": 1})
    problem = refused(path)
    assert problem.code == "sheet-too-large"
    assert problem.sheet == "Sheet"
    assert "stray cell" in problem.remedy


def test_a_stray_cell_far_out_is_named_with_the_size_it_makes(tmp_path):
    path = workbook(tmp_path / "stray.xlsx", {"A1": "Batch", "ZZ5000": 1})
    problem = refused(path, Limits(cells=1_000_000))
    assert problem.code == "sheet-too-large"
    assert "5000 rows of 702 columns" in problem.message


def test_a_small_file_that_swells_is_refused_before_it_does(tmp_path):
    path = workbook(tmp_path / "bomb.xlsx", {"A1": 1})
    bomb = b"<worksheet>" + b" " * (200 * MEBIBYTE) + b"</worksheet>"
    path.write_bytes(replaced(path, "xl/worksheets/sheet1.xml", bomb))
    assert path.stat().st_size < 2 * MEBIBYTE
    problem = refused(path, Limits(unpacked_bytes=100 * MEBIBYTE))
    assert problem.code == "file-swells"


def test_a_sheet_of_more_text_than_memory_meets_the_limit(tmp_path):
    path = workbook(tmp_path / "liar.xlsx", {"A1": 1})
    row = "<row><c t='inlineStr'><is><t>" + "x" * 1000 + "</t></is></c></row>"
    sheet = f"<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><sheetData>{row * 300_000}"
    path.write_bytes(replaced(path, "xl/worksheets/sheet1.xml", (sheet + "</sheetData></worksheet>").encode()))
    problem = refused(path, Limits(memory=400 * MEBIBYTE, unpacked_bytes=4096 * MEBIBYTE))
    assert problem.code in ("sheet-too-large", "file-swells", "file-unreadable")


def test_entities_that_multiply_are_not_followed(tmp_path):
    path = workbook(tmp_path / "laughs.xlsx", {"A1": "x"})
    entities = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 10))
    strings = (
        f'<?xml version="1.0"?><!DOCTYPE sst [<!ENTITY e0 "lol">{entities}]>'
        '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>&e9;</t></si></sst>'
    )
    path.write_bytes(replaced(path, "xl/sharedStrings.xml", strings.encode()))
    read = read_file(path, limits=SMALL)
    texts = [text for sheet in read.sheets for text in sheet.row_texts(0)]
    assert all(len(text) < 100 for text in texts)
    assert texts or read.problems


def test_reading_that_takes_too_long_is_ended(tmp_path):
    book = xlsxwriter.Workbook(tmp_path / "long.xlsx", {"constant_memory": True})
    sheet = book.add_worksheet("Log")
    for row in range(40_000):
        sheet.write_row(row, 0, [row, row, row, row])
    book.close()
    started = time.monotonic()
    problem = refused(tmp_path / "long.xlsx", Limits(wall=0.05))
    assert problem.code == "file-too-slow"
    assert time.monotonic() - started < 20


def test_the_processor_limit_ends_a_child_that_hangs(tmp_path):
    source = Path(workbook_child.__file__).read_text(encoding="utf-8")
    hanging = source.replace("    _set_limits(limits)\n", "    _set_limits(limits)\n    while True:\n        pass\n")
    script = tmp_path / "hanging.py"
    script.write_text(hanging, encoding="utf-8")
    limits = {"memory": 2 << 30, "cpu": 1, "unpacked": 1 << 30, "cells": 10, "columns": 10}
    ended = subprocess.run(
        [sys.executable, "-P", script, "none.xlsx", json.dumps(limits)], capture_output=True, timeout=60, check=False
    )
    assert ended.returncode < 0


@pytest.mark.parametrize("kept", [0.02, 0.3, 0.6, 0.9, 0.999])
def test_a_truncated_workbook_is_refused(tmp_path, kept):
    whole = workbook(tmp_path / "whole.xlsx", {f"A{i}": f"text {i}" for i in range(1, 400)}).read_bytes()
    path = tmp_path / "cut.xlsx"
    path.write_bytes(whole[: int(len(whole) * kept)])
    assert refused(path).code == "file-unreadable"


def test_flipped_bytes_never_end_the_program(tmp_path):
    whole = bytearray(workbook(tmp_path / "whole.xlsx", {f"A{i}": i for i in range(1, 100)}).read_bytes())
    for at in range(100, len(whole), len(whole) // 8):
        mended = bytearray(whole)
        mended[at : at + 40] = bytes(255 - byte for byte in mended[at : at + 40])
        path = tmp_path / f"flipped {at}.xlsx"
        path.write_bytes(mended)
        read = read_file(path, limits=SMALL)
        assert len(read.sheets) == 1 or [problem.code for problem in read.problems] == ["file-unreadable"]


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("empty.xlsx", b"", "file-empty"),
        ("empty.csv", b"", "file-empty"),
        ("letter.xlsx", b"%PDF-1.7 ...", "file-not-a-table"),
        ("photo.csv", b"\x89PNG\r\n\x1a\n" + b"\x00" * 100, "file-not-a-table"),
        ("page.xls", b"<html><body><table><tr><td>1</td></tr></table></body></html>", "file-not-a-table"),
        ("old.xls", b"\xef\xbb\xbf<?xml version='1.0'?><Workbook/>", "file-not-a-table"),
        ("tool.xlsx", b"MZ\x90\x00" + bytes(range(256)), "file-not-a-table"),
        ("noise.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + os.urandom(4000), "file-unreadable"),
        ("noise.xlsx", b"PK\x03\x04" + os.urandom(4000), "file-unreadable"),
        ("noise.csv", bytes(range(256)) * 40, "text-unreadable"),
        ("half.csv", b"\xff\xfea\x00b\x00c", "text-unreadable"),
    ],
)
def test_what_is_no_table_is_refused_by_what_it_is(tmp_path, name, data, code):
    path = tmp_path / name
    path.write_bytes(data)
    assert refused(path).code == code


def test_a_zip_of_something_else_is_refused(tmp_path):
    path = tmp_path / "photos.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("one.txt", "not a sheet")
    assert refused(path).code == "file-unreadable"


def test_a_renamed_file_is_read_as_what_it_is(tmp_path):
    path = workbook(tmp_path / "really a workbook.csv", {"A1": "Batch", "A2": 2417})
    assert read_file(path).sheets[0].row_texts(1) == ["2417"]
    text = tmp_path / "really text.xlsx"
    text.write_text("Batch,Value\n2417,5\n", encoding="utf-8")
    assert read_file(text).sheets[0].row_texts(1) == ["2417", "5"]


def test_a_file_that_is_not_there_or_is_a_folder_is_a_problem(tmp_path):
    assert refused(tmp_path / "gone.xlsx").code == "file-unreadable"
    (tmp_path / "folder.xlsx").mkdir()
    assert refused(tmp_path / "folder.xlsx").code == "file-unreadable"


def test_files_over_the_size_limit_are_refused_unread(tmp_path):
    path = workbook(tmp_path / "big.xlsx", {"A1": 1})
    problem = refused(path, Limits(workbook_bytes=100))
    assert problem.code == "file-too-large"
    text = tmp_path / "big.csv"
    text.write_bytes(b"a,b\n" * 1000)
    assert refused(text, Limits(text_bytes=100)).code == "file-too-large"


def test_a_text_table_of_too_many_columns_is_refused(tmp_path):
    path = tmp_path / "wide.csv"
    path.write_text(",".join("a" * 1_500) + "\n", encoding="utf-8")
    assert refused(path).code == "sheet-too-large"
    path.write_text("a,b\n1,2\n3,4\n5" + "," * 5_000 + "\n", encoding="utf-8")
    assert refused(path).code == "sheet-too-large"


@pytest.mark.parametrize("data", [b"a" * (9 * MEBIBYTE), b'a,b\n1,"' + b"x" * (9 * MEBIBYTE)])
def test_a_text_of_one_endless_cell_is_refused(tmp_path, data):
    path = tmp_path / "endless.csv"
    path.write_bytes(data)
    assert refused(path).code == "text-unreadable"


def test_the_users_own_name_for_a_file_stands_in_the_problem(tmp_path):
    path = tmp_path / "upload-7f3a"
    path.write_bytes(b"")
    assert refused(path, name="Cellar log 2026.xlsx").file == "Cellar log 2026.xlsx"


def test_the_child_starts_without_pandas(tmp_path):
    path = workbook(tmp_path / "book.xlsx", {"A1": 1})
    limits = {"memory": 2 << 30, "cpu": 60, "unpacked": 1 << 30, "cells": 1000, "columns": 100}
    ended = subprocess.run(
        [sys.executable, "-P", "-X", "importtime", workbook_child.__file__, path, json.dumps(limits)],
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    loaded = {line.split(b"|")[-1].strip() for line in ended.stderr.splitlines() if line.startswith(b"import time:")}
    assert b"pyarrow" in loaded
    assert not {name for name in loaded if name.startswith((b"pandas.", b"analysis", b"scipy"))}


def test_a_formula_of_another_program_is_text_or_a_number_and_is_never_run(tmp_path):
    path = workbook(tmp_path / "formula.xlsx", {"A1": '=HYPERLINK("http://127.0.0.1/x","y")', "A2": 5})
    assert read_file(path).sheets[0].row_texts(1) == ["5"]
