"""Do the run lengths of rule sets agree with the published ones, and do the rules themselves keep to them?"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from analysis.charts import ALL_RULES, FIRST_RULES, WESTERN_ELECTRIC, run_length, run_signals
from analysis.charts.run_length_simulation import simulated_run_lengths

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "charts_run_lengths.json").read_text())


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
    reach = 1.96 * lengths.std(ddof=1) / math.sqrt(lengths.size)
    stated = run_length(rules)
    assert lengths.mean() - reach < stated.high
    assert lengths.mean() + reach > stated.low


@pytest.mark.parametrize("rules", [FIRST_RULES, WESTERN_ELECTRIC, ALL_RULES], ids=["first", "western electric", "all"])
def test_two_hundred_shifted_histories_signal_after_the_stated_delay(rules):
    lengths = first_signals(rules, 1.0, 200, 400, 22)
    reach = 1.96 * lengths.std(ddof=1) / math.sqrt(lengths.size)
    stated = run_length(rules, 1.0)
    assert lengths.mean() - reach < stated.high
    assert lengths.mean() + reach > stated.low


def test_misuse():
    with pytest.raises(ValueError, match="at least one rule"):
        run_length([])
    with pytest.raises(ValueError, match="rules must be among"):
        run_length(["no-such-rule"])
