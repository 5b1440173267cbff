"""What is an oxygen in a gas told in other ways, and how much oxygen does water or beer hold at all?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.estimate import Estimate
from analysis.findings.cautions import CARBON_DIOXIDE
from analysis.findings.figure_entries import EntryFault, Field
from analysis.findings.gas_figure import AIR_OUTSIDE, Figure, Given, Line, Worked, absolute, told
from analysis.findings.wording import amount
from analysis.oxygen import (
    carried,
    dissolved_at_equilibrium,
    oxygen_solubility,
    partial_pressure,
    percent_of_partial_pressure,
)

__all__ = ["HEADSPACE", "SOLUBILITY"]


def _headspace(given: Given) -> Worked | EntryFault:
    names = ("oxygen", "pressure", "outside", "temperature")
    is_pressure = given.entries["oxygen"].kind == "pressure"

    def kilopascals(at: Mapping[str, float]) -> float:
        pressure = absolute(given, "pressure", at)
        return at["oxygen"] if is_pressure else float(partial_pressure(at["oxygen"], pressure, at["temperature"]))

    def held(at: Mapping[str, float]) -> float:
        """What beer under that gas would come to hold [µg/L]."""
        pressure = absolute(given, "pressure", at)
        moist = 1e6 * kilopascals(at) / pressure
        return given.factor.value * float(dissolved_at_equilibrium(moist, at["temperature"], pressure))

    values, errors = given.values(*names), given.errors(*names)
    pressure = absolute(given, "pressure", values)
    percent = float(percent_of_partial_pressure(kilopascals(values), pressure, values["temperature"]))
    if not (pressure > 0 and 0 <= percent <= 100):
        return EntryFault("oxygen", "That is more oxygen than the whole pressure.")
    budget = carried(held, values, errors, "µg/L", by_ratio=True)
    answer = (
        f"{given.text('oxygen')} is {amount(percent)} % of the dry gas, {amount(1e4 * percent)} ppmv, or a partial "
        f"pressure of {amount(10 * kilopascals(values), 'mbar')}; beer shaken under it would come to hold "
        f"{told(budget.total)}."
    )
    lines = (
        Line("Of the dry gas", f"{amount(percent, digits=4)} %"),
        Line("Parts per million by volume", amount(1e4 * percent, "ppmv", digits=4)),
        Line("Partial pressure", amount(10 * kilopascals(values), "mbar", digits=4)),
    )
    note = "A part per million of a gas is not a part per million of a liquid."
    return Worked(answer, budget.total, lines, budget.sources, (note,), uses_factor=True)


def _solubility(given: Given) -> Worked | EntryFault:
    names = ("temperature", "outside")

    def water(at: Mapping[str, float]) -> float:
        return float(oxygen_solubility(at["temperature"], at["outside"]))

    budget = carried(water, given.values(*names), given.errors(*names), "mg/L")
    factor = given.factor.value
    held = budget.total
    beer = Estimate(factor * held.value, factor * held.low, factor * held.high, "mg/L", factor * held.standard_error)
    answer = (
        f"Under air of {given.text('outside')}, water at {given.text('temperature')} holds "
        f"{told(budget.total, 4)} of oxygen, and beer {told(beer, 4)} by the factor below."
    )
    lines = (
        Line("Water, saturated with air", told(budget.total, 4)),
        Line("Beer, saturated with air", told(beer, 4)),
        Line("Beer under pure oxygen at one atmosphere", amount(_pure(given), "mg/L")),
    )
    note = (
        "Two published relations for water differ by up to 0.02 mg/L between 0 and 30 °C. What an air-saturated check "
        "of a meter should read is the water's figure."
    )
    return Worked(answer, budget.total, lines, budget.sources, (note,), uses_factor=True)


def _pure(given: Given) -> float:
    """Return what beer holds under a partial pressure of one atmosphere of oxygen [mg/L]."""
    return given.factor.value * float(dissolved_at_equilibrium(1e6, given.value("temperature"))) / 1000


HEADSPACE = Figure(
    "headspace", "Oxygen of a gas in other words", "What is a headspace oxygen as percent, ppmv and partial pressure?",
    (
        Field("oxygen", "Oxygen in the gas", "gas_oxygen", "0.10 ± 0.005 %",
              "%, ppmv, or a partial pressure in mbar.", lowest=0, highest=100),
        Field("pressure", "Pressure of the gas", "gauge", "2.5 bar", "Gauge; write “abs” behind it if absolute."),
        Field("temperature", "Temperature", "temperature", "20 °C", lowest=0, highest=40),
        AIR_OUTSIDE,
    ),
    "Dalton's law, and Henry's law with the solubility of Benson and Krause 1984.", _headspace, (CARBON_DIOXIDE,),
)  # fmt: skip
SOLUBILITY = Figure(
    "solubility", "What water and beer hold", "How much oxygen do water and beer hold under air?",
    (
        Field("temperature", "Temperature", "temperature", "4 ± 0.5 °C", lowest=0, highest=40),
        AIR_OUTSIDE,
    ),
    "Benson and Krause 1984, in the form of APHA 4500-O and USGS technical memorandum 2011.03; salinity 0.",
    _solubility,
)  # fmt: skip
