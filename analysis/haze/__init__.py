"""How hazy is a beer, and how does its haze fall?"""

from analysis.haze.chill import COLD, WARM, chill_haze, permanent_haze
from analysis.haze.classes import (
    ASBC_FTU_PER_EBC,
    CLASSES,
    NTU_PER_EBC,
    HazeClass,
    against_band,
    haze_class,
)
from analysis.haze.forecast import Forecast, forecast
from analysis.haze.settling import Prior, Settling, fit_settling, log_haze
from analysis.haze.stokes import beer_viscosity, reynolds_number, stokes_velocity

__all__ = [
    "ASBC_FTU_PER_EBC",
    "CLASSES",
    "COLD",
    "NTU_PER_EBC",
    "WARM",
    "Forecast",
    "HazeClass",
    "Prior",
    "Settling",
    "against_band",
    "beer_viscosity",
    "chill_haze",
    "fit_settling",
    "forecast",
    "haze_class",
    "log_haze",
    "permanent_haze",
    "reynolds_number",
    "stokes_velocity",
]
