"""Does the confidence sequence hold when a team looks after every batch?"""

import numpy as np
import pytest
from scipy import stats

from analysis.verdicts import sequence_reach

HISTORIES = 2_000
LOOKS = range(10, 61)


def ever_outside(reach_of):
    """Return the share of no-effect histories in which some look's interval leaves zero out."""
    draws = np.random.default_rng(20260501).normal(size=(HISTORIES, max(LOOKS)))
    outside = np.zeros(HISTORIES, dtype=bool)
    for n in LOOKS:
        seen = draws[:, :n]
        error = seen.std(axis=1, ddof=1) / np.sqrt(n)
        outside |= np.abs(seen.mean(axis=1)) > error * reach_of(n)
    return outside.mean()


def test_weekly_looks_keep_the_error_rate():
    share = ever_outside(lambda n: sequence_reach(1.0, n - 1, n))
    upper = share + 2 * np.sqrt(share * (1 - share) / HISTORIES)
    assert upper <= 0.05


def test_the_fixed_interval_does_not_so_that_the_check_can_fail():
    share = ever_outside(lambda n: stats.t.ppf(0.975, n - 1))
    assert share > 0.12


def test_it_is_wider_than_the_fixed_interval_and_tightest_where_told():
    fixed = stats.norm.ppf(0.975)
    ratios = [sequence_reach(1.0, 1e9, n, tightest_at=50) for n in (5, 50, 5_000)]
    assert min(ratios) > fixed
    assert ratios[1] == min(ratios)


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="must be positive"):
        sequence_reach(0.0, 5, 10)
