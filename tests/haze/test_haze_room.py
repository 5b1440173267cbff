"""Are haze's quantities kept apart, and does what does not hold stay missing?"""

import numpy as np
import pytest

from analysis.haze import against_band, beer_viscosity, chill_haze, haze_class, permanent_haze, stokes_velocity


def test_chill_haze_is_the_difference_and_may_be_below_zero():
    assert chill_haze([2.0, 0.4, np.nan], [0.5, 0.5, 1.0]) == pytest.approx([1.5, -0.1, np.nan], nan_ok=True)


def test_permanent_haze_is_read_warm():
    assert permanent_haze([0.5, 0.6, 0.7], [20.0, 20.9, 0.0]) == pytest.approx([0.5, 0.6, np.nan], nan_ok=True)


def test_no_class_without_a_haze():
    assert haze_class(float("nan")) is None
    assert haze_class(-0.1) is None


def test_a_hazy_beer_can_be_too_clear():
    assert against_band([60.0, 70.0, 100.0, 150.0, 151.0], 70, 150).tolist() == [-1, 0, 0, 0, 1]
    assert against_band([0.1, 5.0], None, 0.7).tolist() == [0, 1]
    with pytest.raises(ValueError, match="lower must not exceed upper"):
        against_band([1.0], 2, 1)


def test_stokes_holds_only_for_slow_small_particles():
    assert np.isnan(stokes_velocity(1_000, 70, 2.26))
    assert np.isnan(stokes_velocity(6, 70, 0))
    assert stokes_velocity(12, 70, 2.26) == pytest.approx(4 * stokes_velocity(6, 70, 2.26))
    assert stokes_velocity(6, -70, 2.26) < 0


def test_beer_is_thicker_when_cold_and_not_known_beyond_the_table():
    cold, warm = beer_viscosity([2.0, 16.0])
    assert 2.257 < cold < 2.580
    assert 1.442 < warm < 1.777
    assert np.isnan(beer_viscosity([-1.0, 21.0])).all()
