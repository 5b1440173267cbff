"""Is capability said with its interval, and refused where it has no meaning?"""

import math

import numpy as np
import pytest

from analysis.charts import (
    capability,
    censored_individuals,
    individuals,
    one_sided_interval,
    percentile_interval,
    share_beyond,
    spread_interval,
)
from analysis.charts.capability_intervals import freedom_of_moving_ranges


def chart(values, scale="linear"):
    return individuals(values, scale=scale, rules=["beyond-limit"]).values


def steady(n, seed, mean=0.0, sd=1.0):
    """Normal runs without a signal."""
    rng = np.random.default_rng(seed)
    while True:
        values = rng.normal(mean, sd, n)
        if chart(values).is_stable:
            return values


def test_within_and_overall_spread_are_kept_apart():
    values = steady(60, 1, 16, 2)
    found = capability(chart(values), lower=8, upper=24)
    sigma = chart(values).sigma[0]
    assert found.cp.value == pytest.approx(16 / (6 * sigma))
    assert found.pp.value == pytest.approx(16 / (6 * values.std(ddof=1)))
    assert found.cpk.value == pytest.approx(min(values.mean() - 8, 24 - values.mean()) / (3 * sigma))
    assert found.cp.low < found.cp.value < found.cp.high
    assert found.runs == 60


def test_one_limit_has_no_cp_and_no_pp():
    found = capability(chart(steady(40, 2, 50, 5)), upper=80)
    assert found.cp is None and found.pp is None
    assert found.cpk is not None and found.ppk is not None
    assert math.isnan(found.beyond_lower)


def test_an_unstable_chart_is_refused_with_the_reason():
    values = steady(40, 3)
    values[20] = 9.0
    found = capability(chart(values), lower=-4, upper=4)
    assert found.why_not == "the chart is not stable: 1 of its points give a signal"
    assert (found.cp, found.cpk, found.pp, found.ppk) == (None, None, None, None)


def test_too_few_runs_are_refused():
    assert "at least 10" in capability(chart([1.0, 2.0, 1.5]), upper=5).why_not
    assert "at least 10" in capability(chart([]), upper=5).why_not


def test_only_the_last_phase_counts():
    values = np.r_[steady(30, 4, 0), steady(30, 5, 10)]
    values[3] = 30.0
    phased = individuals(values, phases=np.repeat([0, 1], 30), rules=["beyond-limit"]).values
    found = capability(phased, lower=5, upper=15)
    assert found.why_not is None
    assert found.runs == 30


def test_a_skewed_measure_is_judged_on_the_log_scale():
    values = 20 * np.exp(0.4 * steady(200, 6))
    found = capability(chart(values, "log"), upper=80)
    logs = np.log(values)
    assert found.ppk.value == pytest.approx((math.log(80) - logs.mean()) / (3 * logs.std(ddof=1)))
    assert found.beyond_upper == pytest.approx(share_beyond(logs.mean(), logs.std(ddof=1), math.log(80), below=False))
    assert found.percentile.value == pytest.approx(1.29, abs=0.2)
    assert found.percentile.low < found.percentile.value < found.percentile.high
    normal = (80 - values.mean()) / (3 * values.std(ddof=1))
    assert normal > 1.5 * found.percentile.value


def test_a_lower_limit_of_zero_is_none_on_the_log_scale():
    found = capability(chart(np.exp(steady(40, 7)), "log"), lower=0.0, upper=50.0)
    assert found.pp is None
    assert found.percentile is not None


@pytest.mark.parametrize("index", [0.7, 1.33])
def test_intervals_cover_as_often_as_they_say(index):
    rng = np.random.default_rng(8)
    upper = 3 * index
    inside = {"width": 0, "nearer": 0, "percentile": 0}
    for _ in range(400):
        values = rng.normal(size=25)
        mean, sd = values.mean(), values.std(ddof=1)
        width = spread_interval(upper / (3 * sd), 24)
        nearer = one_sided_interval((upper - mean) / (3 * sd), 25, 24)
        skewed = percentile_interval(mean, sd, 25, None, math.exp(upper))
        true_skewed = (math.exp(upper) - 1) / (math.exp(3) - 1)
        inside["width"] += width.low <= index <= width.high
        inside["nearer"] += nearer.low <= index <= nearer.high
        inside["percentile"] += skewed.low <= true_skewed <= skewed.high
    for share in inside.values():
        assert 0.92 <= share / 400 <= 0.98


def test_moving_ranges_have_fewer_degrees_of_freedom_as_simulated():
    values = np.random.default_rng(9).normal(size=(40_000, 30))
    sigma = np.abs(np.diff(values, axis=1)).mean(axis=1) / (2 / math.sqrt(math.pi))
    assert freedom_of_moving_ranges(30) == pytest.approx(1 / (2 * sigma.var() / sigma.mean() ** 2), rel=0.03)


@pytest.mark.parametrize("seen", [-2.0, 0.0, 3.0])
def test_intervals_are_found_far_from_one(seen):
    for n in (10, 1_000):
        found = one_sided_interval(seen, n, n - 1, 0.99)
        assert found.low < seen < found.high


def test_misuse():
    plain = chart(steady(20, 10))
    with pytest.raises(ValueError, match="lower or upper must be given"):
        capability(plain)
    with pytest.raises(ValueError, match="lower must be below upper"):
        capability(plain, lower=2, upper=1)


def test_runs_beyond_the_meters_range_count_by_that_and_not_as_values():
    values = np.exp(steady(60, 21, 2.0, 0.3))
    limit = float(np.quantile(values, 0.3))
    sign = np.where(values < limit, -1, 0)
    seen = np.where(sign < 0, limit, values)
    plain = individuals(values, scale="log").values
    known = capability(plain, upper=18.0)
    told = capability(censored_individuals(seen, sign).values, upper=18.0, censored=sign)
    as_values = capability(individuals(seen, scale="log").values, upper=18.0)
    assert told.ppk.value == pytest.approx(known.ppk.value, rel=0.08)
    assert abs(told.ppk.value - known.ppk.value) < abs(as_values.ppk.value - known.ppk.value)
    assert told.ppk.high - told.ppk.low > known.ppk.high - known.ppk.low
    assert told.cp is None and told.cpk is None
    assert told.beyond_upper == pytest.approx(known.beyond_upper, abs=0.01)


def test_too_many_runs_beyond_the_meters_range_are_refused():
    values = np.exp(steady(40, 22, 2.0, 0.3))
    limit = float(np.quantile(values, 0.6))
    sign = np.where(values < limit, -1, 0)
    found = capability(censored_individuals(np.maximum(values, limit), sign).values, upper=30.0, censored=sign)
    assert "only 16 of 40 runs lie within the meter" in found.why_not
    with pytest.raises(ValueError, match="censored"):
        capability(individuals(values).values, upper=30.0, censored=[0, 1])
