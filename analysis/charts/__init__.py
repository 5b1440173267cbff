"""Is a series of runs stable, and what moved?"""

from analysis.charts.adjusted import Adjusted, adjusted
from analysis.charts.autocorrelation import Memory, alarm_rate_with_memory, lag_one, memory, residual_chart
from analysis.charts.batch_individuals import batch_individuals
from analysis.charts.batches import Batches, OfBatches, Parts, as_batches, batch_means
from analysis.charts.between_within import BetweenWithin, between_within
from analysis.charts.capability import Capability, capability
from analysis.charts.capability_intervals import (
    Index,
    one_sided_interval,
    percentile_index,
    percentile_interval,
    share_beyond,
    spread_interval,
)
from analysis.charts.censored import CensoredMeans, censored_means
from analysis.charts.censored_limits import CensoredIndividuals, censored_individuals
from analysis.charts.chart import Chart
from analysis.charts.climbs import Climb, slow_climb
from analysis.charts.constants import ChartConstants, c4, chart_constants, d2, d3
from analysis.charts.counts import CountChart, CountLimits, defects, defects_per_unit, failed_shares
from analysis.charts.cusum import Cusum, CusumSignal, cusum
from analysis.charts.cusum_run_length import cusum_bound, cusum_run_length
from analysis.charts.design import Design, chart_designs, smallest_shift_found
from analysis.charts.estimated_limits import EstimatedRunLength, estimated_run_length
from analysis.charts.ewma import ewma
from analysis.charts.ewma_run_length import ewma_run_length, ewma_width
from analysis.charts.individuals import Individuals, individuals
from analysis.charts.phases import LeftOut, Phase, PhaseMarks, mark_phases
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
from analysis.charts.subgroups import Subgroups, subgroups
from analysis.charts.time_between import good_between_faults, time_between_faults

__all__ = [
    "ALL_RULES",
    "FIRST_RULES",
    "LIMIT_ONLY",
    "RULES",
    "STEADY_PENALTY",
    "WESTERN_ELECTRIC",
    "Adjusted",
    "Batches",
    "BetweenWithin",
    "Capability",
    "CensoredIndividuals",
    "CensoredMeans",
    "Chart",
    "ChartConstants",
    "Climb",
    "CountChart",
    "CountLimits",
    "Cusum",
    "CusumSignal",
    "Design",
    "EstimatedRunLength",
    "Index",
    "Individuals",
    "LeftOut",
    "Levels",
    "Memory",
    "OfBatches",
    "Parts",
    "Phase",
    "PhaseMarks",
    "RuleSignals",
    "RunLength",
    "RunRule",
    "Shift",
    "Signal",
    "Signals",
    "Standardised",
    "Subgroups",
    "adjusted",
    "alarm_rate_with_memory",
    "as_batches",
    "batch_individuals",
    "batch_means",
    "between_within",
    "c4",
    "capability",
    "censored_individuals",
    "censored_means",
    "change_point",
    "chart_constants",
    "chart_designs",
    "cusum",
    "cusum_bound",
    "cusum_run_length",
    "d2",
    "d3",
    "defects",
    "defects_per_unit",
    "estimated_run_length",
    "ewma",
    "ewma_run_length",
    "ewma_width",
    "failed_shares",
    "good_between_faults",
    "individuals",
    "lag_one",
    "level_shifts",
    "levels_about",
    "mark_phases",
    "memory",
    "one_sided_interval",
    "percentile_index",
    "percentile_interval",
    "residual_chart",
    "run_length",
    "run_signals",
    "share_beyond",
    "slow_climb",
    "smallest_shift_found",
    "spread_interval",
    "standardised",
    "start_of_shift",
    "subgroups",
    "time_between_faults",
]
