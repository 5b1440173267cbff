"""Does the Laplace engine hold: its derivatives, its limits, its truth?"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.models import CannotFitError, binomial_mixed, censored_mixed, gamma_mixed, mixed, ordinal_mixed
from analysis.models.censored_normal import CensoredNormal
from analysis.models.families import BetaBinomial, Binomial, Gamma
from analysis.models.laplace import LaplaceSearch
from analysis.models.ordinal import CumulativeLogit
from analysis.models.random_rows import RandomRows

RNG = np.random.default_rng(5)
ROWS = 60
COUNTS = RNG.integers(0, 8, ROWS).astype(float)
LOWER = RNG.normal(size=ROWS)
FAMILIES = {
    "binomial": (Binomial(COUNTS, np.full(ROWS, 9.0)), np.zeros(0)),
    "beta-binomial": (BetaBinomial(COUNTS, np.full(ROWS, 9.0)), np.array([1.3])),
    "gamma": (Gamma(RNG.gamma(2.0, size=ROWS)), np.array([0.4])),
    "ordinal": (CumulativeLogit(RNG.integers(0, 4, ROWS), 4), np.array([-1.0, 0.2, -0.3])),
    "censored": (
        CensoredNormal(
            np.where(np.arange(ROWS) % 4 == 0, -np.inf, LOWER),
            LOWER + np.choose(np.arange(ROWS) % 4, [0.5, 0.0, np.inf, 0.7]),
        ),
        np.array([-0.2]),
    ),
}


@pytest.mark.parametrize("name", FAMILIES)
def test_derivatives_of_a_family(name):
    family, own = FAMILIES[name]
    eta = np.random.default_rng(18).normal(scale=1.5, size=ROWS)
    h = 1e-5
    terms, up, down = family.terms(eta, own), family.terms(eta + h, own), family.terms(eta - h, own)
    assert (up.log_density - down.log_density) / (2 * h) == pytest.approx(terms.first, rel=1e-5, abs=1e-6)
    assert (up.first - down.first) / (2 * h) == pytest.approx(terms.second, rel=1e-5, abs=1e-6)
    assert (up.second - down.second) / (2 * h) == pytest.approx(terms.third, rel=1e-5, abs=1e-6)
    for k in range(len(own)):
        step = h * np.eye(len(own))[k]
        ahead, behind = family.terms(eta, own + step), family.terms(eta, own - step)
        assert (ahead.log_density - behind.log_density) / (2 * h) == pytest.approx(terms.by_own[k], rel=1e-5, abs=1e-6)
        assert (ahead.first - behind.first) / (2 * h) == pytest.approx(terms.first_by_own[k], rel=1e-5, abs=1e-6)
        assert (ahead.second - behind.second) / (2 * h) == pytest.approx(terms.second_by_own[k], rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("name", FAMILIES)
@pytest.mark.parametrize("factors", [0, 1, 3])
def test_gradient_of_the_approximation(name, factors):
    family, own = FAMILIES[name]
    rng = np.random.default_rng(17)
    levels = [9, 5, 3][:factors]
    codes = [rng.integers(0, q, ROWS) for q in levels]
    varying = [np.ones(ROWS), rng.normal(size=ROWS), np.ones(ROWS)][:factors]
    search = LaplaceSearch(rng.normal(size=(ROWS, 2)), RandomRows(codes, varying, levels, ROWS), family)
    at = np.concatenate([np.array([0.3, 0.1, 0.4])[:factors], [0.2, -0.3], own])
    value, gradient = search.criterion(at)
    steps = 1e-5 * np.eye(len(at))
    numeric = [(search.criterion(at + h)[0] - search.criterion(at - h)[0]) / 2e-5 for h in steps]
    assert gradient == pytest.approx(numeric, rel=1e-4, abs=1e-3)
    if name != "beta-binomial":  # the only one that need not be concave
        dense = laplace_by_hand(search, at, family)
        assert value == pytest.approx(dense, rel=1e-9)


def laplace_by_hand(search, at, family):
    """The same approximation with Z written out."""
    phi, beta, own = search.split(at)
    random = search.random
    z = np.zeros((ROWS, random.total))
    for t in range(random.count):
        z[np.arange(ROWS), random.places[t]] = np.sqrt(phi[t]) * random.varying[t]
    u = np.zeros(random.total)
    for _ in range(200):
        terms = family.terms(search.X @ beta + z @ u, own)
        inner = z.T @ (-terms.second[:, None] * z) + np.eye(random.total)
        u = u + np.linalg.solve(inner, z.T @ terms.first - u)
    terms = family.terms(search.X @ beta + z @ u, own)
    inner = z.T @ (-terms.second[:, None] * z) + np.eye(random.total)
    return -(terms.log_density.sum() - 0.5 * u @ u - 0.5 * np.linalg.slogdet(inner)[1])


def brewery(seed=1, batches=40, packs=6):
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), packs)
    x = rng.normal(size=batches)[batch]
    level = 3.0 + 0.4 * x + rng.normal(0, 0.5, batches)[batch]
    return pd.DataFrame(
        {
            "batch": batch,
            "tank": rng.choice(list("ABCDEF"), len(batch)),
            "x": x,
            "level": level + rng.normal(0, 0.6, len(batch)),
        }
    )


def test_nothing_censored_is_the_gaussian_model():
    frame = brewery()
    censored = censored_mixed("level ~ x + (1|batch) + (1|tank)", frame)
    gaussian = mixed("level ~ x + (1|batch) + (1|tank)", frame, method="ML")
    assert -2 * censored.log_likelihood == pytest.approx(gaussian.deviance, abs=1e-6)
    assert censored.coefficients == pytest.approx(gaussian.coefficients, rel=1e-5)
    assert censored.variance("batch") == pytest.approx(gaussian.variance("batch"), rel=1e-3)


def test_the_slope_survives_censoring_and_the_shortcuts_bend_it():
    frame = brewery(batches=120).assign(y=lambda f: np.exp(f["level"]))
    limit = float(frame["y"].quantile(0.4))
    seen = frame.assign(side=np.where(frame["y"] < limit, -1, 0), y=frame["y"].clip(lower=limit))
    told = censored_mixed("log(y) ~ x + (1|batch)", seen, censored="side").contrast("x")
    assert told.low < 0.4 < told.high
    dropped = mixed("log(y) ~ x + (1|batch)", seen[seen["side"] == 0]).coefficient("x")
    at_limit = mixed("log(y) ~ x + (1|batch)", seen).coefficient("x")
    assert dropped < told.low
    assert at_limit < told.low


def test_rounded_readings_and_upper_ends():
    frame = brewery()
    rounded = frame.assign(level=(frame["level"] * 2).round() / 2)
    told = censored_mixed("level ~ x + (1|batch)", rounded, rounded_to=0.5)
    ends = rounded.assign(level=rounded["level"] - 0.25, top=rounded["level"] + 0.25)
    same = censored_mixed("level ~ x + (1|batch)", ends, upper="top")
    assert told.coefficients == pytest.approx(same.coefficients, rel=1e-5)
    exact = mixed("level ~ x + (1|batch)", frame, method="ML")
    assert told.coefficient("x") == pytest.approx(exact.coefficient("x"), abs=0.1)
    logged = censored_mixed(
        "log(y) ~ x", frame.assign(y=np.exp(frame["level"]).round(0).clip(lower=0.5)), rounded_to=1.0
    )
    assert logged.contrast("x").low < 0.4 < logged.contrast("x").high


def test_far_tails_keep_their_digits():
    family = CensoredNormal(np.array([-np.inf, 30.0, 29.9]), np.array([-30.0, np.inf, 30.0]))
    terms = family.terms(np.zeros(3), np.zeros(1))
    assert terms.log_density[:2] == pytest.approx(stats.norm.logcdf(-30), rel=1e-12)
    assert np.isfinite(terms.third).all()
    assert terms.first[0] == pytest.approx(-np.exp(stats.norm.logpdf(30) - stats.norm.logcdf(-30)))


def test_shift_and_scale_of_a_column_change_only_its_coefficient():
    rng = np.random.default_rng(3)
    frame = brewery().assign(score=lambda f: np.digitize(f["level"] + rng.logistic(size=len(f)), [2, 3, 4]))
    plain = ordinal_mixed("score ~ x + (1|batch)", frame)
    moved = ordinal_mixed("score ~ x + (1|batch)", frame.assign(x=1e4 + 50 * frame["x"]))
    assert moved.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-7)
    assert 50 * moved.coefficient("x") == pytest.approx(plain.coefficient("x"), rel=1e-4)
    assert moved.own - 1e4 * moved.coefficient("x") == pytest.approx(plain.own, rel=1e-4)
    wanted = 50 * moved.standard_errors[0]
    assert wanted == pytest.approx(plain.standard_errors[0], rel=1e-3)


def test_categories_that_no_row_has_are_left_out_and_words_keep_their_order():
    frame = brewery()
    words = pd.Categorical.from_codes(
        np.digitize(frame["level"], [2.5, 3.5]) * 2, ["low", "lowish", "mid", "midish", "high"], ordered=True
    )
    fit = ordinal_mixed("score ~ x", frame.assign(score=words))
    assert fit.own_names == ("low|mid", "mid|high")
    assert fit.coefficient("x") > 0


def test_zero_variance_and_contrasts():
    rng = np.random.default_rng(8)
    frame = pd.DataFrame({"g": np.repeat(np.arange(8), 10), "x": rng.normal(size=80)})
    frame["y"] = frame.index % 2  # five of ten in every group: less spread than chance gives
    fit = binomial_mixed("y ~ x + (1|g)", frame)
    assert fit.at_zero == ("g",)
    assert fit.variance("g") == 0.0
    wide, narrow = fit.contrast("x", df=6), fit.contrast("x")
    assert wide.high - wide.low > narrow.high - narrow.low
    assert narrow.low == pytest.approx(narrow.value - 1.959964 * narrow.standard_error)


def test_misuse_is_told():
    frame = brewery().assign(side=0)
    with pytest.raises(ValueError, match="uncorrelated"):
        gamma_mixed("level ~ x + (x|batch)", frame)
    with pytest.raises(ValueError, match="above 0"):
        gamma_mixed("level ~ x", frame.assign(level=-1.0))
    with pytest.raises(ValueError, match="must hold -1, 0 and 1"):
        censored_mixed("level ~ x", frame.assign(side=2), censored="side")
    with pytest.raises(CannotFitError, match="same side"):
        censored_mixed("level ~ x", frame.assign(side=-1), censored="side")
    with pytest.raises(CannotFitError, match="same way"):
        binomial_mixed("y ~ x", frame.assign(y=1.0))
    with pytest.raises(ValueError, match="whole numbers"):
        binomial_mixed("level ~ x", frame)
    with pytest.raises(CannotFitError, match="only one category"):
        ordinal_mixed("side ~ x", frame)
    with pytest.raises(ValueError, match="more than one trial"):
        binomial_mixed("y ~ x", frame.assign(y=frame.index % 2), varying=True)


@pytest.mark.parametrize(("kind", "named"), [("apart", "x"), ("one level of one outcome", r"line\[T.2\]")])
def test_outcomes_that_follow_from_a_column_are_refused_by_its_name(kind, named):
    """Albert & Anderson 1984, Biometrika 71, 1–10: the likelihood has no maximum then; a search ended at 2250 ± 2e5."""
    rng = np.random.default_rng(3)
    x = rng.normal(size=80)
    frame = pd.DataFrame({"x": x, "line": np.where(np.arange(80) % 4, "2", "1"), "g": np.repeat(list("abcdefgh"), 10)})
    mixed_up = rng.random(80) < 1 / (1 + np.exp(-x))
    came = x > 0 if kind == "apart" else mixed_up & (frame["line"] == "2")
    with pytest.raises(CannotFitError, match=f"follows from {named} without fail"):
        binomial_mixed(f"y ~ {'x' if kind == 'apart' else 'line'} + (1|g)", frame.assign(y=came.astype(float)))
    assert binomial_mixed("y ~ x + line + (1|g)", frame.assign(y=mixed_up.astype(float))).converged
