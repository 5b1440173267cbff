"""Are a drifting meter, a shifted one and a steady one told apart, with the date and the bias?"""

import numpy as np
import pandas as pd
import pytest

from analysis.findings.meter_course import FALSE_ALARMS, State, course
from analysis.findings.meter_deviations import deviations
from analysis.findings.meter_episodes import Episode, begun_by, episodes, excess_of
from analysis.findings.meter_excursion import excursion
from analysis.findings.meters import meters
from analysis.ledger import Snapshot
from analysis.oxygen import oxygen_solubility
from data_demo import truth
from data_demo.brewery import simulate
from data_demo.laboratory import meter_bias

_TO_KEPT = {"mg/L": 1000.0, "ppb": 1.0, "NTU": 0.25, "EBC": 1.0}
_METERS = {meter.name: meter for meter in truth.METERS}


def check_frame():
    return pd.DataFrame(
        {
            "meter": check.meter.name,
            "checked_at": check.checked_at,
            "quantity": check.meter.quantity,
            "reference": check.reference * _TO_KEPT[check.unit],
            "observed": check.observed * _TO_KEPT[check.unit],
        }
        for check in simulate().checks
    )


@pytest.fixture(scope="module")
def told():
    return {m.meter: m for m in meters(Snapshot.of({"meter_checks": check_frame()})).meters}


def test_the_drifting_meter_is_found_with_its_date_within_two_checks(told):
    drifting = told[truth.METER_DRIFT.meter]
    assert drifting.state is State.DRIFTING
    found = drifting.worst.since.date()
    assert abs((found - truth.METER_DRIFT.begins).days) <= 14
    earliest, latest = (
        drifting.worst.moment(d) for d in (drifting.worst.course.earliest, drifting.worst.course.latest)
    )
    assert earliest.date() <= truth.METER_DRIFT.begins <= latest.date()


def test_the_bias_of_the_drifting_meter_lies_within_its_interval(told):
    meter = told[truth.METER_DRIFT.meter]
    _, low, high = meter.span.bias
    assert low <= 100 * np.expm1(meter_bias(_METERS[meter.meter], meter.span.days[-1])) <= high


def test_every_bias_lies_within_the_joint_interval(told):
    """Four intervals hold together at 95 % where each holds at 98.7 %; 2.5 over 1.96 is the ratio of their widths."""
    assert set(told) == set(_METERS)
    for name, meter in told.items():
        true = 100 * np.expm1(meter_bias(_METERS[name], meter.span.days[-1]))
        bias, low, high = meter.span.bias
        assert bias + 2.5 / 1.96 * (low - bias) <= true <= bias + 2.5 / 1.96 * (high - bias), name


def test_the_drift_rate_is_recovered(told):
    course = told[truth.METER_DRIFT.meter].span.course
    # At 99 %: the stated interval of 95 % is widened by the ratio of the normal quantiles.
    reach = 2.576 / 1.960 * (course.per_week_high - course.per_week_low) / 2
    assert abs(course.per_week - truth.METER_DRIFT.log_per_week) <= reach


def test_the_other_meters_are_steady(told):
    for name in set(_METERS) - {truth.METER_DRIFT.meter}:
        assert told[name].state is State.STEADY, name
        assert told[name].worst.since is None, name


def test_a_steady_meter_is_said_to_have_moved_as_seldom_as_stated():
    """The bound is the 99.9 % point of the binomial: 400 steady series at 1 in 100 give 12 or fewer."""
    rng = np.random.default_rng(3)
    days = np.arange(30) * 7.0
    moved = sum(course(days, rng.standard_t(4, 30)).state is not State.STEADY for _ in range(400))
    assert FALSE_ALARMS == 0.01
    assert moved <= 12


