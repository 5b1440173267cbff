"""Are figures of gas and oxygen those of physics, told with their interval, their source and their dangers?"""

import json

import numpy as np
import pytest

from analysis.findings.beer_factor import BeerFactor
from analysis.findings.gas_figures import FIGURES, figure_named, work_out
from analysis.oxygen import after_pressure_cycles, gas_liquid_ratio

# Where no publication is named, the value is a second computation of the same equation, made apart from this code.
ONE_ATMOSPHERE = {"outside": "101.325 kPa"}
TWO_TO_ONE = {**ONE_ATMOSPHERE, "gauge": "101.325 kPa", "vented": "0"}


def main(name, **typed):
    found = work_out(name, typed)
    assert found.faults == ()
    return found.worked.main


@pytest.mark.parametrize(("cycles", "percent"), [("5", 0.6546), ("10", 0.02046)])
def test_pressure_cycles_of_two_to_one(cycles, percent):
    assert main("purge", cycles=cycles, **TWO_TO_ONE).value == pytest.approx(percent, rel=5e-4)


@pytest.mark.parametrize(("gas", "percent"), [("60 hL", 1.0428), ("100 hL", 0.1411)])
def test_volumes_swept_through(gas, percent):
    assert main("sweep", gas=gas, vessel="20 hL").value == pytest.approx(percent, abs=6e-5)


def test_how_much_purging_a_wanted_oxygen_takes():
    found = work_out("purge", {**TWO_TO_ONE, "cycles": "1", "wanted": "0.05 %"})
    assert "takes 9 cycles" in found.answer
    assert after_pressure_cycles(9, 202.65, 101.325) <= 0.05 < after_pressure_cycles(8, 202.65, 101.325)
    assert "takes 6.04 volumes, 121 hL" in work_out("sweep", {"vessel": "20 hL", "wanted": "0.05 %"}).answer


def test_a_hose_and_a_millilitre_of_air():
    hose = main("trapped", length="20 m", bore="50 mm", beer="20 hL", temperature="10 °C", **ONE_ATMOSPHERE)
    assert hose.value == pytest.approx(5_664, rel=5e-4)
    drop = main("trapped", air="1 mL", beer="1.7 US bbl", temperature="20 °C", **ONE_ATMOSPHERE)
    assert drop.value == pytest.approx(1.40, abs=0.005)
    assert "at most" in work_out("trapped", {}).answer


def test_example_a_and_its_parts():
    found = work_out("shaken", {"reading": "40 ppb", "beer": "440 mL", "headspace": "20 mL", "temperature": "68 °F"})
    assert found.worked.main.value == pytest.approx(94.43, abs=0.01)
    assert {line.label: line.value for line in found.worked.lines} == {
        "In the beer": "17.6 µg", "In the headspace": "23.9 µg",
    }  # fmt: skip


PACK_B = {
    "reading": "30 µg/L", "oxygen": "0.10 %", "beer": "330 mL", "headspace": "15 mL", "pressure": "350 kPa abs",
    "temperature": "20 °C",
}  # fmt: skip


def test_example_b_and_the_round_trip():
    """The example's share is of moist gas; of dry gas the vapour's 2.338 kPa come off the pressure: 237.46."""
    moist = main("parts", **PACK_B, gas="moist").value
    assert moist == pytest.approx(238.86, abs=0.05)
    assert main("parts", **PACK_B, gas="dry").value == pytest.approx(237.46, abs=0.05)
    shaken = {"beer": "330 mL", "headspace": "15 mL", "temperature": "20 °C"}
    assert main("shaken", reading="101.18 µg/L", **shaken).value == pytest.approx(moist, abs=0.1)


@pytest.mark.parametrize("oxygen", ["0.10 %", "1000 ppmv", "3.47662 mbar"])
def test_headspace_oxygen_may_be_told_in_any_way(oxygen):
    """0.10 % of dry gas at 350 kPa and 20 °C: 0.001 × (350 − 2.338) kPa."""
    assert main("parts", **{**PACK_B, "oxygen": oxygen}).value == pytest.approx(237.46, abs=0.05)
    found = work_out("headspace", {"oxygen": oxygen, "pressure": "350 kPa abs", "temperature": "20 °C"})
    told = {line.label: line.value for line in found.worked.lines}
    assert told["Of the dry gas"] == "0.1000 %"
    assert told["Parts per million by volume"] == "1,000 ppmv"
    assert told["Partial pressure"] == "3.477 mbar"


@pytest.mark.parametrize(("temperature", "dissolved"), [("20 °C", 0.0444), ("4 °C", 0.0631)])
def test_a_part_per_million_of_a_gas_in_the_beer(temperature, dissolved):
    """1 ppmv at one atmosphere; a partial pressure, so that the water vapour does not come off."""
    found = main("headspace", oxygen="0.000101325 kPa", pressure="0", temperature=temperature, **ONE_ATMOSPHERE)
    assert found.value == pytest.approx(dissolved, abs=5e-5)


