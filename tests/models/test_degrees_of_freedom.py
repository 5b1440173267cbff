"""Do the degrees of freedom hold against the whole matrix, and where a variance is 0?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import CannotFitError, contrast, joint_test, mixed
from analysis.models.degrees_of_freedom import level_caps


def example(seed=3, rows=90, spread=1.0):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {"batch": rng.integers(0, 15, rows), "tank": rng.choice(list("ABCDE"), rows), "x": rng.normal(size=rows)}
    )
    frame["dose"] = rng.normal(size=15)[frame["batch"]]
    frame["y"] = spread * rng.normal(size=15)[frame["batch"]] + rng.normal(size=rows) + 0.3 * frame["x"]
    return frame.assign(y=frame["y"] + frame["tank"].map(dict(zip("ABCDE", rng.normal(size=5), strict=True))))


def whole_matrix(fit, frame, columns, pieces, variances):
    """Kenward & Roger 1997 with the n by n matrices written out."""
    x = np.column_stack([np.ones(len(frame)), *(frame[c] for c in columns)])
    pieces = [np.eye(len(frame)), *pieces]
    v = sum(s * g for s, g in zip([fit.residual_variance, *variances], pieces, strict=True))
    inverse = np.linalg.inv(v)
    phi = np.linalg.inv(x.T @ inverse @ x)
    projector = inverse - inverse @ x @ phi @ x.T @ inverse
    count = len(pieces)
    expected = np.array([[0.5 * np.trace(projector @ g @ projector @ h) for h in pieces] for g in pieces])
    w = np.linalg.inv(expected)
    P = [-x.T @ inverse @ g @ inverse @ x for g in pieces]
    bend = sum(
        w[i, j] * (x.T @ inverse @ pieces[i] @ inverse @ pieces[j] @ inverse @ x - P[i] @ phi @ P[j])
        for i in range(count)
        for j in range(count)
    )
    adjusted = phi + 2 * phi @ bend @ phi
    slope = np.array([-(phi @ p @ phi)[1, 1] for p in P])
    return np.sqrt(adjusted[1, 1]), 2 * phi[1, 1] ** 2 / (slope @ w @ slope)


@pytest.mark.parametrize("spread", [1.0, 0.0])
def test_crossed_intercepts_as_from_the_whole_matrix(spread):
    frame = example(spread=spread)
    fit = mixed("y ~ x + dose + (1|batch) + (1|tank)", frame)
    members = [pd.get_dummies(frame[group]).to_numpy(float) for group in ("batch", "tank")]
    pieces = [member @ member.T for member in members]
    found = contrast(fit, "x")
    expected = whole_matrix(fit, frame, ["x", "dose"], pieces, [fit.variance("batch"), fit.variance("tank")])
    assert (found.standard_error, found.df) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("group", ["batch", "tank"])  # the slopes' factor eliminated, or among the rest
def test_correlated_slopes_as_from_the_whole_matrix(group):
    frame = example()
    other = "tank" if group == "batch" else "batch"
    fit = mixed(f"y ~ x + dose + (x|{group}) + (1|{other})", frame)
    member = pd.get_dummies(frame[group]).to_numpy(float)
    sloped = member * frame["x"].to_numpy()[:, None]
    single = pd.get_dummies(frame[other]).to_numpy(float)
    pieces = [member @ member.T, member @ sloped.T + sloped @ member.T, sloped @ sloped.T, single @ single.T]
    covariance = fit.variances[0].covariance
    variances = [covariance[0, 0], covariance[0, 1], covariance[1, 1], fit.variance(other)]
    found = contrast(fit, "x")
    expected = whole_matrix(fit, frame, ["x", "dose"], pieces, variances)
    assert (found.standard_error, found.df) == pytest.approx(expected, rel=1e-6)


def test_cap_where_the_batch_variance_is_zero():
    frame = example(seed=36, spread=0.0)
    fit = mixed("y ~ x + dose + (1|batch)", frame)
    assert fit.at_zero == ("batch",)
    plain, capped = contrast(fit, "dose"), contrast(fit, "dose", method="capped")
    assert plain.df > 16
    assert contrast(fit, "dose", method="satterthwaite").df > 80  # every pack counted as a batch
    assert (capped.df, capped.capped_by) == (13.0, "batch")  # 15 batches less the intercept and the dose
    assert capped.high - capped.low > plain.high - plain.low
    within = contrast(fit, "x", method="capped")
    assert (within.df, within.capped_by) == (contrast(fit, "x").df, None)
    assert level_caps(fit)[0][2] == (True, False, True)


def test_joint_test_of_one_row_is_the_t_test():
    fit = mixed("y ~ x + dose + (1|batch) + (1|tank)", example())
    single, joint = contrast(fit, "x"), joint_test(fit, ["x"])
    assert single.t**2 == pytest.approx(joint.F)
    assert joint.p == pytest.approx(single.p)
    both = joint_test(fit, ["x", "dose"])
    turned = joint_test(fit, [{"x": 1, "dose": 1}, {"x": 1, "dose": -1}])
    assert (both.F, both.degrees_of_freedom) == pytest.approx((turned.F, turned.degrees_of_freedom))
    with pytest.raises(ValueError, match="independent"):
        joint_test(fit, ["x", {"x": 2.0}])


def test_least_squares_without_random_terms():
    frame = example()
    found = contrast(mixed("y ~ x", frame), "x")
    x, y = frame["x"], frame["y"]
    slope, intercept = np.polyfit(x, y, 1)
    left = y - intercept - slope * x
    assert found.df == pytest.approx(88)
    assert found.standard_error == pytest.approx(np.sqrt(left @ left / 88 / ((x - x.mean()) ** 2).sum()))


def test_misuse_is_told():
    frame = example()
    fit = mixed("y ~ x + I(2 * x) + (1|batch)", frame)
    with pytest.raises(CannotFitError, match="cannot be told apart"):
        contrast(fit, "I(2 * x)")
    with pytest.raises(ValueError, match="names must be among Intercept, x"):
        contrast(fit, "hops")
    with pytest.raises(ValueError, match="shape"):
        contrast(fit, [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="REML"):
        contrast(mixed("y ~ x + (1|batch)", frame, method="ML"), "x")
    with pytest.raises(ValueError, match="method must be"):
        contrast(fit, "x", method="z")
    with pytest.raises(ValueError, match="level"):
        contrast(fit, "x", level=95)
