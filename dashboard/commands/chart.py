"""Is a measure stable, and what moved?"""

from __future__ import annotations

from collections.abc import Sequence
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
from dashboard.commands.options import complain, filter_options, json_option, ledger_option, refuse, table_asked, tell

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
    filters: Filters,
    as_json: bool,
) -> None:
    """Print a measure's control charts in numbers: centre, limits and every signal, by recipe and format.

    Limits come from the baselines that were frozen on the dashboard, else from a series' first runs. MEASURE may also
    be counted:taste_tests, or counted:COLUMN for a column of your own beside the runs that counts faults, and
    counted:COLUMN/OTHER for its share of another such column.
    """
    table = table_asked(ledger, filters, None if measure.startswith(PREFIX) else measure)
    if measure.startswith(PREFIX):
        _tell_counted(ledger, table, measure, filters, tuple(rules) or FIRST_RULES, as_json)
    asked = (measure, stage, filters, tuple(rules) or FIRST_RULES, frozen_phases(ledger))
    finding = stability(
        table,
        *asked,
        done=what_was_done(table, measure_of(measure), stage) if adjusted else None,
        slow=None if percent is None else _asked(percent, within, years),
    )
    tell(finding, as_json, charts_as_read(table, *asked))
    if not as_json:
        _tell_slow(finding)
    raise SystemExit(0 if finding.series else 1)


def _tell_counted(
    ledger: Ledger, table: PackTable, name: str, filters: Filters, rules: tuple[str, ...], as_json: bool
) -> NoReturn:
    try:
        finding = counted(table, name, snapshot(ledger, table.state).frame("taste_tests"), filters, rules)
    except ValueError as error:
        refuse(str(error).removeprefix("counted: "))
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
