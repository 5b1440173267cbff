"""May a check in air-saturated water do without its reference, where temperature and air pressure are written?"""

from __future__ import annotations

import json
from collections.abc import Callable

import pandas as pd
import pytest

from analysis.findings.meter_deviations import deviations
from analysis.problems import Severity
from analysis.records import Intake
from analysis.records.air_saturated import AirSaturated, air_saturated, says_air_saturated

Take = Callable[..., Intake]
HEAD = "Meter,Date checked,Quantity,Reference,Observed,Units,Water temp (°C),Air pressure (mbar)\n"


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        ({"Temperature (°C)": "20", "Air pressure (mbar)": "1013.25"}, (20.0, 101.325)),
        ({"Water temp °F": "68", "Barometer (hPa)": "1013.25"}, (20.0, 101.325)),
        ({"Temp": "20 °C", "Pressure": "101.325"}, (20.0, 101.325)),
        ({"temp": "20,0", "pressure": "1013,25"}, (20.0, 101.325)),
        ({"Temperature": "68 °F", "Barometric pressure": "14.6959 psi"}, (20.0, 101.325)),
        ({"Temperature (°C)": "20"}, None),
        ({"Temperature (°C)": "60", "Pressure": "101"}, None),
        ({"Temperature (°C)": "20", "Pressure": "3"}, None),
        ({"Temperature (°C)": "cold", "Pressure": "101"}, None),
        ({}, None),
    ],
)
def test_temperature_and_pressure_are_read_in_their_units(cells, found):
    told = air_saturated(cells)
    if found is None:
        assert told is None
    else:
        assert (told.temperature, told.pressure) == pytest.approx(found, abs=1e-3)


def test_words_for_air_are_told_from_numbers():
    assert all(
        says_air_saturated(text)
        for text in ("air-saturated water", "Air sat.", "in air", "100 % saturation", "100 % sat.")
    )
    assert not any(says_air_saturated(text) for text in ("9092", "9.09 ppm in air 20", "fair", ""))


@pytest.mark.parametrize("reference", ["", "air-saturated water"])
def test_a_check_in_air_saturated_water_needs_no_reference(take_csv: Take, reference: str):
    """At 20 °C and one atmosphere water holds 9.0924 mg/L: Benson and Krause 1984 in APHA 4500-O, read in excerpt."""
    intake = take_csv(HEAD + f"OX1,2026-03-02,dissolved oxygen,{reference},9183,µg/L,20,1013.25\n")
    assert [p for p in intake.problems if p.severity is Severity.REJECTED] == []
    checks = intake.records["meter_checks"]
    assert checks["reference"].isna().all()
    told = deviations(checks)
    assert (told.computed, told.left_out) == (1, 0)
    assert told.levels["reference"].iloc[0] == pytest.approx(9092.4, abs=10)
    assert told.levels["deviation"].iloc[0] == pytest.approx(0.01, abs=0.0015)


@pytest.mark.parametrize(
    "row",
    [
        "OX1,2026-03-02,dissolved oxygen,,9183,µg/L,,1013",
        "OX1,2026-03-02,dissolved oxygen,air,9183,µg/L,20,",
        "OX1,2026-03-02,dissolved oxygen,,9183,µg/L,20,3",
        "HZ1,2026-03-02,haze,,1.02,EBC,20,1013",
    ],
)
def test_a_check_whose_reference_nothing_tells_is_rejected_and_says_what_would_do(take_csv: Take, row: str):
    intake = take_csv(HEAD + row + "\n")
    (problem,) = [p for p in intake.problems if p.severity is Severity.REJECTED]
    assert (problem.code, problem.row, problem.column) == ("value-needed", 2, "Reference")
    assert "no reference" in problem.message
    assert "water's temperature and the air pressure" in problem.remedy


def test_a_reference_that_is_no_number_is_rejected_once(take_csv: Take):
    intake = take_csv(HEAD + "OX1,2026-03-02,dissolved oxygen,lots,9183,µg/L,,\n")
    assert [p.code for p in intake.problems if p.severity is Severity.REJECTED] == ["number-unreadable"]


def test_a_rows_own_cells_say_it_and_no_other_rows(take_csv: Take):
    intake = take_csv(
        HEAD + "OX1,2026-03-02,dissolved oxygen,,9183,µg/L,20,1013.25\nOX1,2026-03-09,dissolved oxygen,,9183,µg/L,,\n"
    )
    assert (intake.sheets[0].accepted, intake.sheets[0].rejected) == (1, 1)


def test_both_facts_are_needed():
    frame = pd.DataFrame(
        {
            "meter": "OX1", "checked_at": pd.Timestamp("2026-03-02"), "quantity": "dissolved_oxygen",
            "reference": [float("nan")] * 2, "observed": 9183.0,
            "extra": [json.dumps({"Temp (°C)": "20"}), json.dumps({"Temp (°C)": "20", "Pressure (kPa)": "80"})],
        }
    )  # fmt: skip
    told = deviations(frame)
    assert (told.computed, told.left_out) == (1, 1)
    assert told.levels["reference"].iloc[0] == pytest.approx(7135, abs=10)
    assert air_saturated({"Temp (°C)": "20", "Pressure (kPa)": "80"}) == AirSaturated(20.0, 80.0)
