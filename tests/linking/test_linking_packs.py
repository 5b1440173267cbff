"""Does a finished pack carry what was done to its beer and what was read in it?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.ledger.snapshot import Snapshot
from analysis.linking import link

BATCH = {"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-03", "volume": 20.0, "vessel": "FV3"}
RUN = {
    "run": "R1",
    "batch": "2417",
    "packed_at": "2026-05-22 14:00",
    "format": "can",
    "size": 440.0,
    "headspace": 20.0,
    "line": "L1",
    "fill_temperature": 2.0,
}
READING = {
    "run": "R1",
    "stage": "pack",
    "sample": "1",
    "measured_at": "2026-05-23 14:00",
    "quantity": "haze",
    "value": 1.2,
    "meter": "M1",
}


def _done(operation: str, started_at: str, **more: Any) -> dict[str, Any]:
    return {"batch": "2417", "operation": operation, "started_at": started_at, **more}


LOG = [
    _done("rouse", "2026-05-10 09:00", minutes=15.0),
    _done("rouse", "2026-05-12 09:00", ended_at="2026-05-12 09:20"),
    _done("dump", "2026-05-14 08:00"),
    _done("dry_hop", "2026-05-15 10:00", amount=8000.0, unit="g"),
    _done("chill", "2026-05-18 14:00"),
    _done("finings", "2026-05-19 14:00", amount=950.0, unit="mL", agent="Isinglass "),
]


def test_practices_as_they_stood_when_the_pack_was_closed(cellar: Any) -> None:
    table = link(cellar(batches=[BATCH], operations=LOG, pack_runs=[RUN], readings=[READING]))
    row = table.rows.iloc[0]
    wanted = {
        "rouse_minutes": 35.0,
        "rouse_count": 2.0,
        "hours_since_rouse": 10 * 24 + 4 + 40 / 60,
        "finings_count": 1.0,
        "hours_since_finings": 72.0,
        "cone_dumps": 1.0,
        "days_since_dump": 8.25,
        "dry_hop_rate": 4.0,
        "dry_hop_days": 7 + 4 / 24,
        "cold_hours": 96.0,
        "transfers": 0.0,
        "fill_temperature": 2.0,
        "isinglass_dose": 47.5,
        "age_days": 1.0,
        "haze": 1.2,
    }
    assert row[list(wanted)].to_dict() == pytest.approx(wanted)
    texts = {"run": "R1", "batch": "2417", "recipe": "P40", "tank": "FV3", "line": "L1", "format": "can", "sample": "1"}
    assert row[list(texts)].to_dict() == texts
    assert not row["blended"]
    assert table.measures == ("haze",)
    assert {p.name for p in table.practices} <= set(table.rows.columns)


def test_an_operation_after_packing_is_linked_and_counts_for_nothing(cellar: Any) -> None:
    late = [_done("rouse", "2026-05-22 14:01", minutes=60.0), _done("finings", "2026-05-24", agent="silica sol")]
    before = link(cellar(batches=[BATCH], operations=LOG, pack_runs=[RUN], readings=[READING]))
    after = link(cellar(batches=[BATCH], operations=LOG + late, pack_runs=[RUN], readings=[READING]))
    pd.testing.assert_frame_equal(before.rows, after.rows)
    assert len(after.operations) == len(LOG) + 2


@pytest.mark.parametrize(
    ("packed_at", "started_at", "counts"),
    [
        ("2026-05-22 14:00", "2026-05-22", True),
        ("2026-05-22", "2026-05-22 16:00", True),
        ("2026-05-22", "2026-05-22", True),
        ("2026-05-22 14:00", "2026-05-22 14:00", True),
        ("2026-05-22 14:00", "2026-05-22 14:01", False),
        ("2026-05-22", "2026-05-23", False),
    ],
)
def test_on_the_day_of_packing(cellar: Any, packed_at: str, started_at: str, counts: bool) -> None:
    log = [_done("other", "2026-05-10 09:00"), _done("rouse", started_at, minutes=15.0)]
    run = {**RUN, "packed_at": packed_at}
    row = link(cellar(batches=[BATCH], operations=log, pack_runs=[run], readings=[READING])).rows.iloc[0]
    assert row["rouse_count"] == counts
    if counts:
        assert row["hours_since_rouse"] >= 0


def test_no_log_is_missing_and_a_log_without_it_is_nought(cellar: Any) -> None:
    other = {**BATCH, "batch": "2418"}
    runs = [RUN, {**RUN, "run": "R2", "batch": "2418"}]
    readings = [READING, {**READING, "run": "R2"}]
    log = [_done("dump", "2026-05-14 08:00")]
    rows = link(cellar(batches=[BATCH, other], operations=log, pack_runs=runs, readings=readings)).rows
    logged, unlogged = rows[rows["batch"] == "2417"].iloc[0], rows[rows["batch"] == "2418"].iloc[0]
    noughts = ["rouse_minutes", "rouse_count", "finings_count", "dry_hop_rate", "dry_hop_days", "transfers"]
    assert (logged[noughts] == 0).all()
    assert np.isnan(logged["hours_since_rouse"])
    assert np.isnan(logged["hours_since_finings"])
    cellar_work = [*noughts, "cone_dumps", "days_since_dump", "hours_since_rouse", "hours_since_finings", "cold_hours"]
    assert unlogged[cellar_work].isna().all()
    assert unlogged["fill_temperature"] == 2.0


def test_nothing_on_record() -> None:
    table = link(Snapshot.empty())
    assert table.rows.empty
    assert table.measures == ()
    assert table.unlinked.empty
    for name in ("run", "batch", "recipe", "format", "packed_at", "sample", "rouse_minutes"):
        assert name in table.rows.columns


def test_a_rouse_of_unknown_length_leaves_the_minutes_unknown(cellar: Any) -> None:
    log = [*LOG, _done("rouse", "2026-05-13 09:00")]
    row = link(cellar(batches=[BATCH], operations=log, pack_runs=[RUN], readings=[READING])).rows.iloc[0]
    assert row["rouse_count"] == 3
    assert np.isnan(row["rouse_minutes"])


def test_work_between_two_runs_of_a_batch_counts_for_the_later(cellar: Any) -> None:
    runs = [RUN, {**RUN, "run": "R2", "packed_at": "2026-05-25 14:00"}]
    log = [*LOG, _done("rouse", "2026-05-24 14:00", minutes=10.0)]
    readings = [READING, {**READING, "run": "R2", "measured_at": "2026-05-26"}]
    rows = link(cellar(batches=[BATCH], operations=log, pack_runs=runs, readings=readings)).rows.set_index("run")
    assert rows["rouse_minutes"].to_dict() == {"R1": 35.0, "R2": 45.0}
    assert rows["hours_since_rouse"].to_dict() == pytest.approx({"R1": 244 + 2 / 3, "R2": 23 + 50 / 60})
    assert rows["cold_hours"].to_dict() == {"R1": 96.0, "R2": 168.0}


def test_text_is_text_and_numbers_are_numbers_in_every_frame(cellar: Any) -> None:
    table = link(cellar(batches=[BATCH], operations=LOG, pack_runs=[RUN], readings=[READING]))
    for frame in (table.rows, table.tastings, table.readings, table.operations, table.evidence, table.blends):
        assert not [
            name for name, dtype in frame.dtypes.items() if dtype.kind == "O" and not isinstance(dtype, pd.StringDtype)
        ]
    numbers = [p.name for p in table.practices if p.type != "category"]
    assert (table.rows[numbers].dtypes == "float64").all()
