"""Does the way that spares most of the cost, where a few readings are limits, come to the same maximum?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import (
    CannotFitError,
    censored_mixed,
    censored_rows,
    fit_censored_rows,
    one_censored_at_a_time,
    read_rows,
)
from analysis.models import censored as censored_module
from analysis.models.censored_normal import CensoredNormal, OneSidedNormal
from analysis.models.limit_terms import limit_terms

FORMULAS = {
    "no random part": "y ~ x + recipe",
    "batches": "y ~ x + recipe + (1|batch)",
    "runs within batches, crossed with tanks": "y ~ x + recipe + (1|batch) + (1|run) + (1|tank)",
    "a factor without variance": "y ~ x + (1|batch) + (1|nothing)",
    "slopes": "y ~ x + (1 + w||batch) + (1|tank)",
    "no intercept": "y ~ 0 + x + w + (1|batch)",
    "a category for the intercept": "y ~ 0 + recipe + x + (1|batch) + (1|tank)",
}


def readings(seed, share, level=3.0):
    """60 batches of two runs of three packs; those of the lowest batches are limits, all packs of some runs among
    them."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(60), 6)
    run = np.repeat(np.arange(120), 3)
    frame = pd.DataFrame({"batch": batch, "run": run, "recipe": np.array(list("PQR"))[batch % 3]})
    frame["tank"] = rng.integers(0, 7, 60)[batch]
    frame["nothing"] = np.tile(np.arange(9), 40)
    frame["x"], frame["w"] = rng.normal(size=60)[batch], rng.normal(size=360)
    frame["y"] = level + 0.4 * frame["x"] + 0.2 * frame["w"] + 0.5 * rng.normal(size=60)[batch]
    frame["y"] += 0.4 * rng.normal(size=120)[run] + 0.3 * rng.normal(size=7)[frame["tank"]] + 0.3 * rng.normal(size=360)
    limit = frame["y"].quantile(share)
    side = np.where(frame["y"] < limit, -1, 0)
    return frame.assign(y=frame["y"].clip(lower=limit), side=side)


def by_the_plain_way(monkeypatch, *arguments, **options):
    with monkeypatch.context() as without:
        without.setattr(censored_module, "MOST_LIMITS", 0)
        return censored_mixed(*arguments, **options)


def check_agreement(few, plain):
    assert few.names == plain.names
    assert few.log_likelihood >= plain.log_likelihood - 1e-7
    assert few.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-5)
    errors = plain.standard_errors
    assert few.coefficients / errors == pytest.approx(plain.coefficients / errors, abs=1e-4)
    assert few.standard_errors == pytest.approx(errors, rel=1e-4)
    assert few.own == pytest.approx(plain.own, abs=1e-5)
    assert few.own_covariance == pytest.approx(plain.own_covariance, rel=1e-3)
    assert few.joint_covariance == pytest.approx(
        plain.joint_covariance, abs=1e-3 * np.abs(plain.joint_covariance).max()
    )
    assert few.at_zero == plain.at_zero
    assert [v.group for v in few.variances] == [v.group for v in plain.variances]
    for mine, theirs in zip(few.variances, plain.variances, strict=True):
        assert mine.variance == pytest.approx(theirs.variance, rel=3e-3, abs=1e-6)
    assert few.linear_predictor == pytest.approx(plain.linear_predictor, abs=3e-3)
    assert few.row_scores == pytest.approx(plain.row_scores, abs=3e-3 * np.abs(plain.row_scores).max())


@pytest.mark.parametrize("share", [0.02, 0.2])
@pytest.mark.parametrize("name", FORMULAS)
def test_it_comes_to_the_same_maximum(monkeypatch, name, share):
    frame = readings(7, share)
    few = censored_mixed(FORMULAS[name], frame, censored="side")
    plain = by_the_plain_way(monkeypatch, FORMULAS[name], frame, censored="side")
    assert few.evaluations <= 20 < plain.evaluations
    check_agreement(few, plain)


def test_limits_above_below_and_between(monkeypatch):
    frame = readings(8, 0.05)
    top = frame["y"].quantile(0.95)
    frame = frame.assign(side=np.where(frame["y"] > top, 1, frame["side"]), y=frame["y"].clip(upper=top), end=np.nan)
    frame.loc[100:110, "end"] = frame.loc[100:110, "y"] + 0.5
    formula = FORMULAS["runs within batches, crossed with tanks"]
    few = censored_mixed(formula, frame, censored="side", upper="end")
    check_agreement(few, by_the_plain_way(monkeypatch, formula, frame, censored="side", upper="end"))


def test_a_batch_and_a_run_of_limits_alone_have_their_say(monkeypatch):
    frame = readings(9, 0.0)
    low = (frame["batch"] == 5) | (frame["run"] == 40)
    frame = frame.assign(side=np.where(low, -1, 0), y=frame["y"].where(~low, 2.0))
    formula = FORMULAS["runs within batches, crossed with tanks"]
    few = censored_mixed(formula, frame, censored="side")
    check_agreement(few, by_the_plain_way(monkeypatch, formula, frame, censored="side"))


def test_a_column_that_only_limits_show_is_left_to_the_plain_way(monkeypatch):
    frame = readings(10, 0.1)
    frame = frame.assign(mark=np.where((frame["side"] < 0) & (frame["batch"] % 2 == 0), 1.0, 0.0))
    few = censored_mixed("y ~ x + mark + (1|batch)", frame, censored="side")
    plain = by_the_plain_way(monkeypatch, "y ~ x + mark + (1|batch)", frame, censored="side")
    assert few.evaluations == plain.evaluations
    assert few.coefficient("x") == plain.coefficient("x")


