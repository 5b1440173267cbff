"""What was done to the beer in each finished pack?"""

from __future__ import annotations

from pathlib import Path

import click

from analysis.findings.export import FORMS
from analysis.findings.filters import Filters
from analysis.findings.packs import packs
from analysis.findings.wording import count
from analysis.ledger import Ledger
from dashboard.commands.options import (
    complain,
    filter_options,
    json_option,
    ledger_option,
    print_document,
    print_table,
    refuse,
    table_asked,
)

__all__ = ["command"]

SHOWN = 30


@click.command("packs")
@filter_options
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the table: .xlsx, .csv or .parquet."
)
@json_option
@ledger_option
def command(ledger: Ledger, filters: Filters, out: Path | None, as_json: bool) -> None:
    """Print the pack table: a row for each finished pack sample, with its readings and its practices."""
    finding = packs(table_asked(ledger, filters), filters)
    if out is not None:
        form = out.suffix.removeprefix(".").lower()
        if form not in FORMS:
            refuse(f"{out}: the name must end in one of .{', .'.join(FORMS)}.")
        try:
            out.write_bytes(finding.export(form))
        except OSError as error:
            refuse(f"{out}: cannot be written ({error.strerror}).")
        complain(f"{out}: {count(len(finding.rows), 'pack')} written.")
    elif as_json:
        print_document(finding.as_document())
    else:
        headers, rows = finding.in_words(most=SHOWN)
        print_table(headers, rows)
        complain(finding.answer)
    raise SystemExit(0 if len(finding.rows) else 1)
