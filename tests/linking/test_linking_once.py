"""Is what two files tell of under two writings of one number counted once?"""

from __future__ import annotations

from typing import Any

import pytest

from analysis.linking import PackTable, link

BATCHES = [{"batch": "2417", "recipe": "P40", "brewed_on": "2026-05-03", "volume": 20.0, "vessel": "FV3"}]
RUNS = [
    {"run": "R1", "batch": "2417", "packed_at": "2026-05-22 14:00", "format": "can"},
    {"run": "R1", "batch": "B2417", "packed_at": "2026-05-22 14:00", "line": "L1"},
]
CAN = {"run": "R1", "stage": "pack", "sample": "1", "quantity": "haze", "measured_at": "2026-05-23", "value": 1.0}
ROUSE = {"operation": "rouse", "vessel": "FV3", "started_at": "2026-05-10 09:00", "minutes": 10.0}
AGREE = "the same record under another writing of its number: counted once"
DIFFER = "the same thing under another writing of its number, and otherwise: the record that was taken in last is used"


def _reasons(table: PackTable, kind: str) -> dict[str, int]:
    rows = table.unlinked[table.unlinked["kind"] == kind]
    return dict(zip(rows["reason"], rows["count"], strict=True))


def _linked(cellar: Any, **kinds: Any) -> PackTable:
    return link(cellar(batches=BATCHES, pack_runs=RUNS, **kinds))


def test_a_can_is_read_once(cellar: Any) -> None:
    table = _linked(cellar, readings=[{**CAN, "batch": "2417"}, {**CAN, "batch": "B2417"}])
    row = table.rows.iloc[0]
    assert (len(table.rows), row["haze"], row["haze_n"], row["format"], row["line"]) == (1, 1.0, 1, "can", "L1")
    assert _reasons(table, "readings") == {AGREE: 1}


def test_of_two_values_the_later_one_is_used_and_it_is_said(cellar: Any) -> None:
    table = _linked(cellar, readings=[{**CAN, "batch": "2417"}, {**CAN, "batch": "B2417", "value": 1.4}])
    assert table.rows[["haze", "haze_n"]].to_numpy().tolist() == [[1.4, 1]]
    assert _reasons(table, "readings") == {DIFFER: 1}


def test_a_rouse_is_done_once(cellar: Any) -> None:
    work = [{**ROUSE, "batch": "B2417"}, {**ROUSE, "batch": "2417", "vessel": "fv 3"}]
    table = _linked(cellar, operations=work, readings=[{**CAN, "batch": "2417"}])
    assert table.rows[["rouse_count", "rouse_minutes"]].to_numpy().tolist() == [[1, 10.0]]
    assert _reasons(table, "operations") == {AGREE: 1}


def test_two_rouses_of_one_batch_under_two_writings_stay_two(cellar: Any) -> None:
    work = [{**ROUSE, "batch": "B2417"}, {**ROUSE, "batch": "2417", "started_at": "2026-05-11 09:00"}]
    table = _linked(cellar, operations=work, readings=[{**CAN, "batch": "2417"}])
    assert table.rows["rouse_count"].tolist() == [2]
    assert _reasons(table, "operations") == {}


def test_a_move_brings_its_volume_once(cellar: Any) -> None:
    other = {"batch": "2418", "recipe": "P40", "brewed_on": "2026-05-04", "volume": 10.0}
    move = {"from_batch": "2418", "moved_at": "2026-05-15", "volume": 10.0}
    moves = [{**move, "to_batch": "2417"}, {**move, "to_batch": "B2417"}]
    table = link(cellar(batches=[*BATCHES, other], pack_runs=RUNS, transfers=moves))
    shares = dict(zip(table.blends["batch"], table.blends["share"], strict=True))
    assert shares == pytest.approx({"2417": 2 / 3, "2418": 1 / 3})


def test_a_score_is_given_once(cellar: Any) -> None:
    score = {"panellist": "AB", "attribute": "papery", "score": 3.0, "tasted_on": "2026-06-01"}
    table = _linked(cellar, tastings=[{**score, "run": "R1"}, {**score, "run": "run R1"}])
    assert len(table.tastings) == 1
    assert _reasons(table, "tastings") == {AGREE: 1}


def test_letters_that_tell_two_batches_apart_are_two(cellar: Any) -> None:
    work = [{**ROUSE, "batch": "B2417"}, {**ROUSE, "batch": "G2417"}]
    batches = [{**BATCHES[0], "batch": name} for name in ("B2417", "G2417")]
    table = link(cellar(batches=batches, operations=work))
    assert len(table.operations) == 2
