"""Are the charts fast enough for a page, and the rules for a million points?"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from analysis.charts import ALL_RULES, RULES, individuals, run_signals

POINTS = 1_000_000
SERIES, RUNS = 60, 500
MOST_OF_FLOOR = 15.0
FLOORS_IN_FIFTY_MILLISECONDS = 0.050 / 0.0060
"""The floor (below) takes 6.0 ms on the machine that the 50 ms were asked for: told as a ratio, it holds on others."""


def best_of(times: int, work: Callable[[], object]) -> float:
    """Return the shortest of several timings [s]."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return min(taken)


@pytest.fixture(scope="module")
def million():
    return np.random.default_rng(1).normal(size=POINTS)


def floor(points):
    """One pass of a cumulative sum and a standard deviation."""
    return np.cumsum(points), np.std(points)


@pytest.mark.benchmark_floor
@pytest.mark.benchmark(timer=time.process_time)
def test_all_rules_over_a_million_points(benchmark, million):
    bare = best_of(15, lambda: floor(million))
    found = benchmark.pedantic(run_signals, args=(million, tuple(RULES)), rounds=10, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / bare
    benchmark.extra_info.update(ratio=ratio, floor_seconds=bare)
    assert found.rules == tuple(RULES)
    assert found.points.size > 0
    assert ratio <= MOST_OF_FLOOR


@pytest.mark.benchmark_floor
@pytest.mark.benchmark(timer=time.process_time)
def test_limits_and_rules_of_sixty_series(benchmark, million):
    rng = np.random.default_rng(2)
    series = [np.exp(rng.normal(4, 0.3, RUNS)) for _ in range(SERIES)]

    def chart_all():
        return [individuals(values, scale="log", rules=ALL_RULES) for values in series]

    bare = best_of(15, lambda: floor(million))
    charts = benchmark.pedantic(chart_all, rounds=10, warmup_rounds=1)
    benchmark.extra_info.update(ratio=benchmark.stats.stats.min / bare, floor_seconds=bare)
    assert len(charts) == SERIES
    assert benchmark.stats.stats.min <= FLOORS_IN_FIFTY_MILLISECONDS * bare
