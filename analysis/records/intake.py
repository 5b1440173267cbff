"""What records do these files hold? The one door through which a brewery's spreadsheets come in.

Nothing that stands in a file makes this raise: what is wrong is told as problems, and what must be asked as questions.
Every row is accepted, rejected or ignored (``sheet`` says by which rules), and the three add up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from analysis.problems import Problem, Severity
from analysis.records.answers import Answers, SheetAnswers
from analysis.records.cells import RawSheet
from analysis.records.conflicts import conflicts_in
from analysis.records.frames import join_frames
from analysis.records.kinds import KINDS
from analysis.records.marks import REASON_AND_RUNS
from analysis.records.recognise import Recognised, recognise
from analysis.records.run_dates import packed_by_file
from analysis.records.sequence import before_brewing
from analysis.records.sheet import SheetResult, read_sheet
from analysis.records.tables_on_sheet import tables_of
from analysis.records.taken import FileIntake, Intake
from analysis.records.unrecognised import unrecognised_sheet
from analysis.records.workbook import ReadFile, read_file

__all__ = ["SourceFile", "take_in"]


@dataclass(frozen=True)
class SourceFile:
    """A file to take in: where it lies, and what the user calls it."""

    path: Path
    name: str


def take_in(
    files: Sequence[SourceFile],
    *,
    kind: str | None = None,
    answers: SheetAnswers | None = None,
    remembered: Mapping[str, Answers] | None = None,
    today: date | None = None,
) -> Intake:
    """Return what files hold: records by kind, what every sheet was taken for, problems and rejected rows.

    Parameters
    ----------
    files : sequence of SourceFile
        Workbooks or text tables.
    kind : str, optional
        What their sheets hold, where the user says so.
    answers : SheetAnswers, optional
        What the user said about sheets, headers, units and dates.
    remembered : mapping of str to Answers, optional
        What was said before, by the sheets' layout.
    today : date, optional
        A date after tomorrow is in the future and cannot be; by default the clock's.

    Raises
    ------
    ValueError
        If ``kind`` is no kind of record.
    """
    if kind is not None and kind not in KINDS:
        raise ValueError(f"take_in: kind must be one of {', '.join(KINDS)}, got {kind!r}")
    read = [read_file(file.path, file.name) for file in files]
    said = answers or SheetAnswers()
    known = [
        [(part, recognise(part, kind, said.of(part.file, part.name), remembered)) for part in _parts(each, said)]
        for each in read
    ]
    runs_elsewhere = any(r.kind == "pack_runs" for sheets in known for _, r in sheets)
    day = today or date.today()
    results = [[_result(s, r, day, runs_elsewhere) for s, r in sheets] for sheets in known]
    return _joined(read, results)


def _parts(read: ReadFile, said: SheetAnswers) -> list[RawSheet]:
    """Return the tables of a file's sheets; a sheet of which a person said where its headers stand is one table."""
    told = {sheet.name for sheet in read.sheets if said.of(sheet.file, sheet.name).header_row is not None}
    parts = [(sheet,) if sheet.name in told else tables_of(sheet) for sheet in read.sheets]
    return [part for of_sheet in parts for part in of_sheet]


def _result(sheet: RawSheet, recognised: Recognised, today: date, runs_elsewhere: bool) -> SheetResult:
    if recognised.kind is None:
        return unrecognised_sheet(sheet, recognised)
    could_be = _dates_are_packing(recognised)
    runs_elsewhere = runs_elsewhere or REASON_AND_RUNS in recognised.headers
    result = read_sheet(sheet, recognised, today, could_be and not runs_elsewhere)
    if result.rejected is None or not (could_be and runs_elsewhere):
        return result
    return replace(result, rejected=replace(result.rejected, runs_elsewhere=True))


def _dates_are_packing(recognised: Recognised) -> bool:
    """Tell whether a sheet of pack readings has a "Date" that no word ties to the reading."""
    date_ = recognised.kept("measured_at")
    named = recognised.kept("run") is not None and recognised.kept("batch") is not None
    is_wide = bool(recognised.having("measure"))
    return recognised.kind == "readings" and is_wide and named and date_ is not None and date_.is_weak


def _joined(read: Sequence[ReadFile], results: Sequence[Sequence[SheetResult]]) -> Intake:
    files = tuple(
        FileIntake(each.file, each.sha256, tuple(result.intake for result in sheets))
        for each, sheets in zip(read, results, strict=True)
    )
    frames: dict[str, list[pd.DataFrame]] = {name: [] for name in KINDS}
    problems: list[Problem] = []
    rejects = []
    for each, sheets in zip(read, results, strict=True):
        problems += each.problems
        for result in sheets:
            problems += sorted(result.problems, key=_order)
            for name, frame in result.frames:
                if len(frame):
                    frames[name].append(frame)
            if result.rejected is not None:
                rejects.append(result.rejected)
    records = {name: join_frames(name, parts) for name, parts in frames.items()}
    records["readings"]["packed_at"] = packed_by_file(records["readings"], records["pack_runs"])
    problems += [problem for name, frame in records.items() for problem in conflicts_in(name, frame)]
    problems += before_brewing(records)
    return Intake(files, tuple(problems), MappingProxyType(records), tuple(rejects))


def _order(problem: Problem) -> tuple[bool, int]:
    """Questions come first, then row by row, then what costs nothing."""
    if problem.severity is Severity.QUESTION:
        return False, 0
    return problem.row is None, problem.row or 0
