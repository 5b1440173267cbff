"""Does a sheet in which a row is a can, a tank check or a taster give runs, readings and scores?"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, time

import pytest

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers

Take = Callable[..., Intake]
DAY, NEXT = datetime(2026, 3, 2), datetime(2026, 3, 3)
CANS = [
    ["Run", "Gyle", "Packaged on", "Can", "DO (ppb)", "Meter", "TPO, ppb", "Haze (NTU)", "Meter", "Headspace mL",
     "Seamer"],
    ["R1", "G2417", DAY, 1, 35, "OX1", 80, 4.0, "HZ1", 20, "A"],
    ["R1", "#2417", DAY, 2, "<5", "OX1", 82, "broken", "HZ1", 22, "A"],
    ["R2", 2418, NEXT, 1, 41, "OX2", None, 8.0, "HZ1", 21, "B"],
]  # fmt: skip


def test_cans_give_their_runs_and_their_readings_together(take: Take) -> None:
    intake = take(CANS)
    runs = intake.records["pack_runs"]
    assert runs[["run", "batch", "headspace"]].values.tolist() == [["R1", "2417", 21.0], ["R2", "2418", 21.0]]
    assert runs["packed_at"].tolist() == [DAY, NEXT]
    readings = intake.records["readings"].fillna({"sign": "", "meter": ""})
    told = readings[["run", "sample", "quantity", "value", "sign", "unit", "meter", "source_row"]].values.tolist()
    assert told == [
        ["R1", "1", "dissolved_oxygen", 35.0, "", "µg/L", "OX1", 2],
        ["R1", "1", "total_oxygen", 80.0, "", "µg/L", "OX1", 2],
        ["R1", "1", "haze", 1.0, "", "EBC", "HZ1", 2],
        ["R1", "2", "dissolved_oxygen", 5.0, "<", "µg/L", "OX1", 3],
        ["R1", "2", "total_oxygen", 82.0, "", "µg/L", "OX1", 3],
        ["R2", "1", "dissolved_oxygen", 41.0, "", "µg/L", "OX2", 4],
        ["R2", "1", "haze", 2.0, "", "EBC", "HZ1", 4],
    ]
    assert set(readings["stage"]) == {"pack"}


def test_what_is_the_same_within_a_run_goes_with_the_run_and_what_differs_with_the_can(take: Take) -> None:
    intake = take(CANS)
    runs, readings = intake.records["pack_runs"], intake.records["readings"]
    assert [json.loads(text) for text in runs["extra"]] == [{"Seamer": "A"}, {"Seamer": "B"}]
    assert [json.loads(text) for text in readings["extra"].iloc[[0, 3]]] == [
        {"Headspace mL": "20"},
        {"Headspace mL": "22"},
    ]


def test_a_named_meter_belongs_to_what_it_reads_wherever_it_stands(take: Take) -> None:
    intake = take(
        [["Haze meter", "O2 meter", "Run", "Can", "TPO (ppb)", "Haze (EBC)"], ["HZ1", "OX1", "R1", 1, 80, 0.9]]
    )
    readings = intake.records["readings"]
    assert dict(zip(readings["quantity"], readings["meter"], strict=True)) == {"total_oxygen": "OX1", "haze": "HZ1"}


def test_one_meter_column_belongs_to_every_measure(take: Take) -> None:
    readings = take([["Run", "Can", "DO ppb", "TPO ppb", "Meter"], ["R1", 1, 30, 80, "OX1"]]).records["readings"]
    assert readings["meter"].tolist() == ["OX1", "OX1"]


def test_a_tank_check_gives_readings_at_its_vessel(take: Take) -> None:
    intake = take(
        [["FV", "Date", "Time", "Gyle", "DO, ppm", "Temp °C", "pH"], ["FV 3", DAY, time(9, 30), 2417, 0.031, 4.2, 4.3]]
    )
    readings = intake.records["readings"]
    assert readings[["vessel", "stage", "batch"]].drop_duplicates().values.tolist() == [["FV3", "fermenter", "2417"]]
    assert dict(zip(readings["quantity"], readings["value"], strict=True)) == pytest.approx(
        {"dissolved_oxygen": 31.0, "temperature": 4.2, "ph": 4.3}
    )
    assert set(readings["measured_at"]) == {datetime(2026, 3, 2, 9, 30)}
    assert intake.records["pack_runs"].empty


def test_a_sample_temperature_beside_cans_goes_with_their_readings(take: Take) -> None:
    readings = take([["Run", "Can", "DO (ppb)", "Temp (°F)"], ["R1", 1, 30, 68]]).records["readings"]
    assert readings[["quantity", "temperature"]].values.tolist() == [["dissolved_oxygen", pytest.approx(20.0)]]


def test_the_stage_in_a_header_is_the_readings_stage(take: Take) -> None:
    readings = take([["Run", "Sample", "BBT DO (ppb)", "Can DO (ppb)"], ["R1", 1, 20, 45]]).records["readings"]
    assert readings[["stage", "value"]].values.tolist() == [["bright_tank", 20.0], ["pack", 45.0]]


def test_two_columns_of_one_measure_are_replicates(take: Take) -> None:
    intake = take([["Run", "Can", "DO 1 (ppb)", "DO 2 (ppb)"], ["R1", 1, 30, 32]])
    assert intake.records["readings"][["replicate", "value"]].values.tolist() == [["1", 30.0], ["2", 32.0]]
    assert not [p for p in intake.problems if p.severity is Severity.CONFLICT]


def test_cans_without_a_number_are_numbered_in_the_order_of_the_rows(take: Take) -> None:
    intake = take([["Run", "DO (ppb)"], ["R1", 30], ["R1", 30], ["R2", 40], ["R1", 31]])
    readings = intake.records["readings"]
    assert readings[["run", "sample"]].values.tolist() == [["R1", "1"], ["R1", "2"], ["R2", "1"], ["R1", "3"]]
    assert [p.code for p in intake.problems] == ["sample-numbered"]


def test_a_date_that_nothing_ties_to_the_reading_is_the_packing_date_unless_another_sheet_has_it(take: Take) -> None:
    cans = [["Run", "Batch", "Date", "DO (ppb)"], ["R1", 2417, NEXT, 30]]
    alone = take({"Cans": cans})
    assert alone.records["pack_runs"]["packed_at"].tolist() == [NEXT]
    assert "date-taken-twice" in [p.code for p in alone.problems]
    runs = [["Run", "Batch", "Packed on"], ["R1", 2417, DAY]]
    beside = take({"Cans": cans, "Runs": runs})
    assert beside.records["pack_runs"]["packed_at"].tolist() == [DAY]
    assert beside.records["readings"]["measured_at"].tolist() == [NEXT]


def test_a_unit_that_could_be_two_things_costs_only_its_own_readings(take: Take) -> None:
    rows = [["Run", "Can", "DO (ppb)", "Haze (FTU)"], ["R1", 1, 35, 69], ["R1", 2, 36, 138], ["R1", 3, None, 70]]
    intake = take(rows)
    (sheet,) = intake.sheets
    (problem,) = intake.problems
    assert (problem.code, problem.column, problem.severity) == ("unit-ambiguous", "Haze (FTU)", Severity.QUESTION)
    assert (sheet.accepted, sheet.rejected) == (2, 1)
    assert set(intake.records["readings"]["quantity"]) == {"dissolved_oxygen"}
    answered = take(rows, answers=SheetAnswers(Answers(units={"Haze (FTU)": "ASBC FTU"})))
    haze = answered.records["readings"].query("quantity == 'haze'")["value"]
    assert haze.tolist() == pytest.approx([1.0, 2.0, 70 / 69])
    assert answered.sheets[0].rejected == 0


def test_haze_without_an_angle_beside_a_forward_angle_is_asked_about(take: Take) -> None:
    rows = [["Run", "Can", "Haze (EBC)", "Haze 25° (EBC)"], ["R1", 1, 0.5, 0.4]]
    intake = take(rows)
    assert [(p.code, p.column) for p in intake.problems] == [("angle-missing", "Haze (EBC)")]
    assert intake.records["readings"]["quantity"].tolist() == ["haze_forward"]
    answered = take(rows, answers=SheetAnswers(Answers(angles={"Haze (EBC)": "90"})))
    assert answered.records["readings"]["quantity"].tolist() == ["haze", "haze_forward"]
    assert answered.problems == ()


def test_a_bad_cell_rejects_its_row_whole_and_a_word_for_missing_does_not(take: Take) -> None:
    intake = take(
        [["Run", "Can", "DO (ppb)", "Haze (EBC)"], ["R1", 1, 30, "loads"], ["R1", 2, 31, "n/a"], ["R1", 3, 30_000, 1]]
    )
    (sheet,) = intake.sheets
    assert (sheet.accepted, sheet.rejected) == (1, 2)
    assert intake.records["readings"]["value"].tolist() == [31.0]
    assert [(p.code, p.row, p.column, p.value) for p in intake.problems if p.severity is Severity.REJECTED] == [
        ("number-unreadable", 2, "Haze (EBC)", "loads"),
        ("value-implausible", 4, "DO (ppb)", "30000"),
    ]
    (note,) = [p for p in intake.problems if p.severity is Severity.NOTE]
    assert (note.code, "“n/a” (1)" in note.message) == ("value-missing", True)


def test_a_row_without_any_value_is_ignored(take: Take) -> None:
    (sheet,) = take([["Run", "Can", "DO (ppb)"], ["R1", 1, 30], ["R1", 2, None]]).sheets
    assert (sheet.accepted, dict(sheet.ignored_as)) == (1, {"without a value": 1})


def test_a_taster_a_row_gives_a_score_an_attribute(take: Take) -> None:
    intake = take(
        [["Run", "Taster", "Tasted", "Papery", "Hop aroma", "Zing", "Age days"], ["R1", "AB", DAY, 1, "-", 6, 30]]
    )
    tastings = intake.records["tastings"]
    assert tastings[["attribute", "score"]].values.tolist() == [["papery", 1.0], ["zing", 6.0]]
    assert json.loads(tastings["extra"].iloc[0]) == {"Age days": "30"}
    assert [p.code for p in intake.problems] == ["value-missing", "attribute-taken"]


def test_a_measure_that_a_person_names_is_taken_and_one_that_they_ignore_is_not(take: Take) -> None:
    rows = [["Run", "Can", "Trübung (EBC)", "DO (ppb)"], ["R1", 1, 0.8, 30]]
    answers = SheetAnswers(Answers(columns={"Trübung (EBC)": "haze", "DO (ppb)": "ignore"}))
    intake = take(rows, answers=answers)
    assert intake.records["readings"][["quantity", "value"]].values.tolist() == [["haze", 0.8]]
    assert dict(intake.sheets[0].columns)["DO (ppb)"] == "ignore"


def test_a_run_whose_batch_and_date_stand_once_gives_them_to_its_other_cans(take: Take) -> None:
    rows = [["Run", "Batch", "Packed on", "Can", "DO (ppb)"], ["R1", 2417, DAY, 1, 30], ["R1", None, None, 2, 31],
            ["R2", 2418, DAY, 1, 40], ["R2", 2419, DAY, 2, 41], ["R2", None, DAY, 3, 42]]  # fmt: skip
    intake = take(rows)
    assert intake.records["readings"][["run", "batch"]].values.tolist() == [
        ["R1", "2417"], ["R1", "2417"], ["R2", "2418"], ["R2", "2419"],
    ]  # fmt: skip
    assert [(p.code, p.row) for p in intake.problems] == [("value-needed", 6), ("run-details-filled", None)]


def test_cans_of_a_batch_without_a_run_are_packs(take: Take) -> None:
    readings = take([["Gyle", "Can no.", "TPO (ppb)"], [2417, 1, 80]]).records["readings"]
    assert readings["stage"].tolist() == ["pack"]


def test_oxygen_in_ppm_is_asked_about_where_nothing_says_whether_it_is_in_the_beer(take: Take) -> None:
    rows = [["Run", "Can", "O2 (ppm)", "O2 (%)"], ["R1", 1, 0.03, 0.5]]
    intake = take(rows)
    assert [(p.code, p.column) for p in intake.problems] == [("oxygen-ambiguous", "O2 (ppm)")]
    assert intake.records["readings"]["quantity"].tolist() == ["headspace_oxygen"]
    answered = take(rows, answers=SheetAnswers(Answers(columns={"O2 (ppm)": "dissolved_oxygen"})))
    assert answered.records["readings"]["value"].tolist() == pytest.approx([30.0, 0.5])


def test_work_before_the_brew_is_noted(take: Take) -> None:
    brews = [["Batch", "Recipe", "Brewed"], [2417, "P40", DAY]]
    log = [["Batch", "Job", "Date"], [2417, "roused", datetime(2026, 2, 1)], [2417, "roused", datetime(2026, 3, 1)]]
    intake = take({"Brews": brews, "Log": log})
    assert [(p.code, p.sheet, p.row) for p in intake.problems] == [("before-brewing", "Log", 2)]
    assert len(intake.records["operations"]) == 2


def test_a_unit_column_belongs_to_the_measure_that_it_is_named_for(take_csv: Take) -> None:
    intake = take_csv("Run,Batch,Packed on,Can,DO,DO unit,TPO,Haze,Haze units,Unit\n"
                      "R1,7,2026-03-02,1,0.04,ppm,96,3,NTU,ppb\n"
                      "R1,7,2026-03-02,2,45,ppb,0.1,1,EBC,ppm\n")  # fmt: skip
    readings = intake.records["readings"]
    assert list(zip(readings["quantity"], readings["value"], strict=True)) == [
        ("dissolved_oxygen", 40.0), ("total_oxygen", 96.0), ("haze", 0.75),
        ("dissolved_oxygen", 45.0), ("total_oxygen", 100.0), ("haze", 1.0),
    ]  # fmt: skip
    assert intake.problems == ()


def test_small_numbers_beside_a_word_for_nothing_are_no_clock_times(take_csv: Take) -> None:
    intake = take_csv("Run,Batch,Packed on,DO (ppm)\nR1,7,2026-03-02,0.04\nR2,8,2026-03-03,0.05\nR3,9,2026-03-04,n/a\n")
    assert intake.records["readings"]["value"].tolist() == [40.0, 50.0]


@pytest.mark.parametrize("header", ["DO (ppb),DO (ppb)", "DO (ppb),Meter,DO (ppb)"])
def test_two_columns_of_one_header_are_two_readings_of_a_can(take_csv: Take, header: str) -> None:
    cells = "30,OX1,34" if "Meter" in header else "30,34"
    readings = take_csv(f"Run,Batch,Packed on,Can,{header}\nR1,7,2026-03-02,1,{cells}\n").records["readings"]
    assert readings[["value", "replicate"]].values.tolist() == [[30.0, "1"], [34.0, "2"]]


@pytest.mark.parametrize("headers", ["DO can 1 (ppb),DO can 12 (ppb)", "Can 1 DO ppb,Can 12 DO ppb"])
def test_columns_that_number_the_cans_are_samples(take_csv: Take, headers: str) -> None:
    intake = take_csv(f"Run,Batch,Packed on,{headers},Avg DO (ppb),DO max\nR1,7,2026-03-02,40,41,40.5,41\n")
    readings = intake.records["readings"]
    assert readings[["sample", "stage", "value"]].values.tolist() == [["1", "pack", 40.0], ["12", "pack", 41.0]]
    assert readings["replicate"].isna().all()
    assert intake.sheets[0].kept_as_extra == ()  # what sums up columns beside it is no practice
    assert intake.problems == ()


def test_numbered_cans_of_several_rows_of_a_run_stay_apart(take_csv: Take) -> None:
    text = "Run,Batch,Packed on,DO can 1 (ppb),DO can 2 (ppb)\nR1,7,2026-03-02,40,41\nR1,7,2026-03-02,42,43\n"
    readings = take_csv(text).records["readings"]
    assert readings["sample"].tolist() == ["1-1", "1-2", "2-1", "2-2"]


def test_numbered_samples_of_a_tank_are_not_packs(take_csv: Take) -> None:
    text = "Batch,Tank,Date,DO sample 1 (ppb),DO sample 2 (ppb)\n7,FV1,2026-03-02,40,41\n"
    readings = take_csv(text).records["readings"]
    assert readings[["sample", "stage"]].values.tolist() == [["1", "fermenter"], ["2", "fermenter"]]


def test_a_mean_that_stands_alone_is_the_reading(take_csv: Take) -> None:
    intake = take_csv("Run,Batch,Packed on,DO SD,Average DO (ppb)\nR1,7,2026-03-02,2,40\n")
    assert intake.records["readings"]["value"].tolist() == [40.0]
    assert intake.sheets[0].columns["DO SD"] == "ignore"


@pytest.mark.parametrize("start", ["Pack start", "Packaging start", "Run start", "Start", "Packing time"])
def test_a_packaging_date_and_a_start_make_one_moment(take_csv: Take, start: str) -> None:
    intake = take_csv(f"Run,Batch,Packaging date,{start},DO (ppb)\nR1,7,2026-03-02,08:15,40\nR2,8,2026-03-03,9:30,41\n")
    packed = intake.records["pack_runs"]["packed_at"]
    assert packed.tolist() == [datetime(2026, 3, 2, 8, 15), datetime(2026, 3, 3, 9, 30)]
    assert intake.sheets[0].kept_as_extra == ()


@pytest.mark.parametrize(
    ("header", "cell", "size"),
    [
        ("Can ml", "330", 330.0),
        ("Can (ml)", "440", 440.0),
        ("Bottle cl", "33", 330.0),
        ("Keg (L)", "30", 30_000.0),
        ("Bottle", "500ml", 500.0),
        ("Can", "33 cl", 330.0),
    ],
)
def test_a_container_with_a_unit_of_volume_is_the_packs_size(
    take_csv: Take, header: str, cell: str, size: float
) -> None:
    intake = take_csv(f"Run,Batch,Packed on,{header},DO (ppb)\nR1,7,2026-03-02,{cell},40\n")
    assert intake.records["pack_runs"]["size"].tolist() == [pytest.approx(size)]
    assert intake.records["readings"]["sample"].tolist() == ["1"]


@pytest.mark.parametrize("word", ["OVER", "tr.", "trace", "off scale", "BDL", "not detected"])
def test_a_word_for_a_reading_beyond_the_meters_range_asks_for_its_limit(take_csv: Take, word: str) -> None:
    intake = take_csv(f"Run,Can,DO (ppb)\nR1,1,40\nR1,2,{word}\nR1,3,n/a\n")
    told = {problem.code: problem for problem in intake.problems}
    assert f"“{word}” (1)" in told["limit-missing"].message
    assert "such as <5 or >150" in told["limit-missing"].remedy
    assert "“n/a” (1)" in told["value-missing"].message
    assert intake.records["readings"]["value"].tolist() == [40.0]


@pytest.mark.parametrize("cell", ["5-6", "5 – 6", "30 to 35 ppb", "0,5-0,6"])
def test_a_range_is_told_to_be_one(take_csv: Take, cell: str) -> None:
    intake = take_csv(f'Run,Can,DO (ppb)\nR1,1,40\nR1,2,"{cell}"\n')
    (problem,) = intake.problems
    assert (problem.code, problem.row, problem.column, problem.value) == ("number-range", 3, "DO (ppb)", cell)
    assert "is a range" in problem.message


@pytest.mark.parametrize("word", ["k.A.", "n.b.", "nicht gemessen"])
def test_german_words_for_nothing_count_as_missing(take_csv: Take, word: str) -> None:
    intake = take_csv(f"Run;Can;DO (ppb)\nR1;1;32,5\nR1;2;{word}\n")
    assert intake.records["readings"]["value"].tolist() == [32.5]
    assert [problem.code for problem in intake.problems] == ["value-missing"]


def test_a_remark_on_cells_names_the_cells_and_their_rows(take_csv: Take) -> None:
    intake = take_csv("Run,Can,DO (ppb)\nR1,1,~35\nR1,2,n/a\nR1,3,36*\nR1,4,n/a\n")
    told = {problem.code: problem.message for problem in intake.problems}
    assert "“~35” in row 2, “36*” in row 4." in told["number-rough"]
    assert "“n/a” (2) from row 3 on." in told["value-missing"]


@pytest.mark.parametrize("header", ["% O2 headspace", "% headspace O2", "HS O2 %", "% HSO"])
def test_a_percent_sign_in_front_is_the_unit(take_csv: Take, header: str) -> None:
    readings = take_csv(f"Run,Can,{header}\nR1,1,0.2\n").records["readings"]
    assert readings[["quantity", "value", "unit"]].values.tolist() == [["headspace_oxygen", 0.2, "%"]]


@pytest.mark.parametrize("cell", ["3 April", "Apr 3", "3rd April", "3.4.", "03/04"])
def test_a_date_without_a_year_is_told_to_lack_it(take_csv: Take, cell: str) -> None:
    intake = take_csv(f"Run,Batch,Packed on,DO (ppb)\nR1,7,2026-03-02,40\nR2,8,{cell},41\nR3,9,2026-04-13,42\n")
    (problem,) = [p for p in intake.problems if p.severity is Severity.REJECTED]
    assert (problem.code, problem.row, problem.value) == ("date-without-year", 3, cell)


def test_a_contradiction_within_a_file_says_of_what_and_in_which_unit(take_csv: Take) -> None:
    intake = take_csv("Run,Can,Haze (EBC)\nR1,1,0.8\nR1,1,0.9\n")
    (first, _) = [p for p in intake.problems if p.severity is Severity.CONFLICT]
    assert first.message == (
        "Readings of haze, run R1, stage pack, sample 1: value is 0.8 EBC here and 0.9 EBC in log.csv, log, row 3."
    )


@pytest.mark.parametrize("header", ["DO lab cross check", "TPO recalculated (ppb)", "Old haze figure"])
def test_a_further_column_that_names_a_measure_is_remarked_on(take_csv: Take, header: str) -> None:
    text = f"Run,Can,CO2 (g/L),{header}\nR1,1,5.1,30\nR1,2,5.0,31\n"
    (problem,) = take_csv(text).problems
    assert (problem.code, problem.severity, problem.column) == ("measure-maybe", Severity.NOTE, header)
    assert take_csv(text, answers=SheetAnswers(Answers(columns={header: "extra"}))).problems == ()


def test_a_packaging_log_without_run_numbers_may_call_its_day_a_date(take_csv: Take) -> None:
    text = 'Brew no.,Beer,Date,Bottling line,"TPO, ppb 1","TPO, ppb 2"\nW-1,Mild,2026-03-02,A,90,91\n'
    intake = take_csv(text)
    assert intake.records["pack_runs"]["run"].tolist() == ["W-1 2026-03-02"]
    assert intake.records["readings"][["sample", "value"]].values.tolist() == [["1", 90.0], ["2", 91.0]]
    beers = take_csv("Gyle,Beer,Date,Size (hL)\n1,Mild,2026-03-02,20\n")
    assert beers.sheets[0].kind == "batches"


@pytest.mark.parametrize(
    "headers", ["TPO ppb - can 1,TPO ppb - can 2", "TPO, ppb 1|TPO, ppb 2", "TPO ppb #1,TPO ppb #2"]
)
def test_a_unit_within_a_header_is_its_unit(take_csv: Take, headers: str) -> None:
    columns = ",".join(f'"{header}"' for header in headers.replace("|", "\n").replace(",TPO", "\nTPO").split("\n"))
    readings = take_csv(f"Run,Batch,Packed on,{columns}\nR1,7,2026-03-02,80,82\n").records["readings"]
    assert readings[["sample", "value"]].values.tolist() == [["1", 80.0], ["2", 82.0]]


@pytest.mark.parametrize("header", ["DO (ppb) avg of 3", "Mean DO (ppb) of 3 cans", "DO average n=3 (ppb)"])
def test_a_mean_of_so_many_is_a_mean(take_csv: Take, header: str) -> None:
    assert take_csv(f"Run,Can,{header}\nR1,1,40\n").records["readings"]["value"].tolist() == [40.0]


def test_readings_a_thousand_times_off_the_others_are_remarked_on(take_csv: Take) -> None:
    cells = ["80", "82", "0.081", "79", "90", "85", "95"]
    text = "Run,Can,TPO (ppb)\n" + "".join(f"R1,{can},{cell}\n" for can, cell in enumerate(cells))
    (problem,) = take_csv(text).problems
    assert (problem.code, problem.severity, problem.column) == ("scale-slip", Severity.NOTE, "TPO (ppb)")
    assert "“0.081” in row 4" in problem.message
    assert take_csv(text.replace("0.081", "0.081 ppm")).problems == ()
    assert take_csv(text.replace("0.081", "8.1")).problems == ()
