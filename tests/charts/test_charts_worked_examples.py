"""Do the charts give the worked examples that were published?"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from analysis.charts import (
    capability,
    cusum,
    defects,
    ewma,
    failed_shares,
    good_between_faults,
    individuals,
    one_sided_interval,
    percentile_index,
    share_beyond,
    spread_interval,
    subgroups,
)

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "charts_worked_examples.json").read_text())


def test_every_worked_example_has_a_source():
    assert all(case["source"] for case in PUBLISHED.values())


@pytest.mark.parametrize("steady", [False, True], ids=["exact limits", "steady limits"])
def test_ewma(steady):
    case = PUBLISHED["ewma"]
    chart = ewma(
        case["values"],
        weight=case["weight"],
        width=case["width"],
        centre=case["centre"],
        sigma=case["sigma"],
        steady_limits=steady,
    )
    assert chart.values == pytest.approx(case["averages"], abs=case["averages_tolerance"])
    if steady:
        limits = [chart.lower[0], chart.upper[0]]
        assert limits == pytest.approx(case["steady_limits"], abs=case["tolerance"])
    else:
        assert chart.upper[:5] == pytest.approx(case["first_upper_limits"], abs=case["tolerance"])


def test_cusum():
    case = PUBLISHED["cusum"]
    found = cusum(case["values"], centre=case["centre"], sigma=1.0, allowance=case["allowance"], bound=case["bound"])
    assert found.upper[12:] == pytest.approx(case["upper_from_13"], abs=case["tolerance"])
    assert len(found.signals) == 1
    signal = found.signals[0]
    assert (signal.at + 1, signal.start + 1, signal.side) == (case["signal"], case["start"], 1)
    assert signal.level == pytest.approx(case["level"], abs=case["tolerance"])


def test_counts():
    case = PUBLISHED["counts"]
    chart = defects(case["counts"], rules=["beyond-limit"]).chart
    lines = [chart.centre[0], chart.lower[0], chart.upper[0]]
    assert lines == pytest.approx([case["centre"], case["lower"], case["upper"]], abs=case["tolerance"])
    assert chart.values[2] == chart.upper[2]
    assert (chart.signals.points + 1).tolist() == case["signals"]


def test_proportions():
    case = PUBLISHED["proportions"]
    chart = failed_shares(case["failed"], np.full(30, case["size"]), rules=["beyond-limit"]).chart
    lines = [chart.centre[0], chart.lower[0], chart.upper[0]]
    assert lines == pytest.approx([case["centre"], case["lower"], case["upper"]], abs=case["tolerance"])
    assert (chart.signals.points + 1).tolist() == case["signals"]


@pytest.mark.parametrize("spread", ["range", "standard deviation"])
def test_subgroups(spread):
    case = PUBLISHED["subgroups"]
    values = np.array(case["values"])
    charts = subgroups(values.ravel(), np.repeat(np.arange(25), 5), spread=spread)
    assert charts.means.centre[0] == pytest.approx(case["grand_mean"], abs=case["tolerance"])
    limits = [charts.means.lower[0], charts.means.upper[0]]
    assert limits == pytest.approx(case["mean_limits"], abs=case["tolerance"])
    key = {"range": "mean_range", "standard deviation": "mean_standard_deviation"}[spread]
    assert charts.spreads.centre[0] == pytest.approx(case[key], abs=case["tolerance"])
    upper = {"range": "range_upper", "standard deviation": "deviation_upper"}[spread]
    assert charts.spreads.upper[0] == pytest.approx(case[upper], abs=case["tolerance"])
    assert math.isnan(charts.spreads.lower[0])
    assert charts.means.is_stable and charts.spreads.is_stable


def exact_runs(mean, sd, n):
    """Return n runs without a signal whose mean and standard deviation are just these."""
    z = np.tile([1.0, -1.0, 0.6, -0.6], n // 4 + 1)[:n]
    z = z - z.mean()
    return mean + sd * z / z.std(ddof=1)


def test_capability_indices_and_intervals():
    case = PUBLISHED["capability"]
    chart = individuals(exact_runs(case["mean"], case["sigma"], case["n"]), rules=["beyond-limit"]).values
    found = capability(chart, lower=case["lower"], upper=case["upper"])
    assert found.pp.value == pytest.approx(case["cp"], abs=case["tolerance"])
    assert [found.pp.low, found.pp.high] == pytest.approx(case["cp_interval"], abs=case["tolerance"])
    assert found.ppk.value == pytest.approx(case["cpk"], abs=case["tolerance"])
    assert [found.ppk.low, found.ppk.high] == pytest.approx(case["cpk_interval"], abs=case["tolerance"])
    only_lower = capability(chart, lower=case["lower"])
    assert only_lower.ppk.value == pytest.approx(case["cpl"], abs=case["tolerance"])
    assert capability(chart, upper=case["upper"]).ppk.value == pytest.approx(case["cpu"], abs=case["tolerance"])


def test_capability_intervals_from_the_index_alone():
    case = PUBLISHED["capability"]
    width = spread_interval(case["cp"], case["n"] - 1)
    assert [width.low, width.high] == pytest.approx(case["cp_interval"], abs=case["tolerance"])
    nearer = one_sided_interval(2 / 3, case["n"], case["n"] - 1)
    assert [nearer.low, nearer.high] == pytest.approx(case["cpk_interval"], abs=case["tolerance"])


def test_capability_of_a_skewed_measure():
    case = PUBLISHED["percentile_capability"]
    mean, sigma = math.log(case["median"]), case["sigma_of_logs"]
    for upper, percentile, log_index, ppm in zip(
        case["upper"], case["percentile_index"], case["log_index"], case["ppm_beyond"], strict=True
    ):
        found = float(percentile_index(mean, sigma, None, upper))
        assert found == pytest.approx(percentile, abs=case["tolerance"])
        index = (math.log(upper) - mean) / (3 * sigma)
        assert index == pytest.approx(log_index, abs=case["tolerance"])
        share = share_beyond(mean, sigma, math.log(upper), below=False)
        assert 1e6 * share == pytest.approx(ppm, abs=case["ppm_tolerance"])


def test_rare_events_want_probability_limits():
    case = PUBLISHED["rare_events"]
    chart = good_between_faults(np.full(40, case["mean"]))
    assert (chart.lower[0], chart.upper[0]) == (case["lower"], case["upper"])
    good = case["mean"] / (1 + case["mean"])
    sigma_upper = case["mean"] + 3 * math.sqrt(case["mean"] * (1 + case["mean"]))
    assert sigma_upper == pytest.approx(case["sigma_upper"], abs=0.05)
    assert good ** (math.floor(sigma_upper) + 1) == pytest.approx(case["share_beyond_sigma_upper"], abs=5e-4)
