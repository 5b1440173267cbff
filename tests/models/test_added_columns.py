"""Does a column added at standing variances say what a fit with it says there?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import accumulate, fit_sums, mixed
from analysis.models.added_columns import added_between_levels, one_at_a_time, without_each_level
from analysis.models.criterion import solve
from analysis.models.system import system_of


@pytest.fixture(scope="module", params=["batch", "batch and run", "batch, run and tank"])
def frame_and_groups(request):
    rng = np.random.default_rng(5)
    batch = np.repeat(np.arange(60), 6)
    run = batch * 2 + np.tile([0, 0, 0, 1, 1, 1], 60)
    tank = batch % 7
    between = rng.normal(size=(60, 3))[batch]
    y = rng.normal(size=360) + rng.normal(size=60)[batch] + 0.5 * rng.normal(size=120)[run] + rng.normal(size=7)[tank]
    frame = pd.DataFrame({"y": y + 0.4 * between[:, 0], "batch": batch, "run": run, "tank": tank})
    frame[["a", "b", "c"]] = between
    groups = request.param.replace(" and ", ", ").split(", ")
    return frame, "".join(f" + (1|{g})" for g in groups)


def at_variances_of(fit, formula, frame, column):
    """The plain way: the model with the column, solved at the variances of the fit without it."""
    sums = accumulate(formula, frame)
    solution = solve(system_of(sums, None, None), fit.solution.factors)
    at = solution.system.names.index(column)
    scale = solution.sum_of_squares / (sums.rows - len(solution.coefficients))
    return solution.coefficients[at], np.sqrt(scale * solution.unscaled[at, at])


def test_a_column_between_batches_is_told_as_a_model_with_it_tells_it(frame_and_groups):
    frame, groups = frame_and_groups
    fit = mixed("y ~ a" + groups, frame)
    values = frame.groupby("batch")[["b", "c"]].first().to_numpy()
    told = added_between_levels(fit, "batch", values)
    for k, name in enumerate(("b", "c")):
        value, error = at_variances_of(fit, f"y ~ a + {name}{groups}", frame, name)
        assert told.coefficients[k] == pytest.approx(value, rel=1e-8)
        assert told.standard_errors[k] == pytest.approx(error, rel=1e-8)


def test_each_column_in_turn_is_told_as_a_model_with_it_alone_tells_it(frame_and_groups):
    frame, groups = frame_and_groups
    fit = mixed("y ~ a + b + c" + groups, frame)
    without = fit_sums(fit.sums, fixed=["Intercept", "a"])
    told = one_at_a_time(fit, without, ["b", "c"])
    for k, name in enumerate(("b", "c")):
        value, error = at_variances_of(without, f"y ~ a + {name}{groups}", frame, name)
        assert told.coefficients[k] == pytest.approx(value, rel=1e-8)
        assert told.standard_errors[k] == pytest.approx(error, rel=1e-8)


def test_a_column_that_the_model_has_already_is_not_told(frame_and_groups):
    frame, groups = frame_and_groups
    fit = mixed("y ~ a" + groups, frame)
    values = frame.groupby("batch")[["a"]].first().to_numpy()
    assert np.isnan(added_between_levels(fit, "batch", 2.0 * values + 1.0).coefficients).all()


def test_a_level_with_a_constant_of_its_own_is_as_good_as_left_out(frame_and_groups):
    frame, groups = frame_and_groups
    fit = mixed("y ~ a + b" + groups, frame)
    told = without_each_level(fit, "batch")
    for level in (0, 17):
        own = frame.assign(own=(frame["batch"] == level).astype(float))
        value, error = at_variances_of(fit, "y ~ a + b + own" + groups, own, "a")
        at = fit.names.index("a")
        assert told.coefficients[level, at] == pytest.approx(value, rel=1e-8)
        assert told.standard_errors[level, at] == pytest.approx(error, rel=1e-8)


def test_misuse_is_refused(frame_and_groups):
    frame, groups = frame_and_groups
    fit = mixed("y ~ a" + groups, frame)
    with pytest.raises(ValueError, match="group must be one of"):
        added_between_levels(fit, "line", np.zeros((60, 1)))
    with pytest.raises(ValueError, match="a row for each of 60 levels"):
        added_between_levels(fit, "batch", np.zeros((59, 1)))
    with pytest.raises(ValueError, match="columns must be among"):
        one_at_a_time(fit, fit, ["z"])
