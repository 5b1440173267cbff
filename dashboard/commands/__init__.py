"""Which command was asked for? Each command is a module of its own, loaded only when it is run."""

from __future__ import annotations

import importlib
import tempfile
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import cast

import click

__all__ = ["COMMANDS", "main"]


@dataclass(frozen=True)
class _Entry:
    module: str
    help: str


COMMANDS: Mapping[str, _Entry] = MappingProxyType(
    {
        "demo": _Entry("demo", "Write the invented brewery's workbooks, take them in, open the dashboard."),
        "serve": _Entry("serve", "Open the dashboard on your own ledger."),
        "intake": _Entry("intake", "Take spreadsheets in."),
        "history": _Entry("history", "List what was taken in and decided, when and by whom."),
        "withdraw": _Entry("withdraw", "Take an intake back."),
        "conflicts": _Entry("conflicts", "List the records that contradict each other, and say which is right."),
        "packs": _Entry("packs", "The pack table: each finished pack with what was done to its beer."),
        "review": _Entry("review", "What moved since the last review, with answers and standing actions."),
        "chart": _Entry("chart", "A measure's control charts, in numbers."),
        "practices": _Entry("practices", "Which practices shift a measure, and which cannot be told yet."),
        "pickup": _Entry("pickup", "Where does oxygen get in? The rise at each step to the closed pack."),
        "oxygen": _Entry("oxygen", "Figures of gas and oxygen: purging, trapped air, packs, closures, solubility."),
        "ready": _Entry("ready", "When will this tank be clear enough to package?"),
        "meters": _Entry("meters", "Can the meters be believed? Bias, drift and since when."),
        "blank": _Entry("blank", "Write empty workbooks with the right headers."),
    }
)


class _LazyGroup(click.Group):
    """A group whose commands are imported when they are run, so that --help answers at once."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, OSError):
            raise
        except Exception:  # noqa: BLE001 - the last stop before a person would read a traceback
            record = Path(tempfile.gettempdir()) / "dropbright-error.txt"
            record.write_text(traceback.format_exc(), encoding="utf-8")
            click.echo(f"Something went wrong inside Dropbright. Details for its developers: {record}", err=True)
            raise click.exceptions.Exit(1) from None

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"dashboard.commands.{COMMANDS[cmd_name].module}")
        return cast("click.Command", module.command)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.help) for name, entry in COMMANDS.items()])


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dropbright")
@click.option("--ledger", metavar="URL", help="The ledger, for whichever command follows: a URL of a database.")
def main(ledger: str | None) -> None:
    """Say which cellar practices shift haze and oxygen in the finished pack.

    \b
    Numbers and verdicts go to standard output, messages to standard error.
    Exit code: 0 done, 1 done with rejected or contradicting rows or a question that cannot be answered, 2 misuse.
    """
