"""Does the mixed model hold where data are awkward?"""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime
from threadpoolctl import ThreadpoolController

from analysis.models import (
    CannotFitError,
    accumulate,
    censored_mixed,
    contrast,
    fit_sums,
    leave_one_out,
    level_effects,
    mixed,
    row_fit,
)
from analysis.models.criterion import solve
from analysis.models.cross_products import Accumulator
from analysis.models.gradient import gradient
from analysis.models.parameters import Parameters
from analysis.models.search import quasi_newton, search
from analysis.models.system import system_of
from analysis.models.threads import one_thread


@pytest.fixture
def brewery():
    rng = np.random.default_rng(7)
    rows = 400
    frame = pd.DataFrame(
        {
            "batch": rng.integers(0, 40, rows),
            "tank": rng.choice(list("ABCDEF"), rows),
            "recipe": rng.choice(["P40", "I62", "S51"], rows),
            "x": rng.normal(20.0, 5.0, rows),
            "z": rng.normal(0.0, 1.0, rows),
        }
    )
    batch, tank = rng.normal(0, 1.0, 40), dict(zip("ABCDEF", rng.normal(0, 0.7, 6), strict=True))
    slope = rng.normal(0, 0.1, 40)
    frame["y"] = 3 + 0.2 * frame["x"] + (frame["recipe"] == "I62") + rng.normal(0, 1, rows)
    frame["y"] += batch[frame["batch"]] + frame["tank"].map(tank) + slope[frame["batch"]] * frame["x"]
    return frame


def dense_deviance(frame, y, x, groups, variances, reml):
    """The criterion from the n by n matrix itself: another route to the same number."""
    v = np.eye(len(frame))
    for (name, columns), covariance in zip(groups, variances, strict=True):
        member = pd.get_dummies(frame[name]).to_numpy(float)
        stacked = np.concatenate([member * column[:, None] for column in columns], axis=1)
        v += stacked @ np.kron(covariance, np.eye(member.shape[1])) @ stacked.T
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    beta = np.linalg.solve(information, x.T @ inverse @ y)
    left = y - x @ beta
    df = len(y) - (x.shape[1] if reml else 0)
    deviance = np.linalg.slogdet(v)[1] + df * (1 + np.log(2 * np.pi * (left @ inverse @ left) / df))
    return deviance + (np.linalg.slogdet(information)[1] if reml else 0.0), beta


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("batches", [40, 3])  # with 3 batches it is the tank that is eliminated
def test_criterion_from_sums_is_that_from_the_whole_matrix(brewery, reml, batches):
    frame = brewery[brewery["batch"] < batches] if batches > 3 else brewery.assign(batch=brewery["batch"] % batches)
    sums = accumulate("y ~ x + recipe + (1 + x|batch) + (1|tank)", frame)
    system = system_of(sums)
    factor, tank = np.array([[0.7, 0.0], [0.1, 0.3]]), np.array([[0.5]])
    given = {0: factor, 1: tank}
    solution = solve(system, tuple(given[block.owners[0].factor] for block in system.blocks))
    x = np.column_stack([np.ones(len(frame)), frame["x"], frame["recipe"] == "P40", frame["recipe"] == "S51"]).astype(
        float
    )
    ones, slope = np.ones(len(frame)), frame["x"].to_numpy()
    groups = [("batch", [ones, slope]), ("tank", [ones])]
    deviance, beta = dense_deviance(frame, frame["y"].to_numpy(), x, groups, [factor @ factor.T, tank @ tank.T], reml)
    assert solution.deviance(reml) == pytest.approx(deviance, abs=1e-8)
    found = dict(zip(system.names, system.basis @ solution.coefficients + system.offset, strict=True))
    expected = dict(zip(["Intercept", "x", "recipe[T.P40]", "recipe[T.S51]"], beta, strict=True))
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize(
    "random",
    ["(1|batch)", "(1|batch) + (1|tank)", "(x|batch) + (1|tank)", "(1|batch) + (x||tank)", "(1|batch) + (x|tank)"],
)
def test_gradient_is_that_of_the_criterion(brewery, reml, random):
    system = system_of(accumulate(f"y ~ x + recipe + {random}", brewery))
    parameters = Parameters(system.blocks)
    at = parameters.start * 0.4 + 0.05

    def deviance(vector):
        return solve(system, parameters.factors(vector)).deviance(reml)

    factors = parameters.factors(at)
    analytic = parameters.chained(gradient(solve(system, factors), reml), factors)
    assert analytic == pytest.approx(approx_fprime(at, deviance, 1e-7), rel=1e-4, abs=1e-3)


