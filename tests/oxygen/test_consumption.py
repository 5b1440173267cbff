"""Is the oxygen at closing found again from an aged pack, with an interval that holds, and refused when too late?"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis.oxygen import consumption_rate, oxygen_after, oxygen_at_closing

RATE = consumption_rate(26, 12, 10)


@pytest.mark.parametrize(("consumption", "ingress"), [(RATE, 3.75), (0.0, 3.75), (RATE, 0.0)])
def test_the_course_is_the_solution_of_its_equation(consumption, ingress):
    """Source of the outside value: the differential equation itself, solved by a Runge-Kutta method."""
    days = np.array([0.0, 1.0, 10.0, 60.0])
    solved = solve_ivp(lambda _, c: ingress - consumption * c, (0, 60), [80.0], t_eval=days, rtol=1e-9, atol=1e-9)
    assert oxygen_after(days, 80.0, consumption, ingress) == pytest.approx(solved.y[0], rel=1e-6)


@given(st.floats(20, 500), st.floats(0, 20), st.floats(0, 4))
def test_the_oxygen_at_closing_comes_back(at_closing, days, ingress):
    later = float(oxygen_after(days, at_closing, RATE, ingress))
    told = oxygen_at_closing(later, days, RATE, reading_error=0.01, consumption_error=0.001, ingress=ingress)
    assert told.oxygen is not None
    assert told.oxygen.value == pytest.approx(at_closing, rel=1e-6)
    assert told.oxygen.low < told.oxygen.value < told.oxygen.high


def test_the_interval_holds_as_often_as_it_says():
    """2,000 packs; 4 standard errors of a share of 95 %."""
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(2_000):
        rate = RATE + rng.normal(0, 0.008)
        reading = float(oxygen_after(10.0, 80.0, RATE, 2.0)) + rng.normal(0, 2.0)
        told = oxygen_at_closing(reading, 10.0, rate, reading_error=2.0, consumption_error=0.008, ingress=2.0)
        held += told.oxygen.low <= 80.0 <= told.oxygen.high
    assert abs(held / 2_000 - 0.95) < 4 * np.sqrt(0.95 * 0.05 / 2_000)


def test_too_late_is_refused():
    told = oxygen_at_closing(5.0, 60.0, RATE, reading_error=0.2, consumption_error=0.015)
    assert told.oxygen is None
    assert "too late" in told.why_not


def test_what_came_in_since_is_not_taken_for_what_was_there():
    steady = 3.75 / RATE
    told = oxygen_at_closing(steady, 60.0, RATE, reading_error=1.0, consumption_error=0.001, ingress=3.75)
    assert told.oxygen is None
    assert "what came in" in told.why_not


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="0 or more"):
        oxygen_at_closing(-1.0, 1.0, RATE, reading_error=0.1, consumption_error=0.01)
    with pytest.raises(ValueError, match="rates must be"):
        oxygen_after(1.0, 80.0, -0.1)
    with pytest.raises(ValueError, match="above 0"):
        consumption_rate(26, 0, 10)
