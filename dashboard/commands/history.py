"""What was taken in and what was decided, when and by whom?"""

from __future__ import annotations

from datetime import datetime

import click

from analysis.findings.decided import decision_about, decision_document, decision_standing
from analysis.findings.ledger_changes import entry_document, standing
from analysis.ledger import IntakeEntry, JournalEntry, Ledger
from dashboard.commands.options import complain, json_option, ledger_option, print_document, print_table

__all__ = ["command"]


@click.command("history")
@json_option
@ledger_option
def command(ledger: Ledger, as_json: bool) -> None:
    """List what was taken in and what was decided, when and by whom."""
    entries, decisions = ledger.history(), ledger.journal(standing=False)
    if as_json:
        print_document(
            {
                "ledger_state": ledger.state,
                "intakes": [entry_document(entry) for entry in entries],
                "decisions": [decision_document(entry) for entry in decisions],
            }
        )
        return
    if not entries:
        complain("Nothing has been taken in yet: dropbright intake FILE…")
    else:
        print_table(("Intake", "When", "By", "Files", "Standing"), [_intake_row(entry) for entry in entries])
    if decisions:
        headers = ("Decision", "When", "By", "About", "Because", "Standing")
        print_table(headers, [_decision_row(entry) for entry in decisions])


def _intake_row(entry: IntakeEntry) -> tuple[str, ...]:
    files = ", ".join(file.file for file in entry.files)
    return str(entry.intake), _minute(entry.at), entry.by, files, standing(entry)


def _decision_row(entry: JournalEntry) -> tuple[str, ...]:
    about = decision_about(entry)
    return str(entry.number), _minute(entry.at), entry.by, about, entry.because, decision_standing(entry)


def _minute(at: datetime) -> str:
    return at.isoformat(sep=" ", timespec="minutes")
