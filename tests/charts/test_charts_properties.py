"""What must hold of the charts whatever the numbers are?"""

from itertools import pairwise

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.charts import (
    ALL_RULES,
    between_within,
    change_point,
    cusum,
    ewma,
    individuals,
    level_shifts,
    run_signals,
)

SERIES = st.integers(5, 60).flatmap(
    lambda n: arrays(np.float64, n, elements=st.integers(-400, 400).map(lambda step: step / 16))
)


def spread_out(values):
    """Where neighbours are all alike there are no limits to speak of."""
    assume(np.abs(np.diff(values)).sum() > 0)
    return values


@given(SERIES, st.sampled_from([0.25, 4.0]), st.sampled_from([-32.0, 0.0, 1024.0]))
def test_another_unit_moves_the_limits_and_not_the_signals(values, factor, offset):
    plain = individuals(spread_out(values), rules=ALL_RULES).values
    other = individuals(values * factor + offset, rules=ALL_RULES).values
    assert np.allclose(other.upper, plain.upper * factor + offset, rtol=1e-9)
    assert other.signals.codes() == plain.signals.codes()


@given(SERIES)
def test_upside_down_swaps_the_limits_and_the_sides(values):
    plain = individuals(spread_out(values), rules=ALL_RULES).values
    other = individuals(-values, rules=ALL_RULES).values
    assert np.allclose(other.upper, -plain.lower)
    assert [(s.at, s.rule, -s.side) for s in other.signals.listed()] == [
        (s.at, s.rule, s.side) for s in plain.signals.listed()
    ]


@given(SERIES, st.integers(3, 30), st.booleans())
def test_a_frozen_baseline_gives_the_limits_of_the_baseline_alone(values, first, log):
    assume(first < values.size)
    spread_out(values[:first])
    scale = "log" if log else "linear"
    shown = np.exp(values / 10) if log else values
    alone = individuals(shown[:first], scale=scale).values
    frozen = individuals(shown, scale=scale, baseline=np.arange(values.size) < first).values
    assert (frozen.centre[-1], frozen.lower[-1], frozen.upper[-1]) == (alone.centre[0], alone.lower[0], alone.upper[0])


@given(SERIES, st.lists(st.integers(0, 59), max_size=6))
def test_signals_of_stretches_are_those_of_each_stretch_alone(z, gaps):
    holed = z.copy()
    holed[[gap for gap in gaps if gap < z.size]] = np.nan
    found = [(s.at, s.rule) for s in run_signals(holed, ALL_RULES).listed()]
    edges = [-1, *np.flatnonzero(np.isnan(holed)).tolist(), z.size]
    alone = [
        (left + 1 + s.at, s.rule)
        for left, right in pairwise(edges)
        for s in run_signals(holed[left + 1 : right], ALL_RULES).listed()
    ]
    assert found == alone


@given(SERIES)
def test_every_pattern_lies_within_the_series_and_ends_at_its_mark(z):
    for signal in run_signals(z, ALL_RULES).listed():
        assert 0 <= signal.start <= signal.at < z.size


@given(SERIES, st.floats(0.1, 0.9), st.sampled_from([0.5, 8.0]))
def test_a_large_move_is_found_where_it_is_in_any_unit_and_upside_down(values, where, factor):
    place = max(1, min(values.size - 1, int(where * values.size)))
    stepped = values + np.where(np.arange(values.size) < place, 0.0, 400.0)
    found = change_point(stepped)
    assert found.at == place
    assert change_point(stepped * factor + 3).at == place
    assert change_point(-stepped).at == place
    assert change_point(stepped[::-1]).at == values.size - place
    assert found.earliest <= found.at <= found.latest


@given(SERIES)
def test_moves_are_in_order_and_levels_last(values):
    moves = level_shifts(values)
    edges = [0, *(move.at for move in moves), values.size]
    assert all(later - earlier >= 5 for earlier, later in pairwise(edges)) or not moves
    assert all(move.low <= move.size <= move.high for move in moves)


@given(SERIES)
def test_sums_are_never_negative_and_averages_lie_within_the_values(values):
    sums = cusum(values, centre=0, sigma=1)
    assert (sums.upper >= 0).all() and (sums.lower >= 0).all()
    average = ewma(values, centre=float(values.mean()), sigma=1).values
    assert average.min() >= values.min() - 1e-9 and average.max() <= values.max() + 1e-9


@given(SERIES, st.integers(2, 4))
def test_packs_that_are_all_alike_leave_the_chart_of_runs(values, packs):
    spread_out(values)
    runs = np.repeat(np.arange(values.size), packs)
    found = between_within(np.repeat(values, packs), runs)
    assert np.allclose(found.means.upper, individuals(values).values.upper)
    assert found.sigma_within < 1e-12
