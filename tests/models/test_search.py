"""Does the search end where it should, in few steps, wherever it starts?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import accumulate, fit_sums
from analysis.models.search import search
from analysis.models.system import system_of

LEVELS, ROWS = 60, 10


def balanced(seed=3):
    rng = np.random.default_rng(seed)
    level = np.repeat(np.arange(LEVELS), ROWS)
    return pd.DataFrame({"g": level, "y": rng.normal(0, 0.9, LEVELS)[level] + rng.normal(size=LEVELS * ROWS)})


def analysis_of_variance(frame):
    """The variance of a balanced design's levels over the residual's: (MSA / MSE − 1) / n.

    It is the restricted likelihood's too where it is not below 0 (from memory: Searle, Casella & McCulloch 1992,
    Variance Components, section 3.8).
    """
    means = frame.groupby("g")["y"].transform("mean")
    within = ((frame["y"] - means) ** 2).sum() / (LEVELS * (ROWS - 1))
    between = ((means - frame["y"].mean()) ** 2).sum() / (LEVELS - 1)
    return (between / within - 1) / ROWS


@pytest.mark.parametrize(("begin", "most"), [(0.001, 5), (0.2, 5), (5.0, 4), (400.0, 4)])
def test_a_balanced_design_is_solved_in_few_steps_from_anywhere(begin, most):
    frame = balanced()
    found = search(system_of(accumulate("y ~ 1 + (1|g)", frame)), np.array([begin]), True)
    assert found.converged
    assert found.solution.factors[0][0, 0] ** 2 == pytest.approx(analysis_of_variance(frame), rel=1e-5)
    assert found.evaluations <= most


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_rows_drawn_thirty_times_over_take_no_more_steps(seed):
    """Levels of very different sizes, and rows that come again: the model is not the truth, and the rows are many."""
    rng = np.random.default_rng(seed)
    rows = 6_000
    often = rng.gamma(0.7, size=300), rng.gamma(1.0, size=40)
    g, h = (rng.choice(len(p), rows, p=p / p.sum()) for p in often)
    y = rng.normal(0, 0.3, 300)[g] + rng.normal(0, 0.4, 40)[h] + rng.normal(size=rows)
    frame = pd.DataFrame({"g": g, "h": h, "y": y})
    drawn = frame.iloc[rng.integers(0, rows, 30 * rows)]
    for each in (frame, drawn, pd.concat([frame] * 30)):
        fit = fit_sums(accumulate("y ~ 1 + (1|g) + (1|h)", each))
        assert fit.converged
        assert fit.evaluations <= 6
