"""Does what is taken away carry its note, and can no cell become a formula?"""

import csv
import io
import json

import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest

from analysis.findings.export import FORMS, ExportNote, export_table

NOTE = ExportNote("Packs", 12, "recipe P40, since 1 May 2026", {"haze": "EBC"}, ("invented data",))
FRAME = pd.DataFrame(
    {
        "run": ["R1", "=1+1", "@cmd", "-5 crates", "+x"],
        "haze": [0.8, -1.5, float("nan"), 2.0, 3.0],
        "packed_at": pd.to_datetime(
            ["2026-05-01 08:30", None, "2026-05-02 09:00", "2026-05-03 09:00", "2026-05-04 09:00"]
        ).as_unit("us"),
    }
)


def test_csv_keeps_formulas_as_text_and_numbers_as_numbers():
    text = export_table(FRAME, NOTE, "csv").decode("utf-8-sig")
    assert "'=1+1" in text
    assert "'@cmd" in text
    assert "'-5 crates" in text
    back = pd.read_csv(io.StringIO(text), comment="#")
    assert back["haze"].tolist()[:2] == [0.8, -1.5]
    assert "# Ledger state: 12" in text
    assert "# Unit: haze: EBC" in text


def test_workbook_has_no_formula_and_an_about_sheet():
    book = openpyxl.load_workbook(io.BytesIO(export_table(FRAME, NOTE, "xlsx")))
    sheet = book["Numbers"]
    assert {cell.data_type for row in sheet.iter_rows(min_row=2) for cell in row if cell.value is not None} <= {
        "s",
        "n",
        "d",
    }
    assert sheet["A3"].value == "=1+1"
    assert sheet["B1"].value == "haze [EBC]"
    about = {(row[0].value, row[1].value) for row in book["About"].iter_rows()}
    assert ("Ledger state", "12") in about
    assert ("Caution", "invented data") in about


def test_parquet_round_trips_with_its_note():
    table = pq.read_table(io.BytesIO(export_table(FRAME, NOTE, "parquet")))
    pd.testing.assert_frame_equal(table.to_pandas(), FRAME, check_dtype=False)
    assert ["Ledger state", "12"] in json.loads(table.schema.metadata[b"dropbright"])["note"]


@pytest.mark.parametrize("form", FORMS)
def test_an_empty_table_can_be_taken_away(form):
    assert export_table(FRAME.iloc[:0], NOTE, form)


def test_another_form_is_refused():
    with pytest.raises(ValueError, match="form must be one of"):
        export_table(FRAME, NOTE, "doc")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_no_cell_of_a_csv_begins_a_formula_wherever_a_program_parts_it(separator: str) -> None:
    evil = ["=1+1", "x;=1+1", "x,=1+1", "x\t@y", "x\n=1+1", 'x; "=1+1', "+1", "-a", "a - b"]
    note = ExportNote("Packs", 3, 'recipe x,=1+1 and y; =2 and "z,"=3"', cautions=("a\n=b",))
    text = export_table(pd.DataFrame({"run": evil, "n;=1": range(len(evil))}), note, "csv").decode("utf-8-sig")
    cells = [cell.strip() for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator) for cell in row]
    # a program with another separator does not heed quotes inside a line
    lines = text.splitlines() if separator != "," else []
    bare = [cell.lstrip('"').strip() for line in lines for cell in line.split(separator)]
    assert [cell for cell in (*cells, *bare) if cell.startswith(("=", "+", "-", "@"))] == []
    assert "a - b" in text
