"""Do the charts with a memory of their own keep to their definitions, and to gaps, phases and head starts?"""

import math

import numpy as np
import pytest
from statsmodels.datasets import nile

from analysis.charts import cusum, cusum_run_length, ewma, individuals


def test_a_weight_of_one_is_the_individuals_chart():
    values = np.random.default_rng(1).normal(5, 2, size=40)
    chart = ewma(values, weight=1.0, width=3.0)
    plain = individuals(values).values
    assert chart.values == pytest.approx(values)
    assert chart.upper == pytest.approx(plain.upper)


def test_exact_limits_widen_to_the_steady_ones():
    values = np.random.default_rng(2).normal(size=200)
    exact, steady = (ewma(values, centre=0, sigma=1, steady_limits=steady) for steady in (False, True))
    assert np.all(np.diff(exact.upper) >= 0)
    assert exact.upper[-1] == pytest.approx(steady.upper[0])
    assert exact.upper[0] == pytest.approx(0.2 * 2.8593)


def test_only_the_limit_is_a_rule():
    chart = ewma(np.linspace(0, 1, 30), centre=0, sigma=1)
    assert chart.signals.rules == ("beyond-limit",)


def test_a_missing_run_leaves_the_average_and_sums_where_they_were():
    whole, gapped = [0.5, 1.0, 2.0], [0.5, np.nan, 1.0, 2.0]
    full, holed = (ewma(values, centre=0, sigma=1) for values in (whole, gapped))
    assert holed.values[[0, 2, 3]] == pytest.approx(full.values)
    assert holed.upper[[0, 2, 3]] == pytest.approx(full.upper)
    assert math.isnan(holed.values[1])
    sums = cusum(gapped, centre=0, sigma=1).upper
    assert sums[[0, 2, 3]] == pytest.approx(cusum(whole, centre=0, sigma=1).upper)
    assert math.isnan(sums[1])


def test_both_start_anew_at_a_phase():
    values, phases = [2.0, 2.0, 2.0, 2.0], [0, 0, 1, 1]
    assert ewma(values, centre=0, sigma=1, phases=phases).values.tolist() == pytest.approx([0.4, 0.72, 0.4, 0.72])
    assert cusum(values, centre=0, sigma=1, phases=phases).upper.tolist() == [1.5, 3.0, 1.5, 3.0]


def test_log_scale():
    values = np.exp(np.random.default_rng(3).normal(2, 0.3, size=60))
    log, linear = ewma(values, scale="log"), ewma(np.log(values))
    assert np.log(log.upper) == pytest.approx(linear.upper)
    assert np.log(log.values) == pytest.approx(linear.values)
    up, plain = cusum(values, scale="log"), cusum(np.log(values))
    assert up.upper == pytest.approx(plain.upper)


def test_limits_come_from_the_frozen_baseline():
    values = np.random.default_rng(4).normal(size=60)
    alone = ewma(values[:30])
    frozen = ewma(values, baseline=np.arange(60) < 30)
    assert frozen.upper[:30] == pytest.approx(alone.upper)


def test_a_head_start_finds_an_early_fault_sooner():
    values = np.full(6, 1.2)
    slow = cusum(values, centre=0, sigma=1, bound=4.0)
    quick = cusum(values, centre=0, sigma=1, bound=4.0, head_start=0.5)
    assert quick.upper[0] == pytest.approx(2.7)
    assert quick.signals[0].at < slow.signals[0].at
    assert quick.signals[0].level == pytest.approx(0.5 + 0.7)
    assert cusum_run_length(0.5, 4.0, 1.0, 0.5) < cusum_run_length(0.5, 4.0, 1.0)


def test_a_head_start_that_came_to_nothing_changes_nothing_later():
    values = np.r_[np.full(8, -1.0), np.full(8, 1.5)]
    plain = cusum(values, centre=0, sigma=1)
    quick = cusum(values, centre=0, sigma=1, head_start=0.5)
    assert quick.upper[8:] == pytest.approx(plain.upper[8:])
    up = next(signal for signal in quick.signals if signal.side == 1)
    assert (up.start, up.level) == (8, pytest.approx(1.5))


def test_each_excursion_signals_once():
    values = np.r_[np.full(10, 2.0), np.full(15, -1.0), np.full(10, 2.0)]
    ups = [signal for signal in cusum(values, centre=0, sigma=1).signals if signal.side == 1]
    assert [signal.start for signal in ups] == [0, 25]


def test_the_nile_by_its_first_level():
    """Recomputed: baseline 1871 to 1898, allowance 0.5, bound 5: the lower sum signals 1902 and starts at 1899."""
    volume = nile.load_pandas().data["volume"].to_numpy(float)
    signal = cusum(volume, baseline=np.arange(100) < 28, bound=5.0).signals[0]
    assert (1871 + signal.at, 1871 + signal.start, signal.side) == (1902, 1899, -1)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: ewma([1.0], weight=0), "weight must be above 0"),
        (lambda: ewma([1.0], width=0), "width must be above 0"),
        (lambda: cusum([1.0], bound=0), "bound above 0"),
        (lambda: cusum([1.0], head_start=1.0), "head_start must be from 0 to below 1"),
    ],
)
def test_misuse(make, said):
    with pytest.raises(ValueError, match=said):
        make()
