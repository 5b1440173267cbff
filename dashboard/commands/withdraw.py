"""How is an intake taken back?"""

from __future__ import annotations

import click

from analysis.findings.ledger_changes import withdrawal_document, withdrawal_in_words
from analysis.findings.wording import listing
from analysis.ledger import Ledger
from dashboard.commands.options import (
    complain,
    json_option,
    ledger_option,
    person_option,
    print_document,
    refuse,
    said,
)

__all__ = ["command"]


@click.command("withdraw")
@click.argument("intake", type=int)
@click.option("--because", required=True, callback=said, metavar="TEXT", help="Why; kept with the change.")
@person_option
@json_option
@ledger_option
def command(ledger: Ledger, intake: int, because: str, by: str, as_json: bool) -> None:
    """Take an intake back; its number stands in the history. Its rows stay on file, marked as withdrawn."""
    standing = [entry.intake for entry in ledger.history() if entry.withdrawn is None]
    if intake not in standing:
        known = listing([str(number) for number in standing]) or "none"
        refuse(f"Intake {intake} is not on record, or was withdrawn before. On record: {known}.")
    withdrawal = ledger.withdraw(intake, because=because, by=by)
    if as_json:
        print_document(withdrawal_document(withdrawal))
    else:
        complain(withdrawal_in_words(withdrawal))
