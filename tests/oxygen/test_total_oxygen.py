"""Is the oxygen of a pack the sum of its parts, and is what cannot be known left missing?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.oxygen import (
    gas_liquid_ratio,
    headspace_mass,
    oxygen_solubility,
    shaken_ratio,
    total_oxygen_from_both_parts,
    total_oxygen_from_shaken,
    water_vapour_pressure,
)
from analysis.oxygen.partition import GAS_CONSTANT, OXYGEN_MOLAR_MASS

# The worked figures of this file are a second computation of the same equations, made apart from this code.


def test_shaken_440_ml_can() -> None:
    total = float(total_oxygen_from_shaken(40, 440, 20, 20))
    assert total == pytest.approx(94.43, abs=0.01)
    in_liquid = 40 * 0.440
    assert in_liquid == pytest.approx(17.600, abs=0.001)
    assert total * 0.440 - in_liquid == pytest.approx(23.950, abs=0.005)


def test_unshaken_330_ml_bottle_and_its_round_trip() -> None:
    total = float(total_oxygen_from_both_parts(30, 0.10, 330, 15, 350, 20, dry=False))
    assert total == pytest.approx(238.86, abs=0.05)
    assert total / float(shaken_ratio(330, 15, 20)) == pytest.approx(101.18, abs=0.05)


def test_a_millilitre_of_air() -> None:
    assert float(headspace_mass(20.946, 1, 101.325, 20, dry=False)) == pytest.approx(278.6, abs=0.1)
    moist_pressure = 101.325 + float(water_vapour_pressure(20))
    assert float(headspace_mass(20.946, 1, moist_pressure, 20)) == pytest.approx(278.6, abs=0.1)


def test_vapour_pressure_at_20_degrees() -> None:
    assert float(water_vapour_pressure(20)) == pytest.approx(2.338, abs=0.002)


@pytest.mark.parametrize(("liquid", "headspace", "percent"), [(330, 15, 3.84), (440, 20, 2.88)])
def test_one_millilitre_of_headspace(liquid: float, headspace: float, percent: float) -> None:
    base = float(shaken_ratio(liquid, headspace, 20))
    more = float(shaken_ratio(liquid, headspace + 1, 20))
    assert 100 * (more / base - 1) == pytest.approx(percent, abs=0.01)


@given(
    concentration=st.floats(0.1, 5000),
    liquid=st.floats(200, 2000),
    headspace=st.floats(0, 100),
    temperature=st.floats(0, 40),
)
def test_shaking_moves_oxygen_and_makes_none(
    concentration: float, liquid: float, headspace: float, temperature: float
) -> None:
    """The shaken formula is the sum of both phases' masses, each from its own law."""
    total = float(total_oxygen_from_shaken(concentration, liquid, headspace, temperature)) * liquid / 1000
    kelvin = temperature + 273.15
    gas_concentration = concentration * float(gas_liquid_ratio(temperature))
    oxygen_pressure = gas_concentration * 1e-3 / OXYGEN_MOLAR_MASS * GAS_CONSTANT * kelvin
    gas_mass = oxygen_pressure * headspace * 1e-6 * OXYGEN_MOLAR_MASS / (GAS_CONSTANT * kelvin) * 1e6
    assert total == pytest.approx(concentration * liquid / 1000 + gas_mass, rel=1e-9)


def test_what_cannot_be_known_is_missing() -> None:
    assert np.isnan(oxygen_solubility([-1.0, 41.0, np.nan])).all()
    assert np.isnan(oxygen_solubility(20.0, 2.0))
    assert np.isnan(shaken_ratio([0.0, 440.0, np.nan, 440.0], [20.0, -1.0, 20.0, 20.0], [20.0, 20.0, 20.0, 60.0])).all()


def test_a_liquid_that_dissolves_less_leaves_more_in_the_gas() -> None:
    assert float(gas_liquid_ratio(20, 0.9)) == pytest.approx(float(gas_liquid_ratio(20)) / 0.9)


def test_a_factor_of_nought_is_misuse() -> None:
    with pytest.raises(ValueError, match="solubility_factor must be above 0, got 0"):
        gas_liquid_ratio(20, 0)
