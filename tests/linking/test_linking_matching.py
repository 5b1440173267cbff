"""Does every record find its batch and run, and is what does not counted with its reason?"""

from __future__ import annotations

from typing import Any

import pytest

from analysis.linking import PackTable, link

BATCHES = [
    {"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-03", "volume": 20.0, "vessel": "FV3"},
    {"batch": "2418", "recipe": "I62", "brewed_on": "2026-05-20", "volume": 20.0, "vessel": "FV3"},
    {"batch": "2417", "recipe": "W33", "brewed_on": "2025-04-01", "volume": 30.0, "vessel": "FV1"},
]
RUNS = [
    {"run": "R1", "batch": "2417", "packed_at": "2026-05-22 14:00", "format": "can"},
    {"run": "R1", "batch": "2417", "packed_at": "2025-04-20 09:00", "format": "can"},
    {"run": "R2", "batch": "2418", "packed_at": "2026-06-10 09:00", "format": "can"},
    {"run": "R3", "batch": "2418", "packed_at": "2026-06-12 09:00", "format": "keg"},
]
TRANSFERS = [
    {"from_batch": "2417", "to_batch": "2417", "from_vessel": "FV3", "to_vessel": "BT1", "moved_at": "2026-05-19 10:00"}
]


def _reasons(table: PackTable, kind: str) -> dict[str, int]:
    rows = table.unlinked[table.unlinked["kind"] == kind]
    return dict(zip(rows["reason"], rows["count"], strict=True))


def _operations(cellar: Any, *operations: dict[str, Any]) -> PackTable:
    rows = [{"operation": "rouse", **operation} for operation in operations]
    return link(cellar(batches=BATCHES, pack_runs=RUNS, transfers=TRANSFERS, operations=rows))


def _readings(cellar: Any, *readings: dict[str, Any]) -> PackTable:
    rows = [{"quantity": "haze", "value": 1.0, **reading} for reading in readings]
    return link(cellar(batches=BATCHES, pack_runs=RUNS, transfers=TRANSFERS, readings=rows))


@pytest.mark.parametrize("written", ["2418", "#2418", "G2418", "2418.0"])
def test_by_batch_number(cellar: Any, written: str) -> None:
    table = _operations(cellar, {"batch": written, "started_at": "2026-05-25 09:00"})
    assert table.operations["batch"].tolist() == ["2418"]
    assert table.evidence["how"].tolist() == ["by batch number"]


def test_a_number_that_comes_round_again(cellar: Any) -> None:
    table = _operations(
        cellar,
        {"batch": "2417", "started_at": "2025-04-10 09:00"},
        {"batch": "2417", "started_at": "2026-05-10 09:00"},
        {"batch": "2417", "started_at": None},
        {"batch": "2417", "started_at": "2025-11-11"},
    )
    assert table.operations["batch"].tolist() == ["2417 (2025)", "2417 (2026)"]
    assert table.operations["recipe"].tolist() == ["W33", "P40"]
    assert table.evidence["how"].tolist() == [
        "by batch number and date: the 2417 of 1 Apr 2025",
        "by batch number and date: the 2417 of 3 May 2026",
    ]
    assert _reasons(table, "operations") == {
        "no date, and the batch number has been used more than once: write the date beside it": 1,
        "dated after the batch of that number had left the cellar": 1,
    }


@pytest.mark.parametrize(
    ("batch", "started_at", "found", "how"),
    [
        (None, "2026-05-04 09:00", "2417 (2026)", "by tank FV3 and time: 2417 stood there from 3 to 19 May 2026"),
        (None, "2026-05-19 09:00", "2417 (2026)", "by tank FV3 and time: 2417 stood there from 3 to 19 May 2026"),
        (None, "2026-05-21", "2418", "by tank FV3 and time: 2418 stood there from 20 May to 12 Jun 2026"),
        (
            "2471",
            "2026-05-21",
            "2418",
            "by tank FV3 and time: 2418 stood there from 20 May to 12 Jun 2026 (the row says 2471)",
        ),
    ],
)
def test_by_vessel_and_time(cellar: Any, batch: str | None, started_at: str, found: str, how: str) -> None:
    table = _operations(cellar, {"batch": batch, "vessel": "fv 3", "started_at": started_at})
    assert table.operations["batch"].tolist() == [found]
    assert table.evidence["how"].tolist() == [how]


def test_a_vessel_that_stood_empty(cellar: Any) -> None:
    table = _operations(
        cellar,
        {"batch": None, "vessel": "FV3", "started_at": "2026-05-19 23:00"},
        {"batch": None, "vessel": "FV9", "started_at": "2026-05-10 09:00"},
        {"batch": "9999", "vessel": "FV9", "started_at": "2026-05-10 09:00"},
    )
    assert table.operations.empty
    assert _reasons(table, "operations") == {
        "no batch number, and no batch is known to have stood in that tank then": 2,
        "the batch number is not on record, and no batch is known to have stood in that tank then": 1,
    }


def test_a_number_that_does_not_fit_the_date_is_not_settled_by_the_tank(cellar: Any) -> None:
    table = _operations(cellar, {"batch": "2417", "vessel": "FV3", "started_at": "2026-06-05"})
    assert table.operations.empty
    assert _reasons(table, "operations") == {"dated after the batch of that number had left the cellar": 1}


def test_the_number_is_believed_before_the_vessel(cellar: Any) -> None:
    table = _operations(cellar, {"batch": "2418", "vessel": "BT1", "started_at": "2026-05-21"})
    assert table.operations["batch"].tolist() == ["2418"]


