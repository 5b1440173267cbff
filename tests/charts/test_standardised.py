"""Does one chart across recipes show what no single recipe shows yet?"""

import numpy as np
import pytest

from analysis.charts import level_shifts, standardised


def runs(n, groups, seed, level=(0.0, 3.0, 5.0, 1.0), spread=(0.2, 0.2, 0.2, 0.2)):
    rng = np.random.default_rng(seed)
    group = rng.integers(0, groups, size=n)
    return rng.normal(np.array(level)[group], np.array(spread)[group]), group


def test_distances_are_standard_normal_whatever_the_recipe():
    values, group = runs(20_000, 4, 1, spread=(0.1, 0.4, 0.2, 0.3))
    found = standardised(values, group)
    for number in range(4):
        assert found.chart.z[group == number].std() == pytest.approx(1, abs=0.03)
        assert found.chart.z[group == number].mean() == pytest.approx(0, abs=1e-9)


def test_a_few_runs_a_recipe_still_alarm_at_the_stated_rate():
    """Five recipes of six runs each: a distance allows for the mean that it is counted from."""
    rng = np.random.default_rng(2)
    beyond = total = 0
    for _ in range(400):
        group = np.repeat(np.arange(5), 6)
        chart = standardised(rng.normal(size=30), group, rules=["beyond-limit"]).chart
        beyond += chart.signals.points.size
        total += 30
    assert beyond / total < 3 * 0.0027


def test_a_line_fault_shows_before_any_recipe_has_enough_runs():
    rng = np.random.default_rng(3)
    group = np.tile(np.arange(5), 8)
    values = rng.normal(np.array([2.0, 4.0, 3.0, 5.0, 1.0])[group], 0.2)
    values[22:] += 0.35
    across = level_shifts(standardised(values, group).chart.values)
    assert len(across) == 1
    assert across[0].earliest <= 22 <= across[0].latest
    assert all(level_shifts(values[group == number]) == () for number in range(5))


def test_a_single_run_of_a_recipe_has_no_centre_of_its_own():
    found = standardised([1.0, 2.0, 3.0, 9.0], [0, 0, 0, 1])
    assert np.isnan(found.chart.values[3])


def test_new_runs_allow_for_the_baseline_mean():
    values, group = np.array([0.0, 2.0, 0.0, 2.0, 1.0]), np.zeros(5, dtype=int)
    baseline = np.array([True, True, True, True, False])
    found = standardised(values, group, baseline=baseline)
    assert found.deviation[:4].tolist() == [-1.0, 1.0, -1.0, 1.0]
    assert found.chart.z[0] == pytest.approx(-1 / (found.sigma[0] * np.sqrt(0.75)))


def test_log_scale_and_misuse():
    values, group = runs(50, 2, 5)
    assert standardised(np.exp(values), group, scale="log").deviation == pytest.approx(
        standardised(values, group).deviation
    )
    with pytest.raises(ValueError, match="groups must be 50 numbers"):
        standardised(values, group[:3])
    assert standardised([], []).chart.n == 0