def test_what_limits_say_changes_as_it_is_told_to():
    rng = np.random.default_rng(4)
    half = rng.normal(size=(5, 5))
    family = CensoredNormal(np.array([-np.inf, -np.inf, 0.2, 1.0, -0.5]), np.array([0.3, -1.0, np.inf, 1.4, 0.5]))
    mean, covariance, own = rng.normal(size=5), 0.3 * half @ half.T, np.array([-0.3])
    told = limit_terms(family, mean, covariance, own)

    def value(shift=0.0, wider=0.0, log_sd=0.0):
        return limit_terms(family, mean + shift, covariance + wider, own + log_sd).value

    step = 1e-5
    by_mean = [(value(step * d) - value(-step * d)) / (2 * step) for d in np.eye(5)]
    assert told.by_mean == pytest.approx(by_mean, rel=1e-6)
    assert told.by_own == pytest.approx((value(log_sd=step) - value(log_sd=-step)) / (2 * step), rel=1e-6)
    direction = half + half.T
    along = (value(wider=step * direction) - value(wider=-step * direction)) / (2 * step)
    assert (told.by_covariance * direction).sum() == pytest.approx(along, rel=1e-6)
    assert told.pull == pytest.approx(np.linalg.solve(covariance, told.eta - mean), rel=1e-7)


def test_one_limit_alone_is_its_own_integral():
    """Without a spread of its own, a limit's say is its probability, and its slope that of the log of it."""
    family = CensoredNormal(np.array([-np.inf]), np.array([0.5]))
    told = limit_terms(family, np.array([0.2]), np.zeros((1, 1)), np.array([0.0]))
    terms = family.terms(np.array([0.2]), np.array([0.0]))
    assert told.value == pytest.approx(float(terms.log_density[0]), rel=1e-12)
    assert told.by_mean == pytest.approx(terms.first, rel=1e-12)


def test_limits_on_one_side_take_fewer_steps_to_the_same():
    rng = np.random.default_rng(12)
    bound, below = rng.normal(size=40), rng.random(40) < 0.5
    ends = (np.where(below, -np.inf, bound), np.where(below, bound, np.inf))
    eta, own = 6.0 * rng.normal(size=40), np.array([0.4])
    one, both = OneSidedNormal(*ends).terms(eta, own), CensoredNormal(*ends).terms(eta, own)
    for name in ("log_density", "first", "second", "third", "by_own", "first_by_own", "second_by_own"):
        assert getattr(one, name) == pytest.approx(getattr(both, name), rel=1e-8, abs=1e-11), name


@pytest.mark.parametrize("formula", ["y ~ x + w + recipe + (1|batch) + (1|run)", "y ~ x + w + recipe"])
def test_fewer_columns_are_the_shorter_formula(formula):
    frame = readings(11, 0.1)
    rows = censored_rows(read_rows(formula, frame), censored="side")
    whole = fit_censored_rows(rows)
    part = fit_censored_rows(rows, [name for name in whole.names if name != "w"], start=whole)
    shorter = censored_mixed(formula.replace(" + w", ""), frame, censored="side")
    assert part.names == shorter.names
    assert part.log_likelihood == pytest.approx(shorter.log_likelihood, abs=1e-7)
    assert part.coefficients == pytest.approx(shorter.coefficients, rel=1e-4, abs=1e-5)
    assert part.standard_errors == pytest.approx(shorter.standard_errors, rel=1e-4)


def test_one_column_at_a_time_is_the_fit_with_that_column_where_no_variance_stands():
    frame = readings(12, 0.1)
    rows = censored_rows(read_rows("y ~ recipe + x + w", frame), censored="side")
    told = one_censored_at_a_time(rows, ["x", "w"])
    for k, name in enumerate(("x", "w")):
        alone = censored_mixed(f"y ~ recipe + {name}", frame, censored="side")
        assert told.coefficients[k] == pytest.approx(alone.coefficient(name), rel=1e-5)
        assert told.standard_errors[k] == pytest.approx(alone.standard_errors[alone.names.index(name)], rel=0.02)


def test_one_column_at_a_time_stands_at_the_variances_without_it():
    frame = readings(13, 0.1)
    rows = censored_rows(read_rows("y ~ recipe + x + w + (1|batch) + (1|run)", frame), censored="side")
    told = one_censored_at_a_time(rows, ["x", "w"])
    for k, name in enumerate(("x", "w")):
        alone = censored_mixed(f"y ~ recipe + {name} + (1|batch) + (1|run)", frame, censored="side")
        error = alone.standard_errors[alone.names.index(name)]
        assert told.coefficients[k] == pytest.approx(alone.coefficient(name), abs=0.2 * error)
        assert 0.9 * error <= told.standard_errors[k] <= 1.5 * error


def test_too_many_limits_are_told_of():
    rows = censored_rows(read_rows("y ~ x + (1|batch)", readings(13, 0.6)), censored="side")
    assert not rows.few
    with pytest.raises(CannotFitError, match="too many readings are limits"):
        one_censored_at_a_time(rows, ["x"])
    with pytest.raises(ValueError, match="columns must be among Intercept, x, got z"):
        one_censored_at_a_time(rows, ["z"])


def test_limits_on_one_side_alone_cannot_be_fitted():
    with pytest.raises(CannotFitError, match="same side"):
        censored_mixed("y ~ x", readings(1, 0.1).assign(side=-1), censored="side")
