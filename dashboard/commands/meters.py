"""Can the meters be believed?"""

from __future__ import annotations

from dataclasses import asdict

import click

from analysis.findings.meter_otherwise import verdicts_otherwise
from analysis.findings.meters import meters
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger, snapshot
from dashboard.commands.options import complain, json_option, ledger_option, print_document, print_table

__all__ = ["command"]


@click.command("meters")
@click.option("--otherwise", is_flag=True, help="Also the verdicts with a moved meter's readings set right or aside.")
@json_option
@ledger_option
def command(ledger: Ledger, otherwise: bool, as_json: bool) -> None:
    """Say which meters are steady, which drift or have shifted and since when, and how far off they read."""
    table = table_in_use(ledger)
    finding = meters(snapshot(ledger), table)
    told = verdicts_otherwise(ledger, table, finding.meters) if otherwise else ()
    if as_json:
        print_document({**finding.as_document(), **({"otherwise": [asdict(one) for one in told]} if otherwise else {})})
    else:
        headers, rows = finding.in_words()
        print_table(headers, rows)
        if told:
            lines = [[one.measure, one.practice, one.as_read, one.set_right, one.set_aside] for one in told]
            print_table(["Measure", "Practice", "As read", "Set right", "Set aside"], lines)
        for caution in finding.cautions:
            complain(caution)
        complain(finding.answer)
    raise SystemExit(0 if finding.meters else 1)
