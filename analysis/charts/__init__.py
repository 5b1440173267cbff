"""Is a series of runs stable, and what moved?"""

from analysis.charts.chart import Chart
from analysis.charts.constants import ChartConstants, c4, chart_constants, d2, d3
from analysis.charts.individuals import Individuals, individuals
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

__all__ = [
    "ALL_RULES",
    "FIRST_RULES",
    "LIMIT_ONLY",
    "RULES",
    "WESTERN_ELECTRIC",
    "Chart",
    "ChartConstants",
    "Individuals",
    "RuleSignals",
    "RunRule",
    "Signal",
    "Signals",
    "c4",
    "chart_constants",
    "d2",
    "d3",
    "individuals",
    "run_signals",
]
