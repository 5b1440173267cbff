"""Which kind of record is a sheet, where does its header row stand, and what does each column mean?

Every row near the top that could be a header row is tried with every kind; the best fit is taken. Banner rows, blank
rows and merged titles above it are passed over; a merged title over several headers is read together with them, and a
row of units under the header row belongs to it.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.records.answers import Answers
from analysis.records.cells import EMPTY, TEXT, RawColumn, RawSheet
from analysis.records.choices import operation_of
from analysis.records.headers import Header, read_header, unique_headers
from analysis.records.kinds import KINDS
from analysis.records.looks import looks_below, volume_below
from analysis.records.marks import OURS
from analysis.records.meaning import Match, Meaning
from analysis.records.meanings import CONTAINERS, match_kind
from analysis.records.measure_headers import measure_of
from analysis.records.words import ALL_HEADERS, HEADER_TOKENS, plain_words
from analysis.units import is_unit

__all__ = ["Recognised", "is_known_header", "layout_of", "recognise"]

_ROWS_LOOKED_AT = 60
_ROWS_TRIED = 3
_TOO_CLOSE = 0.15
_NEAR_MISS = 2.0
_FEWEST_KNOWN = 2
_NO_ANSWERS = Answers()
_UNDER_A_TITLE = re.compile(
    r"(?:(?:can|bottle|keg|cask|pack|package|sample|specimen|reading|read|rep|replicate|repeat|no|#) ?#? ?)?"
    r"(?:[1-9]\d?|[a-f])|(?:90|25|13|12|11|15)°?|forward|average|avg|mean|min|max|sd|range|meter|instrument|result|value"
    r"|reading"
)
"""What says which of a measure's columns one is, and not which measure."""
_FIGURES = re.compile(r"[<>]?[-+]?\d[\d.,:/ -]*")


@dataclass(frozen=True)
class Recognised:
    """What a sheet was taken for.

    ``kind`` is None where it is no record, or where ``rivals`` fit equally, or where ``lacking`` names what is missing
    for the kind in ``nearest``. ``header_row`` and ``first_row`` (of the records) count from 0. ``layout`` names the
    headers: two sheets with the same ones share it. ``answers`` are those that were used. ``job`` is the operation
    that a sheet without a column of jobs names in its name, its title or the header of its agents ("Rouse log").
    """

    kind: str | None
    header_row: int | None
    first_row: int
    meanings: tuple[Meaning, ...]
    headers: tuple[str, ...]
    layout: str | None
    answers: Answers
    rivals: tuple[str, ...] = ()
    nearest: str | None = None
    lacking: tuple[str, ...] = ()
    unknown_answers: tuple[tuple[str, str], ...] = ()
    job: str | None = None

    def kept(self, name: str) -> Meaning | None:
        """Return the column that was taken for a kept one."""
        return next((m for m in self.meanings if m.role == "kept" and m.name == name), None)

    def having(self, role: str) -> tuple[Meaning, ...]:
        """Return the columns that have a role."""
        return tuple(m for m in self.meanings if m.role == role)


@dataclass(frozen=True)
class _HeaderRow:
    row: int
    first_row: int
    texts: tuple[str, ...]
    layout: str


def recognise(
    sheet: RawSheet, kind: str | None, answers: Answers, remembered: Mapping[str, Answers] | None = None
) -> Recognised:
    """Return what a sheet is.

    Parameters
    ----------
    sheet : RawSheet
    kind : str, optional
        What the user says it holds, where they said so for all sheets.
    answers : Answers
        What a person said of this sheet.
    remembered : mapping, optional
        What was said before of a sheet with the same headers, by layout.
    """
    rows = _header_rows(sheet)
    for row in rows:
        if remembered and row.layout in remembered:
            answers = answers.over(remembered[row.layout])
            rows = [row] if answers.header_row is None else rows
            break
    if answers.header_row is not None:
        rows = [_header_row(sheet, answers.header_row - 1)] if answers.header_row <= sheet.n_rows else []
    rows = _likeliest(rows, answers)
    told = answers.kind or kind
    wanted = [told] if told else list(KINDS)
    tried = [(row, match) for row in rows for match in _matches(sheet, row, wanted, answers)]
    fitting = [(row, match) for row, match in tried if not match.lacking]
    job = None
    if not fitting:
        told_by_name = [(row, match, word) for row, match in tried if (word := _job_of(sheet, row, match)) is not None]
        fitting, job = [(row, match) for row, match, _ in told_by_name], told_by_name[0][2] if told_by_name else None
    if not fitting:
        return _unrecognised(tried, rows, answers, told is not None)
    row, best = max(fitting, key=lambda fit: (fit[1].score, -fit[0].row))
    rivals = [m.kind for r, m in fitting if r is row and m is not best and best.score - m.score < _TOO_CLOSE]
    known = None if rivals else best.kind
    return Recognised(
        known, row.row, row.first_row, best.meanings, row.texts, row.layout, answers,
        rivals=(best.kind, *rivals) if rivals else (), unknown_answers=best.unknown_answers, job=job,
    )  # fmt: skip


