"""Are a moved meter's readings set right, or set aside, without a change to what is on record?"""

import numpy as np
import pandas as pd
import pytest

from analysis.findings.meter_correction import corrected, excess, moved_meters, set_aside, verdicts_otherwise
from analysis.findings.meters import meters
from analysis.ledger import Snapshot
from data_demo import truth
from data_demo.brewery import simulate
from data_demo.laboratory import meter_bias

_TO_KEPT = {"mg/L": 1000.0, "ppb": 1.0, "NTU": 0.25, "EBC": 1.0}
_MOVED = next(meter for meter in truth.METERS if meter.name == truth.METER_DRIFT.meter)


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


def of_the_moved(table):
    since = pd.Timestamp(truth.METER_DRIFT.begins) + pd.Timedelta(weeks=2)
    own = (table.rows["total_oxygen_meter"] == _MOVED.name) & (table.rows["measured_at"] > since)
    return own & table.rows["total_oxygen"].notna()


def test_only_the_drifting_meter_has_moved(found):
    assert [meter.meter for meter in moved_meters(found)] == [truth.METER_DRIFT.meter]


def test_the_excess_is_the_true_drift(found):
    at = pd.Series(pd.date_range("2026-06-01", "2026-11-20", freq="7D"))
    true = np.array([meter_bias(_MOVED, moment.to_pydatetime()) - _MOVED.log_bias for moment in at])
    assert excess(moved_meters(found)[0].span, at) == pytest.approx(true, abs=0.01)


def test_set_right_the_readings_are_the_true_ones_but_for_the_steady_bias(found, simulated_packs):
    """The mean of the logs of read over true, of more than fifty packs, each read to 1.5 %."""
    table = corrected(simulated_packs, found)
    own = of_the_moved(table)
    true = np.array([pack.true_oxygen for pack in simulate().packs])[own.to_numpy()]
    assert own.sum() > 50
    before = np.log(simulated_packs.rows.loc[own, "total_oxygen"].to_numpy() / true).mean()
    after = np.log(table.rows.loc[own, "total_oxygen"].to_numpy() / true).mean()
    assert before > _MOVED.log_bias + 0.05
    assert after == pytest.approx(_MOVED.log_bias, abs=0.01)


def test_set_aside_they_are_missing_and_no_other_is(found, simulated_packs):
    table = set_aside(simulated_packs, found)
    own = of_the_moved(simulated_packs)
    assert table.rows.loc[own, "total_oxygen"].isna().all()
    others = simulated_packs.rows["total_oxygen_meter"] != _MOVED.name
    pd.testing.assert_series_equal(
        table.rows.loc[others, "total_oxygen"], simulated_packs.rows.loc[others, "total_oxygen"]
    )
    pd.testing.assert_series_equal(table.rows["haze"], simulated_packs.rows["haze"])


def test_what_is_on_record_stays(found, simulated_packs):
    before = simulated_packs.rows.copy()
    corrected(simulated_packs, found)
    set_aside(simulated_packs, found)
    pd.testing.assert_frame_equal(simulated_packs.rows, before)


def test_the_verdicts_are_told_the_three_ways(found, simulated_packs):
    told = {one.practice: one for one in verdicts_otherwise(simulated_packs, found)}
    bled = told["air_bled"]
    assert (bled.stands, bled.set_right, bled.set_aside) == ("lowers", "lowers", "lowers")
    assert not bled.differs
    assert bled.readings > 50
    assert {one.measure for one in told.values()} == {"total_oxygen"}


def test_without_a_moved_meter_there_is_nothing_to_tell(simulated_packs):
    assert verdicts_otherwise(simulated_packs, ()) == ()
