"""Where run and batch numbers begin again each January: does every record find the run of its own year?"""

from __future__ import annotations

from typing import Any

import pytest

from analysis.linking import PackTable, link

BATCHES = [
    {"batch": "1", "recipe": "P40", "brewed_on": "2025-01-03", "volume": 20.0, "vessel": "FV1"},
    {"batch": "98", "recipe": "I62", "brewed_on": "2024-12-12", "volume": 20.0, "vessel": "FV2"},
    {"batch": "98", "recipe": "S12", "brewed_on": "2025-12-11", "volume": 20.0, "vessel": "FV2"},
    {"batch": "1", "recipe": "W33", "brewed_on": "2026-01-05", "volume": 30.0, "vessel": "FV1"},
]
RUNS = [
    {"run": "1", "batch": "98", "packed_at": "2025-01-02 09:00", "format": "can"},
    {"run": "2", "batch": "1", "packed_at": "2025-01-24 09:00", "format": "can"},
    {"run": "1", "batch": "98", "packed_at": "2026-01-02 09:00", "format": "can"},
    {"run": "2", "batch": "1", "packed_at": "2026-01-26 09:00", "format": "can"},
]
DO = {"quantity": "dissolved_oxygen", "stage": "pack", "sample": "1", "value": 40.0}


def _reasons(table: PackTable, kind: str) -> dict[str, int]:
    rows = table.unlinked[table.unlinked["kind"] == kind]
    return dict(zip(rows["reason"], rows["count"], strict=True))


def _linked(cellar: Any, *readings: dict[str, Any], **kinds: Any) -> PackTable:
    return link(cellar(batches=BATCHES, pack_runs=RUNS, readings=[{**DO, **reading} for reading in readings], **kinds))


def test_a_december_brew_packed_in_january_is_last_year_s_batch(cellar: Any) -> None:
    table = _linked(
        cellar,
        {"run": "1", "batch": "98", "measured_at": "2025-01-03"},
        {"run": "1", "batch": "98", "measured_at": "2026-01-03"},
    )
    told = table.rows[["run", "batch", "recipe"]].to_numpy().tolist()
    assert told == [["1 (2025)", "98 (2024)", "I62"], ["1 (2026)", "98 (2025)", "S12"]]


def test_a_reading_without_a_date_of_its_own_goes_by_its_run_s(cellar: Any) -> None:
    table = _linked(
        cellar,
        {"run": "2", "batch": "1", "packed_at": "2025-01-24"},
        {"run": "2", "batch": "1", "packed_at": "2026-01-24", "value": 50.0},
        {"run": "2", "packed_at": "2026-01-26", "sample": "2", "value": 60.0},
    )
    assert table.rows[["run", "sample", "dissolved_oxygen"]].to_numpy().tolist() == [
        ["2 (2025)", "1", 40.0], ["2 (2026)", "1", 50.0], ["2 (2026)", "2", 60.0],
    ]  # fmt: skip
    assert table.evidence["how"].tolist() == [
        "by run number, batch number and packing date",
        "by run number, batch number and packing date",
        "by run number and packing date",
    ]
    assert table.rows["measured_at"].isna().all()
    assert table.rows["age_days"].isna().all()


def test_a_pack_that_was_opened_a_year_later_is_of_the_run_that_its_row_names(cellar: Any) -> None:
    late = {"run": "2", "batch": "1", "measured_at": "2026-03-01"}
    table = _linked(cellar, {**late, "packed_at": "2025-01-24"}, {**late, "sample": "2"})
    told = table.rows.sort_values("sample")[["sample", "run"]].to_numpy().tolist()
    assert told == [["1", "2 (2025)"], ["2", "2 (2026)"]]


def test_a_reading_that_could_be_of_two_years_is_not_linked_and_says_what_to_write(cellar: Any) -> None:
    table = _linked(cellar, {"run": "2"}, {"batch": "1", "sample": "2"})
    assert table.rows.empty
    assert _reasons(table, "readings") == {
        "no date, and the run number has been used more than once: write the date beside it": 1,
        "no date, and the batch number has been used more than once: write the date beside it": 1,
    }


