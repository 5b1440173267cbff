"""Are headers understood that stand in two or three rows: a title over several columns, their numbers, their units?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest

from analysis.records import Intake

Take = Callable[..., Intake]
DAY = datetime(2026, 3, 2)
TITLES = ["Gyle", "Packed on", "Can ml", "TPO", None, None, "Haze", None, "Comments"]
BELOW = [None, None, None, "Can 1", "Can 2", "Can 3", "90°", "25°", None]
UNITS = [None, None, "ml", "ppb", "ppb", "ppb", "EBC", "EBC", None]
ROW = [2601, DAY, 330, 80, 82, "<5", 0.8, 0.5, "ok"]
MERGED = {"Sheet1": [(1, 3, 1, 5), (1, 6, 1, 7)]}


@pytest.mark.parametrize("merged", [MERGED, None])
@pytest.mark.parametrize("units", [True, False])
def test_numbers_below_a_title_belong_to_it(take: Take, merged: object, units: bool) -> None:
    titles = TITLES if units else [t and {"TPO": "TPO (ppb)", "Haze": "Haze (EBC)"}.get(t, t) for t in TITLES]
    rows = [["Canning log"], titles, BELOW, *([UNITS] if units else []), ROW]
    intake = take(rows, merged)
    (sheet,) = intake.sheets
    assert (sheet.kind, sheet.header_row, sheet.rows, sheet.rejected) == ("pack_runs", 2, 1, 0)
    readings = intake.records["readings"]
    assert list(zip(readings["quantity"], readings["sample"], readings["value"], strict=True)) == [
        ("total_oxygen", "1", 80.0), ("total_oxygen", "2", 82.0), ("total_oxygen", "3", 5.0), ("haze", "1", 0.8),
        ("haze_forward", "1", 0.5),
    ]  # fmt: skip
    assert intake.records["pack_runs"]["size"].tolist() == [330.0]
    assert sheet.kept_as_extra == ("Comments",)


def test_a_title_above_the_whole_row_of_headers_needs_no_merging(take_csv: Take) -> None:
    text = ",,TPO (ppb),,Haze (EBC),\nGyle,Packed on,Can 1,Can 2,90°,25°\n2601,2026-03-02,80,82,0.8,0.5\n"
    readings = take_csv(text).records["readings"]
    assert readings["value"].tolist() == [80.0, 82.0, 0.8, 0.5]
    assert readings["sample"].tolist() == ["1", "2", "1", "1"]


def test_bare_numbers_below_a_title(take_csv: Take) -> None:
    text = "Run,Batch,Packed on,DO (ppb),,\n,,,1,2,3\nR1,7,2026-03-02,40,41,42\n"
    readings = take_csv(text).records["readings"]
    assert readings[["sample", "value"]].values.tolist() == [["1", 40.0], ["2", 41.0], ["3", 42.0]]


def test_a_first_row_of_readings_is_not_taken_for_headers(take_csv: Take) -> None:
    text = "Run,Can,DO (ppb),,Haze (EBC)\nR1,1,2,,1\nR1,2,3,,2\n"
    intake = take_csv(text)
    assert intake.sheets[0].rows == 2
    assert intake.records["readings"]["value"].tolist() == [2.0, 1.0, 3.0, 2.0]
