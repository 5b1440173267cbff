"""Are a moved meter's readings set right, or set aside, without a change to what is on record?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.findings.meter_correction import MeterTreatment, Treatment, excess, moved_meters, treated
from analysis.findings.meters import meters
from analysis.ledger import Snapshot
from data_demo import truth
from data_demo.brewery import simulate
from data_demo.laboratory import meter_bias

_TO_KEPT = {"mg/L": 1000.0, "ppb": 1.0, "NTU": 0.25, "EBC": 1.0}
_MOVED = next(meter for meter in truth.METERS if meter.name == truth.METER_DRIFT.meter)
RIGHT = MeterTreatment(_MOVED.name, "dissolved_oxygen", Treatment.SET_RIGHT)
ASIDE = MeterTreatment(_MOVED.name, "dissolved_oxygen", Treatment.SET_ASIDE)


@pytest.fixture(scope="module")
def found():
    frame = pd.DataFrame(
        {
            "meter": check.meter.name, "checked_at": check.checked_at, "quantity": check.meter.quantity,
            "reference": check.reference * _TO_KEPT[check.unit], "observed": check.observed * _TO_KEPT[check.unit],
        }
        for check in simulate().checks
    )  # fmt: skip
    return meters(Snapshot.of({"meter_checks": frame})).meters


@pytest.fixture(scope="module")
def readings():
    """Every pack's total oxygen and haze as read, with the truth beside."""
    rows = [
        {
            "run": pack.run.run, "stage": "pack", "sample": str(pack.sample), "measured_at": pack.measured_at,
            "quantity": quantity, "value": value, "meter": meter.name, "true": true,
        }
        for pack in simulate().packs
        for quantity, value, meter, true in (
            ("total_oxygen", pack.total, pack.oxygen_meter, pack.true_oxygen), ("haze", pack.haze, pack.haze_meter, 1.0)
        )
        if value is not None
    ]  # fmt: skip
    frame = pd.DataFrame(rows)
    return Snapshot.of({"readings": frame}).frame("readings").assign(true=frame["true"])


def of_the_moved(frame):
    since = pd.Timestamp(truth.METER_DRIFT.begins) + pd.Timedelta(weeks=2)
    return (frame["meter"] == _MOVED.name) & (frame["measured_at"] > since)


def made(meter="A", *, step=0.06, back=False, zero=0.0, weeks=40):
    """Checks of a meter a week, from the 25th on off by a step, from the 33rd on back; against zero off from there."""
    draw = np.random.default_rng(8)
    rows = []
    for week in range(weeks):
        at = pd.Timestamp("2026-01-05 08:00") + pd.Timedelta(weeks=week)
        off = week >= 24 and not (back and week >= 32)
        rows.append((meter, at, 9_000.0, 9_000 * float(np.exp(step * off + draw.normal(0, 0.004)))))
        rows.append((meter, at, 0.0, float(draw.normal(0, 0.3)) + zero * off))
    frame = pd.DataFrame(rows, columns=["meter", "checked_at", "reference", "observed"])
    return meters(Snapshot.of({"meter_checks": frame.assign(quantity="dissolved_oxygen")})).meters


def few(values, meter="A", quantity="dissolved_oxygen", start="2026-01-06"):
    """A reading a week."""
    at = pd.Timestamp(start) + pd.to_timedelta(7 * np.arange(len(values)), unit="D")
    frame = pd.DataFrame({"measured_at": at, "quantity": quantity, "value": values, "meter": meter})
    return Snapshot.of({"readings": frame}).frame("readings")


def test_only_the_drifting_meter_has_moved(found):
    assert [meter.meter for meter in moved_meters(found)] == [truth.METER_DRIFT.meter]


def test_the_excess_is_the_true_drift(found):
    at = pd.Series(pd.date_range("2026-06-01", "2026-11-20", freq="7D"))
    true = np.array([meter_bias(_MOVED, moment.to_pydatetime()) - _MOVED.log_bias for moment in at])
    assert excess(moved_meters(found)[0].span, at) == pytest.approx(true, abs=0.01)
    assert (excess(None, at) == 0).all()


def test_set_right_the_readings_are_the_true_ones_but_for_the_steady_bias(found, readings):
    """The mean of the logs of read over true, of more than fifty packs, each read to 1.5 %."""
    frame, (touched,) = treated(readings, [RIGHT], found)
    own = of_the_moved(readings)
    assert own.sum() > 50
    true = readings.loc[own, "true"]
    before, after = (np.log(one.loc[own, "value"] / true).mean() for one in (readings, frame))
    assert before > _MOVED.log_bias + 0.05
    assert after == pytest.approx(_MOVED.log_bias, abs=0.01)
    assert set(readings.loc[own, "record"]) <= set(touched.records)
    assert touched.varies
    assert touched.off_zero == 0


