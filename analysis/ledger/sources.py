"""Which files and sheets did an intake come from, and which of them are on record already?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, insert, select

from analysis.ledger.book import next_number
from analysis.ledger.families import family_of_file, family_of_sheet
from analysis.ledger.results import Counts
from analysis.ledger.tables import COUNTS, FILES, INTAKES, SHEETS
from analysis.records.answers import Answers
from analysis.records.taken import Intake

__all__ = ["Source", "known_files", "sources_of", "taken_before", "write_sources"]

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Source:
    """One sheet of the files that are offered; ``meaning`` is how it was read, as JSON.

    ``partial`` is true of a file that holds only the mended rows of another.
    """

    file: str
    sha256: str
    place: int
    sheet: str
    family: str
    partial: bool
    meaning: str
    accepted: int


def sources_of(intake: Intake) -> tuple[Source, ...]:
    """Return every sheet of an intake, in order."""
    return tuple(
        Source(
            file.file,
            file.sha256,
            place,
            sheet.sheet,
            family_of_sheet(file.file, sheet.sheet),
            family_of_file(file.file).partial,
            _meaning(sheet.kind, sheet.header_row, sheet.columns, _answers(sheet.answers)),
            sheet.accepted,
        )
        for file in intake.files
        for place, sheet in enumerate(file.sheets)
    )


def _meaning(kind: str | None, header_row: int | None, columns: Mapping[str, str], answers: str | None) -> str:
    return json.dumps([kind, header_row, dict(columns), answers], ensure_ascii=False, sort_keys=True)


def known_files(connection: Connection, hashes: set[str]) -> dict[str, int]:
    """Return the intake that took in each file that is on record, by the file's hash; the latest of several."""
    query = (
        select(FILES.c.sha256, FILES.c.intake)
        .join(INTAKES)
        .where(FILES.c.sha256.in_(sorted(hashes)), INTAKES.c.withdrawn.is_(None))
        .order_by(FILES.c.file)
    )
    return {row.sha256: row.intake for row in connection.execute(query)}


def taken_before(connection: Connection, sources: tuple[Source, ...]) -> npt.NDArray[np.bool_]:
    """Return for each sheet whether the same file is on record, read in the same way and with as many rows taken."""
    query = (
        select(FILES.c.sha256, SHEETS)
        .join(SHEETS, SHEETS.c.file == FILES.c.file)
        .join(INTAKES, INTAKES.c.intake == FILES.c.intake)
        .where(FILES.c.sha256.in_(sorted({source.sha256 for source in sources})), INTAKES.c.withdrawn.is_(None))
    )
    known = {
        (
            row.sha256,
            row.place,
            _meaning(row.kind, row.header_row, json.loads(row.columns), row.answers),
            row.accepted,
        )
        for row in connection.execute(query)
    }
    said = [(source.sha256, source.place, source.meaning, source.accepted) in known for source in sources]
    return np.array(said, dtype=bool)


def write_sources(
    connection: Connection,
    intake: Intake,
    number: int,
    state: int,
    counts: Mapping[str, Counts],
    families: Sequence[str],
) -> None:
    """Write down an intake, what became of its rows, its files and its sheets.

    ``families`` are those of the sheets, in the order of ``sources_of``.
    """
    connection.execute(insert(INTAKES).values(intake=number, state=state))
    for kind, count in counts.items():
        fates = {name: getattr(count, name) for name in ("added", "updated", "unchanged", "conflicting")}
        connection.execute(insert(COUNTS).values(intake=number, kind=kind, **fates))
    first = sheet_number = next_number(connection, SHEETS, "sheet")
    for file_number, file in enumerate(intake.files, start=next_number(connection, FILES, "file")):
        connection.execute(insert(FILES).values(file=file_number, intake=number, name=file.file, sha256=file.sha256))
        for place, sheet in enumerate(file.sheets):
            connection.execute(
                insert(SHEETS).values(
                    sheet=sheet_number,
                    file=file_number,
                    intake=number,
                    place=place,
                    name=sheet.sheet,
                    family=families[sheet_number - first],
                    kind=sheet.kind,
                    header_row=sheet.header_row,
                    rows=sheet.rows,
                    accepted=sheet.accepted,
                    rejected=sheet.rejected,
                    ignored=sheet.ignored,
                    columns=json.dumps(dict(sheet.columns), ensure_ascii=False),
                    kept_as_extra=json.dumps(list(sheet.kept_as_extra), ensure_ascii=False),
                    layout=sheet.layout,
                    answers=_answers(sheet.answers),
                )
            )
            sheet_number += 1


def _answers(answers: Answers | None) -> str | None:
    """Return what a person said about a sheet as JSON, None where nobody said anything."""
    return json.dumps(answers.as_document(), ensure_ascii=False, sort_keys=True) if answers else None
