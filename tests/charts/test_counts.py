"""Do charts of counts, shares and gaps keep to chance, to more than chance, and to their probability limits?"""

import math

import numpy as np
import pytest
from scipy.stats import binom, poisson

from analysis.charts import defects, defects_per_unit, failed_shares, good_between_faults, time_between_faults


def test_very_large_samples_flag_most_points_unless_the_spread_is_measured():
    """Laney 2002: with very large n the ordinary limits flag most points and the corrected ones none."""
    rng = np.random.default_rng(1)
    shares = rng.normal(0.1, 0.01, size=40)
    sizes = np.full(40, 100_000)
    failed = rng.binomial(sizes, shares)
    ordinary = failed_shares(failed, sizes, rules=["beyond-limit"])
    corrected = failed_shares(failed, sizes, limits="over-dispersed", rules=["beyond-limit"])
    assert ordinary.chart.signals.points.size > 20
    assert corrected.chart.signals.points.size <= 1
    assert corrected.dispersion[0] == pytest.approx(0.01 / math.sqrt(0.1 * 0.9 / 1e5), rel=0.35)


def test_where_chance_is_all_the_correction_changes_little():
    rng = np.random.default_rng(2)
    found = failed_shares(rng.binomial(200, 0.2, size=2_000), np.full(2_000, 200), limits="over-dispersed")
    assert found.dispersion[0] == pytest.approx(1, abs=0.05)
    counts = defects(rng.poisson(9, size=2_000), limits="over-dispersed")
    assert counts.dispersion[0] == pytest.approx(1, abs=0.05)


def test_unequal_sizes_have_limits_of_their_own():
    chart = failed_shares([5.0, 10.0, 30.0], [50.0, 100.0, 400.0]).chart
    share = 45 / 550
    assert chart.centre == pytest.approx(share)
    assert chart.upper == pytest.approx([share + 3 * math.sqrt(share * (1 - share) / n) for n in (50, 100, 400)])
    chart = defects_per_unit([4.0, 6.0], [2.0, 3.0]).chart
    assert chart.upper == pytest.approx([2 + 3 * math.sqrt(2 / n) for n in (2, 3)])


def test_no_lower_limit_below_zero_and_no_upper_above_all():
    chart = failed_shares([1.0, 0.0, 2.0], [20.0, 20.0, 20.0]).chart
    assert np.isnan(chart.lower).all()
    assert np.isnan(failed_shares([4.0, 5.0, 5.0], [5.0, 5.0, 5.0]).chart.upper).all()


@pytest.mark.parametrize("mean", [0.8, 4.0, 30.0])
def test_probability_limits_of_counts(mean):
    chart = defects(np.random.default_rng(3).poisson(mean, size=200), limits="probability").chart
    low, high = poisson.ppf([0.00135, 0.99865], chart.centre[0])
    assert chart.upper[0] == high
    assert chart.lower[0] == low or (low == 0 and math.isnan(chart.lower[0]))


def test_probability_limits_of_shares():
    failed = np.random.default_rng(4).binomial(80, 0.15, size=60)
    chart = failed_shares(failed, np.full(60, 80), limits="probability").chart
    low, high = binom.ppf([0.00135, 0.99865], 80, chart.centre[0])
    assert (80 * chart.lower[0], 80 * chart.upper[0]) == pytest.approx((low, high))


def test_a_missing_run_is_a_gap():
    chart = failed_shares([5.0, np.nan, 6.0], [50.0, 50.0, 50.0]).chart
    assert chart.centre[0] == pytest.approx(11 / 100)
    assert math.isnan(chart.values[1])


def test_frozen_baseline_and_phases():
    counts = np.r_[np.full(10, 4.0), np.full(10, 16.0)]
    frozen = defects(counts, baseline=np.arange(20) < 10).chart
    assert frozen.centre[-1] == 4
    assert frozen.signals.of("beyond-limit").at.tolist() == list(range(10, 20))
    apart = defects(counts, phases=np.repeat([0, 1], 10)).chart
    assert apart.centre[[0, -1]].tolist() == [4.0, 16.0]
    assert apart.is_stable


def test_steady_gaps_alarm_at_most_at_the_stated_rate():
    rng = np.random.default_rng(5)
    gaps = rng.geometric(0.02, size=100_000) - 1
    chart = good_between_faults(gaps, rules=["beyond-limit"])
    below, above = (gaps < chart.lower[0]).mean(), (gaps > chart.upper[0]).mean()
    assert below <= 0.0017 and above <= 0.0017
    assert chart.signals.points.size / gaps.size == pytest.approx(below + above)


def test_distances_of_gaps_and_times_are_about_standard_normal():
    rng = np.random.default_rng(6)
    for chart in (
        good_between_faults(rng.geometric(0.01, 50_000) - 1),
        time_between_faults(rng.exponential(7, 50_000)),
    ):
        assert chart.z.mean() == pytest.approx(0, abs=0.02)
        assert chart.z.std() == pytest.approx(1, abs=0.02)


def test_faults_that_come_more_often_signal_below():
    rng = np.random.default_rng(7)
    times = np.r_[rng.exponential(30, size=60), rng.exponential(4, size=30)]
    chart = time_between_faults(times, baseline=np.arange(90) < 60, rules=["beyond-limit", "nine-on-a-side"])
    assert chart.signals.first >= 60
    assert set(chart.signals.of("nine-on-a-side").side.tolist()) == {-1}


def test_steady_times_alarm_at_the_stated_rate():
    times = np.random.default_rng(8).exponential(5, size=200_000)
    chart = time_between_faults(times, rules=["beyond-limit"])
    assert chart.signals.points.size / times.size == pytest.approx(0.0027, rel=0.1)
    assert chart.centre[0] == pytest.approx(5 * math.log(2), rel=0.02)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: failed_shares([6.0], [5.0]), "failed must not exceed sizes"),
        (lambda: failed_shares([1.0], [0.0]), "sizes above 0"),
        (lambda: failed_shares([1.0], [2.5]), "sizes must be whole numbers"),
        (lambda: defects_per_unit([1.0], [1.0, 2.0]), "sizes must be 1 numbers"),
        (lambda: defects([1.0], limits="guess"), "limits must be sigma, over-dispersed or probability"),
        (lambda: good_between_faults([1.5]), "whole numbers from 0"),
        (lambda: good_between_faults([1.0], tail=0.5), "tail must lie between 0 and 0.5"),
        (lambda: time_between_faults([0.0]), "times must be above 0"),
    ],
)
def test_misuse(make, said):
    with pytest.raises(ValueError, match=said):
        make()
