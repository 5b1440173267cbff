"""Which options do several commands share, and how does a command speak?"""

from __future__ import annotations

import functools
import getpass
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NoReturn, ParamSpec, Protocol, TypeVar

import click
from click.core import ParameterSource
from rich.console import Console
from rich.table import Table

from analysis.findings.as_read_result import AsRead
from analysis.findings.filters import Filters
from analysis.findings.not_on_record import not_on_record
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger, LedgerError
from analysis.linking import PackTable
from analysis.problems import Problem
from analysis.vocabulary import FORMATS

__all__ = [
    "complain",
    "filter_options",
    "json_option",
    "ledger_option",
    "person_option",
    "print_document",
    "print_problems",
    "print_table",
    "refuse",
    "said",
    "table_asked",
    "tell",
]

P = ParamSpec("P")
R = TypeVar("R")

PIPED_WIDTH = 160
_ALSO = 6  # rows that are named beside the first with the same fault

_errors = Console(stderr=True, highlight=False)


def complain(message: str) -> None:
    """Say something to the person at the terminal, on standard error."""
    _errors.print(message, markup=False, soft_wrap=True)


def table_asked(ledger: Ledger, filters: Filters, measure: str | None = None) -> PackTable:
    """Return the pack table in use; say which names asked about are nowhere on record, as a mistyped one would be."""
    table = table_in_use(ledger)
    for sentence in not_on_record(table, filters, measure):
        complain(sentence)
    return table


def refuse(message: str) -> NoReturn:
    """Say why a command was not carried out, and end with the exit code of misuse."""
    complain(message)
    raise SystemExit(2)


def _named_before(context: click.Context, _: click.Parameter, url: str | None) -> str | None:
    """Return the ledger that was named before the command, where none is named after it."""
    before = context.find_root().params.get("ledger")
    named_here = context.get_parameter_source("url") is ParameterSource.COMMANDLINE
    return url if named_here or before is None else str(before)


def ledger_option(run: Callable[P, R]) -> Callable[..., R]:
    """Open the ledger that --ledger names and hand it on as ``ledger``; a ledger that fails is told in a sentence."""

    @click.option(
        "--ledger",
        "url",
        envvar="DROPBRIGHT_LEDGER",
        callback=_named_before,
        metavar="URL",
        help="The ledger: a URL of a database.",
    )
    @functools.wraps(run)
    def with_ledger(*args: Any, url: str | None, **kwargs: Any) -> R:
        try:
            return run(*args, ledger=Ledger.open(url), **kwargs)
        except LedgerError as error:
            refuse(str(error))

    return with_ledger


def said(_: click.Context, parameter: click.Parameter, text: str) -> str:
    """Return what was said in an option that may not be blank."""
    if not text.strip():
        raise click.BadParameter("must not be blank: it is kept with the change.", param=parameter)
    return text.strip()


def person_option(run: Callable[P, R]) -> Callable[P, R]:
    """Add --by, the name that is kept with a change."""
    return click.option(
        "--by",
        metavar="NAME",
        default=_user,
        show_default="the name you are signed in by",
        callback=said,
        help="Who does this.",
    )(run)


def json_option(run: Callable[P, R]) -> Callable[P, R]:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document and nothing else.")(run)


def filter_options(run: Callable[P, R]) -> Callable[..., R]:
    """Add the filters and hand them on as ``filters``."""
    day = click.DateTime(formats=["%Y-%m-%d"])

    @click.option("--recipe", "recipes", multiple=True, metavar="R", help="Only this recipe; may be given again.")
    @click.option(
        "--format",
        "pack_format",
        type=click.Choice(FORMATS),
        metavar="F",
        help="Only this format: can, bottle, keg or cask.",
    )
    @click.option("--since", type=day, metavar="DATE", help="Only packs closed on this day or later (YYYY-MM-DD).")
    @click.option("--until", type=day, metavar="DATE", help="Only packs closed on this day or earlier.")
    @click.option("--tank", metavar="T", help="Only beer that was packed from this tank.")
    @functools.wraps(run)
    def with_filters(
        *args: Any,
        recipes: Sequence[str],
        pack_format: str | None,
        since: datetime | None,
        until: datetime | None,
        tank: str | None,
        **kwargs: Any,
    ) -> R:
        if since is not None and until is not None and since > until:
            refuse(f"--since {since:%Y-%m-%d} is after --until {until:%Y-%m-%d}: no pack can be between them.")
        filters = Filters(tuple(recipes), pack_format, _day(since), _day(until), tank)
        return run(*args, filters=filters, **kwargs)

    return with_filters


