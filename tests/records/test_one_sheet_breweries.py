"""Does a brewery that keeps one packaging sheet, without run numbers, get its runs and its packs' readings?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from analysis.records import Intake

Take = Callable[..., Intake]
DAY, NEXT = datetime(2026, 3, 2), datetime(2026, 3, 3)


def test_total_oxygen_beside_a_fermenter_was_read_in_the_pack(take: Take) -> None:
    sheet = [["Run", "Gyle", "FV", "Packaged on", "TPO (ppb)", "DO (ppb)"], ["R1", 2417, "FV1", DAY, 80, 30]]
    intake = take(sheet)
    assert intake.records["readings"]["stage"].tolist() == ["pack", "pack"]
    alone = take([["Gyle", "FV", "Can", "TPO (ppb)", "DO (ppb)"], [2417, "FV1", 1, 80, 30]]).records["readings"]
    assert dict(zip(alone["quantity"], alone["stage"], strict=True)) == {
        "total_oxygen": "pack",
        "dissolved_oxygen": "fermenter",
    }


def test_headspace_oxygen_in_percent_is_no_headspace_volume(take: Take) -> None:
    intake = take([["Run", "Gyle", "Packaged on", "Headspace O2 %", "Headspace mL"], ["R1", 2417, DAY, 0.8, 20]])
    assert intake.records["readings"][["quantity", "value", "unit"]].values.tolist() == [["headspace_oxygen", 0.8, "%"]]
    assert intake.records["pack_runs"]["headspace"].tolist() == [20.0]


def test_a_run_without_a_number_is_named_by_its_batch_and_day(take: Take) -> None:
    rows = [["Batch", "Packed", "Pack", "Can no.", "TPO (ppb)"]]
    rows += [[12, DAY, "can", 1, 80], [12, DAY, "can", 2, 82], [13, NEXT, "bottle", 1, 60]]
    intake = take(rows)
    runs, readings = intake.records["pack_runs"], intake.records["readings"]
    assert runs[["run", "batch", "format"]].values.tolist() == [
        ["12 2026-03-02", "12", "can"],
        ["13 2026-03-03", "13", "bottle"],
    ]
    assert readings[["run", "sample", "value"]].values.tolist() == [
        ["12 2026-03-02", "1", 80.0],
        ["12 2026-03-02", "2", 82.0],
        ["13 2026-03-03", "1", 60.0],
    ]
    assert [p.code for p in intake.problems] == ["run-named"]


def test_a_packaging_log_without_run_numbers_gives_runs(take: Take) -> None:
    intake = take([["Batch", "Packaged on", "Format", "Size mL"], [12, DAY, "can", 440], [None, NEXT, "can", 440]])
    assert intake.records["pack_runs"][["run", "size"]].values.tolist() == [["12 2026-03-02", 440.0]]
    assert "value-needed" in [p.code for p in intake.problems]


def test_a_header_that_lists_the_formats_is_the_format(take: Take) -> None:
    sheet = [["Run", "Gyle", "Packaged on", "Keg/Bottle"], ["R1", 2417, DAY, "keg"], ["R2", 2418, NEXT, "Bottle"]]
    assert take(sheet).records["pack_runs"]["format"].tolist() == ["keg", "bottle"]


def test_the_vessel_that_a_brew_went_into_is_its_vessel(take: Take) -> None:
    sheet = [["Gyle", "Beer", "Brewed on", "Into FV"], [2417, "Mild", DAY, "FV 3"], [2418, "Mild", NEXT, "FV 4"]]
    assert take(sheet).records["batches"]["vessel"].tolist() == ["FV3", "FV4"]
