"""What moved since the last review, and what is being done about it?"""

from __future__ import annotations

from datetime import date

import click

from analysis.findings.baselines import frozen_phases
from analysis.findings.filters import Filters
from analysis.findings.meters import meters
from analysis.findings.review import ReviewFinding, review
from analysis.findings.review_matters import matters_on_record
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger, snapshot
from dashboard.commands.options import (
    complain,
    filter_options,
    json_option,
    ledger_option,
    print_document,
    print_table,
)

__all__ = ["command"]


@click.command("review")
@filter_options
@json_option
@ledger_option
def command(ledger: Ledger, filters: Filters, as_json: bool) -> None:
    """Print the matters of the weekly review, worst first, with their answers and the actions that stand."""
    table = table_in_use(ledger)
    finding = review(
        table,
        matters_on_record(table, frozen_phases(ledger)),
        ledger.journal(),
        meters(snapshot(ledger, table.state), table),
        today=date.today(),
        filters=filters,
    )
    if as_json:
        print_document(finding.as_document())
    else:
        _tell(finding)
    raise SystemExit(0 if finding.until is not None else 1)


def _tell(finding: ReviewFinding) -> None:
    print_table(*finding.in_words())
    if finding.actions:
        headers = ["action", "matter", "stands", "worked?"]
        rows = [
            [action.what, action.item.key.title, action.standing, action.effect.sentence if action.effect else ""]
            for action in finding.actions
        ]
        print_table(headers, rows)
    for caution in finding.cautions:
        complain(caution)
    complain(finding.answer)
