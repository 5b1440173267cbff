"""How do spreadsheets get onto the ledger from the command line?"""

from __future__ import annotations

import json
from pathlib import Path

import click

from analysis.findings.ledger_changes import commit_in_words
from analysis.findings.wording import count
from analysis.ledger import Commit, Ledger
from analysis.problems import Problem, Severity
from analysis.records import Intake, SheetAnswers, SourceFile, take_in, write_rejects
from analysis.records.kinds import KINDS
from dashboard.commands.conflicts import conflicting_in_words
from dashboard.commands.options import (
    complain,
    json_option,
    ledger_option,
    person_option,
    print_document,
    print_problems,
    print_table,
    refuse,
)

__all__ = ["command", "print_sheets"]


@click.command("intake")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE…")
@click.option("--kind", type=click.Choice(list(KINDS)), metavar="K", help=f"What the sheets hold: {', '.join(KINDS)}.")
@click.option(
    "--columns",
    "answers_file",
    type=click.Path(path_type=Path),
    metavar="MAP.json",
    help="Answers: what a header means, its unit, its order of dates.",
)
@click.option("--dry-run", is_flag=True, help="Read and check, store nothing.")
@click.option("--rejects", type=click.Path(path_type=Path), metavar="FILE.xlsx", help="Write the rejected rows here.")
@person_option
@json_option
@ledger_option
def command(
    ledger: Ledger,
    files: tuple[Path, ...],
    kind: str | None,
    answers_file: Path | None,
    dry_run: bool,
    rejects: Path | None,
    by: str,
    as_json: bool,
) -> None:
    """Take spreadsheets in: xlsx, xls, xlsm, ods, csv or tsv.

    Every row is accepted, rejected with its reason, or ignored (totals, blank lines). Exit code 1 says that rows were
    rejected, that a question waits for an answer, or that rows contradict others on record (dropbright conflicts).
    """
    _check_there(files)
    if rejects is not None and rejects.suffix.lower() != ".xlsx":
        refuse(f"{rejects}: the name must end in .xlsx.")
    answers = _answers(answers_file)
    sources = [SourceFile(path, path.name) for path in files]
    taken = take_in(sources, kind=kind, answers=answers, remembered=ledger.remembered())
    if rejects is not None:
        _write_rejects(taken, rejects)
    commit = None if dry_run else ledger.commit(taken, by)
    problems = taken.problems if commit is None else _standing(taken, commit)
    contradicting = _contradicting(problems, commit)
    if as_json:
        print_document(_document(taken, None if commit is None else commit.intake, problems, contradicting))
    else:
        print_sheets(taken)
        print_problems(problems)
        complain("Nothing was stored (--dry-run)." if commit is None else commit_in_words(commit))
        if commit is None and contradicting:
            complain(_would_contradict(contradicting))
        elif contradicting:
            complain(conflicting_in_words(contradicting))
    refused = any(p.severity in (Severity.REJECTED, Severity.QUESTION) for p in problems)
    raise SystemExit(1 if refused or contradicting else 0)


def _check_there(files: tuple[Path, ...]) -> None:
    """Refuse names under which there is no file, before anything is read."""
    for path in files:
        if path.is_dir():
            refuse(f"{path}: is a folder. Name the files in it.")
        if not path.exists():
            refuse(f"{path}: there is no such file.")


def _answers(path: Path | None) -> SheetAnswers | None:
    if path is None:
        return None
    try:
        return SheetAnswers.from_document(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        refuse(f"{path}: cannot be read ({error.strerror}).")
    except (ValueError, TypeError) as error:
        refuse(f"{path}: is no map of columns ({error}).")


def _write_rejects(taken: Intake, path: Path) -> None:
    """Write the rejected rows before anything is stored: a path that will not do is told in time."""
    try:
        write_rejects(taken, path)
    except ValueError as error:
        refuse(f"{path}: cannot be written. Nothing was stored. ({error.__cause__})")


def _standing(taken: Intake, commit: Commit) -> tuple[Problem, ...]:
    """Return the problems of an intake that is on record; a contradiction that was settled before is none."""
    problems = (*taken.problems, *commit.problems)
    if any(counts.conflicting for counts in commit.counts.values()):
        return problems
    return tuple(problem for problem in problems if problem.severity is not Severity.CONFLICT)


def _contradicting(problems: tuple[Problem, ...], commit: Commit | None) -> int:
    """Return how many rows contradict others: on record, or, where nothing was stored, within the files."""
    if commit is None:
        return sum(problem.severity is Severity.CONFLICT for problem in problems)
    return sum(counts.conflicting for counts in commit.counts.values())


def _would_contradict(rows: int) -> str:
    return (
        f"{count(rows, 'row')} of these files {'contradicts' if rows == 1 else 'contradict'} each other about the same "
        "thing: neither side would be used. Mend the file, or take it in and settle them with dropbright conflicts."
    )


def _document(
    taken: Intake, number: int | None, problems: tuple[Problem, ...], contradicting: int
) -> dict[str, object]:
    told = [problem.as_document() for problem in problems]
    return {**taken.as_document(), "intake": number, "problems": told, "conflicting": contradicting}


def print_sheets(taken: Intake) -> None:
    """Print what each sheet was taken for and its counts, on standard output."""
    rows = [
        (
            sheet.file,
            sheet.sheet,
            sheet.kind or "not recognised",
            f"{sheet.rows:,}",
            f"{sheet.accepted:,}",
            f"{sheet.rejected:,}",
            f"{sheet.ignored:,}",
        )
        for file in taken.files
        for sheet in file.sheets
    ]
    if not rows:
        return
    print_table(("File", "Sheet", "Taken for", "Rows", "Accepted", "Rejected", "Ignored"), rows)
    for sheet in taken.sheets:
        if sheet.kind is not None and sheet.kept_as_extra:
            columns = ", ".join(f"“{header}”" for header in sheet.kept_as_extra)
            complain(f"{sheet.file}, {sheet.sheet}: kept as further columns, under their own names: {columns}.")
