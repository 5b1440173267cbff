"""Where is the dashboard?"""

from __future__ import annotations

import click

from analysis.ledger import Ledger
from dashboard.commands.options import ledger_option
from dashboard.commands.serving import serve

__all__ = ["command"]


@click.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True, metavar="H", help="The address to answer on.")
@click.option("--port", default=8050, show_default=True, type=click.IntRange(1, 65535), metavar="P", help="The port.")
@ledger_option
def command(ledger: Ledger, host: str, port: int) -> None:
    """Open the dashboard on your own ledger."""
    serve(ledger, host, port)
