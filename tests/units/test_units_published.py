"""Do conversions agree with the published definitions and with a general units library?"""

import json
from pathlib import Path

import pint
import pytest

from analysis.units import Unit, convert, recognise_unit

CASES = json.loads((Path(__file__).parents[1] / "published" / "units.json").read_text(encoding="utf-8"))["cases"]

REGISTRY = pint.UnitRegistry()
# our quantity and unit, the library's unit for the same thing, the library's kept unit
AGAINST_PINT = [
    ("volume", "US bbl", "oil_bbl * 31 / 42", "hectoliter"),
    ("volume", "UK bbl", "imperial_barrel", "hectoliter"),
    ("volume", "UK gal", "imperial_gallon", "hectoliter"),
    ("volume", "US gal", "gallon", "hectoliter"),
    ("volume", "L", "liter", "hectoliter"),
    ("volume", "m³", "meter ** 3", "hectoliter"),
    ("size", "UK pt", "imperial_pint", "milliliter"),
    ("size", "US pt", "pint", "milliliter"),
    ("size", "UK fl oz", "imperial_fluid_ounce", "milliliter"),
    ("size", "US fl oz", "fluid_ounce", "milliliter"),
    ("size", "cL", "centiliter", "milliliter"),
    ("dose", "lb", "pound", "gram"),
    ("dose", "kg", "kilogram", "gram"),
    ("dry_hop", "oz", "ounce", "gram"),
    ("dry_hop", "oz/US gal", "ounce / gallon", "gram / liter"),
    ("dose", "lb/UK bbl", "pound / imperial_barrel", "gram / hectoliter"),
    ("dose", "UK pt/UK bbl", "imperial_pint / imperial_barrel", "milliliter / hectoliter"),
    ("dose", "mL/L", "milliliter / liter", "milliliter / hectoliter"),
    ("dissolved_oxygen", "mg/L", "milligram / liter", "microgram / liter"),
    ("pressure", "psi", "pound_force_per_square_inch", "kilopascal"),
    ("pressure", "bar", "bar", "kilopascal"),
    ("pressure", "atm", "standard_atmosphere", "kilopascal"),
    ("minutes", "h", "hour", "minute"),
    ("minutes", "d", "day", "minute"),
]


@pytest.mark.parametrize("case", CASES, ids=[f"{c['quantity']} {c['unit']}" for c in CASES])
def test_a_conversion_agrees_with_its_published_definition(case):
    unit = recognise_unit(case["unit"], case["quantity"])
    assert isinstance(unit, Unit)
    assert unit.kept_unit == case["kept_unit"]
    got = convert(case["value"], case["unit"], case["quantity"])
    assert got == pytest.approx(case["kept"], rel=case["tolerance"], abs=1e-12)


@pytest.mark.parametrize(("quantity", "ours", "theirs", "kept"), AGAINST_PINT)
def test_a_conversion_agrees_with_pint(quantity, ours, theirs, kept):
    expected = REGISTRY.parse_expression(theirs).to(kept).magnitude
    assert convert(1.0, ours, quantity) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("fahrenheit", [-40.0, 32.0, 68.0, 212.0])
def test_fahrenheit_agrees_with_pint(fahrenheit):
    expected = REGISTRY.Quantity(fahrenheit, REGISTRY.degF).to(REGISTRY.degC).magnitude
    assert convert(fahrenheit, "°F", "temperature") == pytest.approx(expected, abs=1e-9)
