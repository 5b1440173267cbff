"""Can the meters be believed?"""

from __future__ import annotations

import click

from analysis.findings.meters import meters
from analysis.ledger import Ledger, snapshot
from analysis.linking import pack_table
from dashboard.commands.options import complain, json_option, ledger_option, print_document, print_table

__all__ = ["command"]


@click.command("meters")
@json_option
@ledger_option
def command(ledger: Ledger, as_json: bool) -> None:
    """Say which meters are steady, which drift or have shifted and since when, and how far off they read."""
    finding = meters(snapshot(ledger), pack_table(ledger))
    if as_json:
        print_document(finding.as_document())
    else:
        headers, rows = finding.in_words()
        print_table(headers, rows)
        for caution in finding.cautions:
            complain(caution)
        complain(finding.answer)
    raise SystemExit(0 if finding.meters else 1)
