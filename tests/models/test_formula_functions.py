"""Does a formula string do what it says with functions that learn from the rows, odd names, and groups of one level?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import BSpline

from analysis.models import CannotFitError, mixed


@pytest.fixture
def frame() -> pd.DataFrame:
    rng = np.random.default_rng(20261130)
    n = 60
    columns = {name: rng.normal(size=n) for name in ("y", "x", "a.b", "c d")}
    return pd.DataFrame({**columns, "g": np.repeat(list("abcdef"), n // 6), "o": "one"})


@pytest.mark.parametrize(
    ("written", "column"),
    [
        ("center(x)", lambda f: f["x"] - f["x"].mean()),
        ("scale(x)", lambda f: (f["x"] - f["x"].mean()) / f["x"].std(ddof=1)),
        ("center(`c d`)", lambda f: f["c d"] - f["c d"].mean()),
        ("`a.b`", lambda f: f["a.b"]),
        ("log(`a.b` ** 2)", lambda f: np.log(f["a.b"] ** 2)),
    ],
)
def test_a_function_in_a_formula_is_the_column_that_it_makes(frame, written, column):
    told = mixed(f"y ~ {written} + (1|g)", frame)
    made = mixed("y ~ made + (1|g)", frame.assign(made=column(frame)))
    assert told.coefficients == pytest.approx(made.coefficients, rel=1e-9, abs=1e-12)
    assert told.standard_errors == pytest.approx(made.standard_errors, rel=1e-9)


def test_a_b_spline_in_a_formula_spans_the_splines_of_a_reference_library(frame):
    """scipy's B-splines of degree 3 with one knot at the median: another basis of the same columns."""
    told = mixed("y ~ bs(x, df=4) + (1|g)", frame, method="ML")
    x = frame["x"].to_numpy()
    knots = np.concatenate([np.repeat(x.min(), 4), [np.median(x)], np.repeat(x.max(), 4)])
    basis = BSpline.design_matrix(x, knots, 3).toarray()[:, 1:]
    made = frame.assign(**{f"b{k}": basis[:, k] for k in range(4)})
    assert told.deviance == pytest.approx(mixed("y ~ b0 + b1 + b2 + b3 + (1|g)", made, method="ML").deviance, abs=1e-7)


@pytest.mark.parametrize("written", ["center(nothing)", "nothing(x)", "bs(x, df=nothing)"])
def test_what_the_frame_lacks_is_named(frame, written):
    with pytest.raises(ValueError, match="nothing"):
        mixed(f"y ~ {written} + (1|g)", frame)


def test_what_cannot_be_read_is_a_misuse_told_with_the_formula(frame):
    with pytest.raises(ValueError, match=r"cannot be read: .* In 'y ~ x \+\* g"):
        mixed("y ~ x +* g + (1|g)", frame)


@pytest.mark.parametrize("formula", ["y ~ x + (1|o)", "y ~ x + (1|g) + (1|o)", "y ~ x + (x|o)"])
def test_a_group_of_one_level_is_refused_by_name(frame, formula):
    """Nothing tells its variance: lme4 refuses it too ("grouping factors must have > 1 sampled level", from memory)."""
    with pytest.raises(CannotFitError, match="o has one level"):
        mixed(formula, frame)


def test_a_column_that_others_all_but_make_is_dropped(frame):
    """By a share of 1e-9 of its squares: kept, it would have standard errors of thousands."""
    rng = np.random.default_rng(7)
    almost = frame["x"] + frame["c d"] + 3e-5 * rng.normal(size=len(frame))
    fit = mixed("y ~ x + `c d` + almost + (1|g)", frame.assign(almost=almost))
    assert fit.dropped == ("almost",)
    assert fit.standard_errors.max() < 1