def _job_of(sheet: RawSheet, row: _HeaderRow, match: Match) -> str | None:
    """Return the operation of all rows of a cellar log without a column of jobs, None where nothing names one."""
    if match.kind != "operations" or match.lacking != ("operation",):
        return None
    agents = [m.header for m in match.meanings if m.role == "kept" and m.name == "agent"]
    jobs = [operation_of(text) for text in (sheet.name, *_titles_above(sheet, row.row), *agents)]
    return next((job for job in jobs if job not in (None, "other")), None)


def _titles_above(sheet: RawSheet, row: int) -> list[str]:
    """Return the texts that stand alone in one of the two rows above a header row."""
    above = [[text for text in sheet.row_texts(each) if text] for each in range(max(row - 2, 0), row)]
    return [texts[0] for texts in reversed(above) if len(texts) == 1]


def _likeliest(rows: list[_HeaderRow], answers: Answers) -> list[_HeaderRow]:
    """Return the few rows of which most cells are words that stand over columns, the upper first."""
    known = [sum(is_known_header(text, answers) for text in row.texts) for row in rows]
    order = sorted(range(len(rows)), key=lambda i: (-known[i], i))[:_ROWS_TRIED]
    return [rows[i] for i in sorted(order) if known[i] * 2 >= max(known)]


def is_known_header(text: str, answers: Answers = _NO_ANSWERS) -> bool:
    """Tell whether a text is one that stands over a column, or that a person said so of."""
    if not text or not (HEADER_TOKENS.intersection(plain_words(text).split()) or answers.columns):
        return False
    header = read_header(text)
    return (
        measure_of(header) is not None
        or answers.column(text) is not None
        or any(n in ALL_HEADERS for n, _ in header.names)
    )


def layout_of(headers: Sequence[str]) -> str:
    """Return the name of a layout: the same for the same headers in the same order, in any case and spacing."""
    plain = [plain_words(text) for text in headers if text.strip() and text not in OURS]
    return hashlib.sha256("\x1f".join(plain).encode()).hexdigest()[:16]


def _unrecognised(
    tried: list[tuple[_HeaderRow, Match]], rows: list[_HeaderRow], answers: Answers, was_told: bool
) -> Recognised:
    best = max(tried, key=lambda fit: (fit[1].score - len(fit[1].lacking), -fit[0].row), default=None)
    if best is not None and ((was_told and _known(best[1]) >= _FEWEST_KNOWN) or _is_near(best[1])):
        row, match = best
        return Recognised(
            None, row.row, row.first_row, match.meanings, row.texts, row.layout, answers,
            nearest=match.kind, lacking=match.lacking, unknown_answers=match.unknown_answers,
        )  # fmt: skip
    row_ = rows[0] if rows else None
    return Recognised(None, None, 0, (), row_.texts if row_ else (), row_.layout if row_ else None, answers)


def _known(match: Match) -> int:
    return sum(m.role not in ("extra", "ignore") for m in match.meanings)


def _is_near(match: Match) -> bool:
    """Tell whether a sheet is a record but for one thing: most of its headers are known, and one column is lacking."""
    return len(match.lacking) == 1 and match.score >= _NEAR_MISS and 2 * _known(match) >= len(match.meanings)


def _matches(sheet: RawSheet, row: _HeaderRow, wanted: Sequence[str], answers: Answers) -> list[Match]:
    looks = looks_below(sheet, row.first_row)
    headers: list[Header | None] = []
    for j, (text, key) in enumerate(zip(row.texts, unique_headers(list(row.texts)), strict=True)):
        has_cells = bool(text) or looks(j) != "empty"
        headers.append(_with_volume(sheet.columns[j], row, read_header(text, key)) if has_cells else None)
    return [match_kind(kind, headers, looks, answers) for kind in wanted]


def _with_volume(column: RawColumn, row: _HeaderRow, header: Header) -> Header:
    """Give a header such as "Bottle" the unit of its cells where they are volumes: it is a size then, and no number."""
    if header.unit is not None or header.words not in CONTAINERS:
        return header
    return replace(header, unit=volume_below(column, row.first_row))