# B. B. Benson and D. Krause 1984, as tabulated in APHA 4500-O and USGS technical memorandum 2011.03 (read in excerpt);
# the pressures are a second computation of APHA's pressure equation.
@pytest.mark.parametrize(
    ("temperature", "outside", "water"),
    [
        ("4 °C", "1 atm", 13.1084),
        ("20 °C", "1 atm", 9.0924),
        ("68 °F", "0.9 atm", 8.162),
        ("20 °C", "80 kPa", 7.135),
        ("10 °C", "950 mbar", 10.575),
    ],
)
def test_what_water_holds(temperature, outside, water):
    assert main("solubility", temperature=temperature, outside=outside).value == pytest.approx(water, abs=0.01)


def test_a_closures_ingress():
    """0.001 mL a day into 355 mL at 20 °C; the rate from ASBC J. 45 and MBAA Tech. Q. 27, read in excerpt."""
    typed = {"closure": "crown, low-permeability liner", "size": "355 mL", "temperature": "20 °C", "days": "1 d"}
    assert main("ingress", **typed).value == pytest.approx(3.75, abs=0.005)
    other = {**typed, "closure": "another, at the rate below"}
    assert main("ingress", **other, through="0.001 mL/d").value == pytest.approx(3.75, abs=0.005)
    assert work_out("ingress", other).faults[0].field == "through"


def test_the_oxygen_at_closing_and_its_refusal():
    """A fall from 26 to 12 in ten days is 0.0773 a day (computed from a published fall, read in excerpt)."""
    found = main("closing", reading="12 ± 0.5 µg/L", days="10 d", consumption="0.0773 ± 0.005 /d")
    assert found.value == pytest.approx(26, abs=0.02)
    assert found.low < 26 < found.high
    late = work_out("closing", {"reading": "5 µg/L", "days": "60 d", "consumption": "0.0773 ± 0.02 /d"})
    assert not late.answered
    assert "cannot be told" in late.answer
    assert "too late" in late.answer
    assert late.as_document()["value"] is None


def test_a_spread_comes_through_as_in_a_simulation():
    """200,000 draws of both gauges; a standard deviation of them is known to 0.5 % at three standard errors."""
    rng = np.random.default_rng(6)
    high, low = 201.3 + rng.normal(0, 2.0, 200_000), 101.3 + rng.normal(0, 1.0, 200_000)
    drawn = np.log(20.946 * (low / high) ** 5)
    found = main("purge", cycles="5", gauge="1.0 ± 0.0392 bar", vented="0 ± 0.0196 bar", outside="1013 mbar")
    assert np.log(found.high / found.value) / 1.96 == pytest.approx(drawn.std(), rel=0.02)


def test_a_beer_factor_lowers_what_the_beer_holds_and_not_the_headspace():
    """The meter shows what water would hold: the beer's part falls by the factor, the gas follows its pressure."""
    typed = {"reading": "40 µg/L", "beer": "440 mL", "headspace": "20 mL", "temperature": "20 °C"}
    own = BeerFactor(0.9, "A. Maltby", because="two meters against a titration")
    found = work_out("shaken", typed, own)
    ratio = float(gas_liquid_ratio(20)) * 20 / 440
    assert found.worked.main.value == pytest.approx(40 * (0.9 + ratio))
    assert any("A. Maltby" in caution and "a setting" in caution for caution in found.cautions)
    assert any("the default" in caution for caution in work_out("shaken", typed).cautions)
    held = work_out("solubility", {}, own)
    assert {line.label: line.value for line in held.worked.lines}["Beer, saturated with air"].startswith("11.79 mg/L")
    assert "13.11 mg/L" in held.answer


def test_a_factor_beyond_belief_is_misuse():
    with pytest.raises(ValueError, match=r"between 0\.5 and 1\.2"):
        BeerFactor(3.0)


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.name)
def test_each_figure_answers_as_it_stands(figure):
    found = work_out(figure.name, {})
    assert found.answered
    assert found.answer.endswith(".")
    assert found.worked.main.low <= found.worked.main.value <= found.worked.main.high
    json.dumps(found.as_document(), allow_nan=False)
    headers, rows = found.in_words()
    assert all(len(row) == len(headers) for row in rows)
    assert figure.rests_on


@pytest.mark.parametrize("name", ["purge", "sweep", "trapped"])
def test_purging_comes_with_its_dangers(name):
    said = " ".join(work_out(name, {}).cautions)
    for source in ("EH40", "1910.146", "ACGIH", "Confined Spaces Regulations 1997"):
        assert source in said
    assert work_out(name, {}).cautions[-1].startswith("This advises and clears nothing")
    assert "clears nothing" in work_out(name, {"temperature": "?", "gas": "?", "gauge": "?"}).cautions[-1]


@pytest.mark.parametrize(
    ("name", "typed", "at"),
    [
        ("purge", {"gauge": "1"}, "gauge"),
        ("purge", {"cycles": "2.5"}, "cycles"),
        ("purge", {"gauge": "0", "vented": "1 bar"}, "gauge"),
        ("trapped", {"air": "1 L", "length": "2 m"}, "air"),
        ("trapped", {"bore": ""}, "bore"),
        ("headspace", {"oxygen": "9 bar"}, "oxygen"),
        ("parts", {"oxygen": "9 bar"}, "oxygen"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(name, typed, at):
    found = work_out(name, typed)
    assert [fault.field for fault in found.faults] == [at]
    assert not found.answered
    assert "One entry cannot be used" in found.answer


def test_an_unknown_figure_is_misuse():
    with pytest.raises(ValueError, match="must be one of purge"):
        figure_named("brewing")
