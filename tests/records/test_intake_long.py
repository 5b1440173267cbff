"""Does a sheet in which a row is one record give that record, in kept units, words and names?"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, time

import pandas as pd
import pytest

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers
from analysis.records.kinds import KINDS
from analysis.vocabulary import MEASURES

Take = Callable[..., Intake]
DAY = datetime(2026, 3, 2)


def _codes(intake: Intake) -> list[str]:
    return [problem.code for problem in intake.problems]


def test_every_kind_has_a_frame_of_its_columns_with_their_types(take_csv: Take) -> None:
    intake = take_csv("Batch,Recipe\n2417,P40\n")
    assert set(intake.records) == set(KINDS)
    types = {"number": "float64", "count": "float64", "date": "datetime64[us]", "moment": "datetime64[us]"}
    for kind, frame in intake.records.items():
        columns = KINDS[kind].columns
        assert list(frame.columns) == [*(c.name for c in columns), "extra", "file", "sheet", "source_row"]
        assert all(str(frame[c.name].dtype) == types.get(c.type, "str") for c in columns), kind
        assert str(frame["source_row"].dtype) == "int32"
        assert isinstance(frame["file"].dtype, pd.CategoricalDtype)


def test_batches_are_read_with_their_units(take: Take) -> None:
    intake = take([["Gyle", "Beer", "Brewed", "Vol (L)", "FV", "OG", "FG", "Maltster"],
                   ["#2417", "p40", date(2026, 3, 2), 2500, "fv 03", 1.048, 1.010, "north"]])  # fmt: skip
    (row,) = intake.records["batches"].itertuples()
    assert (row.batch, row.recipe, row.brewed_on, row.vessel) == ("2417", "P40", DAY, "FV3")
    assert row.volume == pytest.approx(25.0)
    assert row.original_gravity == pytest.approx(11.91, abs=0.01)  # pinned: the ASBC cubic, from memory
    assert json.loads(row.extra) == {"Maltster": "north"}


def test_numbers_that_fit_one_unit_alone_need_no_unit_and_others_are_asked_about(take_csv: Take) -> None:
    sure = take_csv("Run,Can,DO\nR1,1,45\nR1,2,60\n")
    assert (sure.records["readings"]["value"].tolist(), sure.problems) == ([45.0, 60.0], ())
    small = take_csv("Run,Can,DO\nR1,1,0.045\nR1,2,0.06\n")
    assert small.records["readings"]["value"].tolist() == pytest.approx([45.0, 60.0])
    either = take_csv("Run,Can,DO\nR1,1,4.5\nR1,2,6\n")
    assert _codes(either) == ["unit-ambiguous"]
    assert either.records["readings"].empty
    answered = take_csv("Run,Can,DO\nR1,1,4.5\nR1,2,6\n", answers=SheetAnswers(Answers(units={"do": "ppb"})))
    assert answered.records["readings"]["value"].tolist() == [4.5, 6.0]


def test_a_unit_stands_in_the_cell_or_its_own_column(take_csv: Take) -> None:
    intake = take_csv(
        "Batch,Date,Test,Result,Unit\n"
        "2417,2026-03-02,DO,0.03,mg/L\n2417,2026-03-02,haze,4 NTU,EBC\n2417,2026-03-02,TPO (ppb),80,\n"
    )
    readings = intake.records["readings"]
    assert readings[["quantity", "value", "unit"]].values.tolist() == [
        ["dissolved_oxygen", pytest.approx(30.0), "µg/L"], ["haze", 1.0, "EBC"], ["total_oxygen", 80.0, "µg/L"],
    ]  # fmt: skip


def test_an_answer_settles_an_ambiguous_unit_by_the_unit_or_the_quantity(take_csv: Take) -> None:
    text = "Run,Sample,Test,Result,Unit\nR1,1,haze,69,FTU\nR1,1,DO,5,\nR1,1,haze,1,EBC\n"
    intake = take_csv(text)
    assert _codes(intake) == ["unit-ambiguous", "unit-ambiguous"]
    assert {question.key for question in intake.sheets[0].questions} == {"dissolved_oxygen", "FTU"}
    answered = take_csv(text, answers=SheetAnswers(Answers(units={"FTU": "ASBC FTU", "dissolved_oxygen": "ppb"})))
    assert answered.records["readings"]["value"].tolist() == [1.0, 5.0, 1.0]


def test_haze_at_a_forward_angle_is_another_measure(take_csv: Take) -> None:
    text = "Run,Sample,Test,Result (EBC),Angle\nR1,1,haze,0.9,90\nR1,1,haze,0.7,25°\nR1,1,haze,0.8,\n"
    intake = take_csv(text)
    assert intake.records["readings"]["quantity"].tolist() == ["haze", "haze_forward"]
    assert _codes(intake) == ["angle-missing"]
    answered = take_csv(text, answers=SheetAnswers(Answers(angles={"Angle": "forward"})))
    assert answered.records["readings"]["quantity"].tolist() == ["haze", "haze_forward", "haze_forward"]


def test_quantities_that_are_not_kept_are_ignored_and_named(take_csv: Take) -> None:
    intake = take_csv("Run,Sample,Test,Result,Unit\nR1,1,VDK,0.03,ppm\nR1,1,TPO,80,ppb\n")
    (sheet,) = intake.sheets
    assert (sheet.accepted, sheet.ignored) == (1, 1)
    assert "“VDK” (1)" in intake.problems[0].message
    told = take_csv(
        "Run,Sample,Test,Result,Unit\nR1,1,Truebung,4,NTU\n",
        answers=SheetAnswers(Answers(columns={"Truebung": "haze"})),
    )
    assert told.records["readings"]["value"].tolist() == [1.0]


def test_every_measure_is_known_by_its_own_name(take_csv: Take) -> None:
    lines = [f"R1,{k},{name.replace('_', ' ')},1" for k, name in enumerate(MEASURES)]
    said = Answers(units={name: m.unit for name, m in MEASURES.items() if m.unit}, angles={"haze": "90"})
    text = "Run,Sample,Quantity,Value\n" + "\n".join(lines)
    intake = take_csv(text, answers=SheetAnswers(said))
    assert intake.records["readings"]["quantity"].tolist() == [n for n in MEASURES if n != "ph"]
    assert _codes(intake) == ["value-implausible"]  # no beer has a pH of 1


def test_limits_stay_limits_and_missing_words_give_no_reading(take_csv: Take) -> None:
    intake = take_csv(
        "Run,Sample,Test,Result,Unit\nR1,1,DO,< 5,ppb\nR1,2,DO,>2,ppm\nR1,3,DO,broken,ppb\nR1,4,DO,,ppb\n"
    )
    readings = intake.records["readings"]
    assert readings[["value", "sign"]].values.tolist() == [[5.0, "<"], [2000.0, ">"]]
    assert dict(intake.sheets[0].ignored_as) == {"without a value": 2}
    assert "“broken” (1)" in intake.problems[0].message


JOBS = {
    "Roused": "rouse", "recirc": "rouse", "Recirculate 20 min": "rouse", "cone dump": "dump", "drop": "dump",
    "yeast off": "dump", "D/H": "dry_hop", "dry hopped": "dry_hop", "fined": "finings", "Isinglass": "finings",
    "crash": "chill", "xfer": "transfer", "racked to BBT2": "transfer", "CO2 purge": "purge", "purge cone": "dump",
    "carb": "carbonate", "centrifuge": "filter", "CIP": "other", "rinse": "other", "crash to 0 °C": "chill",
}  # fmt: skip


def test_job_words_vary(take_csv: Take) -> None:
    lines = "".join(f'2417,FV3,"{job}",2026-03-{k + 1:02d}\n' for k, job in enumerate(JOBS))
    intake = take_csv("Batch,Tank,Job,Date\n" + lines)
    assert intake.records["operations"]["operation"].tolist() == list(JOBS.values())
    assert intake.problems == ()
    assert intake.records["operations"]["agent"].dropna().tolist() == ["isinglass"]


def test_a_job_word_that_is_not_known_is_other_work_and_named(take_csv: Take) -> None:
    intake = take_csv("Batch,Job,Date\n2417,hexed,2026-03-01\n2417,roused,2026-03-02\n")
    assert intake.records["operations"]["operation"].tolist() == ["other", "rouse"]
    assert [(p.code, "“hexed” (1)" in p.message) for p in intake.problems] == [("job-unknown", True)]


def test_a_date_and_clocks_make_moments_and_an_end_before_its_start_crosses_midnight(take: Take) -> None:
    intake = take([["Date", "Batch", "Job", "Start", "End"], [DAY, 2417, "roused", time(23, 45), "00:15"],
                   [DAY, 2417, "roused", "9.30am", "10:00"], [DAY, 2417, "drop", None, None]])  # fmt: skip
    operations = intake.records["operations"]
    assert operations["started_at"].tolist() == [datetime(2026, 3, 2, 23, 45), datetime(2026, 3, 2, 9, 30), DAY]
    assert operations["ended_at"].iloc[0] == datetime(2026, 3, 3, 0, 15)
    assert operations["minutes"].iloc[:2].tolist() == [30.0, 30.0]
    assert operations[["minutes", "ended_at"]].iloc[2].isna().all()


def test_minutes_stand_in_hours_or_as_a_clock(take: Take) -> None:
    intake = take([["Batch", "Job", "Date", "Duration (h)"], [1, "rouse", DAY, 0.5], [2, "rouse", DAY, time(1, 15)]])
    assert intake.records["operations"]["minutes"].tolist() == [30.0, 75.0]


def test_doses_are_kept_in_five_units(take_csv: Take) -> None:
    intake = take_csv(
        "Batch,Job,Date,Dose,Unit,Agent\n1,fined,2026-03-01,3,pt/UK bbl,isinglass\n1,fined,2026-03-02,5,L,auxiliary\n"
        "1,fined,2026-03-03,30,g/hL,silica gel\n1,D/H,2026-03-04,8,kg,hops\n1,D/H,2026-03-05,4 g/L,,hops\n"
        "1,purge,2026-03-06,2,bar,CO2\n"
    )
    operations = intake.records["operations"]
    assert operations["unit"].tolist() == ["mL/hL", "mL", "g/hL", "g", "g/L", "bar"]
    # 3 imperial pints a UK barrel: 3 × 347.22 mL/hL, exact arithmetic
    assert operations["amount"].tolist() == pytest.approx([1041.6667, 5000, 30, 8000, 4, 2], rel=1e-6)


def test_a_barrel_of_no_country_and_a_dose_without_a_unit_are_asked_about(take_csv: Take) -> None:
    text = "Batch,Job,Date,Dose,Unit\n1,fined,2026-03-01,3,pt/bbl\n1,fined,2026-03-02,5,\n1,drop,2026-03-02,1,\n"
    intake = take_csv(text)
    assert _codes(intake) == ["unit-ambiguous", "unit-missing"]
    assert intake.records["operations"]["operation"].tolist() == ["dump"]
    answered = take_csv(text, answers=SheetAnswers(Answers(units={"pt/bbl": "UK pt/UK bbl", "Dose": "mL/hL"})))
    assert answered.records["operations"]["amount"].tolist() == pytest.approx([1041.6667, 5.0, 1.0], rel=1e-6)


def test_an_operation_may_name_only_its_vessel(take_csv: Take) -> None:
    intake = take_csv("Tank,Job,Date\nFV 3,roused,2026-03-01\n,roused,2026-03-02\n")
    assert intake.records["operations"]["vessel"].tolist() == ["FV3"]
    assert [(p.code, p.row) for p in intake.problems] == [("value-needed", 3)]


def test_a_transfer_that_names_one_batch_and_two_vessels_is_a_move_of_that_batch(take_csv: Take) -> None:
    intake = take_csv("Gyle,From,To,hL,Xfer date\n2417,FV3,BBT1,20,2026-03-01\n")
    (row,) = intake.records["transfers"].itertuples()
    assert (row.from_batch, row.to_batch, row.from_vessel, row.to_vessel, row.volume) == (
        "2417",
        "2417",
        "FV3",
        "BBT1",
        20.0,
    )


def test_scores_tests_checks_and_targets_are_read(take: Take) -> None:
    intake = take({
        "Panel": [["Run", "Tasted", "Panellist", "Attribute", "Score", "Scale"],
                  ["r-0231", DAY, "AB", "Hop aroma", 7, "0-9"]],
        "Triangles": [["Run", "Against", "Test", "Tasters", "Correct"], ["R1", "R2", "Triangle", 24, 13]],
        "Meters": [["Meter", "Date", "Time", "Expected", "Observed", "Unit"],
                   ["HZ1", DAY, time(8, 0), 20, 20.4, "NTU"]],
        "Targets": [["Recipe", "Format", "Measure", "Upper", "Margin"], ["P40", "can", "TPO (ppm)", 0.1, 0.015]],
    })  # fmt: skip
    score = intake.records["tastings"].iloc[0]
    assert (score["run"], score["attribute"], score["score"]) == ("R-0231", "hop_aroma", 7.0)
    test = intake.records["taste_tests"].iloc[0]
    assert (test["test"], test["tasters"], test["correct"]) == ("triangle", 24.0, 13.0)
    check = intake.records["meter_checks"].iloc[0]
    assert (check["quantity"], check["reference"], check["observed"], check["unit"]) == ("haze", 5.0, 5.1, "EBC")
    target = intake.records["targets"].iloc[0]
    assert (target["quantity"], target["upper"], target["margin"]) == (
        "total_oxygen",
        pytest.approx(100),
        pytest.approx(15),
    )


def test_a_margin_is_a_difference_and_not_a_temperature(take_csv: Take) -> None:
    intake = take_csv("Recipe,Measure,Upper,Margin\nP40,temperature (°F),41,1.8\n")
    (row,) = intake.records["targets"].itertuples()
    assert (row.upper, row.margin) == (pytest.approx(5.0), pytest.approx(1.0))


def test_text_tables_with_decimal_commas_are_read(take_csv: Take) -> None:
    intake = take_csv("Batch;Date;Time;Quantity;Value;Unit\n#2417;31.12.2025;09:30;DO;0,031;mg/L\n")
    (row,) = intake.records["readings"].itertuples()
    assert (row.value, row.measured_at) == (pytest.approx(31.0), datetime(2025, 12, 31, 9, 30))


def test_dates_in_either_order_are_asked_about_and_the_remedy_answers(take_csv: Take) -> None:
    text = "Batch,Recipe,Brew date\n2417,P40,03/04/2026\n2418,P40,05/06/2026\n"
    intake = take_csv(text, name="brews.csv")
    (problem,) = intake.problems
    assert (problem.code, problem.severity, problem.column) == ("date-ambiguous", Severity.QUESTION, "Brew date")
    start = problem.remedy.index("{")
    document = json.loads(problem.remedy[start : problem.remedy.rindex("}") + 1])
    assert document == {"sheets": {"brews.csv/brews": {"dates": {"Brew date": "day-month"}}}}
    answered = take_csv(text, name="brews.csv", answers=SheetAnswers.from_document(document))
    assert answered.records["batches"]["brewed_on"].tolist() == [datetime(2026, 4, 3), datetime(2026, 6, 5)]


def test_dates_that_may_begin_with_their_year_are_asked_about_and_each_answer_is_taken(take_csv: Take) -> None:
    text = "Batch,Recipe,Brew date\n2417,P40,26-03-04\n2418,P40,26-03-05\n"
    intake = take_csv(text, name="brews.csv")
    (problem,) = intake.problems
    assert problem.message.startswith("Does “26-03-04” begin or end with its year?")
    (question,) = intake.sheets[0].questions
    assert question.choices == ("year-month-day", "day-month", "month-day")
    said = [SheetAnswers.from_document(json.loads(question.document(choice))) for choice in question.choices[:2]]
    years = [take_csv(text, name="brews.csv", answers=each).records["batches"]["brewed_on"].tolist() for each in said]
    assert years[0] == [datetime(2026, 3, 4), datetime(2026, 3, 5)]
    assert years[1] == [datetime(2004, 3, 26), datetime(2005, 3, 26)]


@pytest.mark.parametrize(("header", "cells"), [
    ("Brewed (yy-mm-dd)", ["26-03-04", "26-03-14"]),
    ("Brewed (yyyy/mm/dd)", ["2026/03/04", "2026/03/14"]),
    ("Brewed (YYYY-MM-DD)", ["04/03/2026", "14/03/2026"]),
])  # fmt: skip
def test_a_header_may_say_that_the_year_stands_first(take_csv: Take, header: str, cells: list[str]) -> None:
    intake = take_csv(f"Batch,Recipe,{header}\n1,P40,{cells[0]}\n2,P40,{cells[1]}\n")
    assert intake.records["batches"]["brewed_on"].tolist() == [datetime(2026, 3, 4), datetime(2026, 3, 14)]
    assert intake.problems == ()


def test_a_header_may_say_the_order_of_day_and_month(take_csv: Take) -> None:
    intake = take_csv("Batch,Recipe,Brew date (mm/dd/yyyy)\n2417,P40,03/04/2026\n")
    assert intake.records["batches"]["brewed_on"].tolist() == [datetime(2026, 3, 4)]


def test_three_digits_after_a_sign_are_asked_about(take_csv: Take) -> None:
    text = 'Run,Sample,DO (ppb)\nR1,1,"1,234"\n'
    intake = take_csv(text.replace(",", ";").replace("1;234", "1,234"))
    assert _codes(intake) == ["number-ambiguous"]
    answered = take_csv(text.replace(",", ";").replace("1;234", "1,234"), answers=SheetAnswers(Answers(decimal=".")))
    assert answered.records["readings"]["value"].tolist() == [1234.0]


def test_the_stage_is_told_by_the_vessel_or_the_run(take_csv: Take) -> None:
    intake = take_csv(
        "Batch,Run,Tank,Date,Test,Result\n1,,FV3,2026-03-01,pH,4.3\n1,,BBT1,2026-03-01,pH,4.3\n1,R1,,2026-03-01,pH,4.2\n"
    )
    assert intake.records["readings"]["stage"].tolist() == ["fermenter", "bright_tank", "pack"]


def test_merged_cells_and_ditto_marks_are_filled_from_above(take: Take) -> None:
    rows = [["Run", "Can", "DO (ppb)", "Meter"], ["R1", 1, 30, "OX1"], [None, 2, 31, '"'], [None, 3, 32, "ditto"]]
    readings = take({"S": rows}, merged={"S": [(1, 0, 3, 0)]}).records["readings"]
    assert readings[["run", "meter"]].values.tolist() == [["R1", "OX1"]] * 3


@pytest.mark.parametrize("header", ["F.V.", "FV no.", "FV"])
def test_a_column_of_numbers_under_fv_names_fermenters(take_csv: Take, header: str) -> None:
    intake = take_csv(
        f"Batch,Job,{header},Started\n2417,roused,3,2026-03-02 10:00\n2417,roused,FV 04,2026-03-03 10:00\n"
    )
    assert intake.records["operations"]["vessel"].tolist() == ["FV3", "FV4"]


def test_a_unit_column_is_the_unit_of_the_column_that_it_names(take_csv: Take) -> None:
    intake = take_csv("Batch,Recipe,Brewed,OG,Volume,Volume unit,Unit of OG\n1,P40,2026-03-02,1.048,2450,L,SG\n"
                      "2,P40,2026-03-03,12.0,24,hL,°P\n")  # fmt: skip
    batches = intake.records["batches"]
    assert batches["volume"].tolist() == [24.5, 24.0]
    assert batches["original_gravity"].tolist() == pytest.approx([11.9, 12.0], abs=0.1)
    assert intake.sheets[0].kept_as_extra == ()


def test_a_unit_column_of_targets_belongs_to_every_limit(take_csv: Take) -> None:
    intake = take_csv("Beer,What,Min,Max,Margin,Unit\nP40,TPO,,0.1,0.01,ppm\nP40,Haze,2,6,0.4,NTU\n")
    targets = intake.records["targets"]
    assert targets["upper"].tolist() == pytest.approx([100.0, 1.5])
    assert targets["margin"].tolist() == pytest.approx([10.0, 0.1])
    assert intake.problems == ()


def test_targets_without_a_unit_are_told_by_their_numbers_or_asked_about(take_csv: Take) -> None:
    text = "Beer,Measure,Max,Margin\nP40,TPO,0.1,0.01\nP40,Haze,6,0.4\n"
    intake = take_csv(text, name="aims.csv")
    asked, taken = intake.problems
    assert (asked.code, asked.severity) == ("unit-ambiguous", Severity.QUESTION)
    assert taken.message.startswith("No unit is written; total oxygen in mg/L was taken")
    assert intake.records["targets"]["upper"].tolist() == pytest.approx([100.0])
    (question,) = intake.sheets[0].questions
    said = SheetAnswers.from_document(json.loads(question.document("NTU")))
    answered = take_csv(text, name="aims.csv", answers=said).records["targets"]
    assert answered["upper"].tolist() == pytest.approx([100.0, 1.5])
    assert answered["margin"].tolist() == pytest.approx([10.0, 0.1])


@pytest.mark.parametrize(("header", "kept"), [("Panel session", False), ("Tasting week", False), ("Old hops", True)])
def test_a_column_about_the_session_is_no_attribute(take_csv: Take, header: str, kept: bool) -> None:
    intake = take_csv(f"Run,Tasted on,Taster,Papery,{header}\nR1,2026-03-02,AB,2,1\nR1,2026-03-02,CD,3,2\n")
    assert (header in intake.sheets[0].kept_as_extra) is not kept
    assert ("old_hops" in intake.records["tastings"]["attribute"].tolist()) is kept
