"""Is every unit that the trade writes understood, and is an ambiguous one asked about?"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.kinds import KINDS
from analysis.units import (
    QUANTITIES,
    AmbiguousUnit,
    Unit,
    convert,
    is_unit,
    kept_unit,
    recognise_unit,
    specific_gravity_to_plato,
    to_kept,
    unstated_unit,
)
from analysis.vocabulary import MEASURES

SAME = {
    ("dissolved_oxygen", "µg/L"): ["ppb", "PPB", "p.p.b.", "ug/L", "µg/l", "μg / L", "ug L^-1", "µg·L⁻¹", "mcg/l",
                                   "micrograms per litre", "[ppb]", "ppb O2", "µg O₂/L"],
    ("total_oxygen", "mg/L"): ["ppm", "mg/l", "mg per L", "MG/L", "ppm O2", "(mg/L)"],
    ("headspace_oxygen", "%"): ["% O2", "%vol", "% v/v", "percent"],
    ("headspace_oxygen", "ppmv"): ["ppm", "ppm v/v", "PPMV"],
    ("haze", "EBC"): ["ebc", "EBC units", "EBC (90°)", "EBC 90°", "EBC @ 90°"],
    ("haze", "NTU"): ["ntu", "FNU", "N.T.U.", "NTU 90°"],
    ("haze_forward", "EBC"): ["EBC 25°", "EBC (25°)"],
    ("haze", "ASBC FTU"): ["FTU (ASBC)", "asbc ftu", "ASBC"],
    ("temperature", "°C"): ["C", "degC", "deg C", "degrees C", "℃", "Celsius", "ºC"],
    ("temperature", "°F"): ["F", "deg F", "℉", "Fahrenheit"],
    ("carbon_dioxide", "volumes"): ["vol", "vols", "v/v", "Vols CO2"],
    ("carbon_dioxide", "g/L"): ["g/l", "g/L CO2", "gram per litre", "g L-1"],
    ("yeast_count", "10⁶/mL"): ["10^6/mL", "x10^6 cells/mL", "million cells per mL", "M/mL", "cells/mL x 10⁶", "1e6/ml",
                                "million/ml", "×10⁶ cells/ml"],
    ("yeast_count", "cells/mL"): ["cells per ml", "/mL"],
    ("volume", "hL"): ["hl", "HL", "hectolitres", "hecto"],
    ("volume", "US bbl"): ["bbl (US)", "US barrels", "us bbl", "bbl US", "USbbl", "US beer barrels"],
    ("volume", "UK bbl"): ["bbl (UK)", "UK brl", "imperial barrels", "imp. bbl"],
    ("size", "mL"): ["ml", "mls", "cc", "millilitres"],
    ("original_gravity", "°P"): ["P", "Plato", "deg P", "° Plato"],
    ("final_gravity", "SG"): ["sg", "S.G.", "specific gravity"],
    ("minutes", "min"): ["mins", "minutes", "Min."],
    ("minutes", "h"): ["hrs", "hours", "hr"],
    ("dose", "UK pt/UK bbl"): ["pt/UK bbl", "imperial pints per barrel", "pts/bbl (UK)", "UK pint/UK barrel"],
    ("dose", "mL/hL"): ["ml/hl", "mls per hl", "mL hL⁻¹"],
    ("dose", "g/hL"): ["g/hl", "grams per hL", "gm/hl"],
    ("dry_hop", "g/L"): ["g/l", "grams/litre"],
    ("dose", "kg"): ["kilos", "KG"],
    ("pressure", "psi"): ["PSI", "psig", "lb/in²"],
}  # fmt: skip


@pytest.mark.parametrize(("quantity", "name"), SAME, ids=str)
def test_spellings_of_a_unit_are_one_unit(quantity, name):
    expected = recognise_unit(name, quantity)
    assert isinstance(expected, Unit)
    assert expected.name == name
    assert [recognise_unit(spelt, quantity) for spelt in SAME[quantity, name]] == [expected] * len(SAME[quantity, name])


@pytest.mark.parametrize(
    ("text", "quantity", "choices"),
    [
        ("FTU", "haze", ["ASBC FTU", "NTU"]),
        ("ftu", "chill_haze", ["ASBC FTU", "NTU"]),
        ("bbl", "volume", ["UK bbl", "US bbl"]),
        ("barrels", "volume", ["UK bbl", "US bbl"]),
        ("gal", "volume", ["UK gal", "US gal"]),
        ("ppm", "oxygen", ["mg/L", "ppmv"]),
        ("pt/bbl", "dose", ["UK pt/UK bbl", "US pt/US bbl"]),
        ("lb/bbl", "dry_hop", ["lb/UK bbl", "lb/US bbl"]),
        ("oz/bbl", "dose", ["oz wt/UK bbl", "oz wt/US bbl", "UK fl oz/UK bbl", "US fl oz/US bbl"]),
        ("oz", "dose", ["oz wt", "UK fl oz", "US fl oz"]),
        ("pints", "dose", ["UK pt", "US pt"]),
        ("ppm", "dose", ["mg/L", "mL/m³"]),
        ("%", "carbon_dioxide", ["% by mass", "volumes"]),
    ],
)
def test_a_unit_of_two_meanings_is_asked_about(text, quantity, choices):
    found = recognise_unit(text, quantity)
    assert isinstance(found, AmbiguousUnit)
    assert [choice.name for choice in found.choices] == choices
    assert all(choice in found.question for choice in choices) or "69" in found.question


def every_choice():
    """Every choice that a person can be asked to take, with its quantity."""
    texts = ["FTU", "bbl", "gal", "pt/bbl", "lb/bbl", "oz/bbl", "oz", "pt", "fl oz", "ppm", "%", "g/bbl", "mL/bbl"]
    for quantity in QUANTITIES:
        for found in [unstated_unit(quantity), *(recognise_unit(text, quantity) for text in texts)]:
            if isinstance(found, AmbiguousUnit):
                yield from ((choice, quantity) for choice in found.choices)


def test_an_answer_names_one_unit():
    choices = list(every_choice())
    assert len(choices) > 40
    named = [(choice, recognise_unit(choice.name, quantity)) for choice, quantity in choices]
    open_still = {choice.name for choice, found in named if found != choice}
    assert open_still == set()


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("bananas", "haze"), ("°C", "haze"), ("NTU", "dissolved_oxygen"), ("ppb", "temperature"), ("US pt/UK bbl", "dose"),
     ("ppmv", "dissolved_oxygen"), ("% air saturation", "dissolved_oxygen"), ("", "haze"), ("FAU", "haze")],
)  # fmt: skip
def test_what_is_no_unit_of_the_quantity_is_not_taken_for_one(text, quantity):
    assert recognise_unit(text, quantity) is None


def test_every_measure_and_every_column_with_a_unit_has_its_kept_unit():
    for measure in MEASURES.values():
        assert kept_unit(measure.name) == measure.unit
        assert recognise_unit(measure.unit, measure.name).factor == 1.0
    for kind in KINDS.values():
        for column in kind.columns:
            if column.unit:
                unit = recognise_unit(column.unit, column.name)
                assert (unit.kept_unit, unit.factor, unit.offset) == (column.unit, 1.0, 0.0)


def test_a_tasting_attribute_is_scored_in_points():
    assert kept_unit("papery") == "points"
    assert recognise_unit("points", "papery").factor == 1.0
    assert isinstance(unstated_unit("papery"), Unit)


def test_where_no_unit_stands_the_choices_are_named():
    asked = unstated_unit("dissolved_oxygen")
    assert isinstance(asked, AmbiguousUnit)
    assert [choice.factor for choice in asked.choices] == [1.0, 1000.0]
    assert unstated_unit("ph").kept_unit == ""


def test_misuse_is_refused_with_what_is_allowed():
    with pytest.raises(ValueError, match="must name one unit, got 'FTU'"):
        convert(1.0, "FTU", "haze")
    with pytest.raises(ValueError, match="must be a unit of haze, got '°C'"):
        convert(1.0, "°C", "haze")
    with pytest.raises(ValueError, match="quantity must be one of"):
        recognise_unit("ppb", "")


def test_units_are_told_from_remarks():
    assert all(is_unit(text) for text in ("ppb", "NTU", "pt/bbl", "°C", "mL/hL", "x10^6/mL", "%"))
    assert not any(is_unit(text) for text in ("see note", "bananas", "(2nd reading)", "to 7", "cans"))


def test_gravity_of_water_has_no_extract():
    assert specific_gravity_to_plato(1.0) == pytest.approx(0.0, abs=5e-3)


@given(st.sampled_from(list(every_choice())), st.floats(0, 900), st.floats(0.001, 100))
def test_every_conversion_rises_with_the_value(choice, low, step):
    unit, _ = choice
    scale = 1000.0 if unit.is_gravity and unit.factor == 1.0 else 1.0
    low, high = to_kept([low / scale, (low + step) / scale], unit)
    assert low < high


def test_missing_values_stay_missing():
    assert np.isnan(to_kept([np.nan], recognise_unit("SG", "gravity"))).all()
