"""What holds of every cellar, however it is drawn?"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.ledger.snapshot import Snapshot
from analysis.linking import PackTable, link

_START = pd.Timestamp("2026-01-01")
_SETTINGS = settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])

_NUMBERS = st.sampled_from(["1", "2", "3", "4"])
_VESSELS = st.sampled_from(["FV1", "FV2", "BT1", None])


def _moments(low: int, high: int) -> st.SearchStrategy[pd.Timestamp]:
    whole = st.integers(low, high).map(lambda d: _START + pd.Timedelta(days=d))
    clock = st.integers(low * 24, high * 24).map(lambda h: _START + pd.Timedelta(hours=h))
    return st.one_of(whole, clock)


_VOLUMES = st.one_of(st.none(), st.floats(1.0, 40.0))
_BATCH = st.fixed_dictionaries(
    {
        "batch": _NUMBERS,
        "recipe": st.sampled_from(["P40", "I62"]),
        "brewed_on": st.one_of(
            st.none(), st.sampled_from([0, 3, 200, 400]).map(lambda d: _START + pd.Timedelta(days=d))
        ),
        "volume": _VOLUMES,
        "vessel": _VESSELS,
    }
)
_TRANSFER = st.fixed_dictionaries(
    {
        "from_batch": _NUMBERS,
        "to_batch": st.sampled_from(["1", "2", "3", "9"]),
        "from_vessel": _VESSELS,
        "to_vessel": _VESSELS,
        "volume": _VOLUMES,
        "moved_at": st.one_of(st.none(), _moments(1, 30)),
    }
)
_OPERATION = st.fixed_dictionaries(
    {
        "batch": st.one_of(st.none(), st.sampled_from(["1", "#2", "G3", "77"])),
        "operation": st.sampled_from(["rouse", "finings", "dump", "dry_hop", "chill", "transfer", "other"]),
        "vessel": _VESSELS,
        "started_at": st.one_of(st.none(), _moments(0, 60)),
        "minutes": st.one_of(st.none(), st.floats(1, 90)),
        "amount": st.one_of(st.none(), st.floats(1, 2000)),
        "unit": st.sampled_from([None, "mL", "g", "g/L", "mL/hL"]),
        "agent": st.sampled_from([None, "isinglass", "silica sol"]),
        "extra": st.sampled_from([None, '{"Air bled?": "y"}', '{"Air bled?": "n", "Flow": "3"}', '{"Flow": "5"}']),
    }
)
_RUN = st.fixed_dictionaries(
    {
        "run": st.sampled_from(["R1", "R2", "R3"]),
        "batch": st.sampled_from(["1", "2", "3", "9", "1+2", "8"]),
        "packed_at": _moments(10, 40),
        "format": st.sampled_from(["can", "keg"]),
        "size": st.sampled_from([None, 440.0]),
        "headspace": st.sampled_from([None, 20.0]),
    }
)
_READING = st.fixed_dictionaries(
    {
        "run": st.sampled_from(["R1", "R2", "R3", "R9", None]),
        "batch": st.sampled_from(["1", "2", None, "77"]),
        "vessel": _VESSELS,
        "stage": st.sampled_from(["pack", "fermenter", "filler", None]),
        "sample": st.sampled_from(["1", "2", None]),
        "measured_at": st.one_of(st.none(), _moments(0, 90)),
        "quantity": st.sampled_from(["haze", "dissolved_oxygen", "temperature"]),
        "value": st.floats(0.1, 50),
        "sign": st.sampled_from([None, "<", ">"]),
        "temperature": st.sampled_from([None, 0.0, 20.0]),
        "meter": st.sampled_from(["M1", "M2", None]),
    }
)
_CELLARS = st.fixed_dictionaries(
    {
        "batches": st.lists(_BATCH, max_size=5),
        "transfers": st.lists(_TRANSFER, max_size=5),
        "operations": st.lists(_OPERATION, max_size=12),
        "pack_runs": st.lists(_RUN, max_size=5),
        "readings": st.lists(_READING, max_size=12),
    }
)
_MOMENTS = ("brewed_on", "moved_at", "started_at", "packed_at", "measured_at")


def _frames(cellar: dict[str, list[dict[str, Any]]]) -> dict[str, pd.DataFrame]:
    frames = {}
    for kind, rows in cellar.items():
        if rows:
            frame = pd.DataFrame(rows).assign(record=range(1, len(rows) + 1))
            times = frame.columns.intersection(_MOMENTS)
            frames[kind] = frame.assign(**{t: pd.to_datetime(frame[t]).dt.as_unit("us") for t in times})
    return frames


def _linked(frames: dict[str, pd.DataFrame]) -> PackTable:
    return link(Snapshot.of(frames))


@_SETTINGS
@given(_CELLARS)
def test_shares_of_a_run_add_to_one(cellar: dict[str, list[dict[str, Any]]]) -> None:
    blends = _linked(_frames(cellar)).blends
    totals = blends.groupby("run")["share"].sum()
    assert totals.to_list() == pytest.approx([1.0] * len(totals))
    assert (blends["share"] > 0).all()
    assert not blends.duplicated(["run", "batch"]).any()


@_SETTINGS
@given(_CELLARS)
def test_every_row_is_linked_or_counted(cellar: dict[str, list[dict[str, Any]]]) -> None:
    table = _linked(_frames(cellar))
    for kind in ("operations", "readings"):
        linked = (table.evidence["kind"] == kind).sum()
        unlinked = table.unlinked[table.unlinked["kind"] == kind]
        beside = unlinked["reason"].str.contains("dose not known|total oxygen not computed|further column")
        assert linked + unlinked.loc[~beside, "count"].sum() == len(cellar[kind])
        assert linked == len(getattr(table, kind))
    assert not table.evidence.duplicated(["kind", "record"]).any()


@_SETTINGS
@given(_CELLARS, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_changes_nothing(cellar: dict[str, list[dict[str, Any]]], shuffle: Any) -> None:
    frames = _frames(cellar)
    turned = {kind: frame.sample(frac=1, random_state=shuffle.randrange(2**31)) for kind, frame in frames.items()}
    one, other = _linked(frames), _linked(turned)
    for field in fields(PackTable):
        first, second = getattr(one, field.name), getattr(other, field.name)
        if isinstance(first, pd.DataFrame):
            pd.testing.assert_frame_equal(first, second, obj=field.name)
        else:
            assert first == second


@_SETTINGS
@given(_CELLARS, st.lists(_OPERATION, min_size=1, max_size=5))
def test_work_after_every_packing_changes_no_practice(
    cellar: dict[str, list[dict[str, Any]]], late: list[dict[str, Any]]
) -> None:
    after = [{**row, "started_at": _START + pd.Timedelta(days=41 + i)} for i, row in enumerate(late)]
    before = _linked(_frames(cellar))
    then = _linked(_frames({**cellar, "operations": cellar["operations"] + after}))
    assert before.practices == then.practices
    pd.testing.assert_frame_equal(before.rows, then.rows)
    pd.testing.assert_frame_equal(before.tastings, then.tastings)
    pd.testing.assert_frame_equal(before.blends, then.blends)


@_SETTINGS
@given(_CELLARS)
def test_a_count_or_a_dose_is_never_below_nought(cellar: dict[str, list[dict[str, Any]]]) -> None:
    table = _linked(_frames(cellar))
    numbers = [p.name for p in table.practices if p.type != "category" and p.name in table.rows]
    assert not (table.rows[numbers] < 0).any(axis=None)
    assert not table.rows[["run", "sample", "measured_at"]].duplicated().any() or table.rows["sample"].notna().all()
