"""What was taken in and what was decided, when and by whom?"""

from __future__ import annotations

from datetime import datetime

import click

from analysis.findings.contradictions import kept_in_words, settled_document
from analysis.findings.decided import decision_about, decision_document, decision_standing
from analysis.findings.ledger_changes import entry_document, standing
from analysis.ledger import IntakeEntry, JournalEntry, Ledger, Resolution, Taking
from dashboard.commands.options import complain, json_option, ledger_option, print_document, print_table

__all__ = ["command"]


@click.command("history")
@json_option
@ledger_option
def command(ledger: Ledger, as_json: bool) -> None:
    """List what was taken in, what was decided and which conflicts were settled, when and by whom."""
    entries, decisions, settled = ledger.history(), ledger.journal(standing=False), ledger.resolutions()
    if as_json:
        print_document(
            {
                "ledger_state": ledger.state,
                "intakes": [entry_document(entry) for entry in entries],
                "decisions": [decision_document(entry) for entry in decisions],
                "settled": [settled_document(one) for one in settled],
                "upgrades": [_upgrade_document(one) for one in ledger.upgrades()],
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
    if settled:
        headers = ("Conflict", "When", "By", "Kept", "Because")
        print_table(headers, [_settled_row(one) for one in settled])
    if upgrades := ledger.upgrades():
        rows = [(str(one.state), _minute(one.at), one.by, one.because or "") for one in upgrades]
        print_table(("Ledger state", "When", "By", "What a newer version told"), rows)


def _upgrade_document(one: Taking) -> dict[str, object]:
    return {
        "ledger_state": one.state,
        "at": one.at.isoformat(timespec="minutes"),
        "by": one.by,
        "because": one.because,
    }


def _intake_row(entry: IntakeEntry) -> tuple[str, ...]:
    files = ", ".join(file.file for file in entry.files)
    return str(entry.intake), _minute(entry.at), entry.by, files, standing(entry)


def _decision_row(entry: JournalEntry) -> tuple[str, ...]:
    about = decision_about(entry)
    return str(entry.number), _minute(entry.at), entry.by, about, entry.because, decision_standing(entry)


def _settled_row(settled: Resolution) -> tuple[str, ...]:
    return str(settled.conflict), _minute(settled.at), settled.by, kept_in_words(settled), settled.because


def _minute(at: datetime) -> str:
    return at.isoformat(sep=" ", timespec="minutes")
