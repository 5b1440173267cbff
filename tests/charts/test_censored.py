"""Do readings below a meter's limit enter means, spreads and limits by their likelihood?"""

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from analysis.charts import censored_individuals, censored_means, individuals


def censor(values, limit):
    return np.maximum(values, limit), np.where(values < limit, -1, 0)


def test_without_censoring_it_is_the_mean_and_the_root_mean_square():
    values = np.random.default_rng(1).normal(5, 2, size=50)
    fit = censored_means(values, np.zeros(50, dtype=int))
    assert fit.means[0] == pytest.approx(values.mean())
    assert fit.sigma == pytest.approx(values.std())
    assert fit.log_likelihood == pytest.approx(norm.logpdf(values, values.mean(), values.std()).sum())


@pytest.mark.parametrize("both_sides", [False, True])
def test_it_is_the_top_of_the_likelihood(both_sides):
    values = np.random.default_rng(2).normal(1, 0.5, size=120)
    shown, censored = censor(values, 0.8)
    if both_sides:
        censored = np.where(shown > 1.6, 1, censored)
        shown = np.minimum(shown, 1.6)

    def deviance(p):
        u = (shown - p[0]) / math.exp(p[1])
        return -np.where(censored == 0, norm.logpdf(u) - p[1], norm.logcdf(-censored * u)).sum()

    best = minimize(deviance, [1, 0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    fit = censored_means(shown, censored)
    assert [fit.means[0], fit.sigma] == pytest.approx([best.x[0], math.exp(best.x[1])], abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-9)


def test_truth_is_recovered_where_substitution_misses_it():
    values = np.random.default_rng(3).normal(2.0, 0.6, size=20_000)
    shown, censored = censor(values, 1.8)
    fit = censored_means(shown, censored)
    assert [fit.means[0], fit.sigma] == pytest.approx([2.0, 0.6], abs=0.015)
    assert shown.mean() > 2.1
    assert fit.share_censored == pytest.approx(norm.cdf(-1 / 3), abs=0.01)


def test_groups_share_a_spread_and_a_group_all_below_is_a_bound():
    rng = np.random.default_rng(4)
    means = np.array([1.0, 2.0, 3.0, 0.0])
    groups = np.repeat(np.arange(4), 400)
    shown, censored = censor(rng.normal(means[groups], 0.3), 0.9)
    fit = censored_means(shown, censored, groups)
    assert fit.means[:3] == pytest.approx(means[:3], abs=0.06)
    assert fit.sigma == pytest.approx(0.3, abs=0.02)
    fit = censored_means([0.9, 0.8, 1.5, 1.6], [-1, -1, 0, 0], [0, 0, 1, 1])
    assert fit.bound.tolist() == [-1, 0]
    assert fit.means.tolist() == pytest.approx([0.8, 1.55])
    fit = censored_means([9.0, 8.0, 1.5, 1.6], [1, 1, 0, 0], [0, 0, 1, 1])
    assert fit.bound.tolist() == [1, 0]
    assert fit.means[0] == 9.0


def test_a_spread_that_nothing_tells_is_not_made_up():
    fit = censored_means([1.0, 2.0], [0, 0], [0, 1])
    assert math.isnan(fit.sigma)
    assert fit.means.tolist() == [1.0, 2.0]
    fit = censored_means([1.0, 2.0, 2.0], [0, -1, 0], [0, 0, 1])
    assert math.isnan(fit.sigma)
    fit = censored_means([1.0, 2.0], [-1, -1])
    assert fit.bound.tolist() == [-1]


def test_limits_from_a_censored_baseline():
    rng = np.random.default_rng(5)
    values = np.exp(rng.normal(2.0, 0.4, size=20_000))
    shown, censored = censor(values, 6.0)
    found = censored_individuals(shown, censored)
    assert found.values.centre[0] == pytest.approx(math.exp(2.0), rel=0.01)
    assert found.values.upper[0] == pytest.approx(math.exp(3.2), rel=0.02)
    assert found.share_censored == pytest.approx(np.mean(values < 6.0))
    assert "censored maximum likelihood" in found.values.cautions[0]


def test_no_lower_limit_below_the_meters_own():
    shown, censored = censor(np.exp(np.random.default_rng(6).normal(2.0, 0.4, size=60)), 6.0)
    assert np.isnan(censored_individuals(shown, censored).values.lower).all()
    low_meter, few = censor(np.exp(np.random.default_rng(6).normal(4.0, 0.1, size=60)), 1.0)
    assert not np.isnan(censored_individuals(low_meter, few).values.lower).any()


def test_a_censored_run_counts_only_where_its_side_is_sure():
    baseline = np.arange(40) < 30
    values = np.exp(np.random.default_rng(7).normal(3.0, 0.1, size=40))
    values[30:39], values[39] = 10.0, 90.0
    censored = np.zeros(40, dtype=int)
    censored[30:] = -1
    chart = censored_individuals(values, censored, baseline=baseline).values
    assert chart.signals.codes()[38] == ("beyond-limit", "nine-on-a-side")
    assert chart.signals.codes()[39] == ()
    assert math.isnan(chart.z[39])


def test_without_censoring_the_limits_are_those_of_the_standard_deviation():
    values = np.exp(np.random.default_rng(8).normal(3.0, 0.2, size=400))
    known = censored_individuals(values, np.zeros(400, dtype=int))
    plain = individuals(values, scale="log", spread="standard deviation").values
    assert known.values.upper[0] == pytest.approx(plain.upper[0], rel=1e-3)
    assert known.share_censored == 0


def test_all_censored_gives_no_limits_and_says_so():
    chart = censored_individuals([5.0] * 12, [-1] * 12).values
    assert math.isnan(chart.upper[0])
    assert "too many" in chart.cautions[0]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (([], []), "at least one reading"),
        (([1.0, np.nan], [0, 0]), "none of them missing"),
        (([1.0], [2]), "censored must be 1 numbers among -1, 0 and 1"),
        (([1.0, 2.0], [0, 0], [0, 2]), "groups must number 2 readings from 0"),
    ],
)
def test_misuse(arguments, said):
    with pytest.raises(ValueError, match=said):
        censored_means(*arguments)