def test_tastings_and_cellar_work_go_by_their_dates(cellar: Any) -> None:
    score = {"panellist": "AB", "attribute": "papery", "score": 3.0}
    work = [
        {"batch": "98", "operation": "rouse", "started_at": day, "minutes": 10.0}
        for day in ("2024-12-30", "2026-01-01", "2025-12-31")
    ]
    table = _linked(
        cellar,
        {"run": "1", "batch": "98", "measured_at": "2025-01-03"},
        {"run": "1", "batch": "98", "measured_at": "2026-01-03"},
        operations=work,
        tastings=[{**score, "run": "1", "tasted_on": day} for day in ("2025-03-01", "2026-03-01", None)],
    )
    assert table.operations["batch"].tolist() == ["98 (2024)", "98 (2025)", "98 (2025)"]
    assert table.rows["rouse_count"].tolist() == [1, 2]
    assert table.tastings["run"].tolist() == ["1 (2025)", "1 (2026)"]
    assert _reasons(table, "tastings") == {
        "no date, and the run number has been used more than once: write the date beside it": 1
    }


def test_a_packing_date_that_was_corrected_by_some_days_still_names_its_run(cellar: Any) -> None:
    table = _linked(cellar, {"run": "1", "batch": "98", "packed_at": "2025-12-30"})
    assert table.rows["run"].tolist() == ["1 (2026)"]


def test_two_lines_with_the_same_run_numbers(cellar: Any) -> None:
    runs = [{"run": "1", "batch": "98", "packed_at": f"{year}-01-02", "line": "L1"} for year in (2025, 2026)] + [
        {"run": "1", "batch": "97", "packed_at": f"{year}-01-02", "line": "L2"} for year in (2025, 2026)
    ]
    readings = [
        {**DO, "run": "1", "batch": batch, "packed_at": f"{year}-01-02", "value": value}
        for batch, year, value in (("98", 2025, 1.0), ("97", 2025, 2.0), ("98", 2026, 3.0), ("97", 2026, 4.0))
    ]
    rows = link(cellar(pack_runs=runs, readings=readings)).rows
    assert rows["run"].nunique() == 4
    told = sorted(zip(rows["packed_at"].dt.year, rows["line"], rows["dissolved_oxygen"], strict=True))
    assert told == [(2025, "L1", 1.0), (2025, "L2", 2.0), (2026, "L1", 3.0), (2026, "L2", 4.0)]


def test_a_blend_of_last_year_s_batches_is_not_one_of_this_year_s(cellar: Any) -> None:
    moves = [
        {"from_batch": "98", "to_batch": "1", "volume": 10.0, "moved_at": day, "to_vessel": "BT1"}
        for day in ("2025-01-20", "2026-01-20")
    ]
    table = _linked(
        cellar,
        {"run": "2", "batch": "1", "measured_at": "2025-01-25"},
        {"run": "2", "batch": "1", "measured_at": "2026-01-27"},
        transfers=moves,
    )
    shares = {run: dict(zip(own["batch"], own["share"], strict=True)) for run, own in table.blends.groupby("run")}
    assert shares["2 (2025)"] == pytest.approx({"98 (2024)": 1 / 3, "1 (2025)": 2 / 3})
    assert shares["2 (2026)"] == pytest.approx({"98 (2025)": 1 / 4, "1 (2026)": 3 / 4})


def test_a_brewery_that_began_in_autumn_and_has_no_batch_list(cellar: Any) -> None:
    runs = [
        {"run": str(n), "batch": str(n), "packed_at": day}
        for n, day in ((1, "2025-10-20"), (2, "2025-11-10"), (1, "2026-01-26"), (2, "2026-02-16"))
    ]
    readings = [{**DO, "run": run["run"], "batch": run["batch"], "packed_at": run["packed_at"]} for run in runs]
    rows = link(cellar(pack_runs=runs, readings=readings)).rows
    assert rows[["run", "batch"]].to_numpy().tolist() == [
        ["1 (2025)", "1 (2025)"], ["2 (2025)", "2 (2025)"], ["1 (2026)", "1 (2026)"], ["2 (2026)", "2 (2026)"],
    ]  # fmt: skip


def test_a_batch_packed_on_both_sides_of_new_year_is_one(cellar: Any) -> None:
    runs = [
        {"run": "48", "batch": "40", "packed_at": "2025-10-20"},
        {"run": "2", "batch": "40", "packed_at": "2026-01-26"},
    ]
    rows = link(cellar(pack_runs=runs, readings=[{**DO, "run": run["run"], "batch": "40"} for run in runs])).rows
    assert rows["batch"].tolist() == ["40", "40"]