def print_document(document: object) -> None:
    """Print one JSON document on standard output."""
    click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1, default=str))


def print_table(headers: Sequence[str], rows: Sequence[Sequence[str]], title: str = "") -> None:
    """Print a table on standard output, as wide as its words where that is not a terminal."""
    table = Table(title=title or None, title_justify="left", box=None, header_style="bold", pad_edge=False)
    for header in headers:
        table.add_column(header, overflow="fold")
    for row in rows:
        table.add_row(*row)
    Console(highlight=False, markup=False, width=None if sys.stdout.isatty() else PIPED_WIDTH).print(table)


class _Told(Protocol):
    """What every finding can say of itself."""

    @property
    def answer(self) -> str: ...

    @property
    def cautions(self) -> Sequence[str]: ...

    def as_document(self) -> Mapping[str, object]: ...

    def in_words(self) -> tuple[list[str], list[list[str]]]: ...


def tell(finding: _Told, as_json: bool, as_read: AsRead | None = None) -> None:
    """Print a finding: its document, or its table on standard output and its cautions and answer beside it.

    ``as_read`` is what would be told with every reading as it was read, where some are set right or set aside.
    """
    if as_json:
        beside = {} if as_read is None else {"as_read": as_read.as_document()}
        print_document({**finding.as_document(), **beside})
        return
    print_table(*finding.in_words())
    for caution in finding.cautions:
        complain(caution)
    if as_read is not None:
        complain(as_read.answer)
        for line in as_read.lines:
            if line.differs:
                complain(f"  {line.name}: {line.in_use}; as read: {line.as_read}.")
    complain(finding.answer)


def print_problems(problems: Sequence[Problem], most: int = 20) -> None:
    """Say what is wrong, where and what to do, on standard error; past ``most`` the rest is counted.

    Of the same thing in one column the first is told, and in which rows the others stand.
    """
    alike: dict[tuple[object, ...], list[Problem]] = {}
    for problem in problems:
        alike.setdefault((problem.file, problem.sheet, problem.column, problem.code), []).append(problem)
    for first, *others in list(alike.values())[:most]:
        complain(f"{_place(first)}{first.message} {first.remedy}{_also(others)}")
    left = sum(len(group) for group in list(alike.values())[most:])
    if left:
        complain(f"… and {left:,} more: --json lists them all, --rejects FILE.xlsx writes the rows.")


def _also(others: Sequence[Problem]) -> str:
    if not others:
        return ""
    places = [f"{each.row}{f' (“{each.value}”)' if each.value else ''}" for each in others if each.row is not None]
    more = f", … and {len(others) - _ALSO:,} more" if len(others) > _ALSO else ""
    rows = f": row{'' if len(others) == 1 else 's'} {', '.join(places[:_ALSO])}{more}" if places else ""
    return f" The same {len(others):,} more {'time' if len(others) == 1 else 'times'}{rows}."


def _place(problem: Problem) -> str:
    row = f"row {problem.row}" if problem.row is not None else None
    column = f"column “{problem.column}”" if problem.column else None
    value = f"“{problem.value}”" if problem.value else None
    parts = [part for part in (problem.file, problem.sheet, row, column, value) if part]
    return f"{', '.join(parts)}: " if parts else ""


def _day(moment: datetime | None) -> date | None:
    return moment.date() if moment is not None else None


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "not named"
