"""Does a search start near where it ends?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import accumulate, fit_sums, mixed
from analysis.models.moments import variances_by_moments
from analysis.models.system import system_of


def crossed(rows=20_000, seed=1, slope=0.0):
    rng = np.random.default_rng(seed)
    g, h = rng.integers(0, 400, rows), rng.integers(0, 150, rows)
    x = rng.normal(size=rows)
    y = 1.0 + 0.2 * x + rng.normal(0, 0.5, 400)[g] + rng.normal(0, 1.5, 150)[h] + rng.normal(size=rows)
    return pd.DataFrame({"g": g, "h": h, "x": x, "y": y + slope * rng.normal(size=400)[g] * x})


def started(formula, frame):
    return variances_by_moments(system_of(accumulate(formula, frame)))


def test_crossed_factors_are_told_apart():
    by_levels = started("y ~ x + (1|g) + (1|h)", crossed())
    assert by_levels == pytest.approx([0.25, 2.25], rel=0.25)


def test_runs_within_batches():
    rng = np.random.default_rng(2)
    batch = np.repeat(np.arange(300), 9)
    run = np.repeat(np.arange(900), 3)
    y = rng.normal(size=300)[batch] + 0.7 * rng.normal(size=900)[run] + rng.normal(size=2700)
    frame = pd.DataFrame({"batch": batch, "run": run, "y": y})
    assert started("y ~ 1 + (1|batch) + (1|run)", frame) == pytest.approx([1.0, 0.49], rel=0.25)


def test_slopes_have_their_own():
    by_part = started("y ~ x + (1 + x||g) + (1|h)", crossed(slope=0.8))
    assert by_part[:2] == pytest.approx([0.25, 0.64], rel=0.3)


def test_a_variance_of_nothing_starts_a_little_above():
    frame = crossed().assign(none=lambda f: np.arange(len(f)) % 50)
    found = started("y ~ x + (1|g) + (1|none)", frame)
    assert 0 < found[1] < 0.01


def test_no_random_part_has_no_start():
    assert started("y ~ x", crossed(50)).shape == (0,)


@pytest.mark.parametrize("rows", [2_000, 200_000])
def test_few_steps_whatever_the_rows(rows):
    fit = mixed("y ~ x + (1|g) + (1|h)", crossed(rows))
    assert fit.converged
    assert fit.evaluations <= 6


def test_the_search_ends_where_it_would_from_elsewhere():
    """From the variances of another model's fit, and from its own."""
    sums = accumulate("y ~ x + (1|g) + (1|h)", crossed(3_000))
    fit = fit_sums(sums)
    far = fit_sums(sums, fixed=["Intercept"])
    again = fit_sums(sums, start=far)
    assert again.deviance == pytest.approx(fit.deviance, abs=1e-8)
    assert again.variance("g") == pytest.approx(fit.variance("g"), rel=1e-5)
