"""Which practices shift a measure?"""

from __future__ import annotations

import click

from analysis.findings.as_read import verdicts_as_read
from analysis.findings.filters import Filters
from analysis.findings.practice_document import InFull
from analysis.findings.practices import practices
from analysis.ledger import Ledger
from dashboard.commands.options import filter_options, json_option, ledger_option, refuse, table_asked, tell

__all__ = ["command"]


@click.command("practices")
@click.argument("measure")
@filter_options
@json_option
@ledger_option
def command(ledger: Ledger, measure: str, filters: Filters, as_json: bool) -> None:
    """Say which practices raise or lower a measure, which make no practical difference, which cannot be told yet."""
    if not measure.strip():
        refuse("Name a measure, such as haze.")
    table = table_asked(ledger, filters, measure)
    finding = practices(table, measure, filters)
    tell(InFull(finding), as_json, verdicts_as_read(table, measure, filters))
    raise SystemExit(0 if finding.practices else 1)
