"""Which records contradict each other, and how is it said which of them is right?"""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.findings.contradictions import (
    conflict_document,
    conflict_title,
    said_by,
    settled_document,
    where_said,
)
from analysis.findings.wording import count, listing
from analysis.ledger import Claim, Conflict, Ledger, Resolution
from dashboard.commands.options import (
    complain,
    json_option,
    ledger_option,
    person_option,
    print_document,
    print_table,
    refuse,
)

__all__ = ["command", "conflicting_in_words"]

_SHOWN = 50


@click.command("conflicts")
@click.option("--settle", "number", type=int, metavar="NUMBER", help="Settle this conflict: --keep says what is right.")
@click.option("--keep", type=int, metavar="RECORD", help="The record that is right, by its number in the list.")
@click.option("--keep-file", "file", metavar="FILE", help="What this file says is right, in every conflict it is in.")
@click.option("--because", default="", metavar="TEXT", help="How you know; kept with the decision.")
@person_option
@json_option
@ledger_option
def command(
    ledger: Ledger, number: int | None, keep: int | None, file: str | None, because: str, by: str, as_json: bool
) -> None:
    """List the records that contradict each other: neither side is used until somebody says which is right.

    With --settle and --keep, or with --keep-file, say so; the other side stays on file. Exit code 1 says that
    records still contradict each other.
    """
    settled: list[Resolution] = []
    if number is not None or keep is not None or file is not None:
        if not because.strip():
            refuse("Say how you know with --because: the reason is kept.")
        settled = [ledger.resolve(*pair, because=because, by=by) for pair in _asked(ledger, number, keep, file)]
    left = ledger.conflicts()
    if as_json:
        told = {"settled": [settled_document(one) for one in settled]} if settled else {}
        document = {"ledger_state": ledger.state, **told, "conflicts": [conflict_document(one) for one in left]}
        print_document(document)
    else:
        _tell(left, settled)
    raise SystemExit(1 if left else 0)


def conflicting_in_words(rows: int) -> str:
    """Return how many rows of an intake contradict others, and how that is settled at the terminal."""
    contradict = "contradicts another" if rows == 1 else "contradict others"
    return (
        f"{count(rows, 'row')} {contradict} about the same thing: neither side is used until you say which is right. "
        "dropbright conflicts lists them, dropbright conflicts --settle NUMBER --keep RECORD --because TEXT settles "
        "one, and dropbright withdraw takes a wrong intake back."
    )


def _asked(ledger: Ledger, number: int | None, keep: int | None, file: str | None) -> list[tuple[Conflict, Claim]]:
    """Return the conflicts that are to be settled with the claim to keep of each; refuse what is not among them."""
    conflicts = ledger.conflicts()
    if file is not None:
        if number is not None or keep is not None:
            refuse("Give --keep-file alone, or --settle with --keep.")
        return _of_file(conflicts, file)
    if number is None or keep is None:
        refuse("Give --settle NUMBER and --keep RECORD together: dropbright conflicts lists both.")
    conflict = next((one for one in conflicts if one.number == number), None)
    if conflict is None:
        open_ones = listing([str(one.number) for one in conflicts], most=20) or "none"
        refuse(f"There is no open conflict {number}. Open: {open_ones}.")
    claim = next((one for one in conflict.claims if one.record == keep), None)
    if claim is None:
        records = listing([str(one.record) for one in conflict.claims], most=20)
        refuse(f"Record {keep} does not stand in conflict {number}. Its records: {records}.")
    return [(conflict, claim)]


def _of_file(conflicts: Sequence[Conflict], file: str) -> list[tuple[Conflict, Claim]]:
    """Return the conflicts in which one file says one thing, with its claim; one that contradicts itself cannot."""
    pairs = [(one, [claim for claim in one.claims if claim.file == file]) for one in conflicts]
    told = [(one, claims[0]) for one, claims in pairs if len(claims) == 1]
    if not told:
        files = listing(sorted({claim.file for one in conflicts for claim in one.claims}), most=20) or "none"
        refuse(f"{file} says one thing in no open conflict. Files in conflict: {files}.")
    twice = [one.number for one, claims in pairs if len(claims) > 1]
    if twice:
        numbers = listing([str(one) for one in twice], most=20)
        complain(f"{file} contradicts itself in conflict {numbers}: settle such with --settle and --keep.")
    return told


def _tell(left: Sequence[Conflict], settled: Sequence[Resolution]) -> None:
    for one in settled[:_SHOWN]:
        complain(f"Conflict {one.conflict} is settled: record {one.kept.record} of {one.kept.file} is kept.")
    if len(settled) > _SHOWN:
        complain(f"… and {count(len(settled) - _SHOWN, 'more is', 'more are')} settled.")
    if not left:
        complain("No records contradict each other.")
        return
    rows = [row for one in left[:_SHOWN] for row in _rows(one)]
    print_table(("Conflict", "About", "Record", "Says", "Where"), rows)
    if len(left) > _SHOWN:
        complain(f"… and {count(len(left) - _SHOWN, 'more conflict', 'more conflicts')}: --json lists them all.")
    complain(
        f"{count(len(left), 'thing is', 'things are')} on record with more than one value; neither side is used. "
        "Settle one with --settle NUMBER --keep RECORD --because TEXT."
    )


def _rows(conflict: Conflict) -> list[tuple[str, ...]]:
    return [
        (
            "" if place else str(conflict.number),
            "" if place else conflict_title(conflict),
            str(claim.record),
            said_by(conflict, claim),
            where_said(claim),
        )
        for place, claim in enumerate(conflict.claims)
    ]
