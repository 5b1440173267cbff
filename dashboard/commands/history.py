"""What was taken in, when and by whom?"""

from __future__ import annotations

import click

from analysis.findings.ledger_changes import entry_document, standing
from analysis.ledger import Ledger
from dashboard.commands.options import complain, json_option, ledger_option, print_document, print_table

__all__ = ["command"]


@click.command("history")
@json_option
@ledger_option
def command(ledger: Ledger, as_json: bool) -> None:
    """List what was taken in, when and by whom."""
    entries = ledger.history()
    if as_json:
        print_document({"ledger_state": ledger.state, "intakes": [entry_document(entry) for entry in entries]})
        return
    if not entries:
        complain("Nothing has been taken in yet: dropbright intake FILE…")
        return
    rows = [
        (
            str(e.intake),
            e.at.isoformat(sep=" ", timespec="minutes"),
            e.by,
            ", ".join(f.file for f in e.files),
            standing(e),
        )
        for e in entries
    ]
    print_table(("Intake", "When", "By", "Files", "Standing"), rows)
