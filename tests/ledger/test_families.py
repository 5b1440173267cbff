"""Is a corrected version of a file known for one, and another file not taken for it?"""

from __future__ import annotations

import pytest

from analysis.ledger.families import family_of_file, family_of_sheet


@pytest.mark.parametrize(
    "name",
    [
        "DO log.xlsx", "do log.XLSX", "DO log (1).xlsx", "DO log(2).xlsx", "DO log_v2.xlsx", "DO log v10.xlsx",
        "DO log version 3.xlsx", "DO log corrected.xlsx", "DO log_corrected.csv", "DO log - Copy.xlsx",
        "Copy of DO log.xlsx", "DO log - Copy (3).xlsx", "DO log (corrected).ods", "DO log final.xlsx",
        "DO log_v2 (1).xlsx", "folder/DO log.xlsx", r"C:\logs\DO log.xlsx",
    ],
)  # fmt: skip
def test_a_version_of_the_file(name: str):
    family = family_of_file(name)
    assert (family.name, family.partial) == ("do log", False)


@pytest.mark.parametrize("name", ["DO log rejects.xlsx", "DO log_rejected.xlsx", "DO log mended (1).xlsx"])
def test_its_mended_rows(name: str):
    family = family_of_file(name)
    assert (family.name, family.partial) == ("do log", True)


@pytest.mark.parametrize(
    "name", ["DO log 2024.xlsx", "DO log (2024).xlsx", "DO log line 2.xlsx", "haze log.xlsx", "DO log B.xlsx"]
)
def test_another_file(name: str):
    assert family_of_file(name).name != "do log"


@pytest.mark.parametrize("name", ["v2.xlsx", "final.xlsx", "(1).csv", "rejects.xlsx", "copy.xlsx", ".xlsx"])
def test_a_name_that_is_nothing_but_a_mark_keeps_it(name: str):
    assert family_of_file(name).name


def test_sheets_of_a_workbook_are_apart_and_a_text_file_goes_by_its_name():
    assert family_of_sheet("log.xlsx", "2024") != family_of_sheet("log.xlsx", "2025")
    assert family_of_sheet("log.xlsx", "Packs") == family_of_sheet("log v2.xlsx", "packs ")
    assert family_of_sheet("log.xlsx", "Packs") != family_of_sheet("log.xlsx", "Packs (2)")
    assert family_of_sheet("log (1).csv", "log (1)") == family_of_sheet("log.csv", "log")
