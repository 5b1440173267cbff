"""What does physics say about oxygen in beer and in a pack?"""

from analysis.oxygen.partition import gas_liquid_ratio, henry_constant
from analysis.oxygen.solubility_benson_krause_1984 import oxygen_solubility
from analysis.oxygen.total_oxygen import (
    headspace_mass,
    shaken_ratio,
    total_oxygen_from_both_parts,
    total_oxygen_from_shaken,
)
from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = [
    "gas_liquid_ratio",
    "headspace_mass",
    "henry_constant",
    "oxygen_solubility",
    "shaken_ratio",
    "total_oxygen_from_both_parts",
    "total_oxygen_from_shaken",
    "water_vapour_pressure",
]
