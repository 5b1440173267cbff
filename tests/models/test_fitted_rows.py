"""Do columns that are added to a fit's sums give what reading the whole formula again gives?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import CannotFitError, fit_with, fitted_rows, leave_one_out, mixed, row_fit

FORMULAS = (
    "y ~ x + recipe + (1|batch)",
    "y ~ 0 + x + recipe + (1|batch) + (1|tank)",
    "y ~ x + (1 + x||batch) + (1|tank)",
)


@pytest.fixture
def frame():
    rng = np.random.default_rng(31)
    batch = np.repeat(np.arange(40), 6)
    frame = pd.DataFrame({"batch": [f"b{b:02d}" for b in batch], "recipe": np.array(["P", "Q", "R"])[batch % 3]})
    frame["tank"] = np.array(list("STUVW"))[rng.integers(0, 5, 40)][batch]
    frame["x"] = 100 + rng.normal(size=40)[batch]
    frame["w"] = 3 + rng.normal(size=240)
    frame["y"] = 5 + 0.3 * frame["x"] - 0.2 * frame["w"] ** 2 + rng.normal(size=40)[batch] + rng.normal(size=240)
    frame.loc[7, "y"] = np.nan
    return frame.sample(frac=1.0, random_state=3)


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_fit_with_further_columns_is_that_of_the_longer_formula(frame, formula):
    fit, square = mixed(formula, frame), frame["w"] ** 2
    rows = fitted_rows(fit, frame)
    kept = rows.rows.kept
    wider = fit_with(fit, rows, {"w": frame["w"].to_numpy()[kept], "w squared": square.to_numpy()[kept]})
    left, right = formula.split("~")
    whole = mixed(f"{left}~ {right} + w + `w squared`", frame.assign(**{"w squared": square}))
    assert wider.names == whole.names
    assert wider.deviance == pytest.approx(whole.deviance, abs=1e-7)
    assert wider.coefficients == pytest.approx(whole.coefficients, rel=1e-5)
    assert wider.standard_errors == pytest.approx(whole.standard_errors, rel=1e-5)
    assert (wider.rows, wider.missing) == (239, 1)


def test_a_column_that_the_others_make_is_dropped(frame):
    fit = mixed(FORMULAS[0], frame)
    rows = fitted_rows(fit, frame)
    twice = fit_with(fit, rows, {"twice": 2 * rows.frame["x"].to_numpy()[rows.rows.kept] + 1})
    assert twice.dropped == ("twice",)
    assert twice.deviance == pytest.approx(fit.deviance, abs=1e-7)


def test_rows_read_once_answer_as_the_frame_does(frame):
    fit = mixed(FORMULAS[1], frame)
    rows = fitted_rows(fit, frame)
    assert row_fit(fit, rows).residuals == pytest.approx(row_fit(fit, frame).residuals, abs=1e-12)
    once, again = leave_one_out(fit, rows, "recipe"), leave_one_out(fit, frame, "recipe")
    assert once.levels == again.levels == ("P", "Q", "R")
    assert np.array_equal(once.coefficients, again.coefficients, equal_nan=True)


def test_misuse_is_told(frame):
    fit = mixed(FORMULAS[0], frame)
    rows = fitted_rows(fit, frame)
    with pytest.raises(ValueError, match="239 complete rows"):
        fitted_rows(fit, frame.iloc[:50])
    with pytest.raises(ValueError, match="levels that the fit has not seen"):
        fitted_rows(fit, frame.assign(batch=frame["batch"] + "x"))
    with pytest.raises(ValueError, match="names of their own, got x"):
        fit_with(fit, rows, {"x": np.ones(239)})
    with pytest.raises(ValueError, match="finite value for each of 239 rows"):
        fit_with(fit, rows, {"z": np.full(239, np.nan)})
    wider = fit_with(fit, rows, {"w": np.arange(239.0)})
    with pytest.raises(ValueError, match="reads no rows"):
        row_fit(wider, frame)
    with pytest.raises(CannotFitError, match="exactly"):
        fit_with(fit, rows, {"w": rows.rows.dense[:, -1]})
