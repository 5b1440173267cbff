"""What is left after purging, what does trapped air add, and what comes through a closure?"""

import numpy as np
import pytest

from analysis.oxygen import (
    AIR_PERCENT,
    CLOSURES,
    added_to_beer,
    after_pressure_cycles,
    after_sweep,
    cycles_needed,
    hose_volume,
    ingress_rate,
    oxygen_in_air,
    volumes_needed,
)

# The worked figures of this file are a second computation of the same equations, made apart from this code.
US_BARREL = 1.17347765304


def test_a_millilitre_of_air_in_a_small_tank():
    assert float(added_to_beer(oxygen_in_air(0.001, 20), 1.7 * US_BARREL)) == pytest.approx(1.40, abs=0.005)


def test_a_hose_full_of_air():
    air = oxygen_in_air(hose_volume(20, 50), 10)
    assert float(air) == pytest.approx(11_330, rel=5e-4)
    assert float(added_to_beer(air, 20)) == pytest.approx(5_664, rel=5e-4)


def test_what_is_needed_is_enough_and_one_less_is_not():
    for wanted in (5.0, 0.6546, 0.1, 0.01):
        cycles = cycles_needed(wanted, 202.65, 101.325)
        assert after_pressure_cycles(cycles, 202.65, 101.325) <= wanted * (1 + 1e-9)
        assert after_pressure_cycles(cycles - 1, 202.65, 101.325) > wanted
        assert float(after_sweep(volumes_needed(wanted))) == pytest.approx(wanted)


def test_no_purge_leaves_air():
    assert after_pressure_cycles(0, 200, 100) == pytest.approx(AIR_PERCENT)
    assert after_sweep(0) == pytest.approx(AIR_PERCENT)
    assert cycles_needed(30, 200, 100) == 0


def test_liners_differ_by_two():
    rates = ingress_rate(list(CLOSURES.values()), 355, 20)
    assert rates[0] == pytest.approx(2 * rates[1])
    assert np.isnan(ingress_rate(0.001, np.nan, 20))


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="absolute with 0 < low < high"):
        after_pressure_cycles(1, 100, 100)
    with pytest.raises(ValueError, match="wanted must be above 0"):
        volumes_needed(0)
    with pytest.raises(ValueError, match="length and diameter"):
        hose_volume(0, 50)
    with pytest.raises(ValueError, match="beer must be above 0"):
        added_to_beer(1.0, 0)