def _header_rows(sheet: RawSheet) -> list[_HeaderRow]:
    """Return the rows that could hold headers: at least two cells, most of them words."""
    tags = sheet.tags(slice(0, _ROWS_LOOKED_AT))
    if not tags.size:
        return []
    filled, texts = (tags != EMPTY).sum(axis=1), (tags == TEXT).sum(axis=1)
    merged_away = {row: _covered(sheet, row) for row in range(len(tags))}
    rows = []
    for row in range(len(tags)):
        if filled[row] + len(merged_away[row]) >= 2 and texts[row] * 2 >= filled[row] and texts[row] > 0:
            rows.append(_header_row(sheet, row))
    return rows


def _covered(sheet: RawSheet, row: int) -> dict[int, str]:
    """Return, by column, the texts of titles that are merged downwards onto a row."""
    return {
        first_column: sheet.columns[first_column].text_at(first_row)
        for first_row, first_column, last_row, last_column in sheet.merged
        if first_row < row == last_row and first_column == last_column < len(sheet.columns)
    }


def _header_row(sheet: RawSheet, row: int) -> _HeaderRow:
    texts = sheet.row_texts(row)
    for column, text in _covered(sheet, row).items():
        texts[column] = texts[column] or text
    texts = _with_groups(sheet, row, texts)
    first_row = row + 1
    below = _with_numbers_below(sheet, row, texts)
    if below is not None:
        texts, first_row = below, row + 2
    units = sheet.row_texts(first_row) if first_row < sheet.n_rows else []
    if _is_unit_row(sheet, first_row, units):
        texts = [
            f"{text} ({unit.strip('()[] ')})" if unit and text and not _says(text, unit) else text
            for text, unit in zip(texts, units, strict=True)
        ]
        first_row += 1
    return _HeaderRow(row, first_row, tuple(" ".join(text.split()) for text in texts), layout_of(texts))


def _with_numbers_below(sheet: RawSheet, row: int, texts: list[str]) -> list[str] | None:
    """Return headers together with a second row of them that stands under some alone ("TPO" over "Can 1", "Can 2")."""
    if row + 1 >= sheet.n_rows:
        return None
    below = sheet.row_texts(row + 1)
    titles = _filled_right(texts)
    under = [j for j, text in enumerate(below) if text]
    covers_several = any(not texts[j] for j in under)
    if len(under) < 2 or not covers_several or not all(_needs_title(titles[j], below[j]) for j in under):
        return None
    return [f"{titles[j]} {below[j]}" if below[j] else text for j, text in enumerate(texts)]


def _filled_right(texts: Sequence[str]) -> list[str]:
    """Return the title over each column: its own text, or the one to the left, as far as blank cells go."""
    titles, last = [], ""
    for text in texts:
        last = text or last
        titles.append(last)
    return titles


def _with_groups(sheet: RawSheet, row: int, texts: list[str]) -> list[str]:
    """Put the title that stands over a header before it, where the header alone says no measure.

    A title is merged over its columns, or stands over the first of them with blanks beside it.
    """
    texts = list(texts)
    if row > 0 and not sheet.merged:
        above = sheet.row_texts(row - 1)
        titles = _filled_right(above)
        if sum(bool(text) for text in above) < len([text for text in texts if text]):
            texts = [f"{t} {x}" if t and x and _needs_title(t, x) else x for t, x in zip(titles, texts, strict=True)]
    for first_row, first_column, last_row, last_column in sheet.merged:
        if first_row <= last_row == row - 1 and last_column > first_column:
            title = sheet.columns[first_column].text_at(first_row) if first_column < len(sheet.columns) else ""
            for j in range(first_column, min(last_column + 1, len(texts))):
                if title and texts[j] and _needs_title(title, texts[j]):
                    texts[j] = f"{title} {texts[j]}"
    return texts


def _needs_title(title: str, text: str) -> bool:
    if not title or measure_of(read_header(title)) is None:
        return False
    if is_unit(text.strip("()[] ")):
        return True
    return _UNDER_A_TITLE.fullmatch(plain_words(text)) is not None


def _says(text: str, unit: str) -> bool:
    """Tell whether a header ends with its unit already: "Can ml" over "ml"."""
    return f" {plain_words(text)}".endswith(f" {plain_words(unit)}")


def _is_unit_row(sheet: RawSheet, row: int, units: Sequence[str]) -> bool:
    if row >= sheet.n_rows:
        return False
    tags = np.array([column.tag[row] for column in sheet.columns])
    said = [text for text in units if text]
    if len(said) < 2 or not ((tags == TEXT) | (tags == EMPTY)).all() or any(map(_FIGURES.fullmatch, said)):
        return False
    return sum(is_unit(text.strip("()[] ")) for text in said) * 5 >= len(said) * 4
