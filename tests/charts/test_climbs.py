"""Is a slow climb told from a step, and is it left open where the runs do not tell?"""

import numpy as np
import pytest

from analysis.charts import level_shifts, slow_climb
from data_demo.rates import Rate

N = 60
TIMES = 200


def shares(seed, shape):
    """Return which share of noisy histories is told as a climb, left open, and told as steps."""
    rng = np.random.default_rng(seed)
    told = []
    for _ in range(TIMES):
        values = rng.normal(size=N) + shape
        shifts = level_shifts(values)
        if shifts:
            climb = slow_climb(values, [shift.at for shift in shifts])
            told.append((climb.is_plain, climb.is_open))
    plain, is_open = np.mean(told, axis=0)
    return plain, is_open, 1 - plain - is_open


@pytest.mark.parametrize("size", [2, 3])
def test_a_step_is_seldom_told_as_a_climb(size):
    plain, _, steps = shares(size, size * (np.arange(N) >= N // 2))
    assert plain <= 0.06
    assert steps > 0.45


@pytest.mark.parametrize("n", [20, 120])
def test_a_step_is_seldom_told_as_a_climb_in_short_and_in_long_series(n):
    """One threshold for all lengths told 13 % of the short ones so, and hardly any climb of the long ones."""
    rng = np.random.default_rng(n)
    told = {"step": [], "climb": []}
    for kind, shape in (("step", np.arange(n) >= n // 2), ("climb", np.arange(n) / n)):
        for _ in range(TIMES if n > 50 else 2 * TIMES):
            values = rng.normal(size=n) + 2 * shape
            shifts = level_shifts(values)
            climb = slow_climb(values, [shift.at for shift in shifts])
            if climb is not None:
                told[kind].append(climb.is_plain)
    rate = Rate(sum(told["step"]), len(told["step"]))
    assert rate.lower <= 0.05 and rate.share <= 0.08, str(rate)
    assert np.mean(told["climb"]) > (0.6 if n > 50 else 0.05)


@pytest.mark.parametrize("lasts", [24, N])
def test_a_climb_is_seldom_told_as_a_step(lasts):
    plain, _, steps = shares(lasts, 3 * np.clip((np.arange(N) - (N - lasts) / 2) / lasts, 0, 1))
    assert steps <= 0.09
    assert plain > 0.35


@pytest.mark.parametrize("lasts", [24, 42])
def test_the_interval_of_a_told_climb_holds_its_size(lasts):
    """Best corners taken for certain held it in 70 to 83 % of those told and made it a sixth to a fifth too large."""
    rng = np.random.default_rng(lasts)
    shape = 3 * np.clip((np.arange(N) - (N - lasts) / 2) / lasts, 0, 1)
    held, sizes = [], []
    for _ in range(2 * TIMES):
        values = rng.normal(size=N) + shape
        shifts = level_shifts(values)
        climb = slow_climb(values, [shift.at for shift in shifts])
        if climb is not None and climb.is_plain:
            held.append(climb.low <= 3 <= climb.high)
            sizes.append(climb.after - climb.before)
    rate = Rate(sum(held), len(held))
    assert rate.of > 80
    assert rate.upper >= 0.95 and rate.share >= 0.9, str(rate)
    assert np.mean(sizes) == pytest.approx(3, rel=0.15)


@pytest.mark.parametrize("shape", [(np.arange(N) >= 30) * 1.0, np.clip((np.arange(N) - 18) / 24, 0, 1)])
def test_where_it_is_open_the_size_of_a_slow_move_holds_either(shape):
    rng = np.random.default_rng(3)
    held = []
    for _ in range(TIMES):
        values = rng.normal(size=N) + 2 * shape
        shifts = level_shifts(values)
        climb = slow_climb(values, [shift.at for shift in shifts])
        if climb is not None and climb.is_open:
            held.append(climb.low <= 2 <= climb.high)
    rate = Rate(sum(held), len(held))
    assert rate.of > 40
    assert rate.upper >= 0.95 and rate.share >= 0.88, str(rate)


def test_corners_and_size_of_a_climb_without_noise():
    shape = 5 + 2 * np.clip((np.arange(N) - 20) / 20, 0, 1)
    climb = slow_climb(shape + 1e-3 * np.sin(np.arange(N) * 2.4), [30])
    assert abs(climb.begins - 20) <= 1 and abs(climb.ends - 40) <= 1
    assert climb.earliest <= climb.begins <= climb.latest
    assert (climb.before, climb.after) == (pytest.approx(5, abs=0.05), pytest.approx(7, abs=0.05))
    assert climb.low < 2 < climb.high or climb.high - climb.low < 0.1
    assert climb.is_plain


def test_too_few_runs_or_no_step_have_no_climb():
    assert slow_climb(np.arange(15.0), [7]) is None
    assert slow_climb(np.arange(40.0), []) is None
    assert slow_climb(np.repeat([1.0, 2.0], 20), [20]) is None
