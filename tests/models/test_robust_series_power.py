"""Do robust errors, splines, series and sample sizes keep their promises?"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from analysis.models import (
    CannotFitError,
    Spline,
    batches_needed,
    compared,
    curve,
    difference_power,
    equivalence_power,
    interrupted,
    knots_for,
    mixed,
    nonlinearity,
    robust,
    upper_variance_factor,
)


def clustered(seed, batches=10, packs=6, effect=0.0):
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), packs)
    x = rng.normal(size=batches)[batch]
    return pd.DataFrame(
        {"batch": batch, "x": x, "y": effect * x + rng.normal(size=batches)[batch] + rng.normal(size=len(batch))}
    )


def test_cr2_by_the_whole_matrix():
    frame = clustered(1).assign(z=np.random.default_rng(2).normal(5.0, 1.0, 60)).drop(index=[0, 7, 8])
    fit = robust("y ~ x + z", frame, cluster="batch")
    X = np.column_stack([np.ones(len(frame)), frame["x"], frame["z"]])
    y = frame["y"].to_numpy()
    bread = np.linalg.inv(X.T @ X)
    hat = X @ bread @ X.T
    left = y - hat @ y
    meat, columns = np.zeros((3, 3)), []
    for g in np.unique(frame["batch"]):
        at = np.flatnonzero(frame["batch"] == g)
        values, vectors = np.linalg.eigh(np.eye(len(at)) - hat[np.ix_(at, at)])
        root = vectors @ np.diag(values**-0.5) @ vectors.T
        score = X[at].T @ root @ left[at]
        meat += np.outer(score, score)
        columns.append((np.eye(len(y)) - hat)[:, at] @ root @ X[at] @ bread[:, 1])
    assert fit.covariance == pytest.approx(bread @ meat @ bread, rel=1e-8)
    gram = np.array(columns) @ np.array(columns).T
    assert fit.contrast("x").df == pytest.approx(np.trace(gram) ** 2 / (gram**2).sum(), rel=1e-8)


def test_packs_are_not_batches():
    """Six packs of a batch counted as six batches alarm in 30 of 100; CR2 and the mixed model in about 5."""
    alarms = np.array(
        [
            [
                mixed("y ~ x", frame).coefficient("x") ** 2 > 4.0 * mixed("y ~ x", frame).covariance[1, 1],
                robust("y ~ x", frame, cluster="batch").contrast("x").p < 0.05,
            ]
            for frame in (clustered(seed) for seed in range(200))
        ]
    ).mean(axis=0)
    assert alarms[0] > 0.2
    assert alarms[1] < 0.095  # 5 % and three Monte Carlo standard errors of 200 draws


def test_robust_misuse_is_told():
    frame = clustered(1)
    with pytest.raises(ValueError, match="no random terms"):
        robust("y ~ x + (1|batch)", frame, cluster="batch")
    with pytest.raises(ValueError, match="kind must be"):
        robust("y ~ x", frame, cluster="batch", kind="HC3")
    with pytest.raises(ValueError, match="column of the frame"):
        robust("y ~ x", frame, cluster="tank")
    with pytest.raises(CannotFitError, match="1 clusters"):
        robust("y ~ x", frame.assign(batch=1), cluster="batch")


def test_a_bend_is_found_and_a_straight_line_left():
    rng = np.random.default_rng(3)
    frame = clustered(3, batches=40).assign(dose=lambda f: rng.uniform(0, 30, 40)[f["batch"]])
    bent = frame.assign(y=frame["y"] + 3.0 * np.minimum(frame["dose"], 12.0) / 12.0)
    spline = Spline("dose", knots_for(frame["dose"], 4))
    formula = f"y ~ {spline.terms} + (1|batch)"
    assert nonlinearity(mixed(formula, spline.added_to(bent)), spline).p < 0.01
    straight = frame.assign(y=frame["y"] + 0.1 * frame["dose"])
    assert nonlinearity(mixed(formula, spline.added_to(straight)), spline).p > 0.05
    points = curve(mixed(formula, spline.added_to(bent)), spline, [0.0, 12.0, 25.0], reference=0.0)
    assert points[0].difference.value == pytest.approx(0.0, abs=1e-9)
    assert points[1].difference.low < 3.0 < points[1].difference.high
    with pytest.raises(ValueError, match="ascend"):
        Spline("dose", (1.0, 1.0, 2.0))
    with pytest.raises(CannotFitError, match="too few different values"):
        knots_for([0.0, 0.0, 0.0, 1.0], 4)


def drifting(rng, n, rho=0.6):
    noise = np.empty(n)
    noise[0] = rng.normal()
    for k in range(1, n):
        noise[k] = rho * noise[k - 1] + np.sqrt(1 - rho**2) * rng.normal()
    return noise


def test_a_change_made_once_while_things_drift():
    """Before against after alarms in about 30 of 100 at a lag-one correlation of 0.6."""
    rng = np.random.default_rng(4)
    plain, told, beside = [], [], []
    at = np.arange(40)
    for _ in range(120):
        first, second = drifting(rng, 40), drifting(rng, 40)
        plain.append(stats.ttest_ind(first[:20], first[20:]).pvalue < 0.05)
        told.append(interrupted(first, at, 20).step.p < 0.05)
        beside.append(compared(first, at, second, at, 20).step.p < 0.05)
    assert np.mean(plain) > 0.2
    assert max(np.mean(told), np.mean(beside)) < 0.11  # 5 % and three Monte Carlo standard errors of 120 draws


def test_what_moved_both_groups_is_taken_out():
    rng = np.random.default_rng(5)
    at = np.arange(30)
    common = np.where(at >= 15, 5.0, 0.0)
    changed, other = drifting(rng, 30, 0.2) + common + np.where(at >= 15, 2.0, 0.0), drifting(rng, 30, 0.2) + common
    found = compared(changed, at, other, at, 15).step
    assert found.low < 2.0 < found.high
    assert found.value < 4.0


def test_a_change_after_bad_batches_is_no_cure():
    """Regression to the mean: the change follows three bad runs; leaving them out takes the false cure away."""
    rng = np.random.default_rng(6)
    with_them, without = [], []
    while len(with_them) < 60:
        values = rng.normal(size=60)
        bad = [k for k in range(12, 40) if (values[k - 3 : k] > 0.6).all()]
        if not bad:
            continue
        series = values[bad[0] - 12 : bad[0] + 9]
        at = np.arange(len(series))
        with_them.append(interrupted(series, at, 12, trend=False).step.value)
        without.append(interrupted(series, at, 12, trend=False, leave_out_before=3).step.value)
    assert np.mean(with_them) < -0.2
    assert abs(np.mean(without)) < 0.17  # three standard errors of the mean of 60
    assert interrupted(series, at, 12, leave_out_before=3).left_out == 3


def test_series_that_cannot_answer():
    with pytest.raises(CannotFitError, match="4 runs on each side"):
        interrupted(np.arange(10.0), np.arange(10), 8)
    with pytest.raises(ValueError, match="ascend"):
        interrupted(np.arange(10.0), np.zeros(10), 5)
    with pytest.raises(ValueError, match="negative"):
        interrupted(np.arange(10.0), np.arange(10), 5, leave_out_before=-1)


def test_power_by_another_route():
    found = difference_power(0.5, np.sqrt(2 / 40), 78.0)
    assert found == pytest.approx(TTestIndPower().power(0.5, 40, 0.05), abs=1e-6)
    rng = np.random.default_rng(7)
    df, error, margin, effect = 12.0, 0.4, 1.0, 0.3
    seen = effect + error * rng.normal(size=200_000)
    estimated = error * np.sqrt(rng.chisquare(df, 200_000) / df)
    inside = np.abs(seen) < margin - stats.t.ppf(0.95, df) * estimated
    assert equivalence_power(margin, error, df, effect=effect) == pytest.approx(inside.mean(), abs=0.004)
    assert equivalence_power(1.0, 0.4, 12.0, effect=1.0) < 0.05


def test_batches_needed_ask_for_the_design_only():
    needed = batches_needed(5.0, 2.0, 20.0, 25)
    assert needed.variance_factor == pytest.approx(20 / stats.chi2.ppf(0.2, 20)) == upper_variance_factor(20)
    assert needed.more_equivalence == needed.equivalence - 25 > 0
    worst = 2.0 * np.sqrt(needed.variance_factor * 25 / needed.equivalence)
    assert equivalence_power(5.0, worst, needed.equivalence - 5.0) >= 0.8
    fewer = 2.0 * np.sqrt(needed.variance_factor * 25 / (needed.equivalence - 1))
    assert equivalence_power(5.0, fewer, needed.equivalence - 6.0) < 0.8
    hopeless = batches_needed(0.5, 2.0, 20.0, 25)
    assert hopeless.equivalence is None
    assert "split batch" in hopeless.advice
    enough = batches_needed(50.0, 2.0, 20.0, 25)
    assert enough.more_equivalence == 0
    with pytest.raises(ValueError, match="above 0"):
        batches_needed(0.0, 2.0, 20.0, 25)
