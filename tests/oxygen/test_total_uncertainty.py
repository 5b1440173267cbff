"""Does the uncertainty of meter, headspace and temperature come through to the total?"""

import numpy as np
import pytest

from analysis.oxygen import (
    both_parts_budget,
    partial_pressure,
    percent_of_partial_pressure,
    percent_of_ppmv,
    shaken_budget,
    total_oxygen_from_both_parts,
    total_oxygen_from_shaken,
)


@pytest.mark.parametrize(("liquid", "headspace", "percent"), [(330, 15, 3.84), (440, 20, 2.88)])
def test_a_millilitre_of_headspace(liquid, headspace, percent):
    """A second computation with the beer's volume held: 3.84 % and 2.88 %; here the beer gives way as well, K/Vl more.

    d ln Z = K(1 + Vh/Vl)/(Vl + K·Vh): the published slope times 1 + Vh/Vl.
    """
    told = shaken_budget(40, liquid, headspace, 20, headspace_error=1.0)
    share = 100 * told.total.standard_error / told.total.value
    assert share == pytest.approx(percent * (1 + headspace / liquid), abs=0.02)


def test_sources_add_in_squares_and_the_largest_stands_first():
    told = shaken_budget(40, 440, 20, 20, dissolved_error=2.0, headspace_error=1.0, temperature_error=0.5)
    assert told.total.value == pytest.approx(94.43, abs=0.01)
    assert told.total.standard_error == pytest.approx(np.sqrt(sum(s.in_total**2 for s in told.sources)))
    assert [s.name for s in told.sources] == ["dissolved oxygen", "headspace", "temperature"]
    assert told.sources[0].in_total == pytest.approx(2.0 * 94.43 / 40, abs=0.01)


def test_shaken_interval_is_that_of_a_simulation():
    """200,000 draws; a standard deviation of them is known to 0.5 % at three standard errors."""
    rng = np.random.default_rng(3)
    n = 200_000
    gas = rng.normal(20, 1.0, n)
    drawn = total_oxygen_from_shaken(rng.normal(40, 2.0, n), 460 - gas, gas, rng.normal(20, 0.5, n))
    told = shaken_budget(40, 440, 20, 20, dissolved_error=2.0, headspace_error=1.0, temperature_error=0.5)
    assert told.total.standard_error == pytest.approx(drawn.std(), rel=0.01)


def test_both_parts_interval_is_that_of_a_simulation():
    rng = np.random.default_rng(4)
    n = 200_000
    gas = rng.normal(15, 0.5, n)
    drawn = total_oxygen_from_both_parts(
        rng.normal(30, 1.5, n),
        rng.normal(0.10, 0.005, n),
        345 - gas,
        gas,
        rng.normal(350, 5, n),
        rng.normal(20, 0.5, n),
    )  # fmt: skip
    told = both_parts_budget(
        30, 0.10, 330, 15, 350, 20,
        dissolved_error=1.5, percent_error=0.005, headspace_error=0.5, pressure_error=5, temperature_error=0.5,
    )  # fmt: skip
    assert told.total.standard_error == pytest.approx(drawn.std(), rel=0.01)
    assert told.sources[0].name == "headspace oxygen"


def test_headspace_oxygen_in_other_words():
    assert percent_of_ppmv(1000.0) == pytest.approx(0.10)
    oxygen = partial_pressure(0.10, 350, 20)
    assert oxygen == pytest.approx(0.001 * (350 - 2.338), abs=1e-5)
    assert percent_of_partial_pressure(oxygen, 350, 20) == pytest.approx(0.10)
    assert np.isnan(percent_of_partial_pressure(0.1, 2.0, 20))


def test_misuse_is_refused():
    with pytest.raises(ValueError, match="0 or more"):
        shaken_budget(40, 440, 20, 20, headspace_error=-1)
    with pytest.raises(ValueError, match="cannot be worked out"):
        shaken_budget(40, 440, 20, 60)
