"""What does physics say about oxygen in beer and in a pack?"""

from analysis.oxygen.consumption import (
    AtClosing,
    consumption_rate,
    oxygen_after,
    oxygen_at_closing,
)
from analysis.oxygen.headspace_units import (
    dissolved_at_equilibrium,
    partial_pressure,
    percent_of_partial_pressure,
    percent_of_ppmv,
)
from analysis.oxygen.ingress import CLOSURES, ingress_rate
from analysis.oxygen.partition import gas_liquid_ratio, henry_constant
from analysis.oxygen.propagation import Budget, Source, carried
from analysis.oxygen.purging import (
    AIR_PERCENT,
    after_pressure_cycles,
    after_sweep,
    cycles_needed,
    volumes_needed,
)
from analysis.oxygen.solubility_benson_krause_1984 import oxygen_solubility
from analysis.oxygen.solubility_weiss_1970 import oxygen_solubility_weiss
from analysis.oxygen.total_oxygen import (
    headspace_mass,
    shaken_ratio,
    total_oxygen_from_both_parts,
    total_oxygen_from_shaken,
)
from analysis.oxygen.total_uncertainty import both_parts_budget, shaken_budget
from analysis.oxygen.trapped_air import added_to_beer, hose_volume, oxygen_in_air
from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = [
    "AIR_PERCENT",
    "CLOSURES",
    "AtClosing",
    "Budget",
    "Source",
    "added_to_beer",
    "after_pressure_cycles",
    "after_sweep",
    "both_parts_budget",
    "carried",
    "consumption_rate",
    "cycles_needed",
    "dissolved_at_equilibrium",
    "gas_liquid_ratio",
    "headspace_mass",
    "henry_constant",
    "hose_volume",
    "ingress_rate",
    "oxygen_after",
    "oxygen_at_closing",
    "oxygen_in_air",
    "oxygen_solubility",
    "oxygen_solubility_weiss",
    "partial_pressure",
    "percent_of_partial_pressure",
    "percent_of_ppmv",
    "shaken_budget",
    "shaken_ratio",
    "total_oxygen_from_both_parts",
    "total_oxygen_from_shaken",
    "volumes_needed",
    "water_vapour_pressure",
]
