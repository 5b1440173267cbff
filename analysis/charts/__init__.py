"""Is a series of runs stable, and what moved?"""

from analysis.charts.autocorrelation import Memory, alarm_rate_with_memory, lag_one, memory, residual_chart
from analysis.charts.censored import CensoredMeans, censored_means
from analysis.charts.censored_limits import CensoredIndividuals, censored_individuals
from analysis.charts.chart import Chart
from analysis.charts.constants import ChartConstants, c4, chart_constants, d2, d3
from analysis.charts.individuals import Individuals, individuals
from analysis.charts.run_lengths import RunLength, run_length
from analysis.charts.run_rules import (
    ALL_RULES,
    FIRST_RULES,
    LIMIT_ONLY,
    RULES,
    WESTERN_ELECTRIC,
    RuleSignals,
    RunRule,
    Signal,
    Signals,
    run_signals,
)
from analysis.charts.shifts import (
    STEADY_PENALTY,
    Levels,
    Shift,
    change_point,
    level_shifts,
    levels_about,
    start_of_shift,
)
from analysis.charts.standardised import Standardised, standardised

__all__ = [
    "ALL_RULES",
    "FIRST_RULES",
    "LIMIT_ONLY",
    "RULES",
    "STEADY_PENALTY",
    "WESTERN_ELECTRIC",
    "CensoredIndividuals",
    "CensoredMeans",
    "Chart",
    "ChartConstants",
    "Individuals",
    "Levels",
    "Memory",
    "RuleSignals",
    "RunLength",
    "RunRule",
    "Shift",
    "Signal",
    "Signals",
    "Standardised",
    "alarm_rate_with_memory",
    "c4",
    "censored_individuals",
    "censored_means",
    "change_point",
    "chart_constants",
    "d2",
    "d3",
    "individuals",
    "lag_one",
    "level_shifts",
    "levels_about",
    "memory",
    "residual_chart",
    "run_length",
    "run_signals",
    "standardised",
    "start_of_shift",
]
