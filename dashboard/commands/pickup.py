"""Where does oxygen get in on the way to the closed pack?"""

from __future__ import annotations

import click

from analysis.findings.as_read import rises_as_read
from analysis.findings.filters import Filters
from analysis.findings.oxygen_limits import oxygen_limits
from analysis.findings.pickup import pickup
from analysis.ledger import Ledger
from dashboard.commands.options import filter_options, json_option, ledger_option, table_asked, tell

__all__ = ["command"]


@click.command("pickup")
@filter_options
@json_option
@ledger_option
def command(ledger: Ledger, filters: Filters, as_json: bool) -> None:
    """Say how far oxygen rises at each step from the fermenter to the closed pack, and where it passes its limit."""
    table = table_asked(ledger, filters)
    finding = pickup(table, filters, oxygen_limits(ledger))
    tell(finding, as_json, rises_as_read(table, filters))
    raise SystemExit(0 if finding.steps else 1)
