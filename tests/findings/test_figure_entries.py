"""Is a figure read as the trade writes it, and is what could be two things asked about?"""

import math

import pytest

from analysis.findings.figure_entries import Entered, EntryFault, Field, read_entry


def field(quantity, **more):
    return Field("x", "Thing", quantity, **more)


# Exact definitions: 1 psi = 6.894757293168 kPa; 1 ft = 0.3048 m, 1 in = 25.4 mm (international yard and pound agreement
# of 1959); 1 US beer barrel = 117.347765304 L (27 CFR 25.11).
@pytest.mark.parametrize(
    ("quantity", "typed", "value"),
    [
        ("gauge", "1.0bar", 100.0),
        ("gauge", "15 psi", 15 * 6.894757293168),
        ("gauge", "15 PSIG", 15 * 6.894757293168),
        ("gauge", "1,5 bar g", 150.0),
        ("gauge", "0", 0.0),
        ("gauge", "−0.1 bar", -10.0),
        ("pressure", "1013 mbar", 101.3),
        ("temperature", "68 °F", 20.0),
        ("temperature", "20C", 20.0),
        ("volume", "1.7 US bbl", 1.7 * 1.17347765304),
        ("volume", "60 L", 0.6),
        ("size", "12 US fl oz", 12 * 29.5735295625),
        ("headspace", "20", 20.0),
        ("gas_oxygen", "1000 ppmv", 0.1),
        ("gas_oxygen", "0.1 %", 0.1),
        ("dissolved_oxygen", "0.04 mg/L", 40.0),
        ("length", "2 in", 0.0508),
        ("length", "65 ft", 65 * 0.3048),
        ("count", "5 cycles", 5.0),
        ("rate", "0.0773 /d", 0.0773),
        ("days", "10 days", 10.0),
        ("gas_a_day", "0.001 mL/day", 0.001),
        ("count", "1,234,567", 1_234_567.0),
    ],
)
def test_what_the_trade_writes_is_read(quantity, typed, value):
    read = read_entry(field(quantity), typed)
    assert isinstance(read, Entered), read
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.text == typed


@pytest.mark.parametrize("sign", ["±", "+-", "+/-", "+ / -"])
def test_give_or_take_is_half_the_95_percent_interval(sign):
    """The standard normal's 97.5 % point, 1.959964."""
    read = read_entry(field("temperature"), f"68 {sign} 1.8 °F")
    assert read.value == pytest.approx(20.0)
    assert read.error == pytest.approx(1.0 / 1.959964, rel=1e-6)


def test_absolute_and_partial_pressures_are_told_apart():
    for typed in ("2 bar abs", "2 bara", "2 bar (absolute)", "29.0 psia"):
        assert read_entry(field("gauge"), typed).kind == "absolute", typed
    assert read_entry(field("gas_oxygen"), "3.5 mbar").kind == "pressure"
    assert read_entry(field("gas_oxygen"), "3.5 mbar").value == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("quantity", "typed", "said"),
    [
        ("gauge", "1", "bar, psi or kPa"),
        ("temperature", "20", "°C or °F"),
        ("volume", "2 bbl", "UK bbl or US bbl"),
        ("dissolved_oxygen", "40", "µg/L (ppb)"),
        ("gas_oxygen", "1,000 ppmv", "write it without the comma"),
        ("length", "5", "m, mm, ft or in"),
        ("temperature", "20 mL", "no unit that this can have"),
        ("count", "5 pints", "no unit that this can have"),
        ("gauge", "much", "no figure"),
        ("gauge", "", "Fill in: thing."),
    ],
)
def test_what_cannot_be_read_is_said(quantity, typed, said):
    fault = read_entry(field(quantity, usual="1 bar"), typed)
    assert isinstance(fault, EntryFault), fault
    assert said in fault.message
    assert fault.field == "x"


def test_bounds_are_told_in_the_unit_that_was_typed():
    fault = read_entry(field("temperature", lowest=0, highest=40), "120 °F")
    assert "32 °F to 104 °F" in fault.message
    assert "above 0" in read_entry(field("volume", lowest=0, above=True), "0 L").message
    assert "at most 10" in read_entry(field("count", highest=10), "11").message


def test_an_empty_field_may_be_left():
    assert read_entry(field("volume", needed=False), "  ") is None


def test_a_spread_that_is_not_carried_on_is_refused():
    assert "leave it out" in read_entry(field("days", takes_spread=False), "5 ± 1 d").message


def test_a_choice_is_one_of_its_choices():
    own = field("choice", choices=("dry", "moist"))
    assert read_entry(own, "Dry").choice == "dry"
    assert math.isnan(read_entry(own, "dry").value)
    assert "dry, moist" in read_entry(own, "wet").message
