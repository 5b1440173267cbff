"""When will this tank be clear enough to package?"""

from __future__ import annotations

import click

from analysis.findings.as_read import forecast_as_read
from analysis.findings.readiness import ready
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger
from dashboard.commands.options import json_option, ledger_option, tell

__all__ = ["command"]


@click.command("ready")
@click.argument("batch")
@click.option(
    "--confidence", type=click.FloatRange(0.5, 0.999), default=0.9, show_default=True, help="How sure it must be."
)
@json_option
@ledger_option
def command(ledger: Ledger, batch: str, confidence: float, as_json: bool) -> None:
    """Say when a tank's haze meets its target, day by day, from its readings and its recipe's past."""
    table = table_in_use(ledger)
    finding = ready(table, batch, confidence=confidence)
    tell(finding, as_json, forecast_as_read(table, batch, confidence) if finding.days else None)
    raise SystemExit(0 if finding.days else 1)
