"""Does the search for a censored model's maximum end at one, whatever the unit and however many readings are limits?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import censored_mixed


def frame_of(seed):
    """120 batches of two runs of three packs each; four in ten readings are limits."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(120), 6)
    run = np.repeat(np.arange(240), 3)
    done = rng.normal(size=(120, 6))[batch]
    own = 0.15 * rng.normal(size=120)[batch] + 0.06 * rng.normal(size=240)[run]
    y = 4.1 + done @ np.array([0.08, 0.08, 0.08, -0.08, -0.08, -0.08]) + own + 0.12 * rng.normal(size=720)
    limit = np.quantile(y, 0.4)
    frame = pd.DataFrame({f"x{k}": done[:, k] for k in range(6)}).assign(batch=batch, run=run)
    return frame.assign(y=np.maximum(y, limit), side=np.where(y < limit, -1, 0))


FORMULA = "y ~ x0 + x1 + x2 + x3 + x4 + x5 + (1|batch) + (1|run)"


@pytest.mark.parametrize("seed", range(12))
def test_the_search_ends_at_a_maximum(seed):
    fit = censored_mixed(FORMULA, frame_of(seed), censored="side")
    assert fit.converged
    assert 0.008 < fit.variance("batch") < 0.05
    assert fit.variance("run") < 0.02
    assert (fit.standard_errors < 0.05).all()
    assert fit.coefficient("x0") == pytest.approx(0.08, abs=5 * fit.standard_errors[1])


@pytest.mark.parametrize("factor", [1e-3, 1e3])
def test_the_unit_does_not_matter(factor):
    plain = censored_mixed(FORMULA, frame_of(2), censored="side")
    frame = frame_of(2)
    other = censored_mixed(FORMULA, frame.assign(y=frame["y"] * factor), censored="side")
    assert other.converged
    assert other.coefficient("x3") == pytest.approx(factor * plain.coefficient("x3"), rel=1e-4)
    assert other.variance("batch") == pytest.approx(factor**2 * plain.variance("batch"), rel=1e-3)
