"""Is a measure stable, and what moved?"""

from __future__ import annotations

import click

from analysis.findings.filters import Filters
from analysis.findings.stability import stability
from analysis.ledger import Ledger
from analysis.linking import pack_table
from analysis.vocabulary import STAGES
from dashboard.commands.options import filter_options, json_option, ledger_option, tell

__all__ = ["command"]


@click.command("chart")
@click.argument("measure")
@click.option(
    "--stage", type=click.Choice(STAGES), default="pack", show_default=True, metavar="S", help="Where it was read."
)
@filter_options
@json_option
@ledger_option
def command(ledger: Ledger, measure: str, stage: str, filters: Filters, as_json: bool) -> None:
    """Print a measure's control charts in numbers: centre, limits and every signal, by recipe and format."""
    finding = stability(pack_table(ledger), measure, stage, filters)
    tell(finding, as_json)
    raise SystemExit(0 if finding.series else 1)