def test_set_aside_they_are_missing_and_no_other_is(found, readings):
    frame, (touched,) = treated(readings, [ASIDE], found)
    own = readings["record"].isin(touched.records)
    assert of_the_moved(readings)[own].sum() > 50
    assert frame.loc[own, "value"].isna().all()
    pd.testing.assert_frame_equal(frame[~own], readings[~own])


def test_what_is_on_record_stays(found, readings):
    before = readings.copy()
    for one in (RIGHT, ASIDE):
        treated(readings, [one], found)
    pd.testing.assert_frame_equal(readings, before)


def test_no_treatment_changes_nothing(found, readings):
    frame, touched = treated(readings, [], found)
    pd.testing.assert_frame_equal(frame, readings)
    assert touched == ()


def test_a_shift_is_taken_back_by_its_size():
    read = few(np.full(40, 30.0))
    frame, (touched,) = treated(read, [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT)], made())
    assert (frame["value"][:23] == 30).all()
    assert frame["value"][24:].to_numpy() == pytest.approx(30 / np.exp(0.06), rel=0.004)
    assert not touched.varies
    assert touched.off == pytest.approx(0.06, abs=0.004)


def test_once_the_meter_came_back_its_readings_stand_as_read():
    """Only the checks from before it came back say by how much it had been off."""
    bias = made(back=True, weeks=52)
    (episode,) = bias[0].span.episodes
    assert (episode.begins, episode.until) == (24 * 7, 32 * 7)
    frame, (touched,) = treated(
        few(np.full(50, 30.0)), [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT)], bias
    )
    assert (frame["value"][32:] == 30).all()
    assert frame["value"][24:31].to_numpy() == pytest.approx(30 / np.exp(0.06), rel=0.004)
    assert len(touched.records) == 8


def test_what_it_was_off_against_zero_is_an_amount():
    read = few(np.full(40, 30.0))
    bias = made(step=0.0, zero=5.0)
    frame, (touched,) = treated(read, [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT)], bias)
    assert frame["value"][24:].to_numpy() == pytest.approx(25, abs=0.3)
    assert touched.off == 0
    assert touched.off_zero == pytest.approx(5, abs=0.3)


def test_a_reading_that_would_be_below_nothing_is_left_out():
    read = few([3.0] * 40)
    frame, (touched,) = treated(
        read, [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT)], made(step=0.0, zero=5.0)
    )
    assert frame["value"][24:].isna().all()
    assert touched.below_nothing == len(touched.records)


def test_days_bound_what_is_touched():
    read = few(np.full(40, 30.0))
    first, last = date(2026, 7, 7), date(2026, 7, 14)
    days = MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT, first, last)
    frame, (touched,) = treated(read, [days], made())
    assert touched.at.dt.date.tolist() == [first, last]
    assert (frame["value"] != read["value"]).sum() == 2


def test_from_a_day_on_readings_are_set_aside_whatever_the_checks_say():
    read = few(np.full(40, 30.0))
    told = MeterTreatment("A", "dissolved_oxygen", Treatment.SET_ASIDE, date(2026, 2, 3))
    frame, _ = treated(read, [told], ())
    assert frame["value"].isna().tolist() == (read["measured_at"] >= "2026-02-03").tolist()
    unbounded, (touched,) = treated(read, [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_ASIDE)], ())
    assert unbounded["value"].notna().all()
    assert len(touched.records) == 0


def test_of_two_treatments_of_a_meter_the_last_counts():
    read = few(np.full(40, 30.0))
    both = [MeterTreatment("A", "dissolved_oxygen", way) for way in (Treatment.SET_ASIDE, Treatment.SET_RIGHT)]
    frame, touched = treated(read, both, made())
    assert [one.treatment.treatment for one in touched] == [Treatment.SET_RIGHT]
    assert frame["value"].notna().all()


def test_other_meters_and_quantities_are_left_alone():
    bias = made()
    for read in (few(np.full(40, 30.0), meter="B"), few(np.full(40, 30.0), quantity="haze")):
        frame, _ = treated(read, [MeterTreatment("A", "dissolved_oxygen", Treatment.SET_RIGHT)], bias)
        pd.testing.assert_frame_equal(frame, read)
