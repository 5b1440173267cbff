"""Do the run lengths of rule sets agree with the published ones, and do the rules themselves keep to them?"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from analysis.charts import (
    ALL_RULES,
    FIRST_RULES,
    WESTERN_ELECTRIC,
    cusum,
    cusum_bound,
    cusum_run_length,
    estimated_run_length,
    ewma,
    ewma_run_length,
    ewma_width,
    run_length,
    run_signals,
)
from analysis.charts.run_length_simulation import simulated_run_lengths

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "charts_run_lengths.json").read_text())

REACH = 2.5758
"""Monte Carlo intervals at 99 %: a dozen of them are held at once."""


@pytest.mark.parametrize(
    "case", PUBLISHED["markov_chain"]["cases"], ids=lambda case: f"{'+'.join(case['rules'])} at {case['shift']}"
)
def test_exact_run_lengths(case):
    found = run_length(case["rules"], case["shift"])
    assert found.exact
    assert found.mean == found.low == found.high
    assert found.mean == pytest.approx(case["mean"], abs=PUBLISHED["markov_chain"]["tolerance"])


@pytest.mark.parametrize("case", PUBLISHED["simulated"]["cases"], ids=lambda case: "+".join(case["rules"])[:30])
def test_simulated_run_lengths(case):
    found = run_length(case["rules"])
    assert not found.exact
    both = math.hypot((found.high - found.low) / 2, case["half_width"])
    assert abs(found.mean - case["mean"]) < 1.5 * both


@pytest.mark.parametrize("case", PUBLISHED["ewma"]["cases"], ids=lambda case: f"weight {case['weight']}")
def test_ewma_run_lengths(case):
    for shift, mean in zip(case["shifts"], case["means"], strict=True):
        found = ewma_run_length(case["weight"], case["width"], shift)
        assert found == pytest.approx(mean, abs=PUBLISHED["ewma"]["tolerance"])


@pytest.mark.parametrize(("weight", "width"), PUBLISHED["ewma"]["widths_for_370_4"])
def test_ewma_widths(weight, width):
    assert ewma_width(weight, 370.4) == pytest.approx(width, abs=PUBLISHED["ewma"]["width_tolerance"])


@pytest.mark.parametrize(
    "case", PUBLISHED["cusum"]["cases"], ids=lambda case: f"bound {case['bound']}, head start {case['head_start']}"
)
def test_cusum_run_lengths(case):
    for shift, mean in zip(case["shifts"], case["means"], strict=True):
        found = cusum_run_length(case["allowance"], case["bound"], shift, case["head_start"])
        assert found == pytest.approx(mean, abs=PUBLISHED["cusum"]["tolerance"])


@pytest.mark.parametrize(("allowance", "bound"), PUBLISHED["cusum"]["bounds_for_370_4"])
def test_cusum_bounds(allowance, bound):
    assert cusum_bound(allowance, 370.4) == pytest.approx(bound, abs=PUBLISHED["cusum"]["bound_tolerance"])


@pytest.mark.parametrize(("runs", "mean"), PUBLISHED["estimated"]["cases"])
def test_run_lengths_of_estimated_limits(runs, mean):
    found = estimated_run_length(runs)
    assert found.mean == pytest.approx(mean, abs=PUBLISHED["estimated"]["tolerance"])
    assert found.tenth < found.median < found.mean < found.ninetieth


def test_estimated_limits_differ_from_chart_to_chart_as_simulated():
    rng = np.random.default_rng(24)
    baselines = rng.normal(size=(20_000, 25))
    mean, sd = baselines.mean(axis=1), baselines.std(axis=1, ddof=1)
    lengths = 1 / (ndtr(mean - 3 * sd) + ndtr(-mean - 3 * sd))
    found = estimated_run_length(25)
    assert np.quantile(lengths, [0.1, 0.5, 0.9]) == pytest.approx(
        [found.tenth, found.median, found.ninetieth], rel=0.06
    )


def test_a_weight_of_one_is_the_chart_of_single_runs():
    assert ewma_run_length(1.0, 3.0, 1.0) == pytest.approx(run_length(["beyond-limit"], 1.0).mean)


def test_order_of_rules_does_not_matter():
    assert run_length(reversed(ALL_RULES)) is run_length(ALL_RULES)


def test_more_rules_alarm_more_often():
    assert run_length(["beyond-limit"]).mean > run_length(FIRST_RULES).mean > run_length(WESTERN_ELECTRIC).mean


@pytest.mark.parametrize(
    ("rules", "shift"),
    [
        (WESTERN_ELECTRIC, 0.0),
        (WESTERN_ELECTRIC, 1.5),
        (("fifteen-inside",), 0.0),
        (("eight-outside", "nine-on-a-side"), 0.0),
        (("eight-outside", "nine-on-a-side"), 1.5),
    ],
)
def test_simulation_and_chain_agree(rules, shift):
    lengths = simulated_run_lengths(tuple(rules), shift, 2_000, np.random.default_rng(8))
    assert lengths.mean() == pytest.approx(
        run_length(rules, shift).mean, abs=4 * lengths.std() / math.sqrt(lengths.size)
    )


def first_signals(rules, shift, histories, longest, seed):
    """The run of the first signal of each history, from 1, found by the rules as they stand on a chart."""
    z = np.random.default_rng(seed).normal(shift, 1.0, size=(histories, longest))
    found = [run_signals(history, rules).first for history in z]
    assert None not in found
    return np.array(found) + 1


@pytest.mark.parametrize("rules", [FIRST_RULES, WESTERN_ELECTRIC, ALL_RULES], ids=["first", "western electric", "all"])
def test_two_hundred_steady_histories_alarm_at_the_stated_rate(rules):
    lengths = first_signals(rules, 0.0, 200, 4_000, 21)
    reach = REACH * lengths.std(ddof=1) / math.sqrt(lengths.size)
    stated = run_length(rules)
    assert lengths.mean() - reach < stated.high
    assert lengths.mean() + reach > stated.low


@pytest.mark.parametrize("rules", [FIRST_RULES, WESTERN_ELECTRIC, ALL_RULES], ids=["first", "western electric", "all"])
def test_two_hundred_shifted_histories_signal_after_the_stated_delay(rules):
    lengths = first_signals(rules, 1.0, 200, 400, 22)
    reach = REACH * lengths.std(ddof=1) / math.sqrt(lengths.size)
    stated = run_length(rules, 1.0)
    assert lengths.mean() - reach < stated.high
    assert lengths.mean() + reach > stated.low


def ewma_lengths(shift, histories, longest, seed):
    z = np.random.default_rng(seed).normal(shift, 1.0, size=(histories, longest))
    found = [ewma(history, weight=0.2, centre=0, sigma=1, steady_limits=True).signals.first for history in z]
    assert None not in found
    return np.array(found) + 1


def cusum_lengths(shift, histories, longest, seed):
    z = np.random.default_rng(seed).normal(shift, 1.0, size=(histories, longest))
    return np.array([cusum(history, centre=0, sigma=1).signals[0].at for history in z]) + 1


@pytest.mark.parametrize("shift", [0.0, 1.0], ids=["steady", "shifted"])
@pytest.mark.parametrize(
    ("lengths", "stated"),
    [
        (ewma_lengths, lambda shift: ewma_run_length(0.2, 2.8593, shift)),
        (cusum_lengths, lambda shift: cusum_run_length(0.5, 4.7749, shift)),
    ],
    ids=["ewma", "cusum"],
)
def test_two_hundred_histories_keep_to_the_stated_run_lengths(shift, lengths, stated):
    found = lengths(shift, 200, 4_000 if shift == 0 else 200, 25)
    reach = REACH * found.std(ddof=1) / math.sqrt(found.size)
    assert abs(found.mean() - stated(shift)) < reach


def test_misuse():
    for wrong in (lambda: ewma_run_length(0, 3), lambda: ewma_run_length(0.2, 0), lambda: ewma_width(0.2, 1)):
        with pytest.raises(ValueError, match="must be above"):
            wrong()
    for settings in ((-1, 4), (0.5, 4, 0, 1.0)):
        with pytest.raises(ValueError, match="must be"):
            cusum_run_length(*settings)
    with pytest.raises(ValueError, match="in_control must lie between"):
        cusum_bound(4, 10)
    with pytest.raises(ValueError, match="runs must be at least 5"):
        estimated_run_length(4)
    with pytest.raises(ValueError, match="at least one rule"):
        run_length([])
    with pytest.raises(ValueError, match="rules must be among"):
        run_length(["no-such-rule"])
