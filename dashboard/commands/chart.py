"""Is a measure stable, and what moved?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NoReturn

import click

from analysis.charts import FIRST_RULES, RULES
from analysis.findings.as_read import charts_as_read
from analysis.findings.baselines import frozen_phases
from analysis.findings.counted import PREFIX, counted
from analysis.findings.filters import Filters
from analysis.findings.series_adjusted import what_was_done
from analysis.findings.series_slow import SlowAsk
from analysis.findings.stability import Stability, stability
from analysis.ledger import Ledger, snapshot
from analysis.linking import PackTable
from analysis.vocabulary import STAGES
from analysis.vocabulary import measure as measure_of
from dashboard.commands.chart_baselines import Freezing, days_asked, froze, print_phases, took_back
from dashboard.commands.options import (
    complain,
    filter_options,
    json_option,
    ledger_option,
    person_option,
    refuse,
    table_asked,
    tell,
)

__all__ = ["command"]


@click.command("chart")
@click.argument("measure")
@click.option(
    "--stage", type=click.Choice(STAGES), default="pack", show_default=True, metavar="S", help="Where it was read."
)
@click.option(
    "--adjusted", is_flag=True, help="Chart what is left after what was done: each run at its baseline’s practices."
)
@click.option(
    "--rule",
    "rules",
    multiple=True,
    type=click.Choice(tuple(RULES)),
    metavar="RULE",
    help=f"A pattern that counts as a signal; may be given again. Usual: {', '.join(FIRST_RULES)}.",
)
@click.option("--find", "percent", type=float, metavar="PERCENT", help="Say which chart finds a change of so much.")
@click.option("--within", type=float, default=5.0, show_default=True, metavar="RUNS", help="… within so many runs.")
@click.option(
    "--alarm-every", "years", type=float, default=1.0, show_default=True, metavar="YEARS", help="… at a false alarm in."
)
@click.option("--freeze", metavar="FROM..TO", help="First freeze the baseline of one chart: these days.")
@click.option("--line", metavar="L", help="… of the chart of this line, across recipes.")
@click.option("--new-phase", is_flag=True, help="… as the beginning of a new phase, after a known change.")
@click.option(
    "--leave-out", "left_out", nargs=2, multiple=True, metavar="RUN WHY", help="… without this run; may be given again."
)
@click.option("--take-back", "number", type=int, metavar="NUMBER", help="First take a frozen baseline back.")
@click.option("--because", default="", metavar="TEXT", help="Why; kept with the baseline.")
@click.option("--phases", is_flag=True, help="Print instead which runs the limits come from, who froze them and why.")
@person_option
@filter_options
@json_option
@ledger_option
def command(
    ledger: Ledger,
    measure: str,
    stage: str,
    adjusted: bool,
    rules: Sequence[str],
    percent: float | None,
    within: float,
    years: float,
    freeze: str | None,
    line: str | None,
    new_phase: bool,
    left_out: Sequence[tuple[str, str]],
    number: int | None,
    because: str,
    phases: bool,
    by: str,
    filters: Filters,
    as_json: bool,
) -> None:
    """Print a measure's control charts in numbers: centre, limits and every signal, by recipe and format.

    Limits come from the baselines that were frozen, else from a series' first runs. MEASURE may also
    be counted:taste_tests, or counted:COLUMN for a column of your own beside the runs that counts faults, and
    counted:COLUMN/OTHER for its share of another such column (or for each pack looked at, where one has several).

    With --freeze the limits of one chart come from its runs from one day to another, and no longer move; your reason
    and your name are kept. --recipe and --format, or --line, say which chart. --take-back undoes it.
    """
    table = table_asked(ledger, filters, None if measure.startswith(PREFIX) else measure)
    asked_to = _Baseline(freeze, line, new_phase, left_out, number, because, by)
    if asked_to.is_any:
        complain(_decided(ledger, table, (measure, stage), filters, asked_to))
    if measure.startswith(PREFIX):
        _tell_counted(ledger, table, measure, filters, tuple(rules) or FIRST_RULES, as_json, phases)
    asked = (measure, stage, filters, tuple(rules) or FIRST_RULES, frozen_phases(ledger))
    finding = stability(
        table,
        *asked,
        done=what_was_done(table, measure_of(measure), stage) if adjusted else None,
        slow=None if percent is None else _asked(percent, within, years),
    )
    if phases and not as_json:
        print_phases(finding, ledger)
        raise SystemExit(0 if finding.series else 1)
    tell(finding, as_json, charts_as_read(table, *asked))
    if not as_json:
        _tell_slow(finding)
    raise SystemExit(0 if finding.series else 1)


@dataclass(frozen=True)
class _Baseline:
    """What the command was asked to do with a baseline before it prints the charts."""

    freeze: str | None
    line: str | None
    new_phase: bool
    left_out: Sequence[tuple[str, str]]
    number: int | None
    because: str
    by: str

    @property
    def is_any(self) -> bool:
        """Whether a baseline is to be frozen or taken back; refuses what makes no sense."""
        asked = self.freeze is not None or self.number is not None
        if self.freeze is not None and self.number is not None:
            refuse("Give one of --freeze and --take-back.")
        if self.freeze is None and (self.line is not None or self.new_phase or self.left_out):
            refuse("--line, --new-phase and --leave-out go with --freeze FROM..TO.")
        if asked and not self.because.strip():
            refuse("Say why with --because: the reason is kept.")
        if not all(why.strip() for _, why in self.left_out):
            refuse("Say for each run that is left out why it is: --leave-out RUN WHY.")
        return asked


def _decided(ledger: Ledger, table: PackTable, of: tuple[str, str], filters: Filters, asked: _Baseline) -> str:
    """Freeze a baseline or take one back, and return what to say of it."""
    measure, stage = of
    because = asked.because.strip()
    if asked.number is not None:
        return took_back(ledger, measure, asked.number, because, asked.by)
    days = days_asked(asked.freeze or "")
    at_any_time = replace(filters, since=None, until=None)
    if measure.startswith(PREFIX):
        finding = _counted(ledger, table, measure, at_any_time, FIRST_RULES)
    else:
        finding = stability(table, measure, stage, at_any_time, phases=frozen_phases(ledger))
    return froze(
        ledger, finding, Freezing(days, because, asked.by, filters, asked.line, asked.new_phase, asked.left_out)
    )


def _counted(ledger: Ledger, table: PackTable, name: str, filters: Filters, rules: tuple[str, ...]) -> Stability:
    tests = snapshot(ledger, table.state).frame("taste_tests")
    try:
        return counted(table, name, tests, filters, rules, frozen_phases(ledger))
    except ValueError as error:
        return refuse(str(error).removeprefix("counted: "))


def _tell_counted(
    ledger: Ledger, table: PackTable, name: str, filters: Filters, rules: tuple[str, ...], as_json: bool, phases: bool
) -> NoReturn:
    finding = _counted(ledger, table, name, filters, rules)
    if phases and not as_json:
        print_phases(finding, ledger)
    else:
        tell(finding, as_json)
    raise SystemExit(0 if finding.across else 1)


def _asked(percent: float, within: float, years: float) -> SlowAsk:
    try:
        return SlowAsk(percent, within, years)
    except ValueError as error:
        refuse(str(error).removeprefix("SlowAsk: "))


def _tell_slow(finding: Stability) -> None:
    """Say, chart by chart, how soon the slow move that was asked for would be found, and what is found."""
    for name, found in finding.slow:
        said = found.why_not or " ".join(found.sentences)
        complain(f"{name}: {said}")
        for signal in found.chart.signals if found.chart is not None else ():
            point = found.chart.points[signal.at]  # type: ignore[union-attr]
            side = "above" if signal.side > 0 else "below"
            complain(f"  {point.at:%-d %b %Y}, run {point.run or point.batch}: {signal.says}, {side}.")