def test_huge_offset_changes_nothing_but_the_intercept(brewery):
    plain = mixed("y ~ x + (1|batch) + (1|tank)", brewery)
    moved = mixed("y ~ x + (1|batch) + (1|tank)", brewery.assign(y=brewery["y"] + 1e7, x=brewery["x"] + 1e6))
    assert moved.deviance == pytest.approx(plain.deviance, abs=1e-5)
    assert moved.coefficient("x") == pytest.approx(plain.coefficient("x"), rel=1e-7)
    expected = plain.coefficient("Intercept") + 1e7 - 1e6 * plain.coefficient("x")
    assert moved.coefficient("Intercept") == pytest.approx(expected, rel=1e-8)


def test_without_an_intercept_the_shift_is_undone(brewery):
    moved = brewery.assign(y=brewery["y"] + 1e6)
    full = mixed("y ~ recipe + (1|batch)", moved)
    cells = mixed("y ~ 0 + recipe + (1|batch)", moved)
    assert cells.deviance == pytest.approx(full.deviance, abs=1e-5)
    assert cells.coefficient("recipe[I62]") == pytest.approx(full.coefficient("Intercept"), rel=1e-10)
    through_zero = mixed("y ~ 0 + x", brewery)
    x, y = brewery["x"].to_numpy(), brewery["y"].to_numpy()
    assert through_zero.coefficients == pytest.approx([x @ y / (x @ x)])
    assert through_zero.residual_variance == pytest.approx(((y - x * (x @ y / (x @ x))) ** 2).sum() / 399)


def test_aliased_columns_are_dropped_and_named(brewery):
    frame = brewery.assign(twice=2 * brewery["x"] + 3, never=7.0)
    fit = mixed("y ~ x + twice + never + z + (1|batch)", frame)
    assert fit.dropped == ("twice", "never")
    assert fit.names == ("Intercept", "x", "z")
    assert fit.deviance == pytest.approx(mixed("y ~ x + z + (1|batch)", brewery).deviance, abs=1e-9)


def test_missing_rows_are_counted(brewery):
    frame = brewery.copy()
    frame.loc[[3, 5], "x"] = np.nan
    frame.loc[[5, 9], "tank"] = None
    fit = mixed("y ~ x + (1|batch) + (1|tank)", frame)
    assert (fit.rows, fit.missing) == (397, 3)
    assert fit.deviance == mixed("y ~ x + (1|batch) + (1|tank)", frame.drop([3, 5, 9])).deviance


def test_chunks_parquet_and_arrow_add_up_to_the_frame(brewery, tmp_path):
    formula = "log(y + 50) ~ x + recipe + (1|batch) + (1|tank) + (0 + z|batch:recipe)"
    ordered = brewery.sort_values("recipe", ignore_index=True)  # the first chunk lacks two recipes
    whole = mixed(formula, ordered)
    path = tmp_path / "rows.parquet"
    ordered.to_parquet(path)
    known = {"recipe": ["I62", "P40", "S51"]}
    parts = (ordered.iloc[start : start + 70] for start in range(0, 400, 70))
    for sums in (
        accumulate(formula, path, chunk_rows=64),
        accumulate(formula, ordered, chunk_rows=33),
        accumulate(formula, parts, levels=known),
    ):
        fit = fit_sums(sums)
        assert fit.deviance == pytest.approx(whole.deviance, abs=1e-7)
        assert fit.coefficients == pytest.approx(whole.coefficients, rel=1e-6)
    with pytest.raises(ValueError, match="levels of recipe must be known"):
        accumulate(formula, (ordered.iloc[start : start + 70] for start in range(0, 400, 70)))


def test_submodels_are_subsets_of_one_sum(brewery):
    sums = accumulate("y ~ x + z + recipe + (1|batch) + (1|tank)", brewery)
    part = fit_sums(sums, fixed=["Intercept", "z"], groups=["tank"])
    alone = mixed("y ~ z + (1|tank)", brewery)
    assert part.deviance == pytest.approx(alone.deviance, abs=1e-8)
    assert part.coefficients == pytest.approx(alone.coefficients, rel=1e-6)
    slope = fit_sums(sums, fixed=["x"], groups=[])
    assert slope.coefficients == pytest.approx(mixed("y ~ 0 + x", brewery).coefficients, rel=1e-9)
    with pytest.raises(ValueError, match="groups must be among batch, tank"):
        fit_sums(sums, groups=["line"])


