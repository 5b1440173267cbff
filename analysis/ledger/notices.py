"""What should a person know of an intake once it is on record?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.ledger.book import Book
from analysis.ledger.conflicts import Claim, Conflict
from analysis.ledger.sources import Source
from analysis.problems import Problem, Severity
from analysis.records.kinds import kind as kind_of

__all__ = ["conflict_problems", "left_behind_problems", "taken_before_problems"]

_SHOWN = 100  # conflicts that are told one by one


def taken_before_problems(
    sources: Sequence[Source], repeated: npt.NDArray[np.bool_], known: dict[str, int]
) -> tuple[Problem, ...]:
    """Say which files are on record already."""
    files = {source.file: known[source.sha256] for source, same in zip(sources, repeated, strict=True) if same}
    changed = {source.file for source, same in zip(sources, repeated, strict=True) if not same}
    return tuple(
        Problem(
            "file-again",
            f"{'Part of this' if file in changed else 'This'} file is on record already, by intake {intake}:"
            " taken in again it adds nothing.",
            f"Nothing needs to be done. To have it read anew, withdraw intake {intake} first.",
            Severity.NOTE,
            file=file,
        )
        for file, intake in files.items()
    )


def left_behind_problems(
    book: Book, sources: Sequence[Source], kind: str, sheets: npt.NDArray[np.int64]
) -> list[Problem]:
    """Say which rows of earlier versions stay on record though the corrected file no longer has them."""
    problems = []
    families = book.families([source.family for source in sources])
    of = book.family_of(sheets)
    for source, family in zip(sources, families, strict=True):
        rows = sheets[of == family]
        if len(rows):
            intakes = ", ".join(map(str, np.unique(book.intake_of(rows)).tolist()))
            problems.append(
                Problem(
                    "rows-left-behind",
                    _left_behind(len(rows), kind_of(kind).label.lower()),
                    f"If that is wrong, withdraw intake {intakes}: what this file says as well stays.",
                    Severity.NOTE,
                    file=source.file,
                    sheet=source.sheet,
                )
            )
    return problems


def _left_behind(count: int, of: str) -> str:
    rows, are, stay = ("row", "is", "it stays") if count == 1 else ("rows", "are", "they stay")
    had = f"{count:,} {rows} of {of} that an earlier version of this sheet had"
    return f"{had} {are} not in it any more; {stay} on record."


def conflict_problems(conflicts: Sequence[Conflict], intake: int, told: Sequence[Problem]) -> tuple[Problem, ...]:
    """Say which rows of an intake contradict another row about the same thing, but for rows of which that was told."""
    rows_told = {(problem.file, problem.sheet, problem.row) for problem in told if problem.code == "conflict"}
    problems = [
        _contradiction(conflict, claim)
        for conflict in conflicts[:_SHOWN]
        for claim in conflict.claims
        if claim.intake == intake and (claim.file, claim.sheet, claim.source_row) not in rows_told
    ]
    if len(conflicts) > _SHOWN:
        problems.append(
            Problem(
                "conflicts-more",
                f"Further things on record with two values that contradict each other: {len(conflicts) - _SHOWN:,}.",
                "All of them are listed with the ledger's conflicts; a wrong file is best withdrawn.",
                Severity.CONFLICT,
            )
        )
    return tuple(problems)


def _contradiction(conflict: Conflict, claim: Claim) -> Problem:
    """Return the problem of one row that contradicts another."""
    other = next(c for c in conflict.claims if c.record != claim.record)
    column = next((name for name in conflict.columns if claim.values[name] != other.values[name]), conflict.columns[0])
    return Problem(
        "conflict",
        f"{conflict.subject}: {column.replace('_', ' ')} is {_told(claim.values[column])} here and"
        f" {_told(other.values[column])} in {other.file}, {other.sheet}, row {other.source_row}"
        f" (intake {other.intake}).",
        f"Both are kept and neither is used until you say which is right, or withdraw the intake that is wrong."
        f"{_of_which_year(conflict)}",
        Severity.CONFLICT,
        file=claim.file,
        sheet=claim.sheet,
        row=claim.source_row,
        column=column,
        value=_told(claim.values[column]),
    )


def _of_which_year(conflict: Conflict) -> str:
    """Return what to write where rows that say no date may be of two years whose numbers are the same."""
    moment = {"readings": "measured_at", "tastings": "tasted_on", "taste_tests": "tasted_on"}.get(conflict.kind)
    if moment is None or conflict.about.get(moment) is not None or conflict.about.get("packed_at") is not None:
        return ""
    return " If they are of two years whose numbers are the same, write the date beside each and take both in again."


def _told(value: object) -> str:
    if value is None:
        return "blank"
    return f"{value:.12g}" if isinstance(value, float) else str(value)
