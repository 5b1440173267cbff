"""What do purging and trapped air leave: how much oxygen in the gas, and how much of it in the beer at most?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.estimate import Estimate
from analysis.findings.cautions import CARBON_DIOXIDE, CONFINED_SPACE, PERACETIC_ACID, PRESSURE
from analysis.findings.figure_entries import EntryFault, Field
from analysis.findings.gas_figure import AIR_OUTSIDE, Figure, Given, Line, Worked, absolute, told
from analysis.findings.wording import amount, count
from analysis.oxygen import (
    added_to_beer,
    after_pressure_cycles,
    after_sweep,
    carried,
    cycles_needed,
    hose_volume,
    oxygen_in_air,
    volumes_needed,
)

__all__ = ["PURGE", "SWEEP", "TRAPPED"]

_MIXED = (
    "It takes the gas to mix through and to be pure: a dead leg keeps more, and so does a short purge from the top."
)
_START = Field(
    "start", "Oxygen before", "headspace_oxygen", "20.946 %", "What stands here is air.", lowest=0, highest=100,
    above=True,
)  # fmt: skip
_WANTED = Field(
    "wanted", "Oxygen wanted", "headspace_oxygen", "", "If you like: how much purging that takes.", needed=False,
    lowest=0, highest=100, above=True, takes_spread=False,
)  # fmt: skip
_GAS_CAUTIONS = (CARBON_DIOXIDE, PRESSURE, CONFINED_SPACE, PERACETIC_ACID)


def _purge(given: Given) -> Worked | EntryFault:
    names = ("gauge", "vented", "outside", "start")
    cycles = given.value("cycles")
    if cycles != int(cycles):
        return EntryFault("cycles", "Write a whole number of cycles.")
    values = given.values(*names)
    high, low = absolute(given, "gauge", values), absolute(given, "vented", values)
    if not 0 < low < high:
        return EntryFault("gauge", "The pressure before venting must be above the one after it.")

    def left(at: Mapping[str, float]) -> float:
        pressures = absolute(given, "gauge", at), absolute(given, "vented", at)
        return float(after_pressure_cycles(cycles, *pressures, at["start"]))

    budget = carried(left, values, given.errors(*names), "%", by_ratio=True)
    done = count(int(cycles), "pressure cycle")
    answer = (
        f"After {done} from {_pressure(given, 'gauge')} down to {_pressure(given, 'vented')}, {told(budget.total)} "
        "oxygen is left in the gas."
    )
    lines = [_ppmv(budget.total), Line("Each cycle leaves", f"{amount(100 * low / high)} % of it")]
    if given.has("wanted"):
        needed = cycles_needed(given.value("wanted"), high, low, given.value("start"))
        answer += f" To come down to {given.text('wanted')} takes {count(needed, 'cycle')}."
    return Worked(answer, budget.total, tuple(lines), budget.sources, (_MIXED,))


def _pressure(given: Given, name: str) -> str:
    return "0 bar" if given.text(name) == "0" else given.text(name)


def _sweep(given: Given) -> Worked | EntryFault:
    names = ("gas", "vessel", "start")

    def left(at: Mapping[str, float]) -> float:
        return float(after_sweep(at["gas"] / at["vessel"], at["start"]))

    budget = carried(left, given.values(*names), given.errors(*names), "%", by_ratio=True)
    volumes = given.value("gas") / given.value("vessel")
    answer = (
        f"After {given.text('gas')} of gas through {given.text('vessel')}, {amount(volumes)} volumes, "
        f"{told(budget.total)} oxygen is left in the gas."
    )
    if given.has("wanted"):
        needed = volumes_needed(given.value("wanted"), given.value("start"))
        gas = _litres(100 * needed * given.value("vessel"))
        answer += f" To come down to {given.text('wanted')} takes {amount(needed)} volumes, {gas}."
    return Worked(answer, budget.total, (_ppmv(budget.total),), budget.sources, (_MIXED,))


def _ppmv(percent: Estimate) -> Line:
    """Return a share of a gas in parts per million by volume."""
    value, low, high, error = (
        1e4 * part for part in (percent.value, percent.low, percent.high, percent.standard_error)
    )
    return Line("The same", told(Estimate(value, low, high, "ppmv", error)))


def _litres(litres: float) -> str:
    return amount(litres / 100, "hL") if litres >= 1000 else amount(litres, "L")


def _trapped(given: Given) -> Worked | EntryFault:
    if given.has("air") == (given.has("length") or given.has("bore")):
        return EntryFault("air", "Fill in either the air's volume, or the hose's length and bore.")
    if not given.has("air") and not (given.has("length") and given.has("bore")):
        return EntryFault("bore" if given.has("length") else "length", "A hose needs both its length and its bore.")
    names = ("air", "length", "bore", "beer", "temperature", "outside")

    def added(at: Mapping[str, float]) -> float:
        return float(added_to_beer(oxygen_in_air(_air(at), at["temperature"], at["outside"]), at["beer"]))

    values = given.values(*names)
    budget = carried(added, values, given.errors(*names), "µg/L", by_ratio=True)
    litres = _air(values)
    oxygen = float(oxygen_in_air(litres, given.value("temperature"), given.value("outside")))
    answer = (
        f"Air of {_small(litres)} holds {_mass(oxygen)} of oxygen: in {given.text('beer')} of beer at most "
        f"{told(budget.total)}."
    )
    note = "An upper bound: it takes all of that oxygen to go into the beer, and none to be pushed through or vented."
    return Worked(answer, budget.total, (Line("Oxygen in the air", _mass(oxygen)),), budget.sources, (note,))


def _air(at: Mapping[str, float]) -> float:
    """Return the air's volume [L]: what was typed [mL], or a hose's [m]."""
    return at["air"] / 1000 if "air" in at else hose_volume(at["length"], 1000 * at["bore"])


def _small(litres: float) -> str:
    return amount(1000 * litres, "mL") if litres < 1 else amount(litres, "L")


def _mass(milligrams: float) -> str:
    return amount(milligrams / 1000, "g") if milligrams >= 1000 else amount(milligrams, "mg")


PURGE = Figure(
    "purge", "Pressure cycles", "How much oxygen is left after pressurising and venting so many times?",
    (
        Field("cycles", "Cycles", "count", "5", lowest=0, highest=1000, takes_spread=False),
        Field("gauge", "Pressure before venting", "gauge", "1.0 ± 0.05 bar",
              "Gauge; write “abs” behind it if absolute."),
        Field("vented", "Pressure after venting", "gauge", "0 bar", "Gauge."),
        _START, AIR_OUTSIDE, _WANTED,
    ),
    "The mass balance of a mixed vessel: each cycle leaves the ratio of the two absolute pressures.", _purge,
    _GAS_CAUTIONS,
)  # fmt: skip
SWEEP = Figure(
    "sweep", "Sweeping through", "How much oxygen is left after so much gas was swept through a vessel?",
    (
        Field("gas", "Gas swept through", "volume", "60 ± 3 hL", "At the vessel's own pressure.", lowest=0,
              highest=1e6),
        Field("vessel", "Volume of the vessel's gas", "volume", "20 hL", lowest=0, highest=1e5, above=True),
        _START, _WANTED,
    ),
    "The mass balance of a mixed vessel: oxygen falls by 1/e with every volume that goes through.", _sweep,
    _GAS_CAUTIONS,
)  # fmt: skip
TRAPPED = Figure(
    "trapped", "Trapped air", "How much oxygen could air trapped in a hose or fitting add to a tank?",
    (
        Field("air", "Air trapped", "size", "", "Or a hose:", needed=False, lowest=0, above=True),
        Field("length", "Length of the hose", "length", "20 m", needed=False, lowest=0, highest=1000, above=True),
        Field("bore", "Its bore", "length", "50 mm", needed=False, lowest=0, highest=1, above=True),
        Field("beer", "Beer that it goes into", "volume", "20 hL", lowest=0, highest=1e5, above=True),
        Field("temperature", "Temperature of the air", "temperature", "10 °C", lowest=-20, highest=100),
        AIR_OUTSIDE,
    ),
    "The gas law, for dry air with 20.946 % oxygen.", _trapped, _GAS_CAUTIONS, (("air",), ("length", "bore")),
)  # fmt: skip
