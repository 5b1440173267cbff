"""How much oxygen is in a closed pack, how much was there at closing, and how much comes in through the closure?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from analysis.findings.cautions import PRESSURE, REFERMENTATION
from analysis.findings.figure_entries import EntryFault, Field
from analysis.findings.gas_figure import AIR_OUTSIDE, Figure, Given, Line, Worked, absolute, told
from analysis.findings.wording import amount, count
from analysis.oxygen import (
    CLOSURES,
    Budget,
    both_parts_budget,
    carried,
    ingress_rate,
    oxygen_after,
    oxygen_at_closing,
    percent_of_partial_pressure,
    shaken_budget,
)

__all__ = ["CLOSING", "INGRESS", "PARTS", "SHAKEN"]

_OTHER, _NONE = "another, at the rate below", "none that lets oxygen in"
_GIVES_WAY = "A headspace that is larger by a millilitre leaves a millilitre less beer: the pack is one volume."
_READING = Field(
    "reading", "Oxygen read in the beer", "dissolved_oxygen", "40 ± 2 µg/L", "As the meter shows it.", lowest=0,
    highest=2e4,
)  # fmt: skip
_BEER = Field("beer", "Beer in the pack", "size", "440 mL", lowest=0, highest=1e5, above=True, takes_spread=False)
_HEADSPACE = Field("headspace", "Headspace", "headspace", "20 ± 1 mL", lowest=0, highest=1e4)
_PACK_TEMPERATURE = Field(
    "temperature", "Temperature of the pack", "temperature", "20 ± 0.5 °C", "When it was shaken or read.",
    lowest=0, highest=40,
)  # fmt: skip
_SIZE = Field("size", "Beer in the pack", "size", "330 mL", lowest=0, highest=1e5, above=True)
_ROOM = Field("temperature", "Temperature", "temperature", "20 °C", lowest=0, highest=40)
_CLOSURE_RATE = Field(
    "through", "Oxygen through that closure", "gas_a_day", "", "mL a day at one atmosphere.", needed=False, lowest=0,
    highest=10,
)  # fmt: skip


def _shaken(given: Given) -> Worked | EntryFault:
    factor = given.factor.value
    budget = shaken_budget(
        factor * given.value("reading"), given.value("beer"), given.value("headspace"), given.value("temperature"),
        dissolved_error=factor * given.error("reading"), headspace_error=given.error("headspace"),
        temperature_error=given.error("temperature"), solubility_factor=factor,
    )  # fmt: skip
    in_beer = factor * given.value("reading")
    return _pack(given, budget, in_beer, "shaken")


def _parts(given: Given) -> Worked | EntryFault:
    values = given.values("pressure", "outside")
    pressure = absolute(given, "pressure", values)
    oxygen = given.entries["oxygen"]
    dry = given.entries["gas"].choice == _DRY
    share = float(
        oxygen.value
        if oxygen.kind != "pressure"
        else percent_of_partial_pressure(oxygen.value, pressure, given.value("temperature"))
    )
    if not 0 <= share <= 100:
        return EntryFault("oxygen", "The partial pressure is more than the pressure in the pack.")
    to_share = share / oxygen.value if oxygen.value else 1.0
    factor = given.factor.value
    budget = both_parts_budget(
        factor * given.value("reading"), share, given.value("beer"), given.value("headspace"), pressure,
        given.value("temperature"), dissolved_error=factor * given.error("reading"),
        percent_error=oxygen.error * to_share, headspace_error=given.error("headspace"),
        pressure_error=given.error("pressure"), temperature_error=given.error("temperature"),
        dry=dry or oxygen.kind == "pressure",
    )  # fmt: skip
    return _pack(given, budget, factor * given.value("reading"), "unshaken")


def _pack(given: Given, budget: Budget, dissolved: float, how: str) -> Worked:
    """Return total package oxygen in words; ``dissolved`` is what the beer holds [µg/L]."""
    litres = given.value("beer") / 1000
    in_beer, in_all = dissolved * litres, budget.total.value * litres
    times = f", {amount(in_all / in_beer)} times what the beer holds" if in_beer > 0 else ""
    answer = f"The {how} pack holds {told(budget.total)} of oxygen in all{times}."
    lines = (
        Line("In the beer", amount(in_beer, "µg")),
        Line("In the headspace", amount(in_all - in_beer, "µg")),
        *(Line(f"Uncertainty from the {s.name}", f"± {amount(1.96 * s.in_total, 'µg/L')}") for s in budget.sources),
    )
    return Worked(answer, budget.total, lines, budget.sources, (_GIVES_WAY,), uses_factor=True)


def _through(given: Given) -> float | EntryFault:
    """Return the oxygen through the chosen closure [mL a day]."""
    closure = given.entries["closure"].choice
    if closure == _NONE:
        return 0.0
    if closure != _OTHER:
        return CLOSURES[closure]
    if not given.has("through"):
        return EntryFault("through", "Fill in how much oxygen that closure lets in.")
    return given.value("through")


def _ingress(given: Given) -> Worked | EntryFault:
    through = _through(given)
    if isinstance(through, EntryFault):
        return through
    own = ("through",) if given.entries["closure"].choice == _OTHER else ()
    names = ("size", "temperature", "days", *own)

    def come(at: Mapping[str, float]) -> float:
        return at["days"] * float(ingress_rate(at.get("through", through), at["size"], at["temperature"]))

    budget = carried(come, given.values(*names), given.errors(*names), "µg/L", by_ratio=True)
    rate = float(ingress_rate(through, given.value("size"), given.value("temperature")))
    days = given.value("days")
    answer = (
        f"{_first(given.entries['closure'].choice)} lets in {amount(rate, 'µg/L')} a day: {told(budget.total)} in "
        f"{count(int(days), 'day') if days == int(days) else amount(days, 'days')}, if the beer consumed none of it."
    )
    note = "Beer consumes what comes in: what stands in the pack at any moment is less, and the beer has aged by it."
    return Worked(answer, budget.total, (Line("A day", amount(rate, "µg/L")),), budget.sources, (note,))


def _first(words: str) -> str:
    return f"A closure ({words})" if words in CLOSURES else "That closure"


def _closing(given: Given) -> Worked | EntryFault:
    through = _through(given)
    if isinstance(through, EntryFault):
        return through
    ingress = float(ingress_rate(through, given.value("size"), given.value("temperature")))
    days, rate = given.value("days"), given.value("consumption")
    found = oxygen_at_closing(
        given.value("reading"), days, rate, reading_error=given.error("reading"),
        consumption_error=given.error("consumption"), ingress=ingress,
    )  # fmt: skip
    come = float(oxygen_after(days, 0.0, rate, ingress))
    lines = (Line("Let in since, and still there", amount(come, "µg/L")),) if ingress else ()
    note = (
        "How fast oxygen goes differs from beer to beer and with warmth: read one run at two ages for your own rate. "
        "Low oxygen in an aged pack is no sign of low oxygen at filling."
    )
    if found.oxygen is None:
        return Worked(f"The oxygen at closing cannot be told: {found.why_not}.", None, lines, (), (note,))
    answer = f"At closing, {amount(days)} days before it was read, the pack held {told(found.oxygen)}."
    return Worked(answer, found.oxygen, lines, (), (note,))


_DRY, _MOIST = "dry", "moist"
_CLOSURE = Field(
    "closure", "Closure", "choice", "crown, low-permeability liner", "No published rate of cans was found.",
    choices=(*CLOSURES, _OTHER),
)  # fmt: skip

SHAKEN = Figure(
    "shaken", "A shaken pack", "How much oxygen is in a pack whose beer was read after shaking?",
    (_READING, _BEER, _HEADSPACE, _PACK_TEMPERATURE),
    "Partition by Henry's law, with the solubility of Benson and Krause 1984; ratios as in Vilachá and Uhlig 1985.",
    _shaken, (PRESSURE, REFERMENTATION),
)  # fmt: skip
PARTS = Figure(
    "parts", "Beer and headspace read apart",
    "How much oxygen is in an unshaken pack whose beer and headspace were read?",
    (
        Field("reading", "Oxygen read in the beer", "dissolved_oxygen", "30 ± 1.5 µg/L", lowest=0, highest=2e4),
        Field("oxygen", "Oxygen in the headspace", "gas_oxygen", "0.10 ± 0.005 %",
              "%, ppmv, or a partial pressure in mbar.", lowest=0, highest=100),
        Field("gas", "The share is of", "choice", _DRY, "Dry gas, or moist: with its water vapour.",
              choices=(_DRY, _MOIST)),
        replace(_BEER, usual="330 mL"),
        Field("headspace", "Headspace", "headspace", "15 ± 1 mL", lowest=0, highest=1e4),
        Field("pressure", "Pressure in the pack", "gauge", "2.5 bar", "Gauge; write “abs” behind it if absolute."),
        _PACK_TEMPERATURE, replace(AIR_OUTSIDE, takes_spread=False),
    ),
    "The gas law for the headspace, and what the beer was read at.", _parts, (PRESSURE, REFERMENTATION),
)  # fmt: skip
INGRESS = Figure(
    "ingress", "Through the closure", "How much oxygen comes into a pack through its closure?",
    (_CLOSURE, _CLOSURE_RATE, _SIZE, _ROOM, Field("days", "Days", "days", "28 days", lowest=0, highest=3650)),
    "Rates of crown liners: ASBC Journal 45 and MBAA Technical Quarterly 27, read in excerpt.", _ingress,
)  # fmt: skip
CLOSING = Figure(
    "closing", "Back to closing", "What was the oxygen at closing of a pack that was read later?",
    (
        Field("reading", "Oxygen read in the pack", "total_oxygen", "40 ± 2 µg/L",
              "Total package oxygen, where you have it.", lowest=0, highest=2e4),
        Field("days", "Days since closing", "days", "5 days", lowest=0, highest=3650, takes_spread=False),
        Field("consumption", "Share consumed a day", "rate", "0.077 ± 0.02 /d",
              "From one published fall at room temperature; its ± is a working figure.", lowest=0, highest=10),
        Field("closure", "Closure", "choice", _NONE, choices=(_NONE, *CLOSURES, _OTHER)),
        *(replace(field, takes_spread=False) for field in (_CLOSURE_RATE, _SIZE, _ROOM)),
    ),
    "dC/dt = g − k·C: beer consumes a share a day of what is there, and the closure lets some in.", _closing,
)  # fmt: skip
