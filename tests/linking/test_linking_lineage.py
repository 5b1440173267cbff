"""Do splits and blends share out beer and cellar work as the beer went?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.linking import PackTable, link


def _batch(number: str, day: str, volume: float | None = 20.0, **more: Any) -> dict[str, Any]:
    return {"batch": number, "recipe": "P40", "brewed_on": day, "volume": volume, **more}


def _moved(source: str, target: str, at: str | None, volume: float | None = None, **more: Any) -> dict[str, Any]:
    return {"from_batch": source, "to_batch": target, "moved_at": at, "volume": volume, **more}


def _rouse(batch: str, at: str, minutes: float = 15.0) -> dict[str, Any]:
    return {"batch": batch, "operation": "rouse", "started_at": at, "minutes": minutes}


def _run(batch: str, at: str = "2026-05-30 14:00", run: str = "R1") -> dict[str, Any]:
    return {"run": run, "batch": batch, "packed_at": at, "format": "can"}


def _read(run: str = "R1") -> dict[str, Any]:
    return {"run": run, "stage": "pack", "measured_at": "2026-06-02", "quantity": "haze", "value": 1.0}


def _shares(table: PackTable, run: str = "R1") -> dict[str, float]:
    rows = table.blends[table.blends["run"] == run]
    return dict(zip(rows["batch"], rows["share"], strict=True))


def test_a_blend_in_the_tank_is_shared_by_volume(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), _batch("2", "2026-05-02")],
            transfers=[_moved("2", "1", "2026-05-20 12:00", 5.0)],
            operations=[
                _rouse("1", "2026-05-10", 10.0),
                _rouse("2", "2026-05-10", 30.0),
                _rouse("2", "2026-05-11", 30.0),
            ],
            pack_runs=[_run("1")],
            readings=[_read()],
        )
    )
    assert _shares(table) == pytest.approx({"1": 0.8, "2": 0.2})
    row = table.rows.iloc[0]
    assert row["batch"] == "1 + 2"
    assert row["blended"]
    assert row["rouse_minutes"] == pytest.approx(0.8 * 10 + 0.2 * 60)
    assert row["rouse_count"] == 2
    assert row["transfers"] == 1


def test_a_batch_made_of_two_others(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), {**_batch("2", "2026-05-02"), "recipe": "I62"}],
            transfers=[_moved("1", "X5", "2026-05-20", 10.0), _moved("2", "X5", "2026-05-20", 20.0)],
            operations=[_rouse("1", "2026-05-10"), _rouse("2", "2026-05-10"), _rouse("X5", "2026-05-25", 30.0)],
            pack_runs=[_run("X5")],
            readings=[_read()],
        )
    )
    assert _shares(table) == pytest.approx({"1": 1 / 3, "2": 2 / 3})
    row = table.rows.iloc[0]
    assert row[["batch", "recipe"]].tolist() == ["X5", "mixed"]
    assert row["rouse_minutes"] == pytest.approx(45.0)
    assert set(table.blends["how"]) == {"shares by volume"}


def test_equal_shares_where_a_volume_is_missing_and_it_is_said(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), _batch("2", "2026-05-02")],
            transfers=[_moved("1", "X5", "2026-05-20", 10.0), _moved("2", "X5", "2026-05-20")],
            pack_runs=[_run("X5")],
        )
    )
    assert _shares(table) == pytest.approx({"1": 0.5, "2": 0.5})
    assert set(table.blends["how"]) == {"equal shares, since not every volume is on record"}


@pytest.mark.parametrize("listed", [True, False])
def test_both_parts_of_a_split_carry_the_work_done_before(cellar: Any, listed: bool) -> None:
    parts = [_batch("1A", "2026-05-01", 12.0), _batch("1B", "2026-05-01", 8.0)] if listed else []
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), *parts],
            transfers=[_moved("1", "1A", "2026-05-20 10:00", 12.0), _moved("1", "1B", "2026-05-20 11:00", 8.0)],
            operations=[
                _rouse("1", "2026-05-10"),
                _rouse("1", "2026-05-20 10:30", 40.0),
                _rouse("1A", "2026-05-25", 5.0),
                _rouse("1", "2026-05-26", 100.0),
            ],
            pack_runs=[_run("1A", run="RA"), _run("1B", run="RB")],
            readings=[_read("RA"), _read("RB")],
        )
    )
    minutes = table.rows.set_index("run")["rouse_minutes"].to_dict()
    # What was done to the parent after a part had left does not count for that part.
    assert minutes == {"RA": 20.0, "RB": 55.0}
    assert _shares(table, "RA") == {"1": 1.0}
    assert not table.rows["blended"].any()
    assert table.rows["recipe"].tolist() == ["P40", "P40"]
    assert table.rows["transfers"].tolist() == [1.0, 1.0]


def test_beer_that_moved_before_a_blend_is_followed_back(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01", 40.0), _batch("2", "2026-05-02", 10.0)],
            transfers=[
                _moved("1", "1A", "2026-05-10", 20.0),
                _moved("1A", "C", "2026-05-15", 10.0),
                _moved("2", "C", "2026-05-15", 10.0),
            ],
            operations=[
                _rouse("1", "2026-05-05", 10.0),
                _rouse("1A", "2026-05-12", 20.0),
                _rouse("2", "2026-05-12", 4.0),
                _rouse("C", "2026-05-16", 1.0),
            ],
            pack_runs=[_run("C")],
            readings=[_read()],
        )
    )
    assert _shares(table) == pytest.approx({"1": 0.5, "2": 0.5})
    row = table.rows.iloc[0]
    assert row["rouse_minutes"] == pytest.approx(0.5 * 31 + 0.5 * 5)
    assert row["rouse_count"] == 3
    assert row["transfers"] == 2


def test_beer_that_came_in_after_packing_is_not_in_the_pack(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), _batch("2", "2026-05-02")],
            transfers=[_moved("2", "1", "2026-05-31 12:00", 5.0)],
            pack_runs=[_run("1"), _run("1", "2026-06-02", "R2")],
        )
    )
    assert _shares(table) == {"1": 1.0}
    assert _shares(table, "R2") == pytest.approx({"1": 0.8, "2": 0.2})


@pytest.mark.parametrize("rows", [[_run("1+2")], [_run("1"), _run("2")], [_run("1 / 2")], [_run("1 and 2")]])
def test_a_run_that_names_two_batches(cellar: Any, rows: list[dict[str, Any]]) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01", 30.0), _batch("2", "2026-05-02", 10.0)],
            operations=[_rouse("1", "2026-05-10", 10.0), _rouse("2", "2026-05-10", 50.0)],
            pack_runs=rows,
            readings=[_read()],
        )
    )
    assert table.rows["batch"].tolist() == ["1 + 2"]
    assert table.rows["blended"].tolist() == [True]
    assert _shares(table) == pytest.approx({"1": 0.75, "2": 0.25})
    assert table.rows["rouse_minutes"].tolist() == pytest.approx([20.0])


def test_a_slash_inside_one_number_splits_nothing(cellar: Any) -> None:
    table = link(cellar(batches=[_batch("24/17", "2026-05-01")], pack_runs=[_run("24/17")], readings=[_read()]))
    assert table.rows["batch"].tolist() == ["24/17"]


def test_a_blend_of_which_one_batch_has_no_log_is_not_known(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), _batch("2", "2026-05-02")],
            operations=[_rouse("1", "2026-05-10")],
            pack_runs=[_run("1+2")],
            readings=[_read()],
        )
    )
    assert table.rows[["rouse_minutes", "rouse_count", "hours_since_rouse"]].isna().all(axis=None)


def test_time_since_in_a_blend_is_of_the_beer_to_which_it_was_done(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01", 30.0), _batch("2", "2026-05-02", 10.0), _batch("3", "2026-05-02", 10.0)],
            operations=[
                {**_rouse("1", "2026-05-29 13:00"), "minutes": 60.0},
                {**_rouse("2", "2026-05-28 13:00"), "minutes": 60.0},
                {"batch": "3", "operation": "dump", "started_at": "2026-05-20"},
            ],
            pack_runs=[_run("1+2+3")],
            readings=[_read()],
        )
    )
    assert table.rows["hours_since_rouse"].tolist() == pytest.approx([(0.6 * 24 + 0.2 * 48) / 0.8])
    assert table.rows["rouse_minutes"].tolist() == pytest.approx([0.8 * 60])


def test_the_tank_is_the_last_one(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01", vessel="FV3"), _batch("2", "2026-05-01", vessel="FV4")],
            transfers=[
                _moved("1", "1", "2026-05-20", 19.0, from_vessel="FV3", to_vessel="BT1"),
                _moved("1", "1", "2026-06-20", 19.0, from_vessel="BT1", to_vessel="BT9"),
            ],
            operations=[{**_rouse("2", "2026-05-29"), "vessel": "BT2"}, {**_rouse("2", "2026-05-31"), "vessel": "BT8"}],
            pack_runs=[_run("1"), _run("2", run="R2"), _run("1+2", run="R3")],
            readings=[_read(), _read("R2"), _read("R3")],
        )
    )
    assert table.rows.set_index("run")["tank"].to_dict() == {"R1": "BT1", "R2": "BT2", "R3": "mixed"}
    assert table.rows.set_index("run")["transfers"].to_dict() == {"R1": 1.0, "R2": 0.0, "R3": 1.0}


def test_batches_that_flow_into_each_other_come_to_an_end(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01"), _batch("2", "2026-05-01")],
            transfers=[_moved("1", "2", "2026-05-10", 5.0), _moved("2", "1", "2026-05-10", 5.0)],
            pack_runs=[_run("1")],
        )
    )
    assert sum(_shares(table).values()) == pytest.approx(1.0)


def test_a_transfer_without_a_date_still_brought_its_beer(cellar: Any) -> None:
    table = link(
        cellar(
            batches=[_batch("1", "2026-05-01")],
            transfers=[_moved("1", "1A", None, 10.0)],
            operations=[_rouse("1", "2026-05-10")],
            pack_runs=[_run("1A")],
            readings=[_read()],
        )
    )
    assert _shares(table) == {"1": 1.0}
    assert table.rows["rouse_minutes"].tolist() == [15.0]
    assert table.rows["transfers"].tolist() == [1.0]


def test_transfers_in_the_log_alone_are_counted(cellar: Any) -> None:
    log = [{"batch": "1", "operation": "transfer", "started_at": f"2026-05-{d}"} for d in (20, 22)]
    moves = [_moved("1", "1", "2026-05-20", to_vessel="BT1")]
    kinds = {"batches": [_batch("1", "2026-05-01")], "pack_runs": [_run("1")], "readings": [_read()]}
    assert link(cellar(**kinds, operations=log)).rows["transfers"].tolist() == [2.0]
    assert link(cellar(**kinds, operations=log, transfers=moves)).rows["transfers"].tolist() == [2.0]
    assert link(cellar(**kinds, transfers=moves)).rows["transfers"].tolist() == [1.0]
    assert np.isnan(link(cellar(**kinds)).rows["transfers"].iloc[0])


def _in_two_tanks(cellar: Any, *operations: dict[str, Any], told: bool = True) -> PackTable:
    """One batch under one number in two bright tanks, each packed as a run of its own."""
    runs = [_run("1", run="R1"), _run("1", "2026-05-31 14:00", "R2")]
    tanks = ('{"Tank": "BT1"}', '{"Tank": "BT2"}') if told else (None, None)
    return link(
        cellar(
            batches=[_batch("1", "2026-05-01", vessel="FV3")],
            transfers=[
                _moved("1", "1", "2026-05-20 10:00", 12.0, from_vessel="FV3", to_vessel="BT1"),
                _moved("1", "1", "2026-05-20 12:00", 8.0, from_vessel="FV3", to_vessel="BT2"),
            ],
            operations=list(operations),
            pack_runs=[{**run, "extra": tank} for run, tank in zip(runs, tanks, strict=True)],
            readings=[_read(), _read("R2")],
        )
    )


def test_one_number_in_two_tanks(cellar: Any) -> None:
    fined = {"batch": "1", "operation": "finings", "agent": "isinglass", "amount": 480.0, "unit": "mL"}
    table = _in_two_tanks(
        cellar,
        {**_rouse("1", "2026-05-10", 10.0), "vessel": "FV3"},
        {**_rouse("1", "2026-05-22", 20.0), "vessel": "BT1"},
        {**_rouse("1", "2026-05-22", 40.0), "vessel": "BT2"},
        _rouse("1", "2026-05-23", 1.0),
        {**fined, "started_at": "2026-05-22", "vessel": "BT1"},
        {**fined, "started_at": "2026-05-22", "vessel": "BT2"},
    )
    rows = table.rows.set_index("run")
    assert rows["tank"].to_dict() == {"R1": "BT1", "R2": "BT2"}
    assert rows["rouse_minutes"].to_dict() == {"R1": 31.0, "R2": 51.0}
    assert rows["isinglass_dose"].to_dict() == pytest.approx({"R1": 40.0, "R2": 60.0})
    assert rows["transfers"].to_dict() == {"R1": 1.0, "R2": 1.0}
    assert not rows["blended"].any()


def test_one_number_in_two_tanks_that_no_sheet_tells_apart(cellar: Any) -> None:
    fined = {"batch": "1", "operation": "finings", "agent": "isinglass", "amount": 480.0, "unit": "mL"}
    table = _in_two_tanks(cellar, {**fined, "started_at": "2026-05-22"}, told=False)
    assert table.rows["tank"].isna().all()
    assert table.rows["isinglass_dose"].tolist() == pytest.approx([480 / 20] * 2)