def test_rows_left_out_by_subtraction(brewery):
    formula = "y ~ x + recipe + (1|batch) + (1|tank)"
    sums = accumulate(formula, brewery)
    part = Accumulator(sums.design, levels_from=sums)
    part.add_rows(sums.design.rows(brewery[brewery["batch"] == 4]))
    left = fit_sums(sums.minus(part.result()))
    scratch = mixed(formula, brewery[brewery["batch"] != 4])
    assert left.deviance == pytest.approx(scratch.deviance, abs=1e-8)
    assert left.coefficients == pytest.approx(scratch.coefficients, rel=1e-6)
    assert (left.rows, left.groups[0].levels) == (scratch.rows, 39)


def test_nothing_to_judge_by_is_told(brewery):
    with pytest.raises(CannotFitError, match="fits the response exactly"):
        mixed("y ~ x + (1|batch)", brewery.assign(y=2 * brewery["x"] + 1))
    with pytest.raises(CannotFitError, match="cannot carry"):
        mixed("y ~ x + recipe + z + (1|batch)", brewery.iloc[:4])
    with pytest.raises(CannotFitError, match="every level of row has one row"):
        mixed("y ~ x + (1|row)", brewery.assign(row=np.arange(400)))
    with pytest.raises(CannotFitError, match="no row has all"):
        mixed("y ~ x + (1|batch)", brewery.assign(x=np.nan))
    with pytest.raises(ValueError, match=r"must be finite; not so: log\(y\)"):
        mixed("log(y) ~ x + (1|batch)", brewery.assign(y=np.where(brewery.index == 3, 0.0, 1.0 + brewery["z"] ** 2)))
    with pytest.raises(ValueError, match="lacks hops"):
        mixed("y ~ hops + (1|batch)", brewery)


def test_crossed_small_designs_never_stop_above_the_optimum():
    """A search in θ stuck in 120 of 400 such designs; φ is held here against a grid of starts."""
    rng = np.random.default_rng(11)
    for _ in range(25):
        frame = pd.DataFrame({"a": rng.integers(0, 6, 40), "b": rng.integers(0, 5, 40), "x": rng.normal(size=40)})
        frame["y"] = rng.normal(size=6)[frame["a"]] * rng.choice([0, 0.5]) + rng.normal(size=40)
        sums = accumulate("y ~ x + (1|a) + (1|b)", frame)
        fit = fit_sums(sums)
        system = system_of(sums)
        parameters = Parameters(system.blocks)
        grid = [
            solve(system, parameters.factors(np.array([p, q]))).deviance(True)
            for p in (0, 0.1, 0.5, 2)
            for q in (0, 0.1, 0.5, 2)
        ]
        assert fit.deviance <= min(grid) + 1e-9


def test_newton_and_quasi_newton_end_at_the_same_place(brewery):
    sums = accumulate("y ~ x + recipe + (1|batch) + (1|tank) + (0 + z|tank)", brewery)
    system = system_of(sums)
    parameters = Parameters(system.blocks)
    newton, quasi = search(system, parameters.start, True), quasi_newton(system, parameters.start, True)
    assert newton.converged
    assert newton.solution.deviance(True) == pytest.approx(quasi.solution.deviance(True), abs=1e-7)
    assert newton.evaluations < quasi.evaluations


def test_one_thread_inside_and_what_there_was_after():
    blas = ThreadpoolController().select(user_api="blas")
    before = [each["num_threads"] for each in blas.info()]
    with one_thread(), one_thread():
        assert {each["num_threads"] for each in blas.info()} == {1}
    assert [each["num_threads"] for each in blas.info()] == before


def nested(rows=500, seed=9):
    """Packs of runs of batches, and tanks that batches pass through."""
    rng = np.random.default_rng(seed)
    batch = rng.integers(0, 60, rows)
    frame = pd.DataFrame({"batch": batch, "run": batch * 4 + rng.integers(0, 3, rows), "x": rng.normal(size=rows)})
    frame["tank"] = np.array(list("ABCDEFG"))[rng.integers(0, 7, 60)][batch]
    frame["y"] = rng.normal(size=60)[batch] + 0.6 * rng.normal(size=250)[frame["run"]] + rng.normal(size=rows)
    return frame.assign(y=frame["y"] + frame["tank"].map(dict(zip("ABCDEFG", rng.normal(size=7), strict=True))))


