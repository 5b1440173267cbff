"""Is a move of the level found where it is, with an interval that keeps its confidence?"""

import math

import numpy as np
import pytest
from statsmodels.datasets import nile

from analysis.charts import change_point, level_shifts, run_signals, start_of_shift
from analysis.charts.shifts import best_partition

FIRST_YEAR = 1871


def volumes():
    return nile.load_pandas().data["volume"].to_numpy(float)


def squares_about_levels(values, at):
    return sum(((part - part.mean()) ** 2).sum() for part in (values[:at], values[at:]))


def test_the_nile_fell_after_1898():
    """Cobb 1978, Biometrika 65: the flow at Aswan fell about 1898; least-squares cost recomputed, 1597457.19."""
    found = change_point(volumes())
    assert FIRST_YEAR + found.at - 1 == 1898
    assert squares_about_levels(volumes(), found.at) == pytest.approx(1597457.19, abs=0.005)
    assert (found.before, found.after) == pytest.approx((1097.75, 849.972), abs=5e-4)


def test_the_nile_large_sample_interval():
    """95 % interval 1895 to 1902 for the last year of the old level, by Bai 1997 (R 4.2 reference packages)."""
    found = change_point(volumes(), interval="large sample")
    assert (FIRST_YEAR + found.earliest - 1, FIRST_YEAR + found.latest - 1) == (1895, 1902)


def test_a_step_of_one_finds_28_and_not_30():
    """A search that looks at every fifth place only gives 30 for 28 (measured with such a search)."""
    assert [shift.at for shift in level_shifts(volumes())] == [28]


@pytest.mark.parametrize("size", [1.0, 1.5, 2.5])
def test_the_conditional_interval_keeps_its_confidence(size):
    rng = np.random.default_rng(31)
    covered = 0
    for _ in range(400):
        values = rng.normal(size=40)
        values[25:] += size
        found = change_point(values)
        covered += found.earliest <= 25 <= found.latest
    assert covered / 400 > 0.95 - 2 * math.sqrt(0.95 * 0.05 / 400)


@pytest.mark.parametrize("n", [20, 60, 200])
def test_a_steady_series_seldom_shows_a_move(n):
    rng = np.random.default_rng(32)
    moved = sum(bool(level_shifts(rng.normal(size=n))) for _ in range(1_000))
    assert moved <= 15


def test_several_moves_are_all_found():
    levels = np.repeat([0.0, 3.0, 1.0, -2.0], [20, 15, 30, 12])
    found = level_shifts(levels + 0.5 * np.random.default_rng(33).normal(size=levels.size))
    assert [shift.at for shift in found] == [20, 35, 65]
    assert [shift.size for shift in found] == pytest.approx([3, -2, -3], abs=0.5)
    for shift in found:
        assert shift.earliest <= shift.at <= shift.latest
        assert shift.low < shift.size < shift.high


def cheapest(values, penalty, fewest):
    """Every partition of a short series, one by one."""

    def costs(start):
        if start == values.size:
            return [(-penalty, ())]
        return [
            (float(((values[start:end] - values[start:end].mean()) ** 2).sum()) + penalty + cost, (start, *rest))
            for end in range(start + fewest, values.size + 1)
            for cost, rest in costs(end)
        ]

    return list(min(costs(0))[1][1:])


@pytest.mark.parametrize("seed", range(5))
def test_the_search_is_exhaustive(seed):
    values = np.random.default_rng(seed).normal(size=14) + np.repeat([0.0, 2.0], 7)
    assert best_partition(values, 2.0, 2) == cheapest(values, 2.0, 2)


def test_an_outlier_is_not_a_move():
    values = np.random.default_rng(34).normal(size=60)
    values[30] = 8.0
    assert level_shifts(values) == ()


def test_missing_runs_are_passed_over_and_places_kept():
    values = np.where(np.arange(60) < 30, 0.0, 5.0) + np.random.default_rng(35).normal(size=60)
    values[[3, 10, 29, 40]] = np.nan
    assert [shift.at for shift in level_shifts(values)] == [30]


def test_a_step_without_spread():
    found = change_point([1.0] * 6 + [2.0] * 6)
    assert (found.at, found.earliest, found.latest) == (6, 6, 6)
    assert math.isinf(found.saved)


def test_too_few_or_all_alike():
    assert change_point([1.0, 2.0]) is None
    assert change_point([3.0] * 20) is None
    assert level_shifts([1.0] * 9) == ()
    assert level_shifts([1.0] * 30) == ()


def test_start_of_a_shift_after_a_signal():
    """Samuel, Pignatiello and Calvin 1998: at one sigma the place is exact in 26 %, within three runs in 69 %."""
    rng = np.random.default_rng(36)
    exact = near = used = 0
    while used < 2_000:
        z = rng.normal(size=600)
        z[100:] += 1.0
        signal = run_signals(z, ["beyond-limit"]).points
        if not signal.size or signal[0] < 100:
            continue
        used += 1
        error = start_of_shift(z, int(signal[0])) - 100
        exact += error == 0
        near += abs(error) <= 3
    assert exact / used == pytest.approx(0.26, abs=0.025)
    assert near / used == pytest.approx(0.69, abs=0.03)


def test_start_of_a_shift_passes_over_gaps():
    assert start_of_shift([0.1, -0.2, 0.0, np.nan, 2.0, np.nan, 3.5], 6) == 4


def test_misuse():
    with pytest.raises(ValueError, match="interval must be conditional or large sample"):
        change_point(volumes(), interval="guess")
    with pytest.raises(ValueError, match="level must lie between 0 and 1"):
        change_point(volumes(), level=95)
    with pytest.raises(ValueError, match="signal must be a run that is not missing"):
        start_of_shift([1.0, np.nan], 1)
