"""Where does a brewery start that has no spreadsheets yet?"""

from __future__ import annotations

from pathlib import Path

import click

from analysis.records import write_blank
from dashboard.commands.options import complain, refuse

__all__ = ["command"]


@click.command("blank")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=Path("dropbright-blank"))
def command(folder: Path) -> None:
    """Write empty workbooks with the right headers, drop-down words and one example row."""
    try:
        written = write_blank(folder)
    except ValueError as error:
        refuse(f"{folder}: cannot be written ({error.__cause__}).")
    for path in written:
        click.echo(str(path))
    complain("Fill in the rows below the example, then: dropbright intake FILE…")