@pytest.mark.parametrize("reml", [True, False])
def test_runs_within_batches_are_solved_as_one_block(reml):
    frame = nested()
    sums = accumulate("y ~ x + (1|batch) + (1|run) + (1|tank)", frame)
    system = system_of(sums)
    assert [len(block.owners) for block in system.blocks] == [2, 1]
    own = {0: np.array([[0.8]]), 1: np.array([[0.5]]), 2: np.array([[0.9]])}
    solution = solve(system, system.block_factors(own))
    x, ones = np.column_stack([np.ones(len(frame)), frame["x"]]), np.ones(len(frame))
    groups = [(name, [ones]) for name in ("batch", "run", "tank")]
    deviance, _ = dense_deviance(frame, frame["y"].to_numpy(), x, groups, [own[k] ** 2 for k in range(3)], reml)
    assert solution.deviance(reml) == pytest.approx(deviance, abs=1e-8)
    parameters = Parameters(system.blocks)
    at = parameters.vector(solution.factors)
    analytic = parameters.chained(gradient(solution, reml), solution.factors)
    numeric = approx_fprime(at, lambda v: solve(system, parameters.factors(v)).deviance(reml), 1e-7)
    assert analytic == pytest.approx(numeric, rel=1e-4, abs=1e-3)


def test_a_fit_of_nested_factors_is_the_same_in_one_block_or_two(monkeypatch):
    frame = nested()
    formula = "y ~ x + (1|batch) + (1|run) + (1|tank)"
    one = mixed(formula, frame)
    monkeypatch.setattr("analysis.models.blocks._WIDEST", 0)
    two = mixed(formula, frame)
    assert len(one.solution.system.blocks) < len(two.solution.system.blocks)
    assert one.deviance == pytest.approx(two.deviance, abs=1e-8)
    assert [v.variance for v in one.variances] == pytest.approx([v.variance for v in two.variances], rel=1e-4)
    assert [(v.group, v.levels) for v in one.variances] == [(v.group, v.levels) for v in two.variances]
    for method in ("kenward-roger", "satterthwaite"):
        first, second = contrast(one, "x", method=method), contrast(two, "x", method=method)
        assert (first.standard_error, first.df) == pytest.approx((second.standard_error, second.df), rel=1e-4)
    for mine, other in zip(level_effects(one), level_effects(two), strict=True):
        assert mine.levels == other.levels
        assert mine.values == pytest.approx(other.values, abs=1e-4)
        assert mine.standard_errors == pytest.approx(other.standard_errors, abs=1e-4)
    assert row_fit(one, frame).leverages == pytest.approx(row_fit(two, frame).leverages, abs=1e-5)
    assert row_fit(one, frame).residuals == pytest.approx(row_fit(two, frame).residuals, abs=1e-4)


def test_leaving_a_batch_out_takes_its_runs_along():
    frame = nested()
    formula = "y ~ x + (1|batch) + (1|run) + (1|tank)"
    found = leave_one_out(mixed(formula, frame), frame, "batch")
    for k in (0, 17):
        alone = mixed(formula, frame[frame["batch"] != found.levels[k]])
        assert found.coefficients[k] == pytest.approx(alone.coefficients, abs=1e-5)
    sloped = "y ~ x + (1|batch) + (1|run) + (0 + x|tank)"
    slopes = leave_one_out(mixed(sloped, frame), frame, "run")
    alone = mixed(sloped, frame[frame["run"] != slopes.levels[3]])
    assert slopes.coefficients[3] == pytest.approx(alone.coefficients, abs=1e-5)


def test_two_factors_beyond_memory_are_refused_with_what_to_do():
    """10,001 levels beside a larger factor: a dense factor would take gigabytes; one below it is let through."""
    level = np.arange(30_003)
    frame = pd.DataFrame({"a": level // 2, "b": level % 10_001, "y": np.random.default_rng(3).normal(size=30_003)})
    with pytest.raises(CannotFitError, match=r"10,001 levels of b,.*leave a factor out, join its rare levels"):
        mixed("y ~ 1 + (1|a) + (1|b)", frame)
    with pytest.raises(CannotFitError, match="10,001 levels"):
        censored_mixed("y ~ 1 + (1|a) + (1|b)", frame.assign(side=0), censored="side")