def test_a_run_number_that_comes_round_again(cellar: Any) -> None:
    table = _readings(
        cellar,
        {"run": "R1", "stage": "pack", "measured_at": "2025-04-21"},
        {"run": "R1", "stage": "pack", "measured_at": "2026-05-22"},
        {"run": "R1", "stage": "pack", "measured_at": "2025-04-01"},
        {"run": "R1", "stage": "pack", "measured_at": None},
        {"run": "R7", "stage": "pack", "measured_at": "2026-05-22"},
        {"run": None, "stage": "pack", "measured_at": "2026-05-22"},
    )
    assert table.rows["run"].tolist() == ["R1 (2025)", "R1 (2026)"]
    assert table.rows["batch"].tolist() == ["2417 (2025)", "2417 (2026)"]
    assert table.rows["age_days"].tolist() == pytest.approx([15 / 24, 0.0])
    assert sum(_reasons(table, "readings").values()) == 4


def test_run_numbers_that_begin_again_with_every_batch(cellar: Any) -> None:
    runs = [{"run": "1", "batch": b, "packed_at": f"2026-06-0{d} 09:00"} for b, d in (("2417", 1), ("2418", 2))]
    readings = [
        {"run": "1", "batch": b, "stage": "pack", "measured_at": "2026-06-03", "quantity": "haze", "value": v}
        for b, v in (("2417", 1.0), ("2418", 2.0))
    ]
    table = link(cellar(batches=BATCHES[:2], pack_runs=runs, readings=readings))
    assert table.rows.set_index("batch")["haze"].to_dict() == {"2417": 1.0, "2418": 2.0}
    assert set(table.rows["run"]) == {"1 (2026-06-01)", "1 (2026-06-02)"}
    assert set(table.evidence["how"]) == {"by run number and batch number"}


def test_a_pack_reading_that_names_only_its_batch(cellar: Any) -> None:
    table = _readings(
        cellar,
        {"batch": "2417", "stage": "pack", "measured_at": "2026-05-25"},
        {"batch": "2418", "stage": "pack", "measured_at": "2026-06-11"},
        {"batch": "2418", "stage": "pack", "measured_at": "2026-06-12"},
        {"batch": "2418", "stage": "pack", "measured_at": "2026-07-12"},
        {"batch": "2418", "stage": "pack", "measured_at": "2026-06-01"},
    )
    pack = table.evidence.set_index("record")[["run", "how"]]
    assert pack.loc[1].tolist() == ["R1 (2026)", "by batch number: its only run by then"]
    assert pack.loc[2].tolist() == ["R2", "by batch number: its only run by then"]
    assert pack.loc[3].tolist() == ["R3", "by batch number and packing day"]
    assert _reasons(table, "readings") == {
        "the row names no run on record, and its batch was packed in several": 1,
        "the row names no run on record, and its batch is not known to have been packed by then": 1,
    }


def test_readings_in_the_cellar(cellar: Any) -> None:
    table = _readings(
        cellar,
        {"batch": "2417", "stage": "fermenter", "measured_at": "2026-05-10"},
        {"batch": None, "vessel": "BT1", "stage": "bright_tank", "measured_at": "2026-05-20"},
        {"batch": None, "vessel": None, "stage": "bright_tank", "measured_at": "2026-05-20"},
    )
    assert table.readings["batch"].tolist() == ["2417 (2026)", "2417 (2026)"]
    assert table.readings["tank"].tolist() == ["FV3", "BT1"]
    assert table.readings["run"].isna().all()
    assert table.rows.empty
    assert sum(_reasons(table, "readings").values()) == 1


def test_tastings_and_difference_tests(cellar: Any) -> None:
    score = {"panellist": "AB", "attribute": "Wet paper", "score": 3.0}
    tastings = [{**score, "run": "R2", "tasted_on": "2026-07-10"}, {**score, "run": "R9", "tasted_on": "2026-07-10"}]
    tests = [{"run": "R9", "tasters": 24, "correct": 13, "tasted_on": "2026-07-10"}]
    table = link(cellar(batches=BATCHES, pack_runs=RUNS, tastings=tastings, taste_tests=tests))
    assert table.tastings[["run", "batch", "recipe", "attribute"]].to_numpy().tolist() == [
        ["R2", "2418", "I62", "wet_paper"]
    ]
    assert table.tastings["age_days"].tolist() == pytest.approx([29 + 15 / 24])
    assert _reasons(table, "tastings") == _reasons(table, "taste_tests") == {"the run number is not on record": 1}


def test_runs_of_a_batch_that_is_not_listed(cellar: Any) -> None:
    runs = [{"run": "R5", "batch": "777", "packed_at": "2026-06-01"}]
    log = [{"batch": "777", "operation": "dump", "started_at": "2026-05-20"}]
    reading = {"run": "R5", "stage": "pack", "measured_at": "2026-06-02", "quantity": "haze", "value": 1.0}
    table = link(cellar(batches=BATCHES, pack_runs=runs, operations=log, readings=[reading]))
    row = table.rows.iloc[0]
    assert row["batch"] == "777"
    assert row["cone_dumps"] == 1
    assert row[["recipe"]].isna().all()
    assert _reasons(table, "pack_runs") == {"the batch is not on the batch list: its recipe is not known": 1}


def test_rows_about_one_batch_are_joined(cellar: Any) -> None:
    double = [
        {"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-03", "volume": 10.0},
        {"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-04", "volume": 12.0},
        {"batch": "2417", "recipe": "P40", "brewed_on": None, "vessel": "FV3"},
    ]
    table = link(cellar(batches=double))
    assert table.batches[["batch", "volume", "vessel"]].to_numpy().tolist() == [["2417", 22.0, "FV3"]]
    assert sum(_reasons(table, "batches").values()) == 2