def test_a_step_is_a_shift_and_its_date_is_bracketed():
    rng = np.random.default_rng(4)
    days = np.arange(40) * 7.0
    found = course(days, rng.normal(0, 0.01, 40) + 0.05 * (days >= days[25]))
    assert found.state is State.SHIFTED
    assert found.earliest <= days[25] <= found.latest
    assert abs(found.since - days[25]) <= 7
    assert found.low <= 0.05 <= found.high
    assert found.before == pytest.approx(0, abs=0.01)


def test_a_meter_that_was_set_right_is_steady_again():
    rng = np.random.default_rng(5)
    days = np.arange(60) * 7.0
    away = (days >= days[20]) & (days < days[40])
    found = course(days, rng.normal(0, 0.005, 60) + 0.05 * away)
    assert found.state is State.STEADY
    assert found.since == pytest.approx(days[40], abs=7)
    assert found.low <= 0 <= found.high


def test_a_meter_that_was_off_for_a_while_long_ago_is_steady_since_it_came_back():
    """Twenty good checks on either side of eight bad ones: no single move of the level shows."""
    rng = np.random.default_rng(9)
    days = np.arange(60) * 7.0
    away = (days >= days[24]) & (days < days[32])
    found = course(days, rng.normal(0, 0.005, 60) + 0.06 * away)
    assert found.state is State.STEADY
    assert found.since == days[32]
    assert found.low <= 0 <= found.high
    told = episodes(days, rng.normal(0, 0.005, 60) + 0.06 * away, found)
    assert [(one.state, one.begins, one.until) for one in told] == [(State.SHIFTED, days[24], days[32])]
    assert told[0].starts == pytest.approx(0.06, abs=0.006)


def test_every_episode_is_counted_from_the_first_level():
    rng = np.random.default_rng(10)
    days = np.arange(75) * 7.0
    true = np.select([days < days[25], days < days[50]], [0.0, 0.05], 0.09)
    values = true + rng.normal(0.02, 0.004, 75)
    told = episodes(days, values, course(days, values))
    assert [one.state for one in told] == [State.SHIFTED] * 2
    assert excess_of(told, days) == pytest.approx(true, abs=0.005)
    assert excess_of(told, np.array([-30.0])) == 0


def test_a_meter_that_moved_back_and_away_again_is_off_now():
    """The last move is told against the first level, not against the level that it had before it came back."""
    rng = np.random.default_rng(14)
    days = np.arange(60) * 7.0
    away = ((days >= days[30]) & (days < days[38])) | (days >= days[46])
    values = rng.normal(0, 0.005, 60) + 0.2 * away
    found = course(days, values)
    assert (found.state, found.since) == (State.SHIFTED, days[46])
    assert found.before == pytest.approx(0, abs=0.005)
    told = episodes(days, values, found)
    assert [(one.begins, one.until) for one in told] == [(days[30], days[38]), (days[46], np.inf)]


def test_a_decision_is_about_what_had_begun_by_then():
    def one(begins, until):
        return Episode(State.SHIFTED, begins, until, 0.1, 0.0)

    first, follows, later = one(100.0, 200.0), one(200.0, 300.0), one(400.0, np.inf)
    every = (first, follows, later)
    assert begun_by(every, 150.0) == (first, follows)
    assert begun_by(every, 350.0) == (first, follows)
    assert begun_by(every, 400.0) == every
    assert begun_by(every, 80.0) == (first, follows), "a beginning is an estimate"
    assert begun_by(every, 10.0) == ()
    assert begun_by((), 10.0) == ()


def test_a_long_row_of_checks_is_searched_for_an_excursion_on_a_grid():
    rng = np.random.default_rng(12)
    values = rng.normal(0, 1, 500)
    assert excursion(values, 3, 0.005) is None
    values[200:231] += 3
    first, back = excursion(values, 3, 0.005)
    assert abs(first - 200) <= 2
    assert abs(back - 231) <= 2


def test_a_drift_that_was_set_back_does_not_count_as_drifting_now():
    rng = np.random.default_rng(6)
    days = np.arange(80) * 7.0
    rate = np.clip(days - days[30], 0, None) / 7 * 0.01 * (days < days[55])
    found = course(days, rng.normal(0, 0.005, 80) + rate)
    assert found.state is State.STEADY
    assert found.since == pytest.approx(days[55], abs=7)
    assert abs(found.level) < 0.01


