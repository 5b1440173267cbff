"""Is every finished-pack sample one row, with what was read in it and no more?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.linking import PackTable, link

BATCH = {"batch": "1", "recipe": "P40", "brewed_on": "2026-05-01"}
RUN = {
    "run": "R1",
    "batch": "1",
    "packed_at": "2026-05-30 14:00",
    "size": 440.0,
    "headspace": 20.0,
    "fill_temperature": 2.0,
}
DAY = "2026-06-02"


def _read(quantity: str, value: float, **more: Any) -> dict[str, Any]:
    return {"run": "R1", "stage": "pack", "measured_at": DAY, "quantity": quantity, "value": value, **more}


def _packs(cellar: Any, *readings: dict[str, Any], run: dict[str, Any] = RUN) -> PackTable:
    return link(cellar(batches=[BATCH], pack_runs=[run], readings=list(readings)))


def _values(table: PackTable, *names: str) -> list[list[Any]]:
    return table.rows[list(names)].to_numpy(dtype=object).tolist()


def test_one_row_a_sample_number_and_day(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("haze", 1.0, sample="1"),
        _read("dissolved_oxygen", 30.0, sample="1"),
        _read("haze", 2.0, sample="2"),
        _read("haze", 3.0, sample="1", measured_at="2026-07-02"),
    )
    assert _values(table, "sample", "haze") == [["1", 1.0], ["2", 2.0], ["1", 3.0]]
    assert table.rows["dissolved_oxygen"].isna().tolist() == [False, True, True]
    assert table.rows["age_days"].round(3).tolist() == [2.417, 2.417, 32.417]


def test_a_pack_that_went_on_to_the_laboratory_is_one_row(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("dissolved_oxygen", 30.0, sample="1"),
        _read("haze", 1.0, sample="1", measured_at="2026-06-04"),
        _read("dissolved_oxygen", 31.0, sample="2"),
        _read("dissolved_oxygen", 32.0, sample="2", measured_at="2026-06-03"),
        _read("dissolved_oxygen", 33.0, sample="3"),
        _read("haze", 3.0, sample="3", measured_at="2026-07-30"),
        _read("haze", 4.0, sample="4"),
        _read("haze", 5.0, sample="4", measured_at=None),
    )
    found = table.rows.sort_values(["sample", "measured_at"])[["sample", "dissolved_oxygen", "haze"]].fillna(-1)
    assert found.to_numpy().tolist() == [
        ["1", 30.0, 1.0],
        ["2", 31.0, -1.0],
        ["2", 32.0, -1.0],
        ["3", 33.0, -1.0],
        ["3", -1.0, 3.0],
        ["4", -1.0, 4.0],
        ["4", -1.0, 5.0],
    ]
    assert table.rows.loc[table.rows["sample"] == "1", "measured_at"].tolist() == [pd.Timestamp(DAY)]


def test_samples_without_a_number_get_one_in_order(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("haze", 1.0, measured_at=f"{DAY} 10:00"),
        _read("haze", 2.0, measured_at=f"{DAY} 09:00"),
        _read("dissolved_oxygen", 30.0, measured_at=f"{DAY} 09:00"),
        _read("dissolved_oxygen", 40.0, measured_at=f"{DAY} 10:00"),
    )
    rows = table.rows.set_index("sample")
    assert rows["haze"].to_dict() == {"1": 2.0, "2": 1.0}
    assert rows["dissolved_oxygen"].to_dict() == {"1": 30.0, "2": 40.0}


def test_replicate_numbers_make_one_sample(cellar: Any) -> None:
    table = _packs(cellar, *(_read("haze", v, replicate=str(i)) for i, v in enumerate((1.0, 2.0, 3.0))))
    assert _values(table, "sample", "haze", "haze_n") == [["1", 2.0, 3]]


def test_unnumbered_samples_stand_behind_numbered_ones(cellar: Any) -> None:
    table = _packs(cellar, _read("haze", 1.0, sample="A"), _read("haze", 2.0), _read("haze", 3.0))
    assert sorted(_values(table, "sample", "haze")) == [["2", 2.0], ["3", 3.0], ["A", 1.0]]


def test_a_wide_sheet_keeps_its_rows_together(cellar: Any) -> None:
    sheet = {"file": "cans.xlsx", "sheet": "2026"}
    table = _packs(
        cellar,
        _read("haze", 1.0, source_row=5, **sheet),
        _read("dissolved_oxygen", 30.0, source_row=5, **sheet),
        _read("haze", 2.0, source_row=6, **sheet),
        _read("haze", 3.0, source_row=7, **sheet),
        _read("dissolved_oxygen", 50.0, source_row=7, **sheet),
    )
    rows = table.rows.set_index("sample")
    assert rows["haze"].to_dict() == {"1": 1.0, "2": 2.0, "3": 3.0}
    assert rows["dissolved_oxygen"].to_dict() == pytest.approx({"1": 30.0, "2": np.nan, "3": 50.0}, nan_ok=True)


@pytest.mark.parametrize(
    ("readings", "kept"),
    [
        ([(7.0, None), (9.0, None)], (8.0, 0, 2)),
        ([(5.0, "<"), (5.0, "<")], (5.0, -1, 2)),
        ([(5.0, "<"), (7.0, None)], (7.0, -1, 2)),
        ([(5.0, "<"), (3.0, "<")], (5.0, -1, 2)),
        ([(100.0, ">"), (90.0, None)], (90.0, 1, 2)),
        ([(5.0, "<")], (5.0, -1, 1)),
    ],
)
def test_replicates(cellar: Any, readings: list[tuple[float, str | None]], kept: tuple[float, int, int]) -> None:
    rows = [_read("haze", value, sign=sign, sample="1") for value, sign in readings]
    assert _values(_packs(cellar, *rows), "haze", "haze_censored", "haze_n") == [list(kept)]


def test_below_one_limit_and_above_another_is_nothing(cellar: Any) -> None:
    table = _packs(cellar, _read("haze", 5.0, sign="<", sample="1"), _read("haze", 9.0, sign=">", sample="1"))
    assert np.isnan(table.rows["haze"].iloc[0])


def test_the_meter_is_kept_with_its_measure(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("haze", 1.0, sample="1", meter="M1"),
        _read("haze", 2.0, sample="1", meter="M2"),
        _read("dissolved_oxygen", 20.0, sample="1", meter="M3"),
    )
    assert _values(table, "haze_meter", "dissolved_oxygen_meter") == [["mixed", "M3"]]


def test_only_packs_are_rows_and_a_run_without_a_stage_is_a_pack(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("haze", 1.0, stage=None, sample="1"),
        _read("haze", 2.0, stage="filler", sample="2"),
        _read("haze", 3.0, stage="bright_tank", sample="3"),
    )
    assert _values(table, "sample", "haze") == [["1", 1.0]]
    assert table.readings["stage"].tolist() == ["pack", "filler", "bright_tank"]
    assert table.readings["run"].tolist() == ["R1", "R1", "R1"]


def test_a_cold_and_a_warm_haze_are_no_replicates(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("haze", 2.0, sample="1", temperature=0.0),
        _read("haze", 0.8, sample="1", temperature=20.0),
        _read("haze", 1.5, sample="2", temperature=0.0),
        _read("haze", 2.0, sample="3", temperature=0.0),
        _read("haze", 0.9, sample="3", temperature=20.0),
        _read("chill_haze", 1.0, sample="3"),
    )
    rows = table.rows.set_index("sample")
    assert rows["haze"].to_dict() == {"1": 0.8, "2": 1.5, "3": 0.9}
    assert rows["chill_haze"].to_dict() == pytest.approx({"1": 1.2, "2": np.nan, "3": 1.0}, nan_ok=True)
    assert rows["chill_haze_computed"].to_dict() == {"1": True, "2": False, "3": False}
    assert table.measures == ("haze", "chill_haze")


def test_total_oxygen_of_a_shaken_can(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("dissolved_oxygen", 40.0, sample="1", temperature=20.0, meter="M1"),
        _read("dissolved_oxygen", 40.0, sample="2", temperature=20.0, sign="<"),
        _read("dissolved_oxygen", 40.0, sample="3"),
        _read("temperature", 20.0, sample="3"),
        _read("dissolved_oxygen", 40.0, sample="4"),
        _read("dissolved_oxygen", 40.0, sample="5", temperature=60.0),
    )
    rows = table.rows.set_index("sample")
    # 440 mL of beer under 20 mL of gas at 20 °C: 94.43 µg/L by a second computation of the same equations.
    assert rows["total_oxygen"].round(2).to_dict() == pytest.approx(
        {"1": 94.43, "2": 94.43, "3": 94.43, "4": np.nan, "5": np.nan}, nan_ok=True
    )
    assert rows["total_oxygen_censored"].tolist() == [0, -1, 0, 0, 0]
    assert rows["total_oxygen_computed"].tolist() == [True, True, True, False, False]
    assert rows["total_oxygen_meter"].iloc[0] == "M1"
    counts = table.unlinked.set_index("reason")["count"].to_dict()
    assert counts == {
        "total oxygen not computed: the temperature of the shaken pack is not on record": 1,
        "total oxygen not computed: the temperature of the shaken pack is outside 0 to 40 °C": 1,
    }


@pytest.mark.parametrize(
    ("change", "reason"),
    [({"size": None}, "the run has no pack size"), ({"headspace": None}, "the run has no headspace volume")],
)
def test_total_oxygen_needs_the_pack(cellar: Any, change: dict[str, Any], reason: str) -> None:
    table = _packs(cellar, _read("dissolved_oxygen", 40.0, temperature=20.0), run={**RUN, **change})
    assert table.measures == ("dissolved_oxygen",)
    assert table.unlinked["reason"].tolist() == [f"total oxygen not computed: {reason}"]


@pytest.mark.parametrize("beside", ["total_oxygen", "headspace_oxygen"])
def test_total_oxygen_is_not_computed_beside_packs_read_otherwise(cellar: Any, beside: str) -> None:
    table = _packs(
        cellar,
        _read("dissolved_oxygen", 40.0, sample="1", temperature=20.0),
        _read("dissolved_oxygen", 40.0, sample="2", temperature=20.0),
        _read(beside, 0.1, sample="1"),
    )
    computed = table.rows.get("total_oxygen_computed", pd.Series([False]))
    assert not computed.any()
    assert table.unlinked.empty


def test_a_pack_that_was_not_shaken(cellar: Any) -> None:
    table = _packs(
        cellar,
        _read("dissolved_oxygen", 40.0, sample="1", temperature=20.0, extra='{"Shaken?": "y"}'),
        _read("dissolved_oxygen", 40.0, sample="2", temperature=20.0, extra='{"Shaken?": "n"}'),
    )
    assert table.rows["total_oxygen_computed"].tolist() == [True, False]
    assert table.unlinked["reason"].tolist() == ["total oxygen not computed: the pack was not shaken"]
