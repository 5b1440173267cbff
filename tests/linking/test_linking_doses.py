"""Are doses told for each hectolitre of the beer that was there, and left unknown where they are?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.linking import PackTable, link

BATCH = {"batch": "1", "recipe": "P40", "brewed_on": "2026-05-01", "volume": 20.0}
RUN = {"run": "R1", "batch": "1", "packed_at": "2026-05-30 14:00"}
READING = {"run": "R1", "stage": "pack", "measured_at": "2026-06-02", "quantity": "haze", "value": 1.0}


def _dosed(amount: float | None, unit: str | None, agent: str | None = "isinglass", **more: Any) -> dict[str, Any]:
    told = {"batch": "1", "operation": "finings", "started_at": "2026-05-20 09:00"}
    return {**told, "amount": amount, "unit": unit, "agent": agent, **more}


def _packs(cellar: Any, *operations: dict[str, Any], **kinds: list[dict[str, Any]]) -> PackTable:
    standing = {"batches": [BATCH], "pack_runs": [RUN], "readings": [READING]}
    return link(cellar(**{**standing, **kinds, "operations": list(operations)}))


@pytest.mark.parametrize(
    ("amount", "unit", "name", "dose"),
    [
        (1000.0, "mL", "isinglass_dose", 50.0),
        (50.0, "mL/hL", "isinglass_dose", 50.0),
        (400.0, "g", "isinglass_dose", 20.0),
        (20.0, "g/hL", "isinglass_dose", 20.0),
        (0.2, "g/L", "isinglass_dose", 20.0),
    ],
)
def test_a_dose(cellar: Any, amount: float, unit: str, name: str, dose: float) -> None:
    table = _packs(cellar, _dosed(amount, unit))
    assert table.rows[name].tolist() == pytest.approx([dose])
    offered = {p.name: p.unit for p in table.practices}
    assert offered[name] == ("mL/hL" if unit.startswith("mL") else "g/hL")


def test_doses_add_up_and_agents_stay_apart_however_written(cellar: Any) -> None:
    table = _packs(
        cellar,
        _dosed(500.0, "mL", "Isinglass"),
        _dosed(500.0, "mL", " isinglass "),
        _dosed(30.0, "mL/hL", "Silica sol"),
    )
    assert table.rows[["isinglass_dose", "silica_sol_dose"]].to_numpy().tolist() == [[50.0, 30.0]]
    assert table.rows["finings_count"].tolist() == [3.0]


def test_a_dose_is_of_the_volume_at_that_time(cellar: Any) -> None:
    moves = [
        {"from_batch": "1", "to_batch": "1A", "volume": 10.0, "moved_at": "2026-05-18 09:00"},
        {"from_batch": "1", "to_batch": "1", "volume": 8.0, "moved_at": "2026-05-22 09:00"},
    ]
    table = _packs(
        cellar,
        _dosed(1000.0, "mL", started_at="2026-05-15 09:00"),
        _dosed(1000.0, "mL", started_at="2026-05-20 09:00"),
        _dosed(1000.0, "mL", started_at="2026-05-25 09:00"),
        transfers=moves,
    )
    assert table.rows["isinglass_dose"].tolist() == pytest.approx([1000 / 20 + 1000 / 10 + 1000 / 8])


def test_an_undosed_batch_with_a_log_has_none_and_one_without_a_log_is_missing(cellar: Any) -> None:
    batches = [BATCH, {**BATCH, "batch": "2"}, {**BATCH, "batch": "3"}]
    runs = [{**RUN, "run": f"R{b}", "batch": b} for b in "123"]
    readings = [{**READING, "run": f"R{b}"} for b in "123"]
    log = [_dosed(1000.0, "mL"), {"batch": "2", "operation": "dump", "started_at": "2026-05-10"}]
    doses = _packs(cellar, *log, batches=batches, pack_runs=runs, readings=readings).rows.set_index("run")
    assert doses["isinglass_dose"].to_dict() == pytest.approx({"R1": 50.0, "R2": 0.0, "R3": np.nan}, nan_ok=True)


@pytest.mark.parametrize(
    ("amount", "unit", "volume", "reason"),
    [
        (None, None, 20.0, "finings with no amount: dose not known"),
        (10.0, "cup", 20.0, "finings with an amount in no known unit: dose not known"),
        (1000.0, "mL", None, "finings given by amount to a batch of no known volume: dose not known"),
    ],
)
def test_an_unknown_dose_is_missing_and_counted(
    cellar: Any, amount: float | None, unit: str | None, volume: float | None, reason: str
) -> None:
    other = {"batch": "2", "recipe": "P40", "brewed_on": "2026-05-01", "volume": 20.0}
    table = _packs(
        cellar,
        _dosed(amount, unit),
        _dosed(1000.0, "mL", batch="2"),
        batches=[{**BATCH, "volume": volume}, other],
        pack_runs=[RUN, {**RUN, "run": "R2", "batch": "2"}],
        readings=[READING, {**READING, "run": "R2"}],
    )
    doses = table.rows.set_index("run")["isinglass_dose"]
    assert np.isnan(doses["R1"])
    assert doses["R2"] == pytest.approx(50.0)
    counts = table.unlinked.set_index("reason")["count"]
    assert counts[reason] == 1


def test_one_agent_by_volume_and_by_weight_is_two_doses(cellar: Any) -> None:
    batches = [{**BATCH, "batch": b} for b in "1234"]
    runs = [{**RUN, "run": f"R{b}", "batch": b} for b in "1234"]
    readings = [{**READING, "run": f"R{b}"} for b in "1234"]
    log = [
        _dosed(1000.0, "mL"),
        _dosed(600.0, "mL", batch="2"),
        _dosed(400.0, "g", batch="3"),
        {"batch": "4", "operation": "dump", "started_at": "2026-05-10"},
    ]
    table = _packs(cellar, *log, batches=batches, pack_runs=runs, readings=readings)
    rows = table.rows.set_index("run")
    by_volume, by_weight = rows["isinglass_dose"].to_dict(), rows["isinglass_g_dose"].to_dict()
    assert by_volume == pytest.approx({"R1": 50.0, "R2": 30.0, "R3": np.nan, "R4": 0.0}, nan_ok=True)
    assert by_weight == pytest.approx({"R1": np.nan, "R2": np.nan, "R3": 20.0, "R4": 0.0}, nan_ok=True)


@pytest.mark.parametrize(("amount", "unit", "rate"), [(8000.0, "g", 4.0), (400.0, "g/hL", 4.0), (4.0, "g/L", 4.0)])
def test_dry_hop_rate(cellar: Any, amount: float, unit: str, rate: float) -> None:
    table = _packs(cellar, _dosed(amount, unit, "hop H1", operation="dry_hop"))
    assert table.rows["dry_hop_rate"].tolist() == pytest.approx([rate])
    assert not [p.name for p in table.practices if p.name.startswith("hop")]


def test_hops_in_an_unknown_amount(cellar: Any) -> None:
    table = _packs(cellar, _dosed(None, None, None, operation="dry_hop"))
    assert table.rows["dry_hop_rate"].isna().all()
    assert table.rows["dry_hop_days"].tolist() == pytest.approx([10 + 5 / 24])
    assert "dry hop with no amount: dose not known" in table.unlinked["reason"].tolist()
