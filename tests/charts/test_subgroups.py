"""Do charts of subgroups and of runs with packs within them keep between and within apart?"""

import math

import numpy as np
import pytest

from analysis.charts import between_within, chart_constants, individuals, subgroups


@pytest.mark.parametrize("spread", ["range", "standard deviation"])
def test_equal_sizes_give_the_tabled_limits(spread):
    values = np.random.default_rng(1).normal(50, 2, size=(30, 5))
    charts = subgroups(values.ravel(), np.repeat(np.arange(30), 5), spread=spread)
    constants = chart_constants(5)
    if spread == "range":
        bar = np.ptp(values, axis=1).mean()
        half, upper = constants.A2 * bar, constants.D4 * bar
    else:
        bar = values.std(axis=1, ddof=1).mean()
        half, upper = constants.A3 * bar, constants.B4 * bar
    assert charts.means.upper[0] - charts.means.centre[0] == pytest.approx(half)
    assert charts.spreads.centre[0] == pytest.approx(bar)
    assert charts.spreads.upper[0] == pytest.approx(upper)


@pytest.mark.parametrize("spread", ["range", "standard deviation"])
def test_unequal_sizes_have_limits_of_their_own(spread):
    rng = np.random.default_rng(2)
    group = np.repeat(np.arange(4_000), rng.integers(2, 8, size=4_000))
    charts = subgroups(rng.normal(10, 3, size=group.size), group, spread=spread, rules=["beyond-limit"])
    sizes = charts.sizes
    for size in (2, 7):
        one = int(np.flatnonzero(sizes == size)[0])
        assert charts.means.upper[one] == pytest.approx(10 + 9 / math.sqrt(size), abs=0.15)
        assert charts.spreads.centre[one] == pytest.approx(
            3 * (chart_constants(size).d2 if spread == "range" else chart_constants(size).c4), rel=0.02
        )
    assert charts.means.signals.points.size / 4_000 < 0.006


def test_a_subgroup_of_one_has_a_mean_and_no_spread():
    charts = subgroups([1.0, 2.0, 1.5, 2.5, 9.0], [0, 0, 1, 1, 2])
    assert math.isnan(charts.spreads.values[2])
    assert charts.means.upper[2] - charts.means.centre[2] == pytest.approx(
        math.sqrt(2) * (charts.means.upper[0] - charts.means.centre[0])
    )


def test_a_subgroup_without_a_reading_is_a_gap():
    charts = subgroups([1.0, 2.0, np.nan, np.nan, 1.0, 3.0], [0, 0, 1, 1, 2, 2])
    assert math.isnan(charts.means.values[1])
    assert charts.sizes.tolist() == [2, 0, 2]


def test_spreads_have_the_limit_alone():
    values, run = runs_with_packs(30, 4, 0.5, 0.5, 9)
    charts, apart = subgroups(values, run, rules=["nine-on-a-side"]), between_within(values, run)
    assert charts.means.signals.rules == ("nine-on-a-side",)
    assert {chart.signals.rules for chart in (charts.spreads, apart.within, apart.moving_range)} == {("beyond-limit",)}


def test_frozen_baseline_of_subgroups():
    values = np.random.default_rng(3).normal(size=(40, 4))
    group = np.repeat(np.arange(40), 4)
    alone = subgroups(values[:20].ravel(), group[:80])
    frozen = subgroups(values.ravel(), group, baseline=np.arange(40) < 20)
    assert frozen.means.upper[-1] == pytest.approx(alone.means.upper[0], rel=1e-14)
    assert frozen.spreads.upper[-1] == pytest.approx(alone.spreads.upper[0], rel=1e-14)


def runs_with_packs(n, packs, between, within, seed):
    rng = np.random.default_rng(seed)
    run = np.repeat(np.arange(n), packs)
    return rng.normal(0, between, n)[run] + rng.normal(0, within, run.size), run


def test_six_cans_are_never_six_points():
    """With runs that differ, limits from the cans' own spread put most runs outside; those of run means do not."""
    values, run = runs_with_packs(200, 6, between=1.0, within=0.4, seed=4)
    wrong = subgroups(values, run, rules=["beyond-limit"]).means
    right = between_within(values, run, rules=["beyond-limit"]).means
    assert wrong.signals.points.size > 60
    assert right.signals.points.size <= 2
    assert right.n == 200


def test_run_means_are_an_individuals_chart():
    values, run = runs_with_packs(30, 4, 0.5, 0.5, 5)
    means = values.reshape(30, 4).mean(axis=1)
    found = between_within(values, run)
    plain = individuals(means)
    assert found.means.upper[0] == pytest.approx(plain.values.upper[0])
    assert found.moving_range.values[1:] == pytest.approx(plain.moving_range.values[1:])


def test_the_two_parts_of_the_spread_are_recovered():
    rng = np.random.default_rng(6)
    run = np.repeat(np.arange(20_000), rng.integers(2, 7, size=20_000))
    values = rng.normal(0, 0.6, 20_000)[run] + rng.normal(0, 0.3, run.size)
    found = between_within(values, run, rules=[])
    assert found.sigma_between == pytest.approx(0.6, rel=0.02)
    assert found.sigma_within == pytest.approx(0.3, rel=0.02)
    assert found.share_between == pytest.approx(0.8, abs=0.01)


def test_no_difference_between_runs_is_zero_and_not_negative():
    values, run = runs_with_packs(40, 5, 0.0, 1.0, 7)
    values = values - np.repeat(values.reshape(40, 5).mean(axis=1), 5) * 0.9
    assert between_within(values, run).sigma_between == 0


def test_log_scale_of_packs():
    values, run = runs_with_packs(30, 4, 0.3, 0.2, 8)
    log, linear = between_within(np.exp(values), run, scale="log"), between_within(values, run)
    assert np.log(log.means.upper) == pytest.approx(linear.means.upper)
    assert log.sigma_within == pytest.approx(linear.sigma_within)


def test_misuse():
    with pytest.raises(ValueError, match="spread must be range or standard deviation, got 'variance'"):
        subgroups([1.0], [0], spread="variance")
    with pytest.raises(ValueError, match="groups must be 2 numbers from 0"):
        subgroups([1.0, 2.0], [0, -1])
