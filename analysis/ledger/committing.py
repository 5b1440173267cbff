"""How does an intake come to be on record, whole or not at all?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.anew import RUNS, runs_on_record, told_anew
from analysis.ledger.applying import apply_changes
from analysis.ledger.book import Book, next_number, open_book, turn_state
from analysis.ledger.changes import Changes, Numbering
from analysis.ledger.conflicts import open_conflicts
from analysis.ledger.database import Database
from analysis.ledger.identity import moments_of
from analysis.ledger.leftovers import left_behind
from analysis.ledger.notices import conflict_problems, left_behind_problems, taken_before_problems
from analysis.ledger.packing import pack
from analysis.ledger.results import Commit, Counts
from analysis.ledger.settling import Incoming, incoming, settle_offered
from analysis.ledger.sources import Source, known_files, sources_of, taken_before, write_sources
from analysis.ledger.tables import INTAKES, SHEETS
from analysis.ledger.years_told import told_of_years
from analysis.problems import Problem
from analysis.records import kinds
from analysis.records.taken import Intake

__all__ = ["commit"]

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class _Offer:
    """What is offered: the intake, its sheets, whether each was taken before, and its rows by kind."""

    intake: Intake
    sources: tuple[Source, ...]
    repeated: npt.NDArray[np.bool_]
    rows: tuple[Incoming, ...]
    by: str
    at: datetime


def commit(database: Database, intake: Intake, by: str, at: datetime) -> Commit:
    """Put an intake on record; see ``Ledger.commit``."""
    sources = sources_of(intake)
    names = [(source.file, source.sheet) for source in sources]
    rows = tuple(incoming(pack(kinds.kind(kind), f, names)) for kind, f in intake.records.items() if len(f))
    for offered in rows:
        if (offered.packed.sheet < 0).any():
            raise ValueError(
                f"Ledger.commit: every row of intake.records[{offered.packed.kind.name!r}] must stand on a sheet of"
                " intake.files, and some do not"
            )
    with database.writing() as connection:
        book = open_book(connection)
        offer = _Offer(intake, sources, taken_before(connection, sources), rows, by, at)
        return _land(book, *_with_years(book, offer))


def _with_years(book: Book, offer: _Offer) -> tuple[_Offer, tuple[Problem, ...]]:
    """Return an offer whose sheets are told from those of another year, and what is to be said of numbers that begin
    again."""
    runs = next((rows for rows in offer.rows if rows.packed.kind.name == RUNS), None)
    if runs is None:
        return offer, ()
    frame = _runs_frame(_on_sheets(runs, ~offer.repeated))
    recorded = runs_on_record(book)
    known = known_files(book.connection, {source.sha256 for source in offer.sources})
    sources = told_anew(book, offer.sources, frame, recorded, known)
    frame["family"] = book.families([source.family for source in sources])[frame["source"]]
    return replace(offer, sources=sources), told_of_years(frame, recorded, sources)


def _runs_frame(runs: Incoming) -> pd.DataFrame:
    words = {name: runs.packed.column(name).plain(slice(None)) for name in ("run", "batch")}
    return pd.DataFrame(
        {
            "source": runs.packed.sheet, "source_row": runs.packed.source_row, "key": runs.marks.key,
            "moment": moments_of(runs.packed), **words,
        }
    )  # fmt: skip


def _land(book: Book, offer: _Offer, of_years: tuple[Problem, ...]) -> Commit:
    """Decide what an offer changes, and write it if it changes anything."""
    known = known_files(book.connection, {source.sha256 for source in offer.sources})
    told = taken_before_problems(offer.sources, offer.repeated, known)
    again = {rows.packed.kind.name: _on_sheets(rows, offer.repeated) for rows in offer.rows}
    unchanged = {kind: Counts(unchanged=len(rows)) for kind, rows in again.items()}
    new = [part for rows in offer.rows if len(part := _on_sheets(rows, ~offer.repeated))]
    number, numbering = next_number(book.connection, INTAKES, "intake"), Numbering(book.connection)
    changes = [_settle(book, offer, rows, number, numbering) for rows in new]
    all_known = all(source.sha256 in known for source in offer.sources)
    if not changes or (all_known and not any(change.alters for change in changes)):
        same = {change.kind: Counts(unchanged=change.tally.counts.rows) for change in changes}
        return Commit(None, book.state, _sum(unchanged, same), told)
    counts = _sum(unchanged, {change.kind: change.tally.counts for change in changes})
    problems = (*told, *of_years, *_left_behind(book, offer, new, changes))
    altered = [change.kind for change in changes if change.alters]
    state = turn_state(book, "intake", offer.by, offer.at, altered, intake=number)
    write_sources(book.connection, offer.intake, number, state, counts, [s.family for s in offer.sources])
    for change in changes:
        apply_changes(book, change)
    numbering.save()
    conflicts = [c for change in changes for c in open_conflicts(book.connection, change.kind, change.conflicts)]
    return Commit(number, state, counts, (*problems, *conflict_problems(conflicts, number, offer.intake.problems)))


def _on_sheets(rows: Incoming, sheets: npt.NDArray[np.bool_]) -> Incoming:
    """Return the rows that stand on the sheets that are marked."""
    chosen = sheets[rows.packed.sheet]
    return rows if chosen.all() else rows.take(np.flatnonzero(chosen))


def _settle(book: Book, offer: _Offer, rows: Incoming, number: int, numbering: Numbering) -> Changes:
    """Return what the rows of one kind change."""
    families = book.families([source.family for source in offer.sources])[rows.packed.sheet]
    first = next_number(book.connection, SHEETS, "sheet")
    sheets = np.arange(first, first + len(offer.sources))
    return settle_offered(book, replace(rows, packed=rows.packed.on_sheets(sheets)), numbering, number, families)


def _left_behind(book: Book, offer: _Offer, new: Sequence[Incoming], changes: Sequence[Changes]) -> tuple[Problem, ...]:
    """Say how many rows of earlier versions the corrected files no longer have."""
    problems: list[Problem] = []
    for rows, change in zip(new, changes, strict=True):
        whole = [
            s
            for s, used in zip(offer.sources, np.bincount(rows.packed.sheet, minlength=len(offer.sources)), strict=True)
            if used and not s.partial
        ]
        left = left_behind(book, rows, change.left, [source.family for source in whole])
        problems += left_behind_problems(book, whole, change.kind, left)
    return tuple(problems)


def _sum(first: Mapping[str, Counts], second: Mapping[str, Counts]) -> dict[str, Counts]:
    """Return the counts of both, by kind."""
    return {kind: first.get(kind, Counts()) + second.get(kind, Counts()) for kind in {**first, **second}}