@pytest.mark.parametrize("number", [1, 2, 7])
def test_few_checks_are_said_to_be_too_few(number):
    found = course(np.arange(number) * 7.0, np.linspace(0, 0.5, number))
    assert found.state is State.TOO_FEW
    assert found.level == pytest.approx(np.linspace(0, 0.5, number).mean())


def test_checks_that_are_all_alike_are_steady():
    assert course(np.arange(20) * 7.0, np.full(20, 0.02)).state is State.STEADY


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="as many as deviations"):
        course(np.arange(3.0), np.zeros(2))
    with pytest.raises(ValueError, match="days must rise"):
        course(np.array([1.0, 0.0]), np.zeros(2))


def test_air_saturated_water_without_a_reference_is_computed():
    """Source of the reference: Benson and Krause 1984 at the water's temperature and the day's pressure."""
    frame = pd.DataFrame(
        {
            "meter": "OX9", "checked_at": pd.Timestamp("2026-03-02 08:00"), "quantity": "dissolved_oxygen",
            "reference": [np.nan, np.nan, np.nan], "observed": 9000.0,
            "extra": ['{"Against": "air-saturated water", "Temperature (°C)": "20,0", "Pressure (hPa)": "900"}',
                      '{"Against": "air-saturated water", "Temperature": "20", "Pressure": "101.325"}',
                      '{"Against": "something"}'],
        }
    )  # fmt: skip
    told = deviations(Snapshot.of({"meter_checks": frame}).frame("meter_checks"))
    wanted = [1000 * float(oxygen_solubility(20, 90.0)), 1000 * float(oxygen_solubility(20))]
    assert told.levels["reference"].to_list() == pytest.approx(wanted)
    assert wanted[1] == pytest.approx(9092.4, abs=10)
    assert told.computed == 2
    assert told.left_out == 1


def test_nothing_on_record_is_said():
    finding = meters(Snapshot.empty())
    assert finding.answer == "No meter check and no repeated reading is on record."
    assert finding.as_document()["meters"] == []


def repeat_frames():
    made = simulate()
    rows = [
        {
            "run": r.run.run, "stage": "pack", "sample": str(r.sample), "measured_at": r.measured_at,
            "quantity": "haze", "value": r.haze, "unit": "EBC", "meter": r.meter.name, "replicate": str(r.replicate),
        }
        for r in made.repeats
    ]  # fmt: skip
    runs = {pack.run.run: pack.run for pack in made.packs}
    return {
        "readings": pd.DataFrame(rows),
        "pack_runs": pd.DataFrame({"run": list(runs), "batch": [r.batch.key for r in runs.values()]}),
        "batches": pd.DataFrame({"batch": r.batch.key, "recipe": r.recipe.code} for r in runs.values()),
        "targets": pd.DataFrame(
            {"recipe": t.recipe, "quantity": "haze", "margin": t.margin} for t in truth.TARGETS if t.measure == "Haze"
        ),
    }


def test_the_meter_that_cannot_see_the_margin_is_named():
    """HZ2 repeats twice as badly as HZ1 in the invented brewery, beyond what the strictest haze margin allows."""
    study = meters(Snapshot.of(repeat_frames())).studies[0]
    by_meter = {m.meter: m for m in study.meters}
    spread = truth.SPREADS["haze"].meter
    chi_square_20 = (9.591 / 20) ** 0.5, (34.170 / 20) ** 0.5  # 95 % of a standard deviation of 20 degrees of freedom
    for name, true in (("HZ1", spread), ("HZ2", 2 * spread)):
        ratio = by_meter[name].repeatability / true
        assert chi_square_20[0] <= ratio <= chi_square_20[1], name
    assert not by_meter["HZ2"].sees_margin
    assert "HZ2" in study.answer
    assert "one reading is not enough" in study.answer
