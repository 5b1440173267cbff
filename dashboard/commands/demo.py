"""What does Dropbright do, shown on an invented brewery?"""

from __future__ import annotations

from pathlib import Path

import click
from platformdirs import user_data_path

from analysis.findings.filters import Filters
from analysis.findings.ledger_changes import commit_in_words
from analysis.findings.practices import practices
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.commands.intake import print_sheets
from dashboard.commands.options import complain, print_table, refuse
from dashboard.commands.serving import serve
from data_demo.workbooks import write_workbooks

__all__ = ["command"]

MEASURES = ("total_oxygen", "haze")
LEDGER_FILE = "demo-ledger.sqlite"


@click.command("demo")
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), metavar="F", help="Where the workbooks go.")
@click.option("--serve/--no-serve", "serving", default=True, help="Whether to open the dashboard at the end.")
@click.option("--host", default="127.0.0.1", show_default=True, metavar="H")
@click.option("--port", default=8050, show_default=True, type=click.IntRange(1, 65535), metavar="P")
def command(folder: Path | None, serving: bool, host: str, port: int) -> None:
    """Write the invented Marram Lock Brewery's workbooks, take them in through the same door as yours, and say what
    they show. The demo keeps a ledger of its own beside its workbooks; yours is not touched."""
    place = folder if folder is not None else user_data_path("dropbright", appauthor=False) / "demo"
    try:
        place.mkdir(parents=True, exist_ok=True)
        written = write_workbooks(place)
    except OSError as error:
        refuse(f"{place}: cannot be written ({error.strerror}).")
    complain(f"Marram Lock Brewery is invented: {len(written)} workbooks written into {place}.")
    ledger = Ledger.open(f"sqlite:///{place / LEDGER_FILE}")
    taken = take_in([SourceFile(path, path.name) for path in written], remembered=ledger.remembered())
    commit = ledger.commit(taken, by="Marram Lock Brewery (invented)")
    print_sheets(taken)
    complain(commit_in_words(commit))
    table = table_in_use(ledger)
    for measure in MEASURES:
        finding = practices(table, measure, Filters())
        print_table(*finding.in_words(), title=finding.question)
        click.echo(finding.answer)
    if serving:
        serve(ledger, host, port, demo=True)
